"""Remarks without a judgement: what was not tested, what he isn't sure of, what is only named."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from voicenotes.language.binding import groups_of
from voicenotes.language.choose_check import choose_checks
from voicenotes.language.grounds import CARRIED, Ground, Grounds, of_cue, of_term
from voicenotes.language.hits import CueHit
from voicenotes.language.lexicon import CueUse, Judgement
from voicenotes.language.mentions import Mention
from voicenotes.language.scope import first_cue
from voicenotes.vocabulary.expand import morphology, verb_forms
from voicenotes.vocabulary.schema import GENERAL

if TYPE_CHECKING:
    from voicenotes.language.binding import Group
    from voicenotes.language.choose_check import Choice
    from voicenotes.language.clause_view import ClauseView, Context
    from voicenotes.language.hits import TermHit
    from voicenotes.model import Basis, Polarity


_DOERS = frozenset({"i", "we", "just", "so", "and", "but", "then", "also", "still", "actually", "really"})
_ABLE = frozenset({"did", "could", "can", "have", "had", "was"})
_DEEDS = frozenset({"run", "open", "close", "take", "put", "make", "try", "look"})
_NOTICING = frozenset(
    {"find", "see", "hear", "feel", "notice", "spot", "smell", "detect", "measure", "get", "like", "want",
     "think", "mind", "know", "have", "need", "be", "fault", "ask", "help", "complain", "a", "any", "the",
     "much", "even", "only"}
)  # fmt: skip
_BY_HAND = frozenset({"move", "turn", "shift", "budge", "slide", "push", "pull", "lift"})
_WORDS_TO_OBJECT = 5


class Named(NamedTuple):
    """The words that name a check, cited, and as grounds."""

    words: str
    grounds: Grounds


def not_tested(view: ClauseView, context: Context, cue: CueHit) -> list[Mention]:
    """The checks that a remark says he couldn't make."""
    why = f"{view.cite(cue.start, cue.end)} (not tested)"
    told = first_cue(view.reach.wide, "hearsay")
    checks = spoken_of(view, context, cue)
    if not view.terms and not checks and not _names_other_things(view):
        before = Ground("subject", cue.start, cue.start, CARRIED)
        checks = dict.fromkeys(context.checks, Named("subject carried over", (before,)))
    cues = (of_cue(cue), *([of_cue(told)] if told else []))
    return [
        Mention(
            check, "not_tested", "told" if told else "seen", 0.9, f"{named.words} + {why}",
            grounds=named.grounds + cues,
        )
        for check, named in checks.items()
    ]  # fmt: skip


def omitted(view: ClauseView) -> CueHit | None:
    """ "Didn't stroke the quill", "I couldn't index the turret": the negation by which somebody says what he
    left undone, as a cue."""
    norms, at = view.words.norms, view.clause.start
    while at < view.clause.end and norms[at] in _DOERS:
        at += 1
    able = norms[at] in _ABLE if at < view.clause.end else False
    at += able
    if at + 1 >= view.clause.end or norms[at] not in ("not", "never"):
        return None
    verb = at + 1
    if norms[verb] in _NOTICING or norms[verb] in _BY_HAND or norms[verb] in morphology().function - _DEEDS:
        return None
    if not able and not verb_forms(norms[verb]):
        return None
    condition = view.marks.condition_at.get(verb)
    if condition is not None and not any(
        m.polarity in ("good", "wanted", "noted") for m in condition.meanings
    ):
        return None
    if not any(cue.start <= at < cue.end and cue.kind == "negation" for cue in view.reach.own):
        return None
    if not any(term.start > verb and term.start - verb <= _WORDS_TO_OBJECT for term in view.terms):
        return None
    return CueHit(view.clause.start, verb + 1, CueUse("not_tested", "both", view.clause.end), "left undone")


def _names_other_things(view: ClauseView) -> bool:
    return any(view.is_unknown(word) for word in range(view.clause.start, view.clause.end))


def _meant_by(view: ClauseView, cue: CueHit) -> list[Group]:
    """The terms a cue without a judgement is about: those after it ("not sure about the belt"), else
    those before it; as lists in order of likelihood."""
    meant = view.terms
    if cue.kind == "hedge":  # "hard to say | in this light"
        meant = tuple(
            t for t in meant if t.start < cue.start or t.start <= cue.end + 1 or not view.is_aside(t)
        )
    after = tuple(term for term in meant if term.start >= cue.start)
    pool = after or meant
    return groups_of(view.words, pool, view.conditions)


def spoken_of(view: ClauseView, context: Context, cue: CueHit) -> dict[str, Named]:
    """The checks that a remark without a judgement is about, each with the words that name it."""
    for terms in _meant_by(view, cue):
        named = _named_by(view, context, terms)
        if named:
            return named
    return {}


def _named_by(view: ClauseView, context: Context, terms: Group) -> dict[str, Named]:
    meanings = tuple(meaning for condition in view.conditions for meaning in condition.meanings)
    specific = tuple(meaning for meaning in meanings if meaning.owner != GENERAL)
    named: dict[str, Named] = {}
    for term in terms:
        words = _named(view, term)
        others = tuple(other for other in view.terms if other is not term)
        own = [subject.id for subject in term.subjects if subject.kind == "check"]
        if len(own) == 1:
            named[own[0]] = words
            continue
        noted = tuple(replace(meaning, polarity="noted") for meaning in specific)
        aspects = frozenset(meaning.owner for meaning in specific)
        choices = choose_checks(view.lexicon, noted, (), term, others, aspects, context.here)
        if not choices:
            choices = _by_default(view, term, context)
        if not choices and own:  # "the backlash", of either axis
            named |= dict.fromkeys(own, words)
        for choice in choices:
            named[choice.check] = Named(words.words, words.grounds + _sides(view, choice))
    return named


def _named(view: ClauseView, term: TermHit) -> Named:
    return Named(f"{view.cite(term.start, term.end)} ({term.found})", (of_term(term),))


def _sides(view: ClauseView, choice: Choice) -> Grounds:
    """The words that name the side of a thing by which its check was chosen."""
    owner = choice.meaning.owner
    return tuple(
        Ground("aspect", condition.start, condition.end, meaning.polarity, owner)
        for condition in view.conditions
        for meaning in condition.meanings
        if meaning.owner == owner != GENERAL
    )


def _by_default(view: ClauseView, term: TermHit, context: Context) -> list[Choice]:
    others = tuple(other for other in view.terms if other is not term)
    general = (Judgement(GENERAL, "good"),)
    return choose_checks(view.lexicon, general, (), term, others, frozenset(), context.here)


def only_named(view: ClauseView, judged: set[str], context: Context) -> list[Mention]:
    """Checks that are named and not judged: unsure under a hedge, else no more than named."""
    hedge = view.reach.of_kind("hedge")
    results = []
    if hedge and not judged:
        checks = spoken_of(view, context, hedge[0])
    else:
        checks = {
            subject.id: _named(view, term)
            for term in view.terms
            for subject in term.subjects
            if subject.kind == "check" and len([s for s in term.subjects if s.kind == "check"]) == 1
        }
    wide = next(iter(view.reach.wide), None)
    silent = next((cue for cue in view.reach.wide if cue.kind in ("plan", "general")), None)
    for check, (words, grounds) in checks.items():
        if check in judged:
            continue
        basis: Basis = "told" if wide is not None and wide.kind == "hearsay" else "seen"
        polarity: Polarity = "named"
        why = f"{words}; no judgement"
        if hedge and silent is None and not judged:
            polarity = "unsure"
            why = f"{words}; {view.cite(hedge[0].start, hedge[0].end)} (hedge)"
            grounds += (of_cue(hedge[0]),)
        elif silent is not None:
            why = f"{words}; {view.cite(silent.start, silent.end)} ({silent.kind})"
            grounds += (of_cue(silent),)
        if basis == "told" and wide is not None:
            grounds += (of_cue(wide),)
        results.append(Mention(check, polarity, basis, 0.9, why, grounds=tuple(dict.fromkeys(grounds))))
    return results
