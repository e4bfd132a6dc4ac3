"""The checks that are still open, and why."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from voicenotes.findings.reasons import reasons_behind
from voicenotes.findings.settle import basis_is_told
from voicenotes.model import Gap

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from voicenotes.findings.reasons import Place
    from voicenotes.findings.settle import SpokenRemark
    from voicenotes.model import CheckFinding, Evidence

GapKind = Literal[
    "never mentioned", "named but not judged", "not tested", "unsure", "only told", "taken back"
]  # fmt: skip
MOST_QUOTES = 2


def gaps_of(checks: Sequence[CheckFinding], remarks: Sequence[SpokenRemark] = ()) -> tuple[Gap, ...]:
    """The gaps in walking order: checks that apply, or may apply, and are not settled.

    Among `remarks`, all that was said in order, are the reasons for what was not tested.
    """
    reasons = reasons_behind(remarks)
    gaps = []
    for finding in checks:
        kind = gap_kind(finding)
        if kind:
            gaps.append(Gap(id=finding.id, why=_why(kind, finding, reasons)))
    return tuple(gaps)


def gap_kind(finding: CheckFinding) -> GapKind | None:
    """In what way a check is open; None when it is settled, or doesn't apply."""
    if finding.applies is False or finding.outcome == "not_fitted":
        return None
    if finding.outcome in ("ok", "defect"):
        return "only told" if basis_is_told(finding) else None
    if finding.outcome == "not_tested":
        return "not tested"
    if finding.outcome == "unsure":
        return "unsure"
    if finding.evidence and any(e.polarity == "named" for e in finding.evidence):
        return "named but not judged"
    return "taken back" if finding.evidence else "never mentioned"


def _why(kind: GapKind, finding: CheckFinding, reasons: Mapping[Place, str]) -> str:
    if kind == "only told":
        return f"{kind}: {_quote(finding, {}, 'good', 'bad')}"
    if kind == "not tested":
        return f"{kind}: {_quote(finding, reasons, 'not_tested')}"
    if kind == "unsure":
        return f"{kind}: {_quote(finding, {}, 'unsure')}"
    if kind == "named but not judged":
        return f"{kind}: {_quote(finding, {}, 'named')}"
    return kind


def _quote(finding: CheckFinding, reasons: Mapping[Place, str], *polarities: str) -> str:
    """The first few of the words that made it so, each with the reason that stands right behind it."""
    said: list[Evidence] = [e for e in finding.evidence if e.polarity in polarities]
    quotes: list[str] = []
    for evidence in said:
        reason = reasons.get((evidence.recording, evidence.end))
        if quotes and quotes[-1].endswith(evidence.quote):
            continue  # it was the reason for the one before
        quotes.append(f"{evidence.quote} {reason}" if reason else evidence.quote)
    return "; ".join(f'"{quote}"' for quote in quotes[:MOST_QUOTES])
