"""Whether a stretch of talk is about the machine at all: everyday speech is not turned into findings.

A technician's remarks consist of words that the pack knows, words that bind them, and few others. In
talk about something else most of the words that carry meaning are foreign to the pack, even where a
"door", a "key" or a "light" stands among them. So the share of foreign words around a remark decides
whether what was found in it counts. How many are too many depends on how plainly the trade was spoken:
see `vocab/english/relevance.yaml`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import accumulate
from typing import TYPE_CHECKING

from pydantic import BaseModel, ConfigDict, Field

from voicenotes.language.hits import GUESSED
from voicenotes.language.number_words import counting_words
from voicenotes.language.spelled_codes import spelling
from voicenotes.vocabulary.expand import morphology
from voicenotes.vocabulary.homes import SHARED_LANGUAGE, everyday_words, vocab_home
from voicenotes.vocabulary.yaml_files import read_as

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable

    from voicenotes.language.clause_view import ClauseView
    from voicenotes.language.hits import TermHit
    from voicenotes.language.lexicon import Lexicon
    from voicenotes.language.mentions import Mention
    from voicenotes.language.words import Words

_BARELY_SAID = frozenset({"named"})


class Limits(BaseModel):
    """The largest share of foreign words for one kind of evidence: judged, and only named."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    judged: float = Field(ge=0, le=1)
    named: float = Field(ge=-1, le=1, description="-1 where merely naming it never counts")


class Relevance(BaseModel):
    """relevance.yaml: how much foreign talk around a remark keeps it from counting."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    window_words: int = Field(gt=0)
    common_rank: int = Field(gt=0)
    plain: Limits
    weak: Limits
    unnamed: Limits


@lru_cache(maxsize=1)
def relevance() -> Relevance:
    """relevance.yaml, read once."""
    return read_as(vocab_home() / SHARED_LANGUAGE / "relevance.yaml", Relevance)


@lru_cache(maxsize=1)
def common_words() -> frozenset[str]:
    """The most frequent words of everyday English."""
    return frozenset(everyday_words()[: relevance().common_rank])


@dataclass(frozen=True)
class ForeignWords:
    """How many of the words before each place carry a meaning that the pack doesn't know."""

    before: tuple[int, ...]

    def share(self, start: int, end: int) -> float:
        """The share of foreign words from some words before `start` to some after `end`."""
        reach = relevance().window_words
        first, last = max(0, start - reach), min(len(self.before) - 1, end + reach)
        found, in_all = self.before[last] - self.before[first], last - first
        return found / in_all if found > 1 or in_all > reach else 0.0  # one odd word is no other subject


def foreign_words(words: Words, covered: Collection[int], lexicon: Lexicon) -> ForeignWords:
    """Count the words that are neither covered by a hit, nor grammar, a number, a spelled letter or a word of
    the trade."""
    spelled = spelling().fillers | spelling().letters.keys()
    grammar, known = morphology().function | counting_words() | spelled, lexicon.known_words
    foreign = (
        place not in covered and norm.isalpha() and norm not in grammar and norm not in known
        for place, norm in enumerate(words.norms)
    )
    return ForeignWords((0, *accumulate(foreign)))


def relevant(view: ClauseView, foreign: ForeignWords, mentions: Iterable[Mention]) -> list[Mention]:
    """The mentions of a remark that count, given how foreign the talk around it is."""
    share = foreign.share(view.clause.start, view.clause.end)
    return [mention for mention in mentions if share <= _limit(view, mention)]


def is_about_something_else(view: ClauseView, foreign: ForeignWords) -> bool:
    """Whether the talk around a remark is so foreign that what it names is no subject for the next one."""
    return foreign.share(view.clause.start, view.clause.end) > relevance().plain.judged


def speaks_of_it(view: ClauseView, foreign: ForeignWords, terms: Iterable[TermHit] = ()) -> bool:
    """Whether the talk around a remark is near enough to the trade for facts and fittings."""
    plain = any(_is_plain(view, term) for term in terms)
    limits = relevance().plain if plain else relevance().weak
    return foreign.share(view.clause.start, view.clause.end) <= limits.judged


def _limit(view: ClauseView, mention: Mention) -> float:
    parts = {mention.check, *view.lexicon.checks[mention.check].parts}
    leading = [term for term in view.terms if any(subject.id in parts for subject in term.subjects)]
    rules = relevance()
    if not leading:
        limits = rules.unnamed
    elif any(_is_plain(view, term) for term in leading):
        limits = rules.plain
    else:
        limits = rules.weak
    return limits.named if mention.polarity in _BARELY_SAID else limits.judged


def _is_plain(view: ClauseView, term: TermHit) -> bool:
    """Whether a term is the trade's own: several words, or one that everyday English hardly uses. A guess
    never is."""
    if term.how in GUESSED:
        return False
    said = view.words.norms[term.start : term.end]
    return len(said) > 1 or any(word not in common_words() for word in said)
