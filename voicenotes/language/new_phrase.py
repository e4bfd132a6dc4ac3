"""Which words of a remark name a thing that the pack doesn't know.

A name is a few words in a row that nothing of the pack explains, with the terms and the nouns of judgements
beside them that belong to it ("sludge trap", "chuck lamp"): after an article, or at the beginning, and
before a verb, a judgement or the end. So are several terms in a row that together are none ("lube pump
motor"). Where several stand in a remark, one that is no place ("on the ...") goes first, then one with
unknown words, then the earliest. Everyday words alone are no name of the trade.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

from pydantic import BaseModel, ConfigDict

from voicenotes.language.compile_lexicon import lexicon_of
from voicenotes.language.everyday import ordinary_words
from voicenotes.language.evidence import VERBS
from voicenotes.language.hits import GUESSED
from voicenotes.language.number_words import counting_words
from voicenotes.language.reader import views_of
from voicenotes.language.remarks import DETERMINERS
from voicenotes.language.spans import words_of_all
from voicenotes.language.words import words_of
from voicenotes.vocabulary.expand import morphology
from voicenotes.vocabulary.homes import SHARED_LANGUAGE, vocab_home
from voicenotes.vocabulary.yaml_files import read_as

if TYPE_CHECKING:
    from collections.abc import Iterator

    from voicenotes.language.clause_view import ClauseView
    from voicenotes.language.hits import ConditionHit, TermHit
    from voicenotes.model import Transcript
    from voicenotes.vocabulary.schema import Pack

MOST_WORDS = 4
SHORTEST_WORD = 3
_VERBAL = ("s", "ed", "ing")


class NamingWords(BaseModel):
    """phrases.yaml: words that stand beside the name of a thing."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    describing: frozenset[str]
    after: frozenset[str]
    leading: frozenset[str]
    placing: frozenset[str]


@lru_cache(maxsize=1)
def naming_words() -> NamingWords:
    """phrases.yaml, read once."""
    return read_as(vocab_home() / SHARED_LANGUAGE / "phrases.yaml", NamingWords)


@dataclass(frozen=True)
class NewPhrase:
    """The name that a remark has for a thing, or why there is none; `judged` tells whether it is judged there
    by words that the pack knows."""

    phrase: str | None
    why_not: str = ""
    judged: bool = True


class _Group(NamedTuple):
    start: int
    end: int
    is_place: bool
    led: bool
    closed: bool
    is_known: bool = False  # all its words are known, and together they are no term


def new_phrase(said: Transcript, pack: Pack, check: str) -> NewPhrase:
    """What a remark that speaks of `check` calls it, where the pack doesn't know that name."""
    words, lexicon = words_of(said), lexicon_of(pack)
    if not len(words):
        return NewPhrase(None, "nothing is said in it")
    views = [view for view, _, _ in views_of(words, lexicon, None)]
    for term in (term for view in views for term in view.terms):
        if any(subject.kind == "check" and subject.id == check for subject in term.subjects):
            known = " ".join(words.norms[term.start : term.end])
            return NewPhrase(None, f'its words name the check already: "{known}"')
    judged = any(condition.judges for view in views for condition in view.conditions)
    judged = judged or any(view.quantities for view in views)
    groups = [group for view in views for group in _groups(view, judged)]
    everyday: str | None = None
    for group in sorted(groups, key=lambda g: (g.is_place, g.is_known, not g.led, g.start)):
        named = words.norms[group.start : group.end]
        phrase = " ".join(named)
        if group.end - group.start > MOST_WORDS:
            continue
        if _is_everyday(named, group):
            everyday = everyday or phrase
            continue
        return NewPhrase(phrase, judged=judged)
    if everyday is not None:
        return NewPhrase(None, f'"{everyday}" is everyday English, no name by which to know a thing', judged)
    if not groups:
        return NewPhrase(None, "the pack knows all its words", judged)
    return NewPhrase(None, "no few words of it stand out as a name", judged)


def _is_everyday(named: tuple[str, ...], group: _Group) -> bool:
    """Whether words are too ordinary to be a name: one such word, or several that don't stand like a noun."""
    if not ordinary_words().issuperset(named):
        return False
    return len(named) == 1 or not (group.led and group.closed)


def _groups(view: ClauseView, judged: bool) -> Iterator[_Group]:
    """The names in one remark: each stretch of words that nothing explains, with what belongs to it."""
    clause = view.clause
    free = [_is_free(view, word) for word in range(clause.start, clause.end)]
    at = clause.start
    while at < clause.end:
        if not free[at - clause.start]:
            at += 1
            continue
        end = at + 1
        while end < clause.end and free[end - clause.start] and not view.words.breaks[end]:
            end += 1
        yield _whole(view, at, end, judged)
        at = end
    for term in view.terms:
        if _is_plain(view, term):
            group = _whole(view, term.start, term.end, judged=True)
            more = (group.start, group.end) != (term.start, term.end) and group.end - group.start > 1
            if more and not any(free[group.start - clause.start : group.end - clause.start]):
                yield group._replace(is_known=True)


def _is_free(view: ClauseView, word: int) -> bool:
    """Whether a word carries a meaning that nothing explains."""
    norm = view.words.norms[word]
    return (
        word not in view.covered
        and norm.isascii()
        and norm.isalpha()
        and len(norm) >= SHORTEST_WORD
        and norm not in morphology().function | counting_words() | VERBS
        and norm not in naming_words().after | naming_words().leading | naming_words().placing
    )


def _whole(view: ClauseView, start: int, end: int, judged: bool) -> _Group:
    words, naming = view.words, naming_words()
    terms = {word: term for term in view.terms for word in range(term.start, term.end)}
    nouns = {c.start: c for c in view.conditions if c.end - c.start == 1}
    if not judged and end - start > 1 and _closes(view, end) and words.norms[end - 1].endswith(_VERBAL):
        end -= 1  # what is said of the thing by a word that the pack doesn't know
    while end < view.clause.end and not words.breaks[end] and _belongs(view, end, terms, nouns, after=True):
        end = terms[end].end if end in terms else end + 1
    while start > view.clause.start and not words.breaks[start]:
        if not _belongs(view, start - 1, terms, nouns, after=False):
            break
        start = terms[start - 1].start if start - 1 in terms else start - 1
    while start < end - 1 and words.norms[start] in naming.describing:
        start += 1
    before = words.norms[start - 1] if start > view.clause.start and not words.breaks[start] else ""
    led = not before or before in DETERMINERS or before in naming.leading or before in naming.describing
    first = start
    while (
        first > view.clause.start
        and not words.breaks[first]
        and (words.norms[first - 1] in DETERMINERS or words.norms[first - 1] in naming.describing)
    ):
        first -= 1
    placed = (
        first > view.clause.start and not words.breaks[first] and words.norms[first - 1] in naming.placing
    )
    return _Group(start, end, placed, led, _closes(view, end))


def _closes(view: ClauseView, at: int) -> bool:
    """Whether a name can end before the word `at`."""
    if at >= view.clause.end or view.words.breaks[at]:
        return True
    norm = view.words.norms[at]
    if norm in VERBS or norm in naming_words().after:
        return True
    return at in words_of_all(view.conditions, view.quantities, view.reach.own)


def _belongs(
    view: ClauseView,
    word: int,
    terms: dict[int, TermHit],
    nouns: dict[int, ConditionHit],
    after: bool,
) -> bool:
    """Whether a word that the pack knows is a piece of the name beside it: a plain term, or a noun that
    judges nothing here as something else does."""
    if word in terms:
        return _is_plain(view, terms[word]) and (not after or _closes(view, terms[word].end))
    condition = nouns.get(word)
    if condition is None or view.words.norms[word] in naming_words().describing:
        return False
    elsewhere = any(c.judges and c.start != word for c in view.conditions)
    return elsewhere and (_verb_follows(view, word + 1) if after else True)


def _is_plain(view: ClauseView, term: TermHit) -> bool:
    """Whether a term is written out in words, none of them an article or the like."""
    said = set(view.words.norms[term.start : term.end])
    return term.how not in GUESSED and not said & DETERMINERS and all(word.isalpha() for word in said)


def _verb_follows(view: ClauseView, at: int) -> bool:
    return at < view.clause.end and not view.words.breaks[at] and view.words.norms[at] in VERBS
