"""How bad a defect is: severities in order, and those that the speaker states himself."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from voicenotes.language.hits import CueHit
    from voicenotes.language.scope import Reach
    from voicenotes.model import Severity

SeverityFrom = Literal["stated", "limit", "condition", "check"]
SEVERITIES: tuple[Severity, ...] = ("minor", "major", "critical")
_DENIAL_REACH_WORDS = 2
_CLASSES: dict[str, Severity] = {f"class_{severity}": severity for severity in SEVERITIES}


def worst_severity(first: Severity | None, second: Severity | None) -> Severity | None:
    """The graver of two severities."""
    there = [severity for severity in (first, second) if severity is not None]
    return max(there, key=SEVERITIES.index) if there else None


def one_milder(severity: Severity) -> Severity:
    """The severity below; minor stays minor."""
    return SEVERITIES[max(0, SEVERITIES.index(severity) - 1)]


def stated_severity(reach: Reach) -> tuple[Severity, CueHit] | None:
    """The severity that a remark states ("that's a deal breaker"), with the cue that says so.

    A class that is denied ("nothing dangerous", "it isn't cosmetic") states none.
    """
    denials = reach.of_kind("negation")
    for cue in reach.of_kind(*_CLASSES):
        if not any(0 <= cue.start - denial.end <= _DENIAL_REACH_WORDS for denial in denials):
            return _CLASSES[cue.kind], cue
    return None
