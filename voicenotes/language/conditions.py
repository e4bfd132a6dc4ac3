"""Judges by conditions: "quiet", "growls", "no leaks"."""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicenotes.language.clause_view import Found
from voicenotes.language.doing import could_not, only_tells_what_is_done
from voicenotes.language.grounds import Ground, of_condition, of_cue, of_term
from voicenotes.language.judged_checks import checks_judged
from voicenotes.language.polarity import agreeing, polarity_of, present_cue
from voicenotes.language.scope import circumstances_of, negations_of
from voicenotes.vocabulary.schema import GENERAL

if TYPE_CHECKING:
    from voicenotes.language.binding import Group
    from voicenotes.language.choose_check import Choice
    from voicenotes.language.clause_view import ClauseView, Context
    from voicenotes.language.grounds import Grounds
    from voicenotes.language.hits import ConditionHit, CueHit
    from voicenotes.language.said_units import Quantity

_OWNERS = frozenset(["the", "its", "their", "this", "that", "his", "my"])
_MINE = frozenset(["my", "our"])
_BEFORE_ADJECTIVE = frozenset(
    ["a", "an", "some", "any", "this", "that", "the", "with", "got", "has", "there's", "is"]
)


def judge_conditions(view: ClauseView, context: Context, groups: list[Group]) -> list[Found]:
    """The checks that the conditions of a remark judge, each good or bad."""
    conditions = view.conditions
    negations = negations_of(view.words, view.reach, conditions, view.terms)
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
        turning = negations.get(index, ())
        doing = only_tells_what_is_done(view, condition)
        if doing and not (len(turning) == 1 and could_not(view, condition)):
            continue
        condition = agreeing(view, condition, conditions)
        if _only_strengthens(view, condition, conditions[index + 1 : index + 2]):
            continue
        for choice, certainty, carried in checks_judged(view, context, groups, condition, named):
            polarity = polarity_of(view, condition, choice.meaning, turning)
            if polarity is None or (polarity == "good" and _is_guessed_praise(choice)):
                continue
            if doing:
                polarity = "not_tested"
            why = _because(view, condition, choice, turning, carried)
            grounds = _grounds(view, condition, choice, turning, carried)
            found.append(Found(choice, polarity, condition, certainty, why, grounds=grounds))
    return found


def _is_guessed_praise(choice: Choice) -> bool:
    """Whether praise that fits anything is said of a thing that was only guessed by its sound: not enough to
    settle a check."""
    return choice.via is not None and choice.via.how == "sound" and choice.meaning.owner == GENERAL


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
    if any(_is_of_value(condition, quantity) for quantity in view.quantities):
        return True
    if before in _MINE:
        return True
    if before in ("a", "an") and any(q.start == condition.end for q in view.quantities):
        return True
    return (
        before in _OWNERS
        and condition.end - condition.start == 1
        and condition.how == "inflected"
        and not any(term.start == condition.end for term in view.terms)
    )


def _is_of_value(condition: ConditionHit, quantity: Quantity) -> bool:
    """Whether a word belongs to a value: "a | full | thou", "three | tenths over | ten inches"."""
    if quantity.start < condition.start < quantity.end:
        return True
    return quantity.start == condition.start and condition.end <= quantity.end


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


def _grounds(
    view: ClauseView,
    condition: ConditionHit,
    choice: Choice,
    turning: tuple[CueHit, ...],
    carried: bool,
) -> Grounds:
    """The words that `_because` cites, and those that helped: a side named, a "there's"."""
    check, meaning = view.lexicon.checks[choice.check], choice.meaning
    if choice.via is None:
        grounds = [Ground("station", condition.start, condition.start, check.station)]
    else:
        grounds = [of_term(choice.via, carried)]
    grounds.append(of_condition(condition, meaning))
    grounds += [of_cue(cue) for cue in turning]
    if meaning.owner == GENERAL:
        sides = {*check.aspects, check.id}
        grounds += [
            Ground("aspect", other.start, other.end, named.polarity, named.owner)
            for other in view.conditions
            for named in other.meanings
            if named.polarity in ("name", "unwanted", "wanted") and named.owner in sides
        ]
    there = present_cue(view, condition) if meaning.polarity in ("unwanted", "wanted") else None
    if there is not None and not turning:
        grounds.append(of_cue(there))
    return tuple(dict.fromkeys(grounds))
