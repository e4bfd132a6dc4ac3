"""Compares what was read of a labelled sentence with what its label expects."""

from __future__ import annotations

from voicenotes.findings.read import read_text
from voicenotes.language.units import convert, parse_quantity_text, to_si
from voicenotes.model import Record
from voicenotes.vocabulary.schema import LabelledSentence, Pack

SETTLED = ("ok", "defect", "not_fitted")


def is_yes(said: str | bool) -> bool:
    """A label's yes or no."""
    return said is True or str(said).lower() in ("yes", "true")


def differences(sentence: LabelledSentence, pack: Pack, text: str | None = None) -> list[str]:
    """What differs from the label, one line each; empty when all is as expected.

    Checks that `expect` does not name must come out not_mentioned, or follow from an absent fitting.
    """
    record = read_text(text or sentence.say, pack)
    lines = []
    absent = {name for name, said in sentence.fittings.items() if not is_yes(said)}
    fitting_of = {check.id: check.fitting for check in pack.checks}
    for finding in record.checks:
        outcome, _, severity = sentence.expect.get(finding.id, "not_mentioned").partition(" ")
        if finding.id not in sentence.expect and fitting_of[finding.id] in absent:
            outcome = "not_fitted"
        if finding.outcome != outcome:
            why = "; ".join(evidence.why for evidence in finding.evidence) or "nothing found"
            lines.append(f"{finding.id}: expected {outcome}, read {finding.outcome} because {why}")
        elif severity and finding.severity != severity:
            lines.append(f"{finding.id}: expected {severity}, read {finding.severity}")
    for name, said in sentence.fittings.items():
        if record.fittings[name].fitted is not is_yes(said):
            lines.append(f"fitting {name}: expected {said}, read {record.fittings[name].fitted}")
    for check_id, value in sentence.readings.items():
        if not _has_reading(record, check_id, str(value)):
            lines.append(f"{check_id}: no reading of {value}")
    for name, expected in sentence.facts.items():
        if not _has_fact(record, name, str(expected)):
            fact = record.facts.get(name)
            lines.append(f"fact {name}: expected {expected}, read {fact.value if fact else None}")
    return lines


def _has_reading(record: Record, check_id: str, text: str) -> bool:
    si_value, si_unit = to_si(*parse_quantity_text(text))
    return any(
        reading.si_unit == si_unit and abs(reading.si_value - si_value) <= 1e-6 * max(abs(si_value), 1e-9)
        for reading in record.check(check_id).readings
    )


def _has_fact(record: Record, name: str, text: str) -> bool:
    fact = record.facts.get(name)
    if fact is None or fact.value is None:
        return False
    if fact.unit is None:
        return _plain(str(fact.value)) == _plain(text)
    value, unit = parse_quantity_text(text)
    return abs(convert(value, unit, fact.unit) - float(fact.value)) <= 0.002 * abs(float(fact.value))


def _plain(text: str) -> str:
    return "".join(text.lower().split()).replace("-", "")
