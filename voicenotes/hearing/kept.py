"""Transcripts kept beside the visit, so that each is made only once.

A kept transcript is found by the recording's content, the engine, its model and settings, and the pack's
words; when any of these changes, the recording is transcribed anew. Its name plays no part. Of a long
recording every finished window is kept too, until the whole is done. Each file begins with the SHA-256 of
its rest: one that is not exactly what was written is taken for none.
"""

from __future__ import annotations

import contextlib
import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pydantic import ValidationError

from voicenotes.files import write_atomically
from voicenotes.hearing.messages import Piece
from voicenotes.model import Frozen, Quality, Transcript

if TYPE_CHECKING:
    from pathlib import Path

    from voicenotes.speech.engine import SpeechEngine

# Raise it when the same recording gives other samples, windows or qualities than before.
FORMAT = 1
_CHECK_BYTES = len('{"check":"') + 64 + len('",')


class Heard(Frozen):
    """What became of one recording: its transcript if it could be read, and what is wrong with it.

    `sha256` is that of the content which was heard; None when it could not be told.
    """

    transcript: Transcript | None = None
    seconds: float = 0.0
    problem: str | None = None
    created_at: str | None = None
    quality: Quality | None = None
    sha256: str | None = None


class Origin(Frozen):
    """What a kept transcript was made from."""

    sha256: str
    engine: str
    model: str | None = None
    settings: str
    material: str
    format: int = FORMAT


class Kept(Frozen):
    """A kept transcript, of a whole recording (`heard`) or of one window (`piece`), as its file holds it."""

    origin: Origin
    heard: Heard | None = None
    piece: Piece | None = None


@dataclass(frozen=True)
class Ear:
    """An engine, the fingerprint of what it was told about the pack, and where transcripts are kept."""

    engine: SpeechEngine
    material: str
    cache: Path

    def origin(self, sha256: str) -> Origin:
        """What a transcript of the recording with this hash is made from."""
        engine = self.engine
        return Origin(
            sha256=sha256, engine=engine.name, model=engine.model, settings=engine.settings,
            material=self.material,
        )  # fmt: skip


def place(ear: Ear, origin: Origin, number: int | None = None) -> Path:
    """The file for a whole recording, or for its window with this number."""
    made_from = origin.model_dump_json(exclude={"sha256"})
    mark = hashlib.sha256(made_from.encode()).hexdigest()[:12]
    ending = "" if number is None else f".{number:05d}"
    return ear.cache / f"{origin.sha256[:32]}-{mark}{ending}.json"


def recall(ear: Ear, sha256: str) -> Heard | None:
    """The kept transcript of a recording; None when there is none, or none that can be used."""
    origin = ear.origin(sha256)
    kept = _read(place(ear, origin), origin)
    return kept.heard if kept else None


def recall_pieces(ear: Ear, sha256: str) -> dict[int, Piece]:
    """The kept windows of a recording that was not finished, by number."""
    origin = ear.origin(sha256)
    whole = place(ear, origin)
    kept = [_read(path, origin) for path in sorted(whole.parent.glob(f"{whole.stem}.*.json"))]
    return {found.piece.number: found.piece for found in kept if found and found.piece}


def kept_words(cache: Path, sha256: str, engine: str | None, model: str | None) -> Transcript | None:
    """The transcript that an engine made of a recording, whatever its settings were: of several the newest.

    None where none is kept, or none that is whole.
    """
    found = []
    for path in cache.glob(f"{sha256[:32]}-*.json"):
        kept = _content(path)
        if kept is None or kept.origin.sha256 != sha256 or kept.heard is None:
            continue
        if kept.heard.transcript and (kept.origin.engine, kept.origin.model) == (engine, model):
            found.append((path.stat().st_mtime_ns, path.name, kept.heard.transcript))
    return max(found, key=lambda each: each[:2])[2] if found else None


def keep(ear: Ear, sha256: str, heard: Heard) -> None:
    """Keep a recording's transcript; its windows need not be kept then. Raises VisitError."""
    origin = ear.origin(sha256)
    whole = place(ear, origin)
    _write(whole, Kept(origin=origin, heard=heard))
    for path in whole.parent.glob(f"{whole.stem}.*.json"):
        with contextlib.suppress(OSError):
            path.unlink()


def drop_finished_pieces(cache: Path) -> None:
    """Remove windows that a killed run left beside the transcript of their whole recording."""
    for path in cache.glob("*.*.json"):
        whole = path.with_name(path.name.partition(".")[0] + ".json")
        if whole != path and whole.exists():
            with contextlib.suppress(OSError):
                path.unlink()


def keep_piece(ear: Ear, sha256: str, piece: Piece) -> None:
    """Keep the transcript of one window. Raises VisitError."""
    origin = ear.origin(sha256)
    _write(place(ear, origin, piece.number), Kept(origin=origin, piece=piece))


def _write(path: Path, kept: Kept) -> None:
    """As JSON whose first member, `check`, is the hash of the bytes behind it."""
    rest = kept.model_dump_json(exclude_none=True)[1:]
    check = hashlib.sha256(rest.encode()).hexdigest()
    with contextlib.suppress(OSError):  # somebody may have cleared it away
        path.parent.mkdir(exist_ok=True)
    write_atomically(path, f'{{"check":"{check}",{rest}')


def _read(path: Path, origin: Origin) -> Kept | None:
    kept = _content(path)
    return kept if kept and kept.origin == origin else None


def _content(path: Path) -> Kept | None:
    """What a file keeps; None where it can't be read or isn't exactly what was written."""
    try:
        content = path.read_bytes()
    except OSError:
        return None
    head, rest = content[:_CHECK_BYTES], content[_CHECK_BYTES:]
    if head != f'{{"check":"{hashlib.sha256(rest).hexdigest()}",'.encode():
        return None
    try:
        return Kept.model_validate_json(b"{" + rest)
    except ValidationError:
        return None
