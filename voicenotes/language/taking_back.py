"""Taking back: "scratch that", "correction", and doubts, classes and reasons that come afterwards.

Each function gets the remarks so far and gives them changed; nothing is erased, only marked.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import islice
from typing import TYPE_CHECKING

from voicenotes.language.grounds import of_cue
from voicenotes.language.severity import stated_severity

if TYPE_CHECKING:
    from collections.abc import Sequence

    from voicenotes.language.clause_view import ClauseView
    from voicenotes.language.hits import CueHit
    from voicenotes.language.mentions import Remark

JUDGED = ("good", "bad", "unsure", "not_tested")
_NEIGHBOURHOOD = 3
_WORDS_BEFORE_DOUBT = 3


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
    backwards = reversed(range(len(remarks)))
    standing = (i for i in backwards if remarks[i].taken_back is None and _says_something(remarks[i]))
    return list(islice(standing, _NEIGHBOURHOOD))


def take_back(
    remarks: list[Remark], remark: Remark, view: ClauseView, pending: Correcting | None
) -> tuple[list[Remark], Correcting | None]:
    """Withdraw what the speaker takes back: "scratch that" the last remark that said something,
    "correction ..." the last ones about the same check, or else the last one.

    A correction waits until something is said: it is returned as pending meanwhile.
    """
    cue = correcting_cue(view, pending)
    if cue is None:
        return remarks, _while_it_lasts(pending, view)
    now = Correcting(cue, view.clause.sentence, len(remarks), False)
    spoken = _standing(remarks)
    targets = spoken[:1]
    if cue.kind != "retract":
        judged = {mention.check for mention in remark.mentions if mention.polarity in JUDGED}
        if not judged and not remark.fittings and not remark.facts:
            return remarks, replace(now, waiting=True)
        same = [i for i in spoken if judged & {m.check for m in remarks[i].mentions}]
        targets = same[:1] or targets
    words = view.cite(cue.start, cue.end)
    changed = list(remarks)
    for index in targets:
        changed[index] = replace(changed[index], taken_back=words, taken_back_by=(cue.start, cue.end))
    return changed, now


def _while_it_lasts(pending: Correcting | None, view: ClauseView) -> Correcting | None:
    if pending is None or view.clause.sentence > pending.sentence + 1:
        return None
    return pending


def last_word_counts(remarks: list[Remark], remark: Remark, pending: Correcting | None) -> list[Remark]:
    """ "I take that back, it was unplugged, it works": after a retraction the last word counts, what
    came between only explains."""
    if pending is None or pending.waiting:
        return remarks
    final = {m.check: m.polarity for m in remark.mentions if m.polarity in ("good", "bad")}
    changed = list(remarks)
    for index in range(pending.since, len(remarks)):
        mentions = tuple(
            replace(
                m,
                polarity="named",
                severity=None,
                severity_from=None,
                why=m.why + "; explains what was taken back",
            )
            if m.polarity in ("good", "bad") and final.get(m.check, m.polarity) != m.polarity
            else m
            for m in changed[index].mentions
        )
        changed[index] = replace(changed[index], mentions=mentions)
    return changed


def _says_something(remark: Remark) -> bool:
    return (
        any(mention.polarity in JUDGED for mention in remark.mentions)
        or bool(remark.facts)
        or bool(remark.fittings)
    )


def class_afterwards(remarks: list[Remark], remark: Remark, view: ClauseView) -> list[Remark]:
    """ "That's a deal breaker": a class said in a remark of its own belongs to the defect before it."""
    stated = stated_severity(view.reach)
    if stated is None or any(m.polarity in JUDGED for m in remark.mentions) or not remarks:
        return remarks
    last = remarks[-1]
    if not any(mention.polarity == "bad" for mention in last.mentions):
        return remarks
    severity, cue = stated
    said = f"; {view.cite(cue.start, cue.end)} ({severity})"
    mentions = tuple(
        replace(
            m,
            severity=severity,
            stated=True,
            why=m.why + said,
            severity_from="stated",
            grounds=(*m.grounds, of_cue(cue)),
        )
        if m.polarity == "bad"
        else m
        for m in last.mentions
    )
    return [*remarks[:-1], replace(last, mentions=mentions)]


def reason_before(remarks: list[Remark], view: ClauseView) -> list[Remark]:
    """ "It was unplugged, so I couldn't try it": what stood before the "so" is a reason, no defect."""
    if view.clause.joint not in ("break", "comma") or view.words.norms[view.clause.start] != "so":
        return remarks
    if len(remarks) < 2 or not view.reach.of_kind("not_tested"):
        return remarks
    untested = {m.check for m in remarks[-1].mentions if m.polarity == "not_tested"}
    before = remarks[-2]
    mentions = tuple(
        replace(
            m, polarity="named", severity=None, severity_from=None, why=m.why + "; the reason for not testing"
        )
        if m.check in untested and m.polarity == "bad"
        else m
        for m in before.mentions
    )
    return [*remarks[:-2], replace(before, mentions=mentions), remarks[-1]]


def doubt_afterwards(remarks: list[Remark], view: ClauseView) -> list[Remark]:
    """ "... but I couldn't swear to it": a doubt in a remark of its own makes the one before it unsure."""
    cues = view.reach.of_kind("hedge")
    if not cues or view.quantities or not remarks:
        return remarks
    asides = [term for term in view.terms if view.is_aside(term)]
    after_aside = min((term.start for term in asides), default=view.clause.end)
    if len(asides) < len(view.terms) or any(c.start < after_aside for c in view.conditions):
        return remarks
    close = cues[0].start - view.clause.start <= _WORDS_BEFORE_DOUBT
    if not close or (not asides and view.clause.end - cues[0].end > _WORDS_BEFORE_DOUBT):
        return remarks
    said = f"; {view.cite(cues[0].start, cues[0].end)} (hedge)"
    last = remarks[-1]
    mentions = tuple(
        replace(
            m,
            polarity="unsure",
            severity=None,
            severity_from=None,
            why=m.why + said,
            grounds=(*m.grounds, of_cue(cues[0])),
        )
        if m.polarity in ("good", "bad")
        else m
        for m in last.mentions
    )
    return [*remarks[:-1], replace(last, mentions=mentions)]
