"""Compiles a pack's phrases and their variants into one table, looked up word by word."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from voicenotes.language.collection import no_collecting
from voicenotes.language.grow_lexicon import grown, more_phrases
from voicenotes.language.lexicon import (
    CERTAINTY,
    MEANINGS,
    CueUse,
    Entry,
    FactWord,
    Judgement,
    Lexicon,
    Place,
    Subject,
)
from voicenotes.language.words import norms_of
from voicenotes.vocabulary.expand import (
    expand_words,
    is_fixed,
    joined_forms,
    morphology,
    plural_forms,
    verb_forms,
)
from voicenotes.vocabulary.homes import everyday_words
from voicenotes.vocabulary.schema import GENERAL

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from voicenotes.language.lexicon import How, Polar, SubjectKind
    from voicenotes.vocabulary.schema import ConditionLists, Cue, Fact, Fitting, Pack, Part


def _add(lexicon: Lexicon, words: tuple[str, ...], entry: Entry) -> None:
    if not words:
        return
    if entry.how != "misheard":
        lexicon.own_words.update(words)
    node = lexicon.tree
    for word in words:
        found = node.get(word)
        if found is None:
            found = node[word] = {}
        node = found
    known: dict[object, Entry] | None = node.get(MEANINGS)
    if known is None:
        node[MEANINGS] = {entry.meaning: entry}
    elif entry.meaning not in known or CERTAINTY[entry.how] > CERTAINTY[known[entry.meaning].how]:
        known[entry.meaning] = entry


def _add_terms(lexicon: Lexicon, phrases: Iterable[str], subject: Subject, how: How = "exact") -> None:
    for template in phrases:
        for words in expand_words(template, norms_of):
            phrase = " ".join(words)
            _add(lexicon, words, Entry(subject, phrase, how))
            if how != "exact":
                meant = lexicon.misheard_phrases.get(words, ())
                lexicon.misheard_phrases[words] = tuple(dict.fromkeys((*meant, subject)))
                for form in plural_forms(words[-1]) if words else ():
                    _add(lexicon, (*words[:-1], form), Entry(subject, phrase, how))
                continue
            known = lexicon.term_phrases.get(words, ())
            if subject not in known:
                lexicon.term_phrases[words] = (*known, subject)
            if is_fixed(template):
                continue
            variants = [(*words[:-1], form) for form in plural_forms(words[-1], as_noun=len(words) > 1)]
            for variant in variants:
                _add(lexicon, variant, Entry(subject, phrase, "inflected"))
            for joined in joined_forms(words):
                _add(lexicon, joined, Entry(subject, phrase, "exact"))
                for form in plural_forms(joined[-1]):
                    _add(lexicon, (*joined[:-1], form), Entry(subject, phrase, "inflected"))


_AUXILIARIES = frozenset(
    ["will", "does", "do", "did", "is", "are", "was", "were", "can", "could", "would", "has", "have"]
)
_NEGATORS = _AUXILIARIES | {"never", "no", "not", "nothing"}
_NAMED: dict[str, Polar] = {"good": "unwanted", "bad": "wanted"}


def _is_grammar(words: tuple[str, ...]) -> bool:
    return all(word in morphology().function for word in words)


def _without_negation(words: tuple[str, ...], judgement: Judgement) -> tuple[tuple[str, ...], Judgement]:
    """A negated phrase as what it negates: "no dents" is good as "dents" are unwanted, "won't clamp"
    is bad as "clamp" is wanted.

    The negation is then read as a cue, which can also reach over a list, and the bare word judges
    nothing. Phrases of the shared English stay whole, and so do those whose rest would be grammar
    only ("won't go").
    """
    at = 1 if len(words) > 2 and words[0] in _AUXILIARIES and words[1] == "not" else 0
    rest = words[at + 1 :]
    if (
        judgement.owner == GENERAL
        or judgement.polarity not in ("good", "bad")
        or not rest
        or words[at] not in ("no", "not", "nothing")
        or (len(rest) == 1 and _is_grammar(rest))
    ):
        return words, judgement
    return rest, replace(judgement, polarity=_NAMED[judgement.polarity], only_negated=words[at] == "not")


def _add_judging(lexicon: Lexicon, template: str, judgement: Judgement) -> None:
    as_written = judgement
    for whole in expand_words(template, norms_of):
        phrase = " ".join(whole)
        words, judgement = _without_negation(whole, as_written)
        if judgement.owner != GENERAL and words and words[0] in _NEGATORS and _is_grammar(words):
            continue  # "never got" of one check would hide the negation from all others
        verbal = judgement.polarity in ("good", "bad")
        _add(lexicon, words, Entry(judgement, phrase, "exact"))
        if is_fixed(template) or not words:
            continue
        heads = verb_forms(words[0]) if verbal else plural_forms(words[0]) if len(words) == 1 else ()
        if len(words) == 1:
            if not verbal:  # "a bit" is no singular of "bits"
                heads = tuple(form for form in heads if form not in morphology().function)
            if words[0] in morphology().compared:
                heads = (*heads, morphology().compared[words[0]])
        for form in heads:
            _add(lexicon, (form, *words[1:]), Entry(judgement, phrase, "inflected"))
        if len(words) > 1 and not verbal:
            for form in plural_forms(words[-1]):
                _add(lexicon, (*words[:-1], form), Entry(judgement, phrase, "inflected"))
        if verbal and len(words) > 2 and "and" in words[1:-1]:  # "opens and closes", "open and closed"
            at = words.index("and")
            for head in ("", *verb_forms(words[0])):
                for tail in verb_forms(words[at + 1]):
                    both = (head or words[0], *words[1 : at + 1], tail, *words[at + 2 :])
                    _add(lexicon, both, Entry(judgement, phrase, "inflected"))


def _add_lists(lexicon: Lexicon, owner: str, lists: ConditionLists) -> None:
    for polarity, conditions in (
        ("bad", lists.bad), ("good", lists.good), ("unwanted", lists.unwanted), ("wanted", lists.wanted),
    ):  # fmt: skip
        for condition in conditions:
            _add_judging(lexicon, condition.say, Judgement(owner, polarity, condition.severity))  # type: ignore[arg-type]


def _add_cue(lexicon: Lexicon, cue: Cue) -> None:
    use = CueUse(cue.kind, cue.reach, cue.words)
    for template in cue.phrases:
        for words in expand_words(template, norms_of):
            _add(lexicon, words, Entry(use, " ".join(words), "exact"))


def _add_fact(lexicon: Lexicon, fact: Fact) -> None:
    phrases: list[tuple[str, FactWord]] = [(phrase, FactWord(fact.id, "lead")) for phrase in fact.lead]
    phrases += [(phrase, FactWord(fact.id, "tail")) for phrase in fact.tail]
    for value, said in fact.choices.items():
        phrases += [(phrase, FactWord(fact.id, "choice", value)) for phrase in said]
    for template, meaning in phrases:
        for words in expand_words(template, norms_of):
            _add(lexicon, words, Entry(meaning, " ".join(words), "exact"))


@lru_cache(maxsize=8)
def _compiled(pack: _Keyed) -> Lexicon:
    with no_collecting():
        return (_grown(pack.without, pack.pack) if pack.without else None) or _compile(pack.pack)


@dataclass(frozen=True)
class _Keyed:
    """A pack as a cache key: by its digest, not by its whole content."""

    digest: str
    pack: Pack = field(compare=False)
    without: Pack | None = field(default=None, compare=False)


def lexicon_of(pack: Pack, without: Pack | None = None) -> Lexicon:
    """The compiled phrases of a pack; compiled once for each content of the pack.

    Where `without` is a pack that lacks a few phrases of it, it is made from what was compiled of that.
    """
    return _compiled(_Keyed(pack.digest, pack, without))


def _grown(before: Pack, after: Pack) -> Lexicon | None:
    """A pack made from what was compiled of the one without some phrases; None where that can't be done."""
    more = more_phrases(before, after)
    if more is None:
        return None
    added = Lexicon()
    for kind, name, which, phrases in more:
        how: How = "exact" if which == "terms" else "misheard"
        _add_terms(added, phrases, Subject(kind, name), how)
    return grown(lexicon_of(before), added, after)


def _words_of_tree(tree: dict[str, Any]) -> Iterator[str]:
    """Every word that stands in some phrase of the tree."""
    waiting = [tree]
    while waiting:
        for word, node in waiting.pop().items():
            if word != MEANINGS:
                yield word
                waiting.append(node)


def _compile(pack: Pack) -> Lexicon:
    lexicon = Lexicon(
        checks={check.id: check for check in pack.checks},
        order={check.id: index for index, check in enumerate(pack.checks)},
        stations=tuple(station.id for station in pack.head.stations),
        fittings=frozenset(fitting.id for fitting in pack.head.fittings),
        anywhere=frozenset(aspect.id for aspect in pack.aspects if aspect.anywhere),
        pronunciations=pack.pronunciations,
        elsewhere=frozenset(part.id for part in pack.parts if part.elsewhere),
    )
    _add_terms(lexicon, pack.head.machine, Subject("machine", "machine"))
    by_part: dict[str, list[str]] = {}
    for check in pack.checks:
        subject = Subject("check", check.id)
        _add_terms(lexicon, check.terms, subject)
        _add_terms(lexicon, check.misheard, subject, "misheard")
        _add_lists(lexicon, check.id, check)
        for template in check.noted:
            _add_judging(lexicon, template, Judgement(check.id, "noted"))
        for part_id in check.parts:
            by_part.setdefault(part_id, []).append(check.id)
    named: list[Part | Fitting] = [*pack.parts, *pack.head.fittings]
    for part in named:
        kind: SubjectKind = "fitting" if part.id in lexicon.fittings else "part"
        thing = Subject(kind, part.id)
        _add_terms(lexicon, part.terms, thing)
        _add_terms(lexicon, part.misheard, thing, "misheard")
        if part.default:
            lexicon.defaults[part.id] = part.default
    lexicon.means = {part.id: part.means for part in pack.parts if part.means}
    lexicon.by_part = {part: tuple(checks) for part, checks in by_part.items()}
    for aspect in pack.aspects:
        _add_lists(lexicon, aspect.id, aspect)
        for template in aspect.names:
            _add_judging(lexicon, template, Judgement(aspect.id, "name"))
    for cue in pack.cues:
        _add_cue(lexicon, cue)
    for fact in pack.facts:
        _add_fact(lexicon, fact)
    for station in pack.head.stations:
        for template in station.terms:
            for words in expand_words(template, norms_of):
                _add(lexicon, words, Entry(Place(station.id), " ".join(words), "exact"))
    lexicon.known_words = frozenset(_words_of_tree(lexicon.tree)) - frozenset(everyday_words())
    assert GENERAL in {aspect.id for aspect in pack.aspects}
    return lexicon
