"""Text with times, for every kind of transcript file: cleaned, spread over its time, and checked."""

from __future__ import annotations

import math
import re
import reprlib
from itertools import islice

from voicenotes.errors import RecordingError
from voicenotes.model import Word

# Recognisers round start and end apart: an end this little before its start is put right.
ROUNDING_SECONDS = 0.05
# No transcript has a time beyond this, about 115 days.
LARGEST_SECONDS = 10_000_000.0
# A day of talk has about 250,000 words.
MOST_WORDS = 500_000
LONGEST_WORD = 1_000
_DIRECTION_MARKS = dict.fromkeys(
    map(ord, "\u200b\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2060\u2066\u2067\u2068\u2069\ufeff")
)
_TOKEN = re.compile(r"\S+")
# Characters that no text has: a file that has one is no text.
NO_TEXT = re.compile(r"[\x00-\x08\x0e-\x1a\x1c-\x1f\x7f]")
# What a terminal would act on: commands to it (colours and the like) and single control characters.
_COMMAND = re.compile(r"\x1b\[[0-?]*[ -/]*[@-~]|\x1b[@-Z\\-_]")
_CONTROL = re.compile(r"[\x00-\x08\x0e-\x1f\x7f-\x84\x86-\x9f]")


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
    """Text without invisible direction marks, terminal commands, control characters, broken surrogates."""
    whole = text.encode("utf-8", "replace").decode("utf-8")
    return _CONTROL.sub(" ", _COMMAND.sub("", whole.translate(_DIRECTION_MARKS)))


def checked_end(start: float, end: float, where: str) -> float:
    """The end, not before the start; a difference of rounding is put right."""
    if not math.isfinite(start) or not math.isfinite(end) or max(start, end) > LARGEST_SECONDS:
        raise RecordingError(f"{where}: a time is too large; correct it")
    if end < start - ROUNDING_SECONDS:
        raise RecordingError(f"{where}: ends at {end:g} s, before its start at {start:g} s; correct it")
    return max(start, end)


def refuse_endless(text: str, name: str) -> None:
    """RecordingError for a text of more words than anybody says in a day, or with a word longer than any."""
    if len(text) <= LONGEST_WORD:
        return
    lengths = [found.end() - found.start() for found in islice(_TOKEN.finditer(text), MOST_WORDS + 1)]
    refuse_many(len(lengths), name)
    if max(lengths, default=0) > LONGEST_WORD:
        raise RecordingError(
            f"{name}: has a word of more than {LONGEST_WORD:,} characters; is it the right file?"
        )


def refuse_many(words: int, name: str) -> None:
    """RecordingError for more words than anybody says in a day."""
    if words > MOST_WORDS:
        raise RecordingError(f"{name}: has more than {MOST_WORDS:,} words; is it the right file?")


def shown(value: object) -> str:
    """A value as it stands in the file, on one short line of printable characters."""
    if isinstance(value, (list, dict)):
        text = ascii(reprlib.repr(value))[1:-1]  # of bounded depth, however deep the value
    else:
        text = ascii(value[:50] if isinstance(value, str) else value)
    return text if len(text) <= 40 else text[:37] + "..."
