"""Files of a visit: which are recordings, in what order, when they were made; hashes; safe writing."""

from __future__ import annotations

import contextlib
import hashlib
import os
import re
from datetime import UTC, datetime
from pathlib import Path

from voicenotes.errors import VisitError
from voicenotes.links import leads_out

RECORD_FILE = "record.json"
# What voicenotes, or somebody saving what it prints, puts beside the recordings.
OWN_FILES = frozenset((RECORD_FILE, "gaps.json", "gaps.txt", "report.json", "report.txt", "summary.txt"))

_DATE_IN_NAME = re.compile(
    r"(?<!\d)(?P<year>(?:19|20)\d\d)(?P<gap>[-_. ]?)(?P<month>0[1-9]|1[0-2])(?P=gap)"
    r"(?P<day>0[1-9]|[12]\d|3[01])(?P<rest>.*)"
)
_TIME_IN_NAME = re.compile(
    r"^(?:[ _T,-]+(?:at\s+)?|T?)(?P<hour>[01]?\d|2[0-3])(?P<sep>[-_.:h]?)(?P<minute>[0-5]\d)"
    r"(?:[-_.:m]?(?P<second>[0-5]\d))?(?!\d)(?:\s?(?P<half>[ap])\.?m\b)?",
    re.IGNORECASE,
)


def visit_folder(folder: str | Path) -> Path:
    """The visit's folder, checked; VisitError when it is missing or no folder."""
    path = Path(folder).expanduser()
    if not path.exists():
        raise VisitError(f"{folder}: no such folder; name the folder that holds the visit's recordings")
    if not path.is_dir():
        raise VisitError(f"{folder}: is a file, not a folder; name the folder that it is in")
    return path


def files_in(folder: Path) -> list[Path]:
    """The files directly in a folder that are not hidden, in natural order: "memo 2" before "memo 10"."""
    try:
        found = [path for path in folder.iterdir() if not path.name.startswith(".") and not path.is_dir()]
    except OSError as error:
        raise VisitError(f"{folder}: can't be read ({error.strerror}); change its permissions") from None
    return sorted(found, key=lambda path: natural_key(path.name))


def natural_key(name: str) -> tuple[list[tuple[int, int, str]], str]:
    """A sort key under which numbers inside names count as numbers, whatever the case of letters."""
    pieces = re.split(r"([0-9]+)", name.casefold())
    return [(0, int(piece), "") if piece.isdecimal() else (1, 0, piece) for piece in pieces if piece], name


def sha256_of(path: Path) -> str | None:
    """The file's SHA-256 in hex; None when it can't be read, is no ordinary file, or leads out."""
    try:
        if leads_out(path) or not path.is_file():
            return None
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return None


def time_in_name(name: str) -> str | None:
    """Date and time that a recorder wrote into a file's name, as ISO 8601 without a zone; None if none.

    "2024-03-12 09-14-05.m4a" and "20240312_091405.wav" give "2024-03-12T09:14:05"; a name with a date
    alone gives "2024-03-12".
    """
    stem = Path(name).stem
    for start in [match.start() for match in re.finditer(r"(?<!\d)(?:19|20)\d\d", stem)]:
        if found := _DATE_IN_NAME.match(stem, start):
            year, month, day = int(found["year"]), int(found["month"]), int(found["day"])
            with contextlib.suppress(ValueError):  # 31 April
                return _with_time(datetime(year, month, day), found["rest"])
    return None


def _with_time(date: datetime, rest: str) -> str:
    found = _TIME_IN_NAME.match(rest)
    if not found:
        return date.date().isoformat()
    hour = int(found["hour"])
    if found["half"] and 1 <= hour <= 12:
        hour = hour % 12 + (12 if found["half"].lower() == "p" else 0)
    return date.replace(
        hour=hour, minute=int(found["minute"]), second=int(found["second"] or 0)
    ).isoformat(timespec="seconds")  # fmt: skip


def modified_at(path: Path) -> str | None:
    """When the file was last changed, in UTC as ISO 8601 to the second; None when nobody can say."""
    try:
        when = datetime.fromtimestamp(int(path.stat().st_mtime), UTC)
    except (OSError, ValueError, OverflowError):
        return None
    return when.strftime("%Y-%m-%dT%H:%M:%SZ")


def shown_name(path: Path) -> str:
    r"""The file's name as text that can be written to JSON, another one for each file of a folder.

    Bytes that are no UTF-8 are shown as `\xe9`. So that no other name looks the same, a name that has
    `\x` in it gets `\x5cx` for it.
    """
    plain = path.name.replace("\\x", "\\x5cx")
    return plain.encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")


def check_writable(folder: Path) -> None:
    """VisitError when no file can be made in the folder: better said before an hour's work than after."""
    probe = folder / f".writable.{os.getpid()}.tmp"
    try:
        probe.write_bytes(b"")
        probe.unlink()
    except OSError as error:
        raise _cannot_write(folder, error) from None


def write_atomically(path: Path, text: str) -> None:
    """Write UTF-8 text so that `path` holds either the old or the whole new content, even on a crash.

    The text goes to a temporary file in the same folder, to the disk, and then to its name.
    Raises VisitError when the folder can't be written.
    """
    temporary = path.with_name(f".{path.name}.{os.getpid()}.tmp")
    try:
        temporary.unlink(missing_ok=True)  # left over, or a link that somebody laid to another file
        with temporary.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        temporary.replace(path)
        _sync_folder(path.parent)
    except OSError as error:
        raise _cannot_write(path.parent, error) from None
    finally:
        with contextlib.suppress(OSError):
            temporary.unlink(missing_ok=True)


def _sync_folder(folder: Path) -> None:
    """Make the new name itself last; systems that can't sync a folder are left to themselves."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _cannot_write(folder: Path, error: OSError) -> VisitError:
    reason = error.strerror or type(error).__name__
    return VisitError(
        f"{folder}: can't be written ({reason}); copy the visit to a folder that you may change"
    )
