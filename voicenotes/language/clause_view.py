"""One remark with all that was found in it, and what is carried over from those before it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from voicenotes.language.hits import TermHit
from voicenotes.language.lexicon import Subject
from voicenotes.language.remarks import noun_phrase_start
from voicenotes.vocabulary.expand import morphology

if TYPE_CHECKING:
    from voicenotes.language.choose_check import Choice
    from voicenotes.language.hits import ConditionHit
    from voicenotes.language.landmarks import Landmarks
    from voicenotes.language.lexicon import Lexicon
    from voicenotes.language.quantities import Quantity
    from voicenotes.language.remarks import Clause
    from voicenotes.language.scope import Reach
    from voicenotes.language.words import Words
    from voicenotes.model import Polarity, Reading

CERTAINTY_CARRIED = 0.85  # that a subject named in an earlier remark is meant


@dataclass(frozen=True)
class Context:
    """What was spoken of just before: the things named, the checks judged, and where he stands.

    metric    whether the speaker works metric, known from the whole visit; None when he doesn't tell
    facts     the numbers noted so far by fact; `noted` the names of all facts, the last one last
    values    the values measured last, with their check
    nominals  what the next value should be ("the plate says four hundred")
    """

    terms: tuple[TermHit, ...] = ()
    checks: tuple[str, ...] = ()
    station: str | None = None
    untested_in: int | None = None
    metric: bool | None = None
    facts: tuple[tuple[str, float], ...] = ()
    noted: tuple[str, ...] = ()
    values: tuple[tuple[str, Quantity], ...] = ()
    nominals: tuple[Quantity, ...] = ()

    def judged_before(self, at: int) -> list[TermHit]:
        """The checks judged just before, as if each were named without words at a place."""
        return [TermHit(at, at, (Subject("check", check),), "exact", "") for check in self.checks]


@dataclass(frozen=True)
class ClauseView:
    """One remark with all that was found in it."""

    words: Words
    marks: Landmarks
    clause: Clause
    terms: tuple[TermHit, ...]
    conditions: tuple[ConditionHit, ...]
    quantities: tuple[Quantity, ...]
    reach: Reach
    covered: frozenset[int]
    lexicon: Lexicon

    def say(self, start: int, end: int) -> str:
        """The transcript's words start..end, without the marks around them."""
        return self.words.text[self.words.starts[start] : self.words.ends[end - 1]].rstrip(".,;:!?")

    def cite(self, start: int, end: int) -> str:
        """The same in quotation marks, for a reason given."""
        return f'"{self.say(start, end)}"'

    def word_before(self, start: int) -> str:
        """The remark's word before a place, or nothing."""
        return self.words.norms[start - 1] if start > self.clause.start else ""

    def follows_link(self, term: TermHit) -> bool:
        """Whether a thing only says where something is: "... on the guards"."""
        return noun_phrase_start(self.words, term.start, self.clause.start) - 1 in self.marks.links

    def is_unknown(self, word: int) -> bool:
        """Whether a word is neither grammar nor anything that the pack knows."""
        norm = self.words.norms[word]
        return word not in self.covered and norm.isalpha() and norm not in morphology().function


@dataclass(frozen=True)
class Found:
    """A check judged by one condition, before the cues about speaker and time are applied."""

    choice: Choice
    polarity: Polarity
    condition: ConditionHit | None
    confidence: float
    because: str
    reading: Reading | None = None
    by_limit: bool = False
