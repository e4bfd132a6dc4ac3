"""Signs, places and grounds of remarks, as the review page shows them."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from voicenotes.model import CheckFinding

BASES = {"seen": "seen", "measured": "measured", "told": "only told"}


def sign_of(finding: CheckFinding) -> str:
    """Which sign a finding has: its severity if it is a defect, else its outcome."""
    return finding.severity or "minor" if finding.outcome == "defect" else finding.outcome


def clock(seconds: float) -> str:
    """A place in a recording as m:ss."""
    whole = int(seconds)
    return f"{whole // 60}:{whole % 60:02}"
