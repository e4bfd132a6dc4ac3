"""The journal of corrections: VISIT/corrections.jsonl, which only ever grows.

Each line is JSON, `{"check": ..., "correction": {...}}`; `check` is the start of the SHA-256 of the
correction's own text, so that half a line is never taken for a whole one. A line counts once it is on the
disk with its line break. What a killed process or a full disk left of a line is put aside into `.voicenotes`
before the next one is written.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import json
import os
import stat
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pydantic import ValidationError

from voicenotes.corrections.values import CORRECTION, Correction
from voicenotes.errors import NoRoomError, VisitError
from voicenotes.files import CORRECTIONS_FILE, sync_folder, visit_folder
from voicenotes.lock import short_lock

if TYPE_CHECKING:
    from collections.abc import Callable
    from io import RawIOBase
    from pathlib import Path

HOME = ".voicenotes"
TORN_FILE = "corrections.torn"
LOCK_FILE = "corrections.lock"
CHECK_DIGITS = 16
# Some ten thousand corrections; more is no journal of one visit.
MOST_BYTES = 64_000_000
_FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)


@dataclass(frozen=True)
class Journal:
    """What stands in a journal.

    `damaged` says of lines that can't be read what is wrong with them; `torn` is the number of bytes at the
    end that are no whole line.
    """

    corrections: tuple[Correction, ...] = ()
    damaged: tuple[str, ...] = ()
    torn: int = 0


def read_corrections(folder: str | Path) -> tuple[Correction, ...]:
    """The corrections of a visit in the order in which they were made; none where there is no journal."""
    return read_journal(folder).corrections


def read_journal(folder: str | Path) -> Journal:
    """The journal of a visit. Raises VisitError when it can't be read at all."""
    return journal_of(_content(visit_folder(folder) / CORRECTIONS_FILE))


def _content(path: Path) -> bytes:
    """What stands in a journal's file; nothing where there is none."""
    try:
        handle = _opened(path, os.O_RDONLY)
    except FileNotFoundError:
        return b""
    with os.fdopen(handle, "rb") as file:
        try:
            return file.read(MOST_BYTES + 1)
        except OSError as error:
            raise VisitError(f"{path}: can't be read ({error.strerror}); change its permissions") from None


def journal_of(content: bytes) -> Journal:
    """A journal from its bytes."""
    if len(content) > MOST_BYTES:
        raise VisitError(f"{CORRECTIONS_FILE}: is too large for a journal of corrections; move it away")
    *lines, rest = content.split(b"\n")
    found: dict[str, Correction] = {}
    damaged = []
    for number, line in enumerate(lines, 1):
        correction = _read(line)
        if isinstance(correction, Correction):
            found.setdefault(correction.id, correction)
        elif line.strip():
            damaged.append(f"line {number} of {CORRECTIONS_FILE} {correction}, so it does not count")
    return Journal(tuple(found.values()), tuple(damaged), len(rest))


def append(
    folder: str | Path,
    correction: Correction,
    allowed: Callable[[tuple[Correction, ...]], None] | None = None,
) -> tuple[Correction, ...]:
    """Add a correction to the journal, on the disk when this returns; all of them as they stand then.

    One whose id the journal has is there already and is not added again. `allowed` is given those that stand
    there, with the journal locked, and raises what it likes to refuse.
    Raises NoRoomError when there is no room for it and VisitError when it can't be written: then it does not
    count, and the journal is what it was.
    """
    folder = visit_folder(folder)
    home, path = folder / HOME, folder / CORRECTIONS_FILE
    if home.is_symlink():
        raise VisitError(f"{home}: is a link, and nothing is written through links; remove it")
    try:
        home.mkdir(exist_ok=True)
        with short_lock(folder, home / LOCK_FILE):
            content = _content(path)
            journal = journal_of(content)
            if correction.id in {known.id for known in journal.corrections}:
                return journal.corrections
            if allowed:
                allowed(journal.corrections)
            end = len(content) - journal.torn
            if journal.torn:
                _put_aside(home, content[end:])
            with os.fdopen(_opened(path, os.O_RDWR | os.O_CREAT), "r+b", buffering=0) as file:
                _write(file, end, line_of(correction))
            sync_folder(folder)
    except OSError as error:
        raise _cannot_write(path, error) from None
    return (*journal.corrections, correction)


def line_of(correction: Correction) -> bytes:
    """The correction as a line of the journal."""
    text = json.dumps(correction.model_dump(mode="json"), ensure_ascii=True, sort_keys=True)
    return f'{{"check": "{_check(text)}", "correction": {text}}}\n'.encode()


def _check(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()[:CHECK_DIGITS]


def _read(line: bytes) -> Correction | str:
    """The correction in a line, or what is wrong with it."""
    try:
        found = json.loads(line)
        text = json.dumps(found["correction"], ensure_ascii=True, sort_keys=True)
        if found["check"] != _check(text):
            return "was changed after it was written"
    except (ValueError, KeyError, TypeError, RecursionError):
        return "is damaged"
    try:
        return CORRECTION.validate_python(found["correction"], strict=False)
    except ValidationError:
        return "is of a kind not known here (update voicenotes)"


def _opened(path: Path, flags: int) -> int:
    """The journal, open; VisitError when it is a link or no file: nothing goes through links."""
    try:
        handle = os.open(path, flags | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0), 0o644)
    except FileNotFoundError:
        raise
    except OSError as error:
        if error.errno == errno.ELOOP:
            raise VisitError(f"{path}: is a link, and corrections are kept in no link; remove it") from None
        if error.errno == errno.EISDIR:
            raise VisitError(f"{path}: is a folder; move it away") from None
        if flags & os.O_CREAT:
            raise
        raise VisitError(f"{path}: can't be read ({error.strerror}); change its permissions") from None
    if not stat.S_ISREG(os.fstat(handle).st_mode):
        os.close(handle)
        raise VisitError(f"{path}: is no ordinary file; move it away")
    return handle


def _write(file: RawIOBase, end: int, line: bytes) -> None:
    """Write a line at `end`, cutting off what stands behind it; what could not be finished is taken back."""
    file.truncate(end)
    file.seek(end)
    rest = memoryview(line)
    try:
        while rest:
            rest = rest[file.write(rest) or 0 :]
        os.fsync(file.fileno())
    except OSError:
        with contextlib.suppress(OSError):
            file.truncate(end)
            os.fsync(file.fileno())
        raise


def _put_aside(home: Path, torn: bytes) -> None:
    """Keep what there is of a line that was not finished: somebody may want to look at it."""
    flags = os.O_WRONLY | os.O_CREAT | os.O_APPEND | getattr(os, "O_NOFOLLOW", 0)
    handle = os.open(home / TORN_FILE, flags, 0o644)
    try:
        os.write(handle, torn + b"\n")
        os.fsync(handle)
    finally:
        os.close(handle)


def _cannot_write(path: Path, error: OSError) -> VisitError:
    reason = error.strerror or type(error).__name__
    if error.errno in _FULL:
        return NoRoomError(
            f"{path}: has no room ({reason}); the correction was not kept: make room, try again"
        )
    if error.errno in (errno.ENOENT, errno.ENOTDIR):
        return NoRoomError(f"{path}: the visit's folder was taken away; put it back and try again")
    return VisitError(f"{path}: can't be written ({reason}); change the folder's permissions")
