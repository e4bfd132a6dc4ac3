"""Which checks a condition judges: by the things named with it, those named before, or the place."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from voicenotes.language.binding import subjects_of
from voicenotes.language.choose_check import choose_by_itself, choose_by_place, choose_checks
from voicenotes.language.clause_view import CERTAINTY_CARRIED
from voicenotes.language.lexicon import CERTAINTY
from voicenotes.language.relevance import common_words

if TYPE_CHECKING:
    from voicenotes.language.binding import Group
    from voicenotes.language.choose_check import Choice, Here
    from voicenotes.language.clause_view import ClauseView, Context
    from voicenotes.language.hits import ConditionHit, TermHit

_BY_PLACE = 0.7
_NEAR_WORDS, _FAR_WORDS = 3, 8
_LEAST_CARRIED, _OWN_OF_OLDER, _OLDER_BY = 2.5, 4.9, 0.9


def checks_judged(
    view: ClauseView,
    context: Context,
    groups: list[Group],
    condition: ConditionHit,
    named: frozenset[str],
) -> list[tuple[Choice, float, bool]]:
    """The checks a condition judges, each with its confidence and whether the subject was carried over."""
    group, rest = subjects_of(view.words, view.marks, view.clause, condition, groups, view.conditions)
    here = _here(view, context, group)
    certainty = CERTAINTY[condition.how]
    results: list[tuple[Choice, float, bool]] = []
    led = bool(group) and view.follows_link(group[0])  # "throwing oil | over the guard"
    near = tuple(
        term
        for term in rest
        if 0 <= term.start - condition.end <= _NEAR_WORDS
        or 0 <= condition.start - term.end <= (_FAR_WORDS if led else _NEAR_WORDS)
    )
    for terms in (group, near):
        for term in terms:
            others = tuple(other for other in (*group, *rest) if other is not term)
            if len(group) > 1 and term in group:
                others = rest
            for choice in choose_checks(
                view.lexicon, condition.meanings, condition.inner, term, others, named, here
            ):
                results.append((choice, certainty * CERTAINTY[term.how], False))
        if results:
            if all(choice.loose for choice, _, _ in results):
                closer = choose_by_place(view.lexicon, condition.meanings, context.station)
                if closer:
                    return [(choice, certainty * _BY_PLACE, True) for choice in closer]
            better = _better_elsewhere(
                view, context, condition, rest, named, max(c.score for c, _, _ in results)
            )
            return [
                (choice, certainty * CERTAINTY[choice.via.how], False) for choice in better if choice.via
            ] or results
    if not _only_circumstances(view, (*group, *rest)):
        return []
    if _stands_for_something_else(view, condition):
        own = [meaning for meaning in condition.meanings if meaning.owner in view.lexicon.checks]
        if view.terms or view.words.norms[view.clause.start] != "the":
            return []
        return [
            (choice, certainty * _BY_PLACE, True)
            for choice in choose_by_place(view.lexicon, own, context.station)
        ]
    carried = _carried_over(view, context, condition, named)
    if carried is not None:
        return [(choice, certainty * CERTAINTY_CARRIED, True) for choice in carried]
    found = choose_by_place(view.lexicon, condition.meanings, context.station)
    if not found and _is_distinctive(view, condition):
        found = choose_by_itself(condition.meanings, view.lexicon)
    return [(choice, certainty * _BY_PLACE, True) for choice in found]


def _here(view: ClauseView, context: Context, group: tuple[TermHit, ...]) -> Here:
    """Where he is when he names some things: where the check stands that he named just before them."""
    here = context.here
    for term in view.terms:
        if group and term.start >= group[0].start:
            break
        stations = {view.lexicon.checks[s.id].station for s in term.subjects if s.kind == "check"}
        if len(stations) == 1 and all(s.kind == "check" for s in term.subjects):
            here = replace(here, station=stations.pop())
    return here


def _carried_over(
    view: ClauseView, context: Context, condition: ConditionHit, named: frozenset[str]
) -> list[Choice] | None:
    """The checks that a condition judges of what was spoken of before: [] where that isn't clear, None
    where nothing fits.

    What was named last comes first; an older topic of the same sentence or the one before takes a
    condition only where it is one of its own ("feed hold was on, it | indexes fine").
    """
    best: tuple[float, list[Choice]] | None = None
    for age, topic in enumerate(context.topics):
        if age and (view.clause.sentence - topic.sentence > 1 or not context.topics[age - 1].checks):
            break  # too long ago, or what was named since still waits for its judgement
        found: list[Choice] = []
        for term in topic.subjects(condition.start):
            others = tuple(other for other in topic.terms if other is not term)
            found += choose_checks(
                view.lexicon, condition.meanings, condition.inner, term, others, named, context.here
            )
        least = _OWN_OF_OLDER if age else _LEAST_CARRIED
        found = [choice for choice in found if choice.score > least and not choice.loose]
        if not found:
            continue
        top = max(choice.score for choice in found)
        kept = {choice.check: choice for choice in found if choice.score > top - 0.25}
        clear = len(kept) <= max(1, len(topic.checks), len(topic.terms))
        worth = top - age * _OLDER_BY
        if best is None or worth > best[0]:
            best = (worth, list(kept.values()) if clear else [])
    return best[1] if best else None


def _better_elsewhere(
    view: ClauseView,
    context: Context,
    condition: ConditionHit,
    rest: tuple[TermHit, ...],
    named: frozenset[str],
    best: float,
) -> list[Choice]:
    """A check named by its own term elsewhere in the remark, which owns the condition: "the spindle
    starts | with the door open"."""
    found: list[Choice] = []
    for term in rest:
        if all(subject.kind == "check" for subject in term.subjects):
            found += [
                choice
                for choice in choose_checks(
                    view.lexicon, condition.meanings, condition.inner, term, (), named, context.here
                )
                if choice.score > best and choice.meaning.owner == choice.check
            ]
    return found


def _only_circumstances(view: ClauseView, terms: tuple[TermHit, ...]) -> bool:
    """Whether all that is named is the machine, or where something is ("straight on X")."""
    for term in terms:
        if all(subject.kind == "machine" for subject in term.subjects):
            continue
        if not view.follows_link(term):
            return False
    return True


def _is_distinctive(view: ClauseView, condition: ConditionHit) -> bool:
    """Whether a phrase is the trade's own: several words, one of which everyday English hardly uses."""
    said = view.words.norms[condition.start : condition.end]
    if condition.how != "exact" or len(said) < 2:
        return False
    return not common_words().issuperset(said) or _holds_own_term(view, condition, said)


def _holds_own_term(view: ClauseView, condition: ConditionHit, said: tuple[str, ...]) -> bool:
    """Whether a phrase of a check has the check's own term in it ("gets up to | maximum speed")."""
    owners = {meaning.owner for meaning in condition.meanings}
    phrases = view.lexicon.term_phrases
    return any(
        subject.kind == "check" and subject.id in owners
        for start in range(len(said))
        for end in range(start + 1, len(said) + 1)
        for subject in phrases.get(said[start:end], ())
    )


def _stands_for_something_else(view: ClauseView, condition: ConditionHit) -> bool:
    """Whether the remark has a subject of its own that the pack doesn't know ("the coffee is good")."""
    unknown = view.is_unknown
    if any(unknown(word) for word in range(view.clause.start, condition.start)):
        return True
    after = condition.end
    if after < view.clause.end and not view.words.breaks[after] and unknown(after) and not condition.is_noun:
        return True
    return sum(unknown(word) for word in range(condition.end, view.clause.end)) > 3
