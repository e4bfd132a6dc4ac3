"""Corrections of checks, facts and fittings as a whole."""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicenotes.corrections.refs import seen_of
from voicenotes.corrections.settling import follows_reading, judged, outcome_of, outcome_of_readings
from voicenotes.corrections.values import (
    Add,
    Confirm,
    SetFact,
    SetFitting,
    SetOutcome,
    SetReading,
    SetSeverity,
    SettleGap,
    SetWording,
)
from voicenotes.errors import PackError
from voicenotes.language.severity import worst_severity

if TYPE_CHECKING:
    from collections.abc import Sequence

    from voicenotes.corrections.values import Correction, OfCheck
    from voicenotes.corrections.workbench import Workbench
    from voicenotes.model import CheckFinding

OF_CHECK = (Confirm, SetOutcome, SetSeverity, SetReading, SetWording, SettleGap)


def apply_fittings_and_facts(bench: Workbench, corrections: Sequence[Correction]) -> None:
    """Facts and fittings that a person gave, and what follows for the checks of a fitting."""
    for correction in corrections:
        what = correction.what
        if isinstance(what, SetFact):
            fact = bench.record.facts.get(what.fact)
            if fact is None or fact.value != what.was:
                bench.decide(correction, _otherwise(fact.value if fact else None))
                continue
            update = {"value": what.value, "unit": what.unit}
            bench.facts[what.fact] = bench.facts[what.fact].model_copy(update=update)
        elif isinstance(what, SetFitting):
            fitting = bench.record.fittings.get(what.fitting)
            if fitting is None or fitting.fitted != what.was:
                bench.decide(correction, _otherwise(fitting.fitted if fitting else None))
                continue
            update_fitted = {"fitted": what.fitted}
            bench.fittings[what.fitting] = bench.fittings[what.fitting].model_copy(update=update_fitted)


def _otherwise(value: object) -> str:
    said = {True: "yes", False: "no", None: "nothing"}.get(value) if isinstance(value, bool | None) else value
    return f"the visit now says something else than before: {said}"


def checks_of_fittings(bench: Workbench) -> None:
    """What a changed fitting means for its checks."""
    for check in bench.pack.checks:
        if not check.fitting or check.id not in bench.findings:
            continue
        before, now = bench.record.fittings.get(check.fitting), bench.fittings.get(check.fitting)
        if before is None or now is None or before.fitted == now.fitted:
            continue
        finding = bench.findings[check.id].model_copy(update={"applies": now.fitted})
        bench.findings[check.id] = finding
        bench.resettle.setdefault(check.id, None)
        bench.regap.add(check.id)


def apply_added(bench: Workbench, corrections: Sequence[Correction]) -> None:
    """Findings that were never spoken count for their checks: the worse outcome stands."""
    for correction in corrections:
        what = correction.what
        if not isinstance(what, Add) or what.check is None:
            continue
        if what.check not in bench.findings:
            bench.decide(correction, f"the pack has no check '{what.check}' any more")
            continue
        finding = bench.findings[what.check]
        if what.outcome == "ok" and finding.outcome == "defect":
            bench.touch(what.check, correction)
            continue
        severity = None
        if what.outcome == "defect":
            known = finding.severity if finding.outcome == "defect" else None
            usual = bench.of_pack[what.check].severity if what.check in bench.of_pack else "minor"
            severity = worst_severity(known, what.severity or usual)
        bench.findings[what.check] = finding.model_copy(
            update={"outcome": what.outcome, "severity": severity, "applies": True}
        )
        bench.by_person.add(what.check)
        bench.touch(what.check, correction)


def apply_to_checks(bench: Workbench, corrections: Sequence[Correction]) -> list[Correction]:
    """Confirm and correct checks, in the order in which it was said; gives back those that settle a gap."""
    settling = []
    for correction in corrections:
        what = correction.what
        if not isinstance(what, OF_CHECK):
            continue
        before = bench.before.get(what.check)
        if before is None:
            bench.decide(correction, f"the pack has no check '{what.check}' any more")
        elif seen_of(before, bench.remarks).mark != what.seen.mark:
            bench.decide(correction, _changed(before, what))
        elif isinstance(what, SettleGap):
            settling.append(correction)
        else:
            line = _apply(bench, what)
            if line:
                bench.decide(correction, line)
                continue
            bench.touch(what.check, correction)
    return settling


def _changed(now: CheckFinding, what: OfCheck) -> str:
    was = f"{what.seen.outcome.replace('_', ' ')} {what.seen.severity or ''}".strip()
    is_now = f"{now.outcome.replace('_', ' ')} {now.severity or ''}".strip()
    if was == is_now:
        return f"the visit says {is_now} as before, but from other words or values"
    return f"the visit said {was} then, and says {is_now} now"


def _apply(bench: Workbench, what: OfCheck) -> str | None:
    """Apply one correction to its check; a line when it doesn't fit."""
    finding = bench.findings[what.check]
    if isinstance(what, SetOutcome):
        severity = None
        if what.outcome == "defect":
            usual = bench.of_pack[what.check].severity if what.check in bench.of_pack else "minor"
            severity = what.severity or finding.severity or usual
        applies = False if what.outcome == "not_fitted" else finding.applies or None
        if what.outcome in ("ok", "defect", "unsure"):
            applies = True
        update = {"outcome": what.outcome, "severity": severity, "applies": applies}
        bench.findings[what.check] = finding.model_copy(update=update)
        bench.by_person.add(what.check)
    elif isinstance(what, SetSeverity):
        if finding.outcome != "defect":
            return "a severity was given, and it is no defect any more"
        bench.findings[what.check] = finding.model_copy(update={"severity": what.severity})
    elif isinstance(what, SetReading):
        return _reading(bench, what)
    return None


def _reading(bench: Workbench, what: SetReading) -> str | None:
    finding, check = bench.findings[what.check], bench.of_pack.get(what.check)
    if check is None:
        return f"the pack has no check '{what.check}' any more"
    readings = list(finding.readings)
    at = len(readings)
    was = None
    if what.heard is not None:
        places = [
            n for n, r in enumerate(readings) if (r.value, r.unit) == (what.heard.value, what.heard.unit)
        ]
        if not places:
            return f"the value {what.heard.value:g} {what.heard.unit} is not there any more"
        at = places[0]
        was = readings.pop(at)
    if what.said is not None:
        try:
            readings.insert(at, judged(check, what.said, " ".join(e.quote for e in finding.evidence), was))
        except PackError as error:
            return str(error)
    update: dict[str, object] = {"readings": tuple(readings)}
    if what.check not in bench.by_person and follows_reading(finding):
        otherwise = (
            finding.outcome
            if readings
            else outcome_of([e for e in finding.evidence if e.basis != "measured"])
        )
        outcome = outcome_of_readings(readings, otherwise)
        if outcome != finding.outcome:
            update |= {"outcome": outcome, "severity": check.severity if outcome == "defect" else None}
    elif what.check not in bench.by_person and finding.outcome == "not_mentioned" and readings:
        outcome = outcome_of_readings(readings, finding.outcome)
        update |= {"outcome": outcome, "severity": check.severity if outcome == "defect" else None}
    bench.findings[what.check] = finding.model_copy(update=update)
    return None
