"""The checks that are still open, and why."""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicenotes.findings.settle import basis_is_told
from voicenotes.model import Gap

if TYPE_CHECKING:
    from collections.abc import Sequence

    from voicenotes.model import CheckFinding, Evidence

MOST_QUOTES = 2


def gaps_of(checks: Sequence[CheckFinding]) -> tuple[Gap, ...]:
    """The gaps in walking order: checks that apply, or may apply, and are not settled."""
    gaps = []
    for finding in checks:
        if finding.applies is False or finding.outcome == "not_fitted":
            continue
        why = _why_open(finding)
        if why:
            gaps.append(Gap(id=finding.id, why=why))
    return tuple(gaps)


def _why_open(finding: CheckFinding) -> str | None:
    if finding.outcome in ("ok", "defect"):
        if basis_is_told(finding):
            return f"only told: {_quote(finding, 'good', 'bad')}"
        return None
    if finding.outcome == "not_tested":
        return f"not tested: {_quote(finding, 'not_tested')}"
    if finding.outcome == "unsure":
        return f"unsure: {_quote(finding, 'unsure')}"
    if finding.evidence and any(e.polarity == "named" for e in finding.evidence):
        return f"named but not judged: {_quote(finding, 'named')}"
    if finding.evidence:
        return "taken back"
    return "never mentioned"


def _quote(finding: CheckFinding, *polarities: str) -> str:
    said: list[Evidence] = [e for e in finding.evidence if e.polarity in polarities]
    return "; ".join(f'"{evidence.quote}"' for evidence in said[:MOST_QUOTES])
