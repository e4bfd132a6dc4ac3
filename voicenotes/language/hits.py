"""Phrases of the pack found in the words (values only): terms, conditions, cues, places, fact words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from voicenotes.language.lexicon import CueUse, How, Judgement, Subject

GUESSED = {"sound": "sounds like", "spelling": "spelt nearly like"}


@dataclass(frozen=True)
class TermHit:
    """A term: words start..end (exclusive) name each of `subjects`.

    `inner` are the parts that shorter terms inside it name: "turret" in "turret indexing".
    """

    start: int
    end: int
    subjects: tuple[Subject, ...]
    how: How
    phrase: str
    inner: tuple[Subject, ...] = ()

    @property
    def found(self) -> str:
        """How it was found, for the reasons given: a guess says what it was taken for."""
        if self.how in GUESSED:
            return f"{GUESSED[self.how]} {self.phrase}, a guess"
        return self.how


@dataclass(frozen=True)
class ConditionHit:
    """A condition: its meanings, and those of shorter phrases inside it as a fallback."""

    start: int
    end: int
    meanings: tuple[Judgement, ...]
    inner: tuple[Judgement, ...]
    how: How
    phrase: str

    @property
    def is_noun(self) -> bool:
        """Whether it only names something unwanted or wanted."""
        return all(meaning.polarity in ("unwanted", "wanted", "name") for meaning in self.meanings)

    @property
    def judges(self) -> bool:
        """Whether it can judge by itself, not just name a side of something."""
        return any(meaning.polarity != "name" for meaning in self.meanings)


@dataclass(frozen=True)
class CueHit:
    """A cue phrase with its kind and reach."""

    start: int
    end: int
    use: CueUse
    phrase: str

    @property
    def kind(self) -> str:
        """The cue's kind, such as `negation`."""
        return self.use.kind


@dataclass(frozen=True)
class PlaceHit:
    """An announcement of a station."""

    start: int
    end: int
    station: str


@dataclass(frozen=True)
class FactHit:
    """Words that lead to a fact's value, follow it, or are it (`value`)."""

    start: int
    end: int
    fact: str
    role: str
    value: str | None


@dataclass(frozen=True)
class Hits:
    """All that was found in one transcript, each list in order of words."""

    terms: tuple[TermHit, ...]
    conditions: tuple[ConditionHit, ...]
    cues: tuple[CueHit, ...]
    places: tuple[PlaceHit, ...]
    facts: tuple[FactHit, ...]
