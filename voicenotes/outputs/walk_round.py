"""How each station of the walk round stands: counted, signed and worded alike by review page and report."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from voicenotes.outputs.wording import count

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable

    from voicenotes.model import CheckFinding, Severity

SEVERITIES: tuple[Severity, ...] = ("critical", "major", "minor")
SEVERITY_SIGNS: dict[Severity, str] = {"critical": "C", "major": "M", "minor": "m"}


@dataclass(frozen=True)
class StationState:
    """Counts of a station's checks: those that apply are settled, open, or left open by a person.

    `defects` are settled ones, found and not only told; `worst` is the worst of their severities.
    """

    applying: int
    settled: int
    open: int
    left: int
    not_fitted: int
    defects: int
    worst: Severity | None

    @property
    def words(self) -> str:
        """ "6 of 9 settled, 1 left open, 2 defects"."""
        return state_words(self.applying, self.settled, self.left, self.defects)


def station_state(
    findings: Iterable[CheckFinding], open_: Collection[str], left: Collection[str]
) -> StationState:
    """The state of a station from its checks, the ids of open ones and of those that a person left open."""
    here = list(findings)
    waiting = {finding.id for finding in here if finding.id in open_ or finding.id in left}
    absent = [f for f in here if f.id not in waiting and (f.applies is False or f.outcome == "not_fitted")]
    applying = len(here) - len(absent)
    settled = [f for f in here if f.id not in waiting and f not in absent]
    severities = [finding.severity or "minor" for finding in settled if finding.outcome == "defect"]
    return StationState(
        applying=applying,
        settled=len(settled),
        open=sum(finding.id in open_ for finding in here),
        left=sum(finding.id in left and finding.id not in open_ for finding in here),
        not_fitted=len(absent),
        defects=len(severities),
        worst=next((severity for severity in SEVERITIES if severity in severities), None),
    )


def state_words(applying: int, settled: int, left: int, defects: int) -> str:
    """A station's counts in words."""
    if not applying:
        return "nothing to check: not fitted"
    parts = [f"{settled} of {applying} settled"]
    parts += [f"{left} left open"] if left else []
    return ", ".join([*parts, count(defects, "defect")] if defects else parts)
