"""Files of a visit: which are recordings, their names and hashes; safe writing."""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import re
from dataclasses import dataclass
from pathlib import Path

from voicenotes.errors import NoRoomError, VisitError
from voicenotes.links import leads_out

PROBE_BYTES = 100_000  # about what a small record needs
RECORD_FILE = "record.json"
CORRECTIONS_FILE = "corrections.jsonl"
# What voicenotes, or somebody saving what it prints, puts beside the recordings.
OWN_FILES = frozenset(
    (
        RECORD_FILE,
        CORRECTIONS_FILE,
        "gaps.json",
        "gaps.pdf",
        "gaps.txt",
        "report.json",
        "report.txt",
        "summary.txt",
    )
)

_FULL = (errno.ENOSPC, errno.EDQUOT)
_TEMPORARY = re.compile(r"\.(?:writable|hashes|.+\.json|photo-.+)\.\d+\.tmp")
PHOTO_NAME = re.compile(r"photo-[0-9a-f]{16}\.(?:jpg|png|webp)")


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


def is_own(name: str) -> bool:
    """Whether a file of a visit's folder was put there by voicenotes: no recording, whatever it is."""
    return name in OWN_FILES or PHOTO_NAME.fullmatch(name) is not None


def sha256_of(path: Path) -> str | None:
    """The file's SHA-256 in hex; None when it can't be read, is no ordinary file, or leads out."""
    try:
        if leads_out(path) or not path.is_file():
            return None
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return None


@dataclass(frozen=True)
class Stamp:
    """What tells cheaply that a file is the same as before: size in bytes, times in ns, place on the disk.

    `changed_ns` also moves when only a file's name or permissions change; `written_ns` can be set back.
    """

    size: int
    written_ns: int
    changed_ns: int
    inode: int


def stamp_of(path: Path) -> Stamp | None:
    """The stamp of a file; None when it is not there or can't be looked at."""
    try:
        found = path.stat()
    except OSError:
        return None
    return Stamp(found.st_size, found.st_mtime_ns, found.st_ctime_ns, found.st_ino)


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
        probe.write_bytes(bytes(PROBE_BYTES))
    except OSError as error:
        raise _cannot_write(folder, error) from None
    finally:
        with contextlib.suppress(OSError):
            probe.unlink(missing_ok=True)


def write_atomically(path: Path, content: str | bytes) -> None:
    """Write bytes, or text as UTF-8, so that `path` holds the old or the whole new content, even on a crash.

    The content goes to a temporary file in the same folder, to the disk, and then to its name.
    Raises VisitError when the folder can't be written.
    """
    temporary = path.with_name(f".{path.name}.{os.getpid()}.tmp")
    try:
        temporary.unlink(missing_ok=True)  # left over, or a link that somebody laid to another file
        with temporary.open("xb") as file:
            file.write(content.encode("utf-8") if isinstance(content, str) else content)
            file.flush()
            os.fsync(file.fileno())
        temporary.replace(path)
        sync_folder(path.parent)
    except OSError as error:
        raise _cannot_write(path.parent, error) from None
    finally:
        with contextlib.suppress(OSError):
            temporary.unlink(missing_ok=True)


def remove_left_overs(*folders: Path) -> None:
    """Remove the temporary files of runs that were killed while they wrote; only for who holds the lock."""
    for folder in folders:
        for path in folder.glob(".*.tmp"):
            if _TEMPORARY.fullmatch(path.name):
                with contextlib.suppress(OSError):
                    path.unlink()


def sync_folder(folder: Path) -> None:
    """Make the new name itself last; systems that can't sync a folder are left to themselves."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _cannot_write(folder: Path, error: OSError) -> VisitError:
    reason = error.strerror or type(error).__name__
    if error.errno in _FULL:
        again = "then process the visit again: what was transcribed is kept"
        return NoRoomError(f"{folder}: can't be written ({reason}); make room on its disk, {again}")
    if error.errno in (errno.ENOENT, errno.ENOTDIR):
        again = "put it back, then process the visit again"
        return NoRoomError(f"{folder}: was taken away while the visit was processed; {again}")
    return VisitError(
        f"{folder}: can't be written ({reason}); copy the visit to a folder that you may change"
    )
