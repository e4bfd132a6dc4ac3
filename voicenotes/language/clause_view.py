"""One remark with all that was found in it, and what is carried over from those before it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from voicenotes.language.choose_check import Here
from voicenotes.language.hits import TermHit
from voicenotes.language.lexicon import Subject
from voicenotes.language.number_words import counting_words
from voicenotes.language.remarks import noun_phrase_start
from voicenotes.vocabulary.expand import morphology

if TYPE_CHECKING:
    from voicenotes.language.choose_check import Choice
    from voicenotes.language.grounds import Grounds
    from voicenotes.language.hits import ConditionHit
    from voicenotes.language.landmarks import Landmarks
    from voicenotes.language.lexicon import Judgement, Lexicon
    from voicenotes.language.quantities import Quantity
    from voicenotes.language.remarks import Clause
    from voicenotes.language.scope import Reach
    from voicenotes.language.words import Words
    from voicenotes.model import Polarity, Reading

_OBJECT_LINKS = frozenset({"of", "for", "to"})
MOST_TOPICS = 3  # further back nobody says "it"
CERTAINTY_CARRIED = 0.85  # that a subject named in an earlier remark is meant


@dataclass(frozen=True)
class Topic:
    """What one remark was about: the things it named and the checks it judged, and in which sentence."""

    terms: tuple[TermHit, ...]
    checks: tuple[str, ...]
    sentence: int = -1

    def subjects(self, at: int) -> list[TermHit]:
        """The things named, and the checks judged as if each were named without words at a place."""
        return [
            *self.terms,
            *(TermHit(at, at, (Subject("check", check),), "exact", "") for check in self.checks),
        ]


@dataclass(frozen=True)
class Tone:
    """Whether the last remark called things good or bad (None: neither), in which sentence, and what the
    word that did so can mean."""

    polarity: Polarity | None
    sentence: int
    meanings: tuple[Judgement, ...] = ()


@dataclass(frozen=True)
class Heard:
    """What was heard of values so far.

    metric    whether the speaker works metric, known from the whole visit; None when he doesn't tell
    facts     the numbers noted so far by fact; `noted` the names of all facts, the last one last
    values    the values measured last, with their check
    nominals  what the next value should be ("the plate says four hundred")
    """

    metric: bool | None = None
    facts: tuple[tuple[str, float], ...] = ()
    noted: tuple[str, ...] = ()
    values: tuple[tuple[str, Quantity], ...] = ()
    nominals: tuple[Quantity, ...] = ()


@dataclass(frozen=True)
class Context:
    """What was spoken of just before, newest first, and where he stands."""

    topics: tuple[Topic, ...] = ()
    station: str | None = None
    untested_in: int | None = None
    tone: Tone | None = None
    sweeping: bool = False
    generic_in: int | None = None
    hint: str | None = None
    heard: Heard = Heard()

    @property
    def terms(self) -> tuple[TermHit, ...]:
        """The things named last."""
        return self.topics[0].terms if self.topics else ()

    @property
    def checks(self) -> tuple[str, ...]:
        """The checks judged last."""
        return self.topics[0].checks if self.topics else ()

    @property
    def here(self) -> Here:
        """Where he stands, and the checks of the last few remarks."""
        return Here(
            self.station or self.hint, frozenset(check for topic in self.topics for check in topic.checks)
        )

    def judged_before(self, at: int) -> list[TermHit]:
        """The checks judged just before, as if each were named without words at a place."""
        return Topic((), self.checks).subjects(at)

    def about(self, topic: Topic, station: str | None) -> Context:
        """The context after a remark on a topic."""
        return Context((topic, *self.topics[: MOST_TOPICS - 1]), station, heard=self.heard)

    def still_about(self, topic: Topic, station: str | None) -> Context:
        """The context after a remark that went on with the last topic."""
        return Context((topic, *self.topics[1:]), station, heard=self.heard)

    def back_to(self, topic: Topic) -> Context:
        """The context of a correction: "it" is what was spoken of in the remark that is taken back."""
        return replace(self, topics=(topic, *(other for other in self.topics if other != topic)))

    def at_station(self, station: str) -> Context:
        """The context after a station was announced: what was judged elsewhere is no subject any more."""
        return Context(
            tuple(replace(topic, checks=()) for topic in self.topics[:1]),
            station,
            self.untested_in,
            heard=self.heard,
        )

    def forgotten(self) -> Context:
        """The context after a long pause: only where he stands."""
        return Context((), self.station, heard=replace(self.heard, values=(), nominals=()))


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

    def is_aside(self, term: TermHit) -> bool:
        """Whether a thing only says under what conditions: "under that oil", not "state of the oil"."""
        at = noun_phrase_start(self.words, term.start, self.clause.start) - 1
        return at in self.marks.links and self.words.norms[at] not in _OBJECT_LINKS

    def is_unknown(self, word: int) -> bool:
        """Whether a word is neither grammar nor anything that the pack knows."""
        norm = self.words.norms[word]
        plain = word not in self.covered and norm.isalpha()
        return plain and norm not in morphology().function and norm not in counting_words()


@dataclass(frozen=True)
class Found:
    """A check judged by one condition, before the cues about speaker and time are applied."""

    choice: Choice
    polarity: Polarity
    condition: ConditionHit | None
    confidence: float
    because: str
    reading: Reading | None = None
    grounds: Grounds = ()
    by_limit: bool = False
