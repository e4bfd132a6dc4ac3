"""Exceptions and sweeps: "all good except the reset key", "nothing works apart from the handwheel".

What is excepted without a judgement of its own is the contrary of what was said of the rest. What is
said of "all the rest" or of "everything" settles no check that isn't named: nobody can tell which of
them he looked at.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from voicenotes.language.clause_view import Tone
from voicenotes.language.mentions import Mention
from voicenotes.language.polarity import polarity_of
from voicenotes.language.scope import negations_of, reaches_condition
from voicenotes.language.unjudged import spoken_of
from voicenotes.vocabulary.schema import GENERAL

if TYPE_CHECKING:
    from voicenotes.language.clause_view import ClauseView, Context, Found
    from voicenotes.language.hits import CueHit
    from voicenotes.model import Polarity

_CONTRARY: dict[Polarity, Polarity] = {"good": "bad", "bad": "good"}
_SURE = 0.75
_WORDS_BEFORE = 1


def tone_of(view: ClauseView) -> Tone:
    """Whether a remark calls things good or bad, whatever the things are."""
    turned = negations_of(view.words, view.reach, view.conditions, view.terms)
    said = {
        polarity_of(view, condition, condition.meanings[0], turned.get(index, ()))
        for index, condition in enumerate(view.conditions)
        if condition.judges
    } & set(_CONTRARY)
    return Tone(said.pop() if len(said) == 1 else None, view.clause.sentence)


def exception_cue(view: ClauseView) -> CueHit | None:
    """The "except" that a remark begins with."""
    return next(
        (cue for cue in view.reach.of_kind("exception") if cue.start - view.clause.start <= _WORDS_BEFORE),
        None,
    )


def excepted(view: ClauseView, context: Context) -> list[Mention]:
    """What is excepted without a judgement of its own, as the contrary of what was said before."""
    cue = exception_cue(view)
    tone = context.tone
    if cue is None or tone is None or tone.polarity is None or tone.sentence != view.clause.sentence:
        return []
    polarity = _CONTRARY[tone.polarity]
    checks = spoken_of(view, context, cue)
    return [
        Mention(
            check, polarity, "seen", _SURE, f"{named} + {view.cite(cue.start, cue.end)} (exception)",
            severity=view.lexicon.checks[check].severity if polarity == "bad" else None,
        )
        for check, named in checks.items()
    ]  # fmt: skip


def turned_round(view: ClauseView, context: Context, found: list[Found]) -> list[Found]:
    """ "Everything except the handwheel works": the predicate is that of everything, so the exception
    is its contrary. Holds where nothing was said of the rest before the "except"."""
    cue, tone = exception_cue(view), context.tone
    if cue is None or tone is None or tone.polarity is not None or tone.sentence != view.clause.sentence:
        return found
    if not context.swept or any(view.words.breaks[word] for word in range(cue.end, view.clause.end)):
        return found
    said = f"; {view.cite(cue.start, cue.end)} (exception)"
    return [
        replace(item, polarity=_CONTRARY[item.polarity], because=item.because + said)
        if item.polarity in _CONTRARY
        else item
        for item in found
    ]


def sweep_over(view: ClauseView, item: Found) -> CueHit | None:
    """The "everything" or "all the rest" that keeps a general judgement from settling what it names."""
    condition = item.condition
    if condition is None or item.choice.meaning.owner != GENERAL:
        return None
    return next((cue for cue in view.reach.of_kind("sweep") if reaches_condition(cue, condition)), None)
