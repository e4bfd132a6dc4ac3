"""Which findings a person should look at first, and why."""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicenotes.findings.settle import basis_is_told

if TYPE_CHECKING:
    from collections.abc import Mapping

    from voicenotes.model import CheckFinding

# Our own choice: most of what is read from clear speech lies above it.
SURE = 0.75
WORST_FIRST = ("critical", "major", "minor", "unsure", "not_tested", "not_mentioned", "ok", "not_fitted")


def doubts_of(finding: CheckFinding, badly_recorded: Mapping[str, str]) -> tuple[str, ...]:
    """Why a finding needs a look, most pressing first; empty where it only waits to be confirmed.

    `badly_recorded` says of recordings what is wrong with them.
    """
    if not finding.evidence:
        return ()
    judging = [e for e in finding.evidence if e.polarity in ("good", "bad", "unsure", "not_tested")]
    found = []
    if finding.conflict:
        found.append("One remark says good, another says bad.")
    if finding.outcome == "not_mentioned":
        if any(e.polarity == "withdrawn" for e in finding.evidence):
            found.append("What was said of it was taken back by a later remark: was it?")
        else:
            found.append("It is named, but nothing was understood as good or bad.")
    if judging and min(e.confidence for e in judging) < SURE:
        lowest = min(e.confidence for e in judging)
        found.append(f"Understood with little certainty ({lowest:.2f} of 1).")
    outside = any(r.verdict == "outside" for r in finding.readings)
    if outside and finding.outcome == "ok":
        found.append("A value is outside its limit, and it was called good.")
    found += [f"A value had to be interpreted: {r.doubtful}." for r in finding.readings if r.doubtful]
    if judging and basis_is_told(finding):
        found.append("Only told by somebody, not seen.")
    files = dict.fromkeys(e.recording for e in judging)
    found += [f"Recorded badly: {badly_recorded[file]}." for file in files if file in badly_recorded]
    return tuple(found)


def is_to_review(finding: CheckFinding) -> bool:
    """Whether there is anything in a finding that a person could confirm."""
    return bool(finding.evidence) or finding.outcome in ("ok", "defect", "unsure", "not_tested")


def order_key(finding: CheckFinding, doubts: tuple[str, ...], place: int) -> tuple[int, int, int, float, int]:
    """Sorts findings: contradictions, then doubtful ones, then the others, worst first."""
    confidence = min((e.confidence for e in finding.evidence), default=1.0)
    kind = finding.severity if finding.outcome == "defect" and finding.severity else finding.outcome
    return (not doubts, not finding.conflict, WORST_FIRST.index(kind), round(confidence, 3), place)
