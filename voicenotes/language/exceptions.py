"""Exceptions and sweeps: "all good except the reset key", "nothing works apart from the handwheel".

What is excepted without a judgement of its own is the contrary of what was said of the rest. What is
said of "all the rest" or of "everything" settles no check that isn't named: nobody can tell which of
them he looked at.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from voicenotes.language.choose_check import choose_checks
from voicenotes.language.clause_view import Tone
from voicenotes.language.grounds import CARRIED, Ground, of_cue, of_term
from voicenotes.language.mentions import Mention
from voicenotes.language.polarity import polarity_of
from voicenotes.language.scope import negations_of, reaches_condition
from voicenotes.language.unjudged import Named, spoken_of
from voicenotes.vocabulary.schema import GENERAL

if TYPE_CHECKING:
    from voicenotes.language.clause_view import ClauseView, Context, Found
    from voicenotes.language.hits import CueHit
    from voicenotes.language.lexicon import Judgement
    from voicenotes.model import Polarity

_CONTRARY: dict[Polarity, Polarity] = {"good": "bad", "bad": "good"}
_SURE = 0.75
_DOING = frozenset(
    {"is", "are", "was", "were", "does", "do", "did", "has", "have", "will", "can", "could", "would"}
)
_SAME = frozenset({"same", "ditto", "likewise"})
_OPENERS = frozenset({"and", "but", "the", "it", "is"})
_WORDS_BEFORE = 1


def tone_of(view: ClauseView) -> Tone:
    """Whether a remark calls things good or bad, whatever the things are."""
    turned = negations_of(view.words, view.reach, view.conditions, view.terms)
    said: dict[Polarity, tuple[Judgement, ...]] = {}
    for index, condition in enumerate(view.conditions):
        if condition.judges:
            polarity = polarity_of(view, condition, condition.meanings[0], turned.get(index, ()))
            if polarity in _CONTRARY:
                said[polarity] = condition.meanings
    if len(said) != 1:
        return Tone(None, view.clause.sentence)
    (polarity,) = said
    return Tone(polarity, view.clause.sentence, said[polarity])


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
    if not view.terms and cue.end in view.marks.links:
        return []  # "readable except in sunlight"
    if not view.terms:  # "all tight bar one"
        checks = dict.fromkeys(context.checks, _carried(view))
    return [
        Mention(
            check, polarity, "seen", _SURE, f"{named.words} + {view.cite(cue.start, cue.end)} (exception)",
            severity=view.lexicon.checks[check].severity if polarity == "bad" else None,
            severity_from="check" if polarity == "bad" else None,
            grounds=(*named.grounds, of_cue(cue)),
        )
        for check, named in checks.items()
    ]  # fmt: skip


def turned_round(view: ClauseView, context: Context, found: list[Found]) -> list[Found]:
    """ "Everything except the handwheel works": the predicate is that of everything, so the exception
    is its contrary. Holds where nothing was said of the rest before the "except"."""
    cue, tone = exception_cue(view), context.tone
    if cue is None or tone is None or tone.polarity is not None or tone.sentence != view.clause.sentence:
        return found
    if not context.sweeping or any(view.words.breaks[word] for word in range(cue.end, view.clause.end)):
        return found
    said = f"; {view.cite(cue.start, cue.end)} (exception)"
    return [
        replace(
            item,
            polarity=_CONTRARY[item.polarity],
            because=item.because + said,
            grounds=(*item.grounds, of_cue(cue)),
        )
        if item.polarity in _CONTRARY
        else item
        for item in found
    ]


def echoed(view: ClauseView, context: Context) -> list[Mention]:
    """ "So is the power supply", "the drive isn't", "same with Z", "it isn't": what was said last, of
    something else or denied."""
    tone = context.tone
    if tone is None or tone.polarity is None or view.clause.sentence - tone.sentence > 1:
        return []
    words = view.words.norms[view.clause.start : view.clause.end]
    polarity = _echo(words, tone.polarity)
    if polarity is None or (not view.terms and polarity == tone.polarity):
        return []
    named: dict[str, Named] = {}
    for term in view.terms:
        others = tuple(other for other in view.terms if other is not term)
        for choice in choose_checks(view.lexicon, tone.meanings, (), term, others, frozenset(), context.here):
            named[choice.check] = Named(f"{view.cite(term.start, term.end)} ({term.found})", (of_term(term),))
    if not view.terms and not any(view.is_unknown(at) for at in range(view.clause.start, view.clause.end)):
        named = dict.fromkeys(context.checks, _carried(view))
    said = view.cite(view.clause.start, view.clause.end)
    return [
        Mention(
            check, polarity, "seen", _SURE, f"{why.words} + {said} (echo of what was said last)",
            severity=view.lexicon.checks[check].severity if polarity == "bad" else None,
            severity_from="check" if polarity == "bad" else None,
            grounds=(*why.grounds, Ground("cue", view.clause.start, view.clause.end, "echo")),
        )
        for check, why in named.items()
    ]  # fmt: skip


def _carried(view: ClauseView) -> Named:
    at = view.clause.start
    return Named("subject carried over", (Ground("subject", at, at, CARRIED),))


def _echo(words: tuple[str, ...], polarity: Polarity) -> Polarity | None:
    """The polarity that an elliptic remark repeats or turns round; None where it is no such remark."""
    first = next((at for at, word in enumerate(words) if word not in _OPENERS), len(words))
    opening = words[first : first + 2]
    if opening and (
        opening[0] in _SAME or (opening[0] in ("so", "as") and opening[1:] and opening[1] in _DOING)
    ):
        return polarity
    if words[-1] in _SAME:
        return polarity
    if len(words) > 2 and words[-1] == "not" and words[-2] in _DOING:
        return _CONTRARY[polarity]
    return None


def sweep_over(view: ClauseView, item: Found) -> CueHit | None:
    """The "everything" or "all the rest" that keeps a general judgement from settling what it names."""
    condition = item.condition
    if condition is None or item.choice.meaning.owner != GENERAL:
        return None
    return next((cue for cue in view.reach.of_kind("sweep") if reaches_condition(cue, condition)), None)
