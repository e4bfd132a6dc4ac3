"""Commands among the words of a recording that was listened to: found, and taken out before it is read.

A command is a whole utterance: a wake phrase and one of the pack's commands, nothing else between two pauses.
One word of a longer command may be misheard, unless it takes something back. A remark that merely contains
the words stays a remark, and so does a wake phrase with anything else behind it. Only recordings that were
cut into utterances have commands: what is said into a telephone is not said to voicenotes.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from voicenotes.model import Transcript, Word
    from voicenotes.vocabulary.commands import Commands, Does

FEWEST_FOR_ONE_WRONG = 3  # words of a command, without the wake phrase, of which one may be misheard


@dataclass(frozen=True)
class SpokenCommand:
    """A command, what it does, its words as they were heard, and when, in seconds of its recording."""

    does: Does
    quote: str
    start: float
    end: float


def without_commands(
    transcript: Transcript, commands: Commands
) -> tuple[Transcript, tuple[SpokenCommand, ...]]:
    """The transcript to be read, without the words of commands, and the commands in order.

    Of one that takes back its own phrase stays, without the wake phrase: it is what the reader knows.
    """
    if not transcript.utterances:
        return transcript, ()
    starts = transcript.utterances
    kept: list[Word] = []
    found: list[SpokenCommand] = []
    for _, group in groupby(transcript.words, key=lambda word: bisect_right(starts, word.start + 1e-6)):
        words = list(group)
        texts = tuple(word.text.lower().strip(".,!?") for word in words)
        does = meaning_of(texts, commands)
        if does is None:
            kept += words
            continue
        quote = " ".join(word.text for word in words)
        found.append(SpokenCommand(does, quote, words[0].start, words[-1].end))
        if does == "take_back":
            kept += words[_waking(texts, commands) :]
    return (transcript.model_copy(update={"words": tuple(kept)}) if found else transcript), tuple(found)


def meaning_of(words: Sequence[str], commands: Commands) -> Does | None:
    """What an utterance of these words does, all of them; None for one that is no command."""
    exact = commands.meanings.get(tuple(words))
    if exact:
        return exact
    wake = _waking(words, commands)
    if not wake or len(words) - wake < FEWEST_FOR_ONE_WRONG:
        return None
    near = {
        does
        for said, does in commands.meanings.items()
        if len(said) == len(words)
        and said[:wake] == tuple(words[:wake])
        and sum(one != other for one, other in zip(said, words, strict=True)) == 1
    }
    return near.pop() if len(near) == 1 and "take_back" not in near else None


def is_addressed(words: Sequence[str], commands: Commands) -> bool:
    """Whether an utterance begins with a wake phrase, whatever follows."""
    return _waking(words, commands) > 0


def _waking(words: Sequence[str], commands: Commands) -> int:
    """How many of the first words are a wake phrase: the longest one that fits."""
    return max((len(wake) for wake in commands.waking if tuple(words[: len(wake)]) == wake), default=0)
