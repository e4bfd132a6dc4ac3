"""Text with times, for every kind of transcript file: cleaned, spread over its time, and checked."""

from __future__ import annotations

import math
import re

from voicenotes.errors import RecordingError
from voicenotes.model import Word

# Recognisers round start and end apart: an end this little before its start is put right.
ROUNDING_SECONDS = 0.05
_DIRECTION_MARKS = dict.fromkeys(map(ord, "\u200b\u200e\u200f\u2060\ufeff"))
CONTROL = re.compile(r"[\x00-\x08\x0e-\x1a\x1c-\x1f\x7f]")


def spread_words(tokens: list[str], start: float, end: float, confidence: float = 1.0) -> list[Word]:
    """Give each token an equal share of start..end (seconds)."""
    if not tokens:
        return []
    share = (end - start) / len(tokens)
    times = [round(start + index * share, 3) for index in range(len(tokens))]
    ends = [*times[1:], round(end, 3)]
    return [
        Word(text=token, start=begin, end=max(begin, finish), confidence=confidence)
        for token, begin, finish in zip(tokens, times, ends, strict=True)
    ]


def clean_text(text: str) -> str:
    """Text without invisible direction marks, control characters and broken surrogates."""
    whole = text.encode("utf-8", "replace").decode("utf-8")
    return CONTROL.sub(" ", whole.translate(_DIRECTION_MARKS))


def checked_end(start: float, end: float, where: str) -> float:
    """The end, not before the start; a difference of rounding is put right."""
    if not math.isfinite(start) or not math.isfinite(end):
        raise RecordingError(f"{where}: a time is too large; correct it")
    if end < start - ROUNDING_SECONDS:
        raise RecordingError(f"{where}: ends at {end:g} s, before its start at {start:g} s; correct it")
    return max(start, end)


def shown(value: object) -> str:
    """A value as it stands in the file, on one short line of printable characters."""
    text = ascii(value)
    return text if len(text) <= 40 else text[:37] + "..."
