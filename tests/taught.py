"""What tests of learning share: visits of ready transcripts that were processed and corrected."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import correcting as c

from voicenotes.corrections.journal import append
from voicenotes.corrections.values import Correction
from voicenotes.model import Record
from voicenotes.visit import process_visit

Correct = Callable[[Record], Correction]


def visit(folder: Path, text: str, pack: Path | str, *corrections: Correct) -> Path:
    """A visit of one ready transcript, processed, with its corrections in the journal."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "memo.txt").write_text(text, encoding="utf-8")
    record = process_visit(folder, pack)
    for correct in corrections:
        append(folder, correct(record))
    return folder


def tagged(words: str, check: str, says: str = "bad") -> Correct:
    return lambda record: c.tag(record, words, check, says)


def moved(words: str, check: str, to: str | None) -> Correct:
    return lambda record: c.move(record, words, check, to)


def put_right(at: int, heard: str, said: str) -> Correct:
    return lambda record: c.words(record, at, heard, said)


def ids(found: Sequence[object]) -> list[str]:
    """The ids of suggestions."""
    return [str(getattr(one, "id")) for one in found]  # noqa: B009
