"""What has changed in a visit's folder since its record was written.

Contents are compared by their hashes. So that hundreds of long recordings need not be read for that, the
hashes of the last run are kept with the stamps of their files: a file whose stamp is the same is not read.
"""

from __future__ import annotations

import contextlib
import json
import shlex
import time
from dataclasses import astuple, dataclass
from typing import TYPE_CHECKING

from voicenotes.errors import VisitError
from voicenotes.files import files_in, sha256_of, shown_name, stamp_of, write_atomically
from voicenotes.listing import listed, recordings_in

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from voicenotes.files import Stamp
    from voicenotes.model import Record

HASHES_FILE = "hashes"
# A file that was changed just now may be changed again without another stamp: some systems count in 2 s.
SETTLED_NS = 3_000_000_000


@dataclass(frozen=True)
class Changes:
    """Names of files: those that a record lacks, those with another content now, those that are gone."""

    new: tuple[str, ...] = ()
    changed: tuple[str, ...] = ()
    gone: tuple[str, ...] = ()


def changes_since(record: Record, folder: Path, home: Path) -> Changes:
    """What has changed in the folder since; `home` is its folder for kept transcripts.

    A file under another name is no change. Raises VisitError when the folder can't be read.
    """
    paths = {shown_name(path): path for path in recordings_in(folder).recordings}
    here = {shown_name(path) for path in files_in(folder)}
    remembered = _remembered(home)
    hashes = {name: _hash(path, remembered.get(name)) for name, path in paths.items()}
    entries = {entry.file: entry.sha256 for entry in record.recordings}
    contents, present = set(entries.values()) - {None}, set(hashes.values()) - {None}
    return Changes(
        new=tuple(name for name in paths if name not in entries and hashes[name] not in contents),
        changed=tuple(name for name in paths if name in entries and hashes[name] != entries[name]),
        gone=tuple(name for name, sha256 in entries.items() if name not in here and sha256 not in present),
    )


def change_lines(changes: Changes, folder: Path) -> list[str]:
    """A line for each kind of change, and one on what to do."""
    kinds = {
        "Not in the record, as they came later": changes.new,
        "Changed since the record was written": changes.changed,
        "In the record, but no longer in the folder": changes.gone,
    }
    lines = [f"{what}: {listed(names)}." for what, names in kinds.items() if names]
    again = shlex.join(["voicenotes", "process", str(folder)])
    return [*lines, f"Process the visit again: {again}"] if lines else []


def remember_hashes(
    home: Path, before: Mapping[Path, Stamp | None], hashes: Mapping[Path, str | None]
) -> None:
    """Keep the hashes of files that were left alone for a while before they were read, and since.

    `before` are their stamps from before the hashes were taken. Nothing is lost where this can't be kept.
    """
    rested = time.time_ns() - SETTLED_NS
    found = {}
    for path, sha256 in hashes.items():
        stamp = before.get(path)
        if sha256 and stamp and max(stamp.written_ns, stamp.changed_ns) < rested and stamp_of(path) == stamp:
            found[shown_name(path)] = [*astuple(stamp), sha256]
    with contextlib.suppress(VisitError):
        write_atomically(home / HASHES_FILE, json.dumps(found))


def _remembered(home: Path) -> dict[str, list[object]]:
    try:
        found = json.loads((home / HASHES_FILE).read_bytes())
    except (OSError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}


def _hash(path: Path, remembered: object) -> str | None:
    """The file's hash: the remembered one if its stamp is the same."""
    stamp = stamp_of(path)
    if stamp and isinstance(remembered, list) and remembered[:-1] == list(astuple(stamp)):
        known = remembered[-1]
        return known if isinstance(known, str) else None
    return sha256_of(path)
