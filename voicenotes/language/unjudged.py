"""Remarks without a judgement: what was not tested, what he isn't sure of, what is only named."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from voicenotes.language.binding import groups_of
from voicenotes.language.choose_check import choose_checks
from voicenotes.language.cue_effects import first_cue
from voicenotes.language.lexicon import Judgement
from voicenotes.language.mentions import Mention
from voicenotes.vocabulary.schema import GENERAL

if TYPE_CHECKING:
    from voicenotes.language.binding import Group
    from voicenotes.language.choose_check import Choice
    from voicenotes.language.clause_view import ClauseView, Context
    from voicenotes.language.hits import CueHit, TermHit
    from voicenotes.model import Basis, Polarity


def not_tested(view: ClauseView, context: Context, cue: CueHit) -> list[Mention]:
    """The checks that a remark says he couldn't make."""
    why = f"{view.cite(cue.start, cue.end)} (not tested)"
    told = first_cue(view.reach.wide, "hearsay")
    checks = _spoken_of(view, context, cue)
    if not view.terms and not checks and not _names_other_things(view):
        checks = dict.fromkeys(context.checks, "subject carried over")
    return [
        Mention(check, "not_tested", "told" if told else "seen", 0.9, f"{named} + {why}")
        for check, named in checks.items()
    ]


def _names_other_things(view: ClauseView) -> bool:
    return any(view.is_unknown(word) for word in range(view.clause.start, view.clause.end))


def _meant_by(view: ClauseView, cue: CueHit) -> list[Group]:
    """The terms a cue without a judgement is about: those after it ("not sure about the belt"), else
    those before it; as lists in order of likelihood."""
    after = tuple(term for term in view.terms if term.start >= cue.start)
    pool = after or view.terms
    return groups_of(view.words, pool, view.conditions)


def _spoken_of(view: ClauseView, context: Context, cue: CueHit) -> dict[str, str]:
    """The checks that a remark without a judgement is about, each with the words that name it."""
    for terms in _meant_by(view, cue):
        named = _named_by(view, context, terms)
        if named:
            return named
    return {}


def _named_by(view: ClauseView, context: Context, terms: Group) -> dict[str, str]:
    meanings = tuple(meaning for condition in view.conditions for meaning in condition.meanings)
    specific = tuple(meaning for meaning in meanings if meaning.owner != GENERAL)
    named: dict[str, str] = {}
    for term in terms:
        words = f"{view.cite(term.start, term.end)} ({term.found})"
        others = tuple(other for other in view.terms if other is not term)
        own = [subject.id for subject in term.subjects if subject.kind == "check"]
        if len(own) == 1:
            named[own[0]] = words
            continue
        noted = tuple(replace(meaning, polarity="noted") for meaning in specific)
        aspects = frozenset(meaning.owner for meaning in specific)
        choices = choose_checks(view.lexicon, noted, (), term, others, aspects, context.station)
        if not choices:
            choices = _by_default(view, term, context)
        if not choices and own:  # "the backlash", of either axis
            named |= dict.fromkeys(own, words)
        for choice in choices:
            named[choice.check] = words
    return named


def _by_default(view: ClauseView, term: TermHit, context: Context) -> list[Choice]:
    others = tuple(other for other in view.terms if other is not term)
    general = (Judgement(GENERAL, "good"),)
    return choose_checks(view.lexicon, general, (), term, others, frozenset(), context.station)


def only_named(view: ClauseView, judged: set[str], context: Context) -> list[Mention]:
    """Checks that are named and not judged: unsure under a hedge, else no more than named."""
    hedge = view.reach.of_kind("hedge")
    results = []
    if hedge and not judged:
        checks = _spoken_of(view, context, hedge[0])
    else:
        checks = {
            subject.id: f"{view.cite(term.start, term.end)} ({term.found})"
            for term in view.terms
            for subject in term.subjects
            if subject.kind == "check" and len([s for s in term.subjects if s.kind == "check"]) == 1
        }
    wide = next(iter(view.reach.wide), None)
    silent = next((cue for cue in view.reach.wide if cue.kind in ("plan", "general")), None)
    for check, words in checks.items():
        if check in judged:
            continue
        basis: Basis = "told" if wide is not None and wide.kind == "hearsay" else "seen"
        polarity: Polarity = "named"
        why = f"{words}; no judgement"
        if hedge and silent is None and not judged:
            polarity = "unsure"
            why = f"{words}; {view.cite(hedge[0].start, hedge[0].end)} (hedge)"
        elif silent is not None:
            why = f"{words}; {view.cite(silent.start, silent.end)} ({silent.kind})"
        results.append(Mention(check, polarity, basis, 0.9, why))
    return results
