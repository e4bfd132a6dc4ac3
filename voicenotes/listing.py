"""Which files of a visit's folder are its recordings."""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from typing import TYPE_CHECKING

from voicenotes.files import files_in, is_own

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path


@dataclass(frozen=True)
class Listing:
    """The files of a visit, each list in natural order of the names.

    `replaced` are recordings in whose place a transcript of the same name is read, `others` no recordings
    by their names.
    """

    recordings: tuple[Path, ...]
    replaced: tuple[Path, ...]
    others: tuple[Path, ...]


def recordings_in(folder: Path) -> Listing:
    """The recordings of a visit: audio and transcripts. VisitError when the folder can't be read.

    A transcript named like a recording ("memo.txt" beside "memo.m4a") is read in its place.
    """
    from voicenotes.audio.decode import looks_like_audio

    files = [path for path in files_in(folder) if not is_own(path.name)]
    transcripts = {_stem(path) for path in files if is_transcript(path)}
    found, replaced, others = [], [], []
    for path in files:
        if is_transcript(path):
            found.append(path)
        elif not looks_like_audio(path):
            others.append(path)
        elif _stem(path) in transcripts:
            replaced.append(path)
        else:
            found.append(path)
    return Listing(tuple(found), tuple(replaced), tuple(others))


def is_transcript(path: Path) -> bool:
    """Whether the name is one of a ready-made transcript."""
    from voicenotes.speech.transcript_files import TRANSCRIPT_SUFFIXES

    return path.suffix.lower() in TRANSCRIPT_SUFFIXES


def listed(names: Sequence[str], most: int = 5) -> str:
    """Names in a line, the first few of many."""
    return ", ".join(names[:most]) + (f" and {len(names) - most} more" if len(names) > most else "")


def _stem(path: Path) -> str:
    """The name without its ending; letters with accents are the same however a system writes them."""
    return unicodedata.normalize("NFC", path.stem)
