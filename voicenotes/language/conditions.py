"""Judges by conditions: "quiet", "growls", "no leaks"."""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicenotes.language.clause_view import Found
from voicenotes.language.judged_checks import checks_judged
from voicenotes.language.polarity import polarity_of
from voicenotes.language.scope import circumstances_of, negations_of
from voicenotes.vocabulary.schema import GENERAL

if TYPE_CHECKING:
    from voicenotes.language.binding import Group
    from voicenotes.language.choose_check import Choice
    from voicenotes.language.clause_view import ClauseView, Context
    from voicenotes.language.hits import ConditionHit, CueHit

_OWNERS = frozenset(["the", "its", "their", "this", "that", "his", "my"])
_BEFORE_ADJECTIVE = frozenset(
    ["a", "an", "some", "any", "this", "that", "the", "with", "got", "has", "there's", "is"]
)


def judge_conditions(view: ClauseView, context: Context, groups: list[Group]) -> list[Found]:
    """The checks that the conditions of a remark judge, each good or bad."""
    conditions = view.conditions
    negations = negations_of(view.words, view.reach, conditions)
    circumstances = circumstances_of(view.reach, conditions)
    named = frozenset(
        meaning.owner
        for condition in conditions
        for meaning in condition.meanings
        if meaning.polarity in ("name", "unwanted", "wanted") and meaning.owner != GENERAL
    )
    found: list[Found] = []
    for index, condition in enumerate(conditions):
        if not condition.judges or _is_idiom(view, condition) or index in circumstances:
            continue
        if _only_strengthens(view, condition, conditions[index + 1 : index + 2]):
            continue
        turning = negations.get(index, ())
        for choice, certainty, carried in checks_judged(view, context, groups, condition, named):
            polarity = polarity_of(view, condition, choice.meaning, turning)
            if polarity is None:
                continue
            why = _because(view, condition, choice, turning, carried)
            found.append(Found(choice, polarity, condition, certainty, why))
    return found


def leads_to_value(view: ClauseView, condition: ConditionHit) -> bool:
    """Whether a word stands right before a value, to which a good one only leads: "comes | up to nine
    bar", "a good | three thou"."""
    return any(-2 <= quantity.start - condition.end <= 1 for quantity in view.quantities)


def _only_strengthens(view: ClauseView, condition: ConditionHit, following: tuple[ConditionHit, ...]) -> bool:
    """Whether an adjective only says how bad the noun after it is: "a heavy | clunk"."""
    return (
        bool(following)
        and not condition.is_noun
        and following[0].start == condition.end
        and not view.words.breaks[condition.end]
        and any(meaning.polarity == "unwanted" for meaning in following[0].meanings)
        and view.words.norms[condition.start - 1 if condition.start > view.clause.start else condition.start]
        in _BEFORE_ADJECTIVE
    )


def _is_idiom(view: ClauseView, condition: ConditionHit) -> bool:
    """ "A good three thou" is no praise, and "its travel" names a thing."""
    before = view.word_before(condition.start)
    if before in ("a", "an") and any(q.start == condition.end for q in view.quantities):
        return True
    return (
        before in _OWNERS
        and condition.end - condition.start == 1
        and condition.how == "inflected"
        and not any(term.start == condition.end for term in view.terms)
    )


def _because(
    view: ClauseView,
    condition: ConditionHit,
    choice: Choice,
    turning: tuple[CueHit, ...],
    carried: bool,
) -> str:
    parts = []
    if choice.via is not None and choice.via.end > choice.via.start:
        how = "carried over" if carried else choice.via.found
        parts.append(f"{view.cite(choice.via.start, choice.via.end)} ({how})")
    elif carried:
        parts.append("subject carried over")
    parts.append(f"{view.cite(condition.start, condition.end)} ({choice.meaning.polarity})")
    parts += [f"{view.cite(cue.start, cue.end)} (negation)" for cue in turning]
    return " + ".join(parts)
