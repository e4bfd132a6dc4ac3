"""What follows for a check when its evidence or its readings are corrected."""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicenotes.errors import PackError
from voicenotes.language.severity import worst_severity
from voicenotes.model import Reading

if TYPE_CHECKING:
    from collections.abc import Sequence

    from voicenotes.corrections.values import Measured
    from voicenotes.model import CheckFinding, Evidence, Outcome, Polarity, Severity
    from voicenotes.vocabulary.schema import Check

PRECEDENCE: tuple[tuple[Polarity, Outcome], ...] = (
    ("bad", "defect"), ("unsure", "unsure"), ("good", "ok"), ("not_tested", "not_tested"),
)  # fmt: skip


def settled_again(
    finding: CheckFinding, evidence: Sequence[Evidence], check: Check | None, graver: Severity | None
) -> CheckFinding:
    """The finding as it follows from other evidence, by the rules of findings/settle.py.

    A defect keeps its severity as long as something bad of before is left; `graver` is that of what came.
    """
    outcome = outcome_of(evidence)
    if finding.applies is False:
        outcome = "not_fitted"
    severity = None
    if outcome == "defect":
        kept = {_key(e) for e in finding.evidence if e.polarity == "bad"}
        stays = any(_key(e) in kept for e in evidence if e.polarity == "bad")
        severity = worst_severity(finding.severity if stays else None, graver)
        severity = severity or (check.severity if check else finding.severity)
    polarities = {e.polarity for e in evidence}
    return finding.model_copy(
        update={
            "outcome": outcome,
            "severity": severity,
            "evidence": tuple(evidence),
            "conflict": {"good", "bad"} <= polarities,
        }
    )


def outcome_of(evidence: Sequence[Evidence]) -> Outcome:
    """The outcome of some evidence: the worst of what was seen; without any of that, of what was told."""
    for among in ([e for e in evidence if e.basis != "told"], evidence):
        polarities = {e.polarity for e in among}
        for polarity, outcome in PRECEDENCE:
            if polarity in polarities:
                return outcome
    return "not_mentioned"


def _key(evidence: Evidence) -> tuple[str, float, float, str]:
    return (evidence.recording, evidence.start, evidence.end, evidence.quote)


def judged(check: Check, measured: Measured, words: str = "", was: Reading | None = None) -> Reading:
    """A value judged by the check's limit; `words` stand beside it, `was` is the reading that it replaces.

    Raises PackError when there is no such unit. Without a limit that fits, the verdict says so.
    """
    from voicenotes.language.limits import Setting, judge, limit_for
    from voicenotes.language.said_units import Quantity
    from voicenotes.language.units import dimension_of, to_si

    quantity = Quantity(0, 0, measured.value, measured.unit, measured.unit, dimension_of(measured.unit))
    setting = Setting(said=tuple(words.lower().split()))
    found = limit_for(check, quantity, setting)
    if found is None and was is not None:
        named = [limit for limit in check.readings if limit.quantity == was.quantity]
        usable = [limit for limit in named if limit.dimension == quantity.dimension]
        found = (usable[0], quantity) if usable else None
    if found is not None:
        return judge(*found, setting)
    si_value, si_unit = to_si(measured.value, measured.unit)
    return Reading(
        quantity=was.quantity if was else check.title.lower(),
        value=measured.value,
        unit=measured.unit,
        si_value=float(f"{si_value:.9g}"),
        si_unit=si_unit,
        source=None,
    )


def fits(check: Check, reading: Reading) -> Reading | None:
    """A reading of another check, judged by this one's limit; None when this one measures no such thing."""
    from voicenotes.corrections.values import Measured

    try:
        again = judged(check, Measured(value=reading.value, unit=reading.unit))
    except PackError:
        return None
    return (
        again
        if again.limit is not None or any(limit.quantity == again.quantity for limit in check.readings)
        else None
    )


def follows_reading(finding: CheckFinding) -> bool:
    """Whether measuring alone decided a check, so that its outcome follows when a reading is put right."""
    deciding = [e for e in finding.evidence if e.polarity in ("good", "bad")]
    return bool(deciding) and all(e.basis == "measured" for e in deciding)


def outcome_of_readings(readings: Sequence[Reading], outcome: Outcome) -> Outcome:
    """What readings alone say: a defect if one is outside its limit; `outcome` where none has a limit."""
    verdicts = {reading.verdict for reading in readings}
    if "outside" in verdicts:
        return "defect"
    return "ok" if "within" in verdicts else outcome
