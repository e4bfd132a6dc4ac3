"""What differs from its label, in the order of what it costs: worst is a fault reported as fine, or a check
reported as settled that nobody settled.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicenotes.findings.compare import SETTLED
from voicenotes.findings.score_values import Misreading
from voicenotes.vocabulary.labels import LabelledSentence

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from voicenotes.findings.compare import CheckResult, ValueResult
    from voicenotes.findings.labelled_cases import Case, CaseResult
    from voicenotes.model import Outcome

_FAULT_AS_FINE, _FALSELY_SETTLED, _OTHERWISE_SETTLED, _FAULT_LOST, _LOST, _BOTH_OPEN = range(6)
_RANKS = {"severity": 6, "reading": 7, "fitting": 8, "fact": 9}
_AS_LABELLED = 10


def rank_of_pair(labelled: Outcome, read: Outcome) -> int:
    """How bad it is to read one outcome as another; 0 is worst, and what is right comes last."""
    if labelled == read:
        return _AS_LABELLED
    if read in SETTLED:
        if labelled == "defect":
            return _FAULT_AS_FINE
        return _OTHERWISE_SETTLED if labelled in SETTLED else _FALSELY_SETTLED
    if labelled == "defect":
        return _FAULT_LOST
    return _LOST if labelled in SETTLED else _BOTH_OPEN


def misreadings_of(results: Sequence[CaseResult]) -> tuple[Misreading, ...]:
    """Everything that differs from its label, worst first, and then in the order of the sets."""
    ranked = [(rank, found) for result in results for rank, found in _of_case(result)]
    return tuple(found for _, found in sorted(ranked, key=lambda pair: pair[0]))


def _of_case(result: CaseResult) -> Iterator[tuple[int, Misreading]]:
    for check in result.comparison.checks:
        if not check.right:
            yield _rank_of_check(check), _of_check(result.case, check)
    for value in result.comparison.values:
        if not value.right:
            yield _RANKS[value.what], _of_value(result.case, value)


def _rank_of_check(check: CheckResult) -> int:
    if check.falsely_settled:
        return min(_FALSELY_SETTLED, rank_of_pair(check.labelled, check.read))
    if check.labelled == check.read:
        return _RANKS["severity"]
    rank = rank_of_pair(check.labelled, check.read)
    return _BOTH_OPEN if rank == _FALSELY_SETTLED else rank  # read as settled, but only told: still a gap


def _of_check(case: Case, check: CheckResult) -> Misreading:
    labelled, read = str(check.labelled), str(check.read)
    of_severity = labelled == read and not check.falsely_settled
    if of_severity:
        labelled, read = f"defect {check.severity}", f"defect {check.severity_read}"
    return Misreading(
        place=case.place, kind=case.kind, what="severity" if of_severity else "outcome", subject=check.check,
        labelled=f"{labelled}, only told" if check.told else labelled, read=read,
        false_settlement=check.falsely_settled, quote=_said(case, check.quote), why=check.why,
    )  # fmt: skip


def _of_value(case: Case, value: ValueResult) -> Misreading:
    return Misreading(
        place=case.place, kind=case.kind, what=value.what, subject=value.subject, labelled=value.labelled,
        read=value.read, quote=_said(case, value.quote), why=value.why,
    )  # fmt: skip


def _said(case: Case, quote: str) -> str:
    """The whole sentence of a labelled sentence; of longer talk only the words that were read."""
    if isinstance(case.label, LabelledSentence) and len(case.label.texts) == 1:
        return case.label.say
    return quote
