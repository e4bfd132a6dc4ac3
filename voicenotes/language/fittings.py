"""Whether the machine has a fitting: said outright, or implied by a judgement of its checks."""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicenotes.language.binding import groups_of
from voicenotes.language.grounds import Ground, of_cue, of_term
from voicenotes.language.hits import GUESSED
from voicenotes.language.lexicon import CERTAINTY
from voicenotes.language.mentions import FittingMention
from voicenotes.language.remarks import noun_phrase_start
from voicenotes.language.words import WEAK

if TYPE_CHECKING:
    from collections.abc import Sequence

    from voicenotes.language.clause_view import ClauseView
    from voicenotes.language.hits import CueHit, TermHit
    from voicenotes.language.mentions import Mention
    from voicenotes.model import Basis

_GAP_WORDS = 2
_SURELY_JUDGED = 0.85  # below this a judgement was carried over or guessed
_ANSWERS = {"yes": True, "yep": True, "yeah": True, "no": False, "nope": False, "none": False}
_JUDGED = ("good", "bad", "unsure")


def read_fittings(view: ClauseView, mentions: Sequence[Mention]) -> list[FittingMention]:
    """The fittings that a remark says are there or not."""
    results: list[FittingMention] = []
    blocked = any(cue.kind in ("plan", "general") for cue in view.reach.wide)
    told = any(cue.kind == "hearsay" for cue in view.reach.wide)
    basis: Basis = "told" if told else "seen"
    if not blocked:
        for group in groups_of(view.words, view.terms, view.conditions):
            fittings = [(term, name) for term in group for name in _fittings_in(view, term)]
            if not fittings:
                continue
            answer = _answer(view, fittings[-1][0])
            if answer is not None:
                for term, name in fittings:
                    why = f"{view.cite(term.start, fittings[-1][0].end + 1)} (answer)"
                    grounds = (
                        of_term(term),
                        Ground("cue", fittings[-1][0].end, fittings[-1][0].end + 1, "answer"),
                    )
                    results.append(FittingMention(name, answer, basis, 0.85, why, grounds=grounds))
                continue
            absent = _says(view, fittings[0][0], fittings[-1][0], "absent")
            hedged = bool(view.reach.of_kind("hedge"))
            if absent is not None and view.reach.of_kind("not_tested"):
                continue  # "couldn't run the live tools, no driven holder"
            if absent is not None and not _is_said_of_it(view, fittings[-1][0], absent):
                for term, name in fittings:
                    why = f"{view.cite(absent.start, absent.end)} (absent) + {_named(view, term)}"
                    grounds = of_cue(absent), of_term(term)
                    results.append(
                        FittingMention(
                            name, None if hedged else False, basis, _sure(0.9, term), why, grounds=grounds
                        )
                    )
            elif (
                present := _says(view, fittings[0][0], fittings[-1][0], "present")
            ) is not None and not hedged:
                for term, name in fittings:
                    there = view.cite(present.start, present.end)
                    why = f"{there} (present) + {_named(view, term)}"
                    grounds = of_cue(present), of_term(term)
                    results.append(FittingMention(name, True, basis, _sure(0.85, term), why, grounds=grounds))
            elif not hedged and _is_where(view, fittings[0][0]):
                for term, name in fittings:
                    why = f"{_named(view, term)}: something was judged at it"
                    sure = _sure(0.8, term)
                    results.append(
                        FittingMention(name, True, basis, sure, why, implied=True, grounds=(of_term(term),))
                    )
    seen = {mention.fitting for mention in results}
    for mention in mentions:
        fitting = view.lexicon.checks[mention.check].fitting
        if fitting and fitting not in seen and mention.polarity in _JUDGED:
            seen.add(fitting)
            implied = mention.confidence < _SURELY_JUDGED
            results.append(
                FittingMention(
                    fitting,
                    True,
                    mention.basis,
                    mention.confidence,
                    f"{mention.check} judged: {mention.why}",
                    grounds=mention.grounds,
                    implied=implied,
                )
            )
    return results


def _answer(view: ClauseView, last: TermHit) -> bool | None:
    """ "Live tools yes, Y axis no": a yes or no right behind the thing, with nothing after it."""
    if last.end >= view.clause.end or view.words.breaks[last.end] > WEAK:
        return None
    after = last.end + 1
    closed = after >= view.clause.end or view.words.breaks[after] or view.words.norms[after] in ("and", "but")
    return _ANSWERS.get(view.words.norms[last.end]) if closed else None


def _named(view: ClauseView, term: TermHit) -> str:
    """A term's words, and what they were taken for where that is a guess."""
    words = view.cite(term.start, term.end)
    return f"{words} ({term.found})" if term.how in GUESSED else words


def _sure(plainly: float, term: TermHit) -> float:
    """The confidence in what would be as sure as `plainly` of a term said plainly."""
    return plainly * CERTAINTY[term.how] / CERTAINTY["exact"] if term.how in GUESSED else plainly


def _is_where(view: ClauseView, term: TermHit) -> bool:
    """ "No leaks at the tailstock": what is judged at a fitting says that the fitting is there."""
    start = noun_phrase_start(view.words, term.start, view.clause.start)
    judged = any(condition.judges and condition.end < start for condition in view.conditions)
    return judged and view.follows_link(term) and not view.reach.of_kind("not_tested", "history")


def _fittings_in(view: ClauseView, term: TermHit) -> list[str]:
    return [subject.id for subject in term.subjects if subject.id in view.lexicon.fittings]


def _says(view: ClauseView, first: TermHit, last: TermHit, kind: str) -> CueHit | None:
    """The cue of a kind that stands right before the first or right after the last term."""
    for cue in view.reach.of_kind(kind):
        if cue.use.reach != "backward" and cue.end <= first.start:
            between = range(cue.end, first.start)
            judged = any(word in view.marks.condition_at for word in between)
            if len(between) <= _GAP_WORDS and not judged and not _broken(view, cue.end, first.start):
                return cue
        if cue.use.reach != "forward" and last.end <= cue.start and cue.start - last.end <= cue.use.words:
            between = range(last.end, cue.start)
            if not any(word in view.marks.condition_at for word in between):
                return cue
    return None


def _broken(view: ClauseView, start: int, end: int) -> bool:
    return any(view.words.breaks[word] for word in range(start, end + 1))


def _is_said_of_it(view: ClauseView, term: TermHit, absent: CueHit) -> bool:
    """ "No tailstock alarm": the fitting only says whose alarm it is; "neither light works": it is there."""
    if absent.phrase.startswith(("neither", "nor")):
        return any(not c.is_noun and c.start >= term.end for c in view.conditions)
    follows = view.marks.condition_at.get(term.end)
    return (
        follows is not None
        and follows.is_noun
        and term.end < view.clause.end
        and not view.words.breaks[term.end]
    )
