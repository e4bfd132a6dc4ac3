"""The gap list of a record: its gaps in walking order, those behind an unasked fitting as one question.

What a pack says of risks comes with each check; `time_left.py` picks by it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicenotes.findings.gap_values import GapList, LeftOpen, OpenCheck, Question, Sum
from voicenotes.findings.gaps import gap_kind
from voicenotes.findings.likelihoods import likelihood

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from voicenotes.model import CheckFinding, Gap, Record
    from voicenotes.vocabulary.schema import Check, Pack

MOST_WORDS = 2
LEAVE = "You can leave: everything that must be settled before leaving is settled."


def gap_list(
    record: Record, pack: Pack, only_must: bool = False, left_open: Sequence[LeftOpen] = ()
) -> GapList:
    """The record's gaps; with `only_must` those that must be settled before leaving.

    `left_open` are gaps that a person settled in the review (`corrections/still_open.py`).
    """
    left = tuple(gap for gap in left_open if gap.must_before_leaving or not only_must)
    findings = {finding.id: finding for finding in record.checks}
    checks = {check.id: check for check in pack.checks}
    found = [
        (_open_check(gap, findings[gap.id], checks.get(gap.id), pack), checks.get(gap.id))
        for gap in record.gaps
        if gap.id in findings
    ]
    found = [(gap, check) for gap, check in found if gap.must_before_leaving or not only_must]
    behind: dict[str, list[OpenCheck]] = {}
    plain: list[OpenCheck] = []
    for gap, check in found:
        if check and check.fitting and _is_unknown(record, check.fitting):
            behind.setdefault(check.fitting, []).append(gap)
        else:
            plain.append(gap)
    questions = tuple(_question(record, pack, fitting, gaps) for fitting, gaps in behind.items())
    hidden = [gap for question in questions for gap in question.checks]
    must, must_hidden = _sum(plain, True), _sum(hidden, True)
    return GapList(
        pack=record.pack,
        questions=questions,
        checks=tuple(plain),
        open=_sum(plain),
        behind_questions=_sum(hidden),
        must=must,
        must_behind_questions=must_hidden,
        left_open=left,
        can_leave=not must.checks and not must_hidden.checks,
        summary=_summary(
            must,
            must_hidden,
            sum(any(g.must_before_leaving for g in q.checks) for q in questions),
            sum(gap.must_before_leaving for gap in left),
        ),
    )


def _open_check(gap: Gap, finding: CheckFinding, check: Check | None, pack: Pack) -> OpenCheck:
    severity = finding.severity or (check.severity if check else "minor")
    likely, risk = likelihood(check, pack), None
    if pack.head.risk and likely is not None:
        risk = round(getattr(pack.head.risk.severity_weights, severity) * likely, 6)
    return OpenCheck(
        id=finding.id,
        station=finding.station,
        title=finding.title,
        kind=gap_kind(finding) or "never mentioned",
        why=gap.why,
        outcome=finding.outcome,
        applies=finding.applies,
        minutes=finding.minutes,
        must_before_leaving=finding.must_before_leaving,
        severity=severity,
        likely=check.likely if check else None,
        risk=risk,
    )


def _is_unknown(record: Record, fitting: str) -> bool:
    known = record.fittings.get(fitting)
    return known is None or known.fitted is None


def _question(record: Record, pack: Pack, fitting: str, gaps: Sequence[OpenCheck]) -> Question:
    title = next((one.title for one in pack.head.fittings if one.id == fitting), fitting)
    known = record.fittings.get(fitting)
    said = [e.quote for e in known.evidence if e.polarity != "withdrawn"] if known else []
    return Question(
        fitting=fitting,
        title=title,
        words=tuple(dict.fromkeys(said))[:MOST_WORDS],
        minutes=pack.head.risk.question_minutes if pack.head.risk else None,
        checks=tuple(gaps),
    )


def _sum(gaps: Iterable[OpenCheck], only_must: bool = False) -> Sum:
    counting = [gap for gap in gaps if gap.must_before_leaving or not only_must]
    return Sum(checks=len(counting), minutes=sum(gap.minutes for gap in counting))


def _summary(must: Sum, hidden: Sum, questions: int, left: int) -> str:
    """Whether he can leave, in one line; what stands in brackets may be broken off."""
    fittings = f"{questions} fitting{'' if questions == 1 else 's'}"
    perhaps = f"{_checks(hidden.checks)}, about {_minutes(hidden.minutes)}"
    if must.checks:
        head = (
            f"Don't leave yet: {_checks(must.checks)} must still be settled, about {_minutes(must.minutes)}"
        )
        return (
            f"{head} (and up to {perhaps}, behind {fittings} nobody spoke of)."
            if hidden.checks
            else f"{head}."
        )
    if hidden.checks:
        return f"Don't leave yet: say first whether {fittings} are there (up to {perhaps}, hang on that)."
    return f"{LEAVE[:-1]}, or left open for a reason ({_checks(left)})." if left else LEAVE


def _checks(number: int) -> str:
    return f"{number} check" if number == 1 else f"{number} checks"


def _minutes(number: float) -> str:
    return f"{max(1, round(number)) if number else 0} min"
