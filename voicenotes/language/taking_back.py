"""Taking back: "scratch that", "correction", and doubts, classes and reasons that come afterwards.

Each function marks some of the last remarks in the list it is given; nothing is erased. Only the last
few are looked at, so that reading stays linear.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import islice
from typing import TYPE_CHECKING, Any

from voicenotes.language.grounds import Ground, of_cue
from voicenotes.language.severity import stated_severity

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from voicenotes.language.clause_view import ClauseView
    from voicenotes.language.hits import CueHit
    from voicenotes.language.mentions import Mention, Remark
    from voicenotes.model import Polarity

JUDGED = ("good", "bad", "unsure", "not_tested")
_NO = frozenset({"no", "nope", "nah", "none", "not"})
_AFTER_NO = frozenset({"it", "they", "not", "none", "no", "at", "really", "quite", "entirely"})
_CONTRARY: dict[str, Polarity] = {"good": "bad", "bad": "good"}
_VERDICTS = ("good", "bad")
_NEIGHBOURHOOD = 3
# Remarks looked back at for ones that say something: more that say nothing end the search.
_FARTHEST = 200
_WORDS_BEFORE_DOUBT = 3
_PAST = frozenset({"was", "were", "had", "used", "been", "got"})


@dataclass(frozen=True)
class Correcting:
    """A retraction or correction that is under way: its cue, and the sentence it was said in.

    `waiting` until something is said in its place; `since` is the place of the first remark after it.
    """

    cue: CueHit
    sentence: int
    since: int
    waiting: bool


def correcting_cue(view: ClauseView, pending: Correcting | None) -> CueHit | None:
    """The cue by which a remark takes something back, or the one still waiting."""
    own = (*view.reach.of_kind("retract"), *view.reach.of_kind("correct"))
    if own:
        return own[0]
    return pending.cue if pending is not None and pending.waiting else None


def last_said(remarks: Sequence[Remark]) -> int | None:
    """The place of the last remark that said something and stands."""
    return next(iter(_standing(remarks)), None)


def _standing(remarks: Sequence[Remark]) -> list[int]:
    backwards = reversed(range(max(0, len(remarks) - _FARTHEST), len(remarks)))
    standing = (i for i in backwards if remarks[i].taken_back is None and _says_something(remarks[i]))
    return list(islice(standing, _NEIGHBOURHOOD))


def take_back(
    remarks: list[Remark], remark: Remark, view: ClauseView, pending: Correcting | None
) -> Correcting | None:
    """Withdraw what the speaker takes back: "scratch that" the last remark that said something,
    "correction ..." the last ones about the same check, or else the last one.

    A correction waits until something is said: it is returned as pending meanwhile.
    """
    cue = correcting_cue(view, pending)
    if cue is None:
        lasts = pending is not None and view.clause.sentence <= pending.sentence + 1
        return pending if lasts else None
    now = Correcting(cue, view.clause.sentence, len(remarks), False)
    spoken = _standing(remarks)
    targets = spoken[:1]
    if cue.kind != "retract":
        judged = {mention.check for mention in remark.mentions if mention.polarity in JUDGED}
        if not judged and not remark.fittings and not remark.facts:
            return replace(now, waiting=True)
        same = [i for i in spoken if judged & {m.check for m in remarks[i].mentions}]
        targets = same[:1] or targets
    for index in targets:
        words = view.cite(cue.start, cue.end)
        remarks[index] = replace(remarks[index], taken_back=words, taken_back_by=(cue.start, cue.end))
    return now


def last_word_counts(remarks: list[Remark], remark: Remark, pending: Correcting | None) -> None:
    """ "I take that back, it was unplugged, it works": after a retraction the last word counts, what
    came between only explains."""
    if pending is None or pending.waiting:
        return
    final = _verdicts(remark)
    for index in range(max(pending.since, len(remarks) - _NEIGHBOURHOOD), len(remarks)):
        _mark(remarks, index, lambda m: _contradicts(m, final), "explains what was taken back")


def overtaken(remarks: list[Remark], remark: Remark, view: ClauseView, was: Sequence[bool]) -> None:
    """ "It was leaking, but now it's dry": what was so before counts no more.

    `was` tells for each remark of this transcript whether it speaks of the past.
    """
    repairs = view.reach.of_kind("history")
    if repairs and not view.terms and view.clause.joint in ("break", "comma", "and"):
        if was and was[-1]:  # "it was crashed, but that got put right long ago"
            _mark(remarks, len(remarks) - 1, lambda m: m.polarity == "bad", "put right since", repairs[0])
        return
    cues = view.reach.of_kind("now")
    if not cues:
        return
    now = _verdicts(remark)
    for back in range(1, min(_NEIGHBOURHOOD, len(was)) + 1):
        if was[-back]:
            at = len(remarks) - back
            _mark(remarks, at, lambda m: _contradicts(m, now), "before, not now", cues[0])


def answered(remarks: list[Remark], view: ClauseView) -> None:
    """ "Cracked? No.": a question with its answer is no finding of what was asked."""
    words = view.words.norms[view.clause.start : view.clause.end]
    if (
        not remarks
        or not remarks[-1].quote.endswith("?")
        or words[0] not in _NO
        or (len(words) > 1 and words[1] not in _AFTER_NO)
    ):
        return
    turned = tuple(
        replace(
            m,
            polarity=_CONTRARY[m.polarity],
            severity=None,
            why=f"{m.why}; answered {view.cite(view.clause.start, view.clause.end)}",
            grounds=(*m.grounds, Ground("cue", view.clause.start, view.clause.end, "answer")),
        )
        if m.polarity in _CONTRARY
        else m
        for m in remarks[-1].mentions
    )
    remarks[-1] = replace(remarks[-1], mentions=turned)


def speaks_of_the_past(view: ClauseView) -> bool:
    """Whether a remark says how things were."""
    return bool(_PAST.intersection(view.words.norms[view.clause.start : view.clause.end]))


def class_afterwards(remarks: list[Remark], remark: Remark, view: ClauseView) -> None:
    """ "That's a deal breaker": a class said in a remark of its own belongs to the defect before it."""
    stated = stated_severity(view.reach)
    if stated is None or any(m.polarity in JUDGED for m in remark.mentions) or not remarks:
        return
    severity, cue = stated
    if any(view.is_unknown(word) for word in range(view.clause.start, cue.start)):
        return  # "the train is expensive"
    said = f"{view.cite(cue.start, cue.end)} ({severity})"
    _mark(remarks, -1, lambda m: m.polarity == "bad", said, cue, severity=severity, stated=True)


def reason_before(remarks: list[Remark], view: ClauseView) -> None:
    """ "It was unplugged, so I couldn't try it": what stood before the "so" is a reason, no defect."""
    if view.clause.joint not in ("break", "comma") or view.words.norms[view.clause.start] != "so":
        return
    if len(remarks) < 2 or not view.reach.of_kind("not_tested"):
        return
    untested = {m.check for m in remarks[-1].mentions if m.polarity == "not_tested"}
    _mark(remarks, -2, lambda m: m.check in untested and m.polarity == "bad", "the reason for not testing")


def doubt_afterwards(remarks: list[Remark], view: ClauseView) -> None:
    """ "... but I couldn't swear to it": a doubt in a remark of its own makes the one before it unsure."""
    cues = view.reach.of_kind("hedge")
    if not cues or view.quantities or not remarks:
        return
    after = cues[0].end
    pointed_at = after + 1 < view.clause.end and view.words.norms[after] in ("the", "this", "that")
    if pointed_at and view.is_unknown(after + 1):
        return  # "I'm not sure about the weather"
    asides = [term for term in view.terms if view.is_aside(term)]
    after_aside = min((term.start for term in asides), default=view.clause.end)
    if len(asides) < len(view.terms) or any(c.start < after_aside for c in view.conditions):
        return
    close = cues[0].start - view.clause.start <= _WORDS_BEFORE_DOUBT
    if not close or (not asides and view.clause.end - cues[0].end > _WORDS_BEFORE_DOUBT):
        return
    said = f"{view.cite(cues[0].start, cues[0].end)} (hedge)"
    _mark(remarks, -1, lambda m: m.polarity in _VERDICTS, said, cues[0], polarity="unsure")


def _mark(
    remarks: list[Remark],
    index: int,
    which: Callable[[Mention], bool],
    reason: str,
    cue: CueHit | None = None,
    **changes: Any,
) -> None:
    """Change some mentions of a remark, each with the reason and its cue added; without changes it is
    only named."""
    changes = changes or {"polarity": "named"}
    changes["severity_from"] = "stated" if "severity" in changes else None
    if "severity" not in changes:
        changes["severity"] = None
    added = () if cue is None else (of_cue(cue),)
    mentions = tuple(
        replace(mention, why=f"{mention.why}; {reason}", grounds=mention.grounds + added, **changes)
        if which(mention)
        else mention
        for mention in remarks[index].mentions
    )
    remarks[index] = replace(remarks[index], mentions=mentions)


def _verdicts(remark: Remark) -> dict[str, str]:
    return {m.check: m.polarity for m in remark.mentions if m.polarity in _VERDICTS}


def _contradicts(mention: Mention, final: dict[str, str]) -> bool:
    return mention.polarity in _VERDICTS and final.get(mention.check, mention.polarity) != mention.polarity


def _says_something(remark: Remark) -> bool:
    return (
        any(mention.polarity in JUDGED for mention in remark.mentions)
        or bool(remark.facts)
        or bool(remark.fittings)
    )
