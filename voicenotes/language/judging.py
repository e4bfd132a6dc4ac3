"""Reads one remark: which checks it judges, how, and which words decided."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from voicenotes.language.binding import groups_of
from voicenotes.language.clause_view import Topic
from voicenotes.language.conditions import judge_conditions
from voicenotes.language.cue_effects import is_generic, with_cues
from voicenotes.language.exceptions import echoed, excepted, tone_of, turned_round
from voicenotes.language.measuring import measurements, overruled
from voicenotes.language.mentions import merge
from voicenotes.language.unjudged import not_tested, omitted, only_named

if TYPE_CHECKING:
    from voicenotes.language.clause_view import ClauseView, Context
    from voicenotes.language.hits import TermHit
    from voicenotes.language.mentions import Mention

_REASON_STARTS = frozenset(
    {"there", "no", "nobody", "because", "since", "as", "it", "they", "he", "she", "someone",
     "somebody", "without"}
)  # fmt: skip

_PRONOUNS = frozenset({"it", "they", "that", "this", "these", "those"})


def read_clause(view: ClauseView, context: Context) -> tuple[list[Mention], Context]:
    """The mentions of checks in one remark, and the context for the next."""
    mentions, following = _read(view, context)
    tone = tone_of(view)
    said = {m.polarity for m in mentions} & {"good", "bad"}
    if len(said) == 1:
        tone = replace(tone, polarity=next(iter(said)))
    if tone.polarity is None and context.tone is not None and not view.conditions:
        tone = context.tone
    return mentions, replace(following, tone=tone, sweeping=bool(view.reach.of_kind("sweep")))


def _read(view: ClauseView, context: Context) -> tuple[list[Mention], Context]:
    if _is_about_another(view):
        return [], context
    groups = groups_of(view.words, view.terms, view.conditions)
    left_undone = omitted(view)
    untested = view.reach.of_kind("not_tested") or ((left_undone,) if left_undone else ())
    if untested:
        mentions = not_tested(view, context, untested[0])
        following = _next_context(view, context, mentions)
        return mentions, replace(following, untested_in=view.clause.sentence)
    if context.untested_in == view.clause.sentence and _gives_a_reason(view):
        return [], context
    found = turned_round(view, context, judge_conditions(view, context, groups))
    measured, spoken = measurements(view, context, found)
    found = [item for item in found if not overruled(view, item, measured)] + measured
    mentions = with_cues(view, found)
    generic = is_generic(view) or context.generic_in == view.clause.sentence
    if generic:
        mentions = [replace(m, polarity="named", severity=None) for m in mentions]
    if not mentions and (not view.conditions or not view.terms):
        mentions += excepted(view, context)
    if not mentions and not view.conditions:
        mentions += echoed(view, context)
    mentions += only_named(view, {mention.check for mention in mentions}, context)
    merged = merge(mentions)
    following = spoken.carried_by(_next_context(view, context, merged))
    return merged, replace(following, generic_in=view.clause.sentence if generic else None)


def _is_about_another(view: ClauseView) -> bool:
    """ "The lathe next door has a leaking chuck": the remark begins with something of another machine."""
    if not view.terms or view.follows_link(view.terms[0]):
        return False
    first = view.terms[0]
    if any(view.words.breaks[at] for at in range(first.end, view.clause.end)):
        return False
    return any(subject.id in view.lexicon.elsewhere for subject in first.subjects)


def _main_terms(
    view: ClauseView, terms: tuple[TermHit, ...], judged: tuple[str, ...], context: Context
) -> tuple[TermHit, ...]:
    """The things a remark was about, which "it" may mean next: not those in "... on the guards"."""
    main = []
    for term in terms:
        own = any(subject.kind == "check" and subject.id in judged for subject in term.subjects)
        if own or not view.follows_link(term):
            main.append(term)
    if (
        not main
        and context.terms
        and _PRONOUNS.intersection(view.words.norms[view.clause.start : terms[0].start])
    ):
        return context.terms  # "it's parked behind the cover"
    return tuple(main) or terms[:1]


def _gives_a_reason(view: ClauseView) -> bool:
    """Whether a remark after "couldn't test ..." in the same sentence only says why."""
    if view.words.norms[view.clause.start] in _REASON_STARTS:
        return True
    return all(subject.kind == "machine" for term in view.terms for subject in term.subjects)


def _next_context(view: ClauseView, context: Context, mentions: list[Mention]) -> Context:
    terms = tuple(term for term in view.terms if any(s.kind != "machine" for s in term.subjects))
    judged = tuple(dict.fromkeys(m.check for m in mentions))
    decided = tuple(m.check for m in mentions if m.polarity != "named")
    station = view.lexicon.checks[judged[-1]].station if judged else context.station
    sentence = view.clause.sentence
    if terms:
        return context.about(Topic(_main_terms(view, terms, decided, context), judged, sentence), station)
    if not judged:
        return replace(context, station=station, untested_in=None)
    return context.still_about(Topic(context.terms, judged, sentence), station)
