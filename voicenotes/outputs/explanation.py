"""How one sentence was read, remark by remark: which checks took it, with what result, and why."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from voicenotes.outputs.wording import number, reading_line, wrapped

if TYPE_CHECKING:
    from collections.abc import Iterator

    from voicenotes.model import CheckFinding, Evidence, FactFinding, FittingFinding, Record

JUDGEMENTS = {
    "good": "ok",
    "bad": "defect",
    "unsure": "unsure",
    "not_tested": "not tested",
    "not_fitted": "not fitted",
    "named": "named, not judged",
    "withdrawn": "taken back",
}


@dataclass
class ReadRemark:
    """A remark of the record with everything that took it."""

    quote: str
    checks: list[tuple[CheckFinding, Evidence]] = field(default_factory=list)
    fittings: list[tuple[str, FittingFinding, Evidence]] = field(default_factory=list)
    facts: list[tuple[str, FactFinding, Evidence]] = field(default_factory=list)


def read_remarks(record: Record) -> list[ReadRemark]:
    """The record's remarks in the order they were spoken."""
    found: dict[tuple[str, float, float], ReadRemark] = {}

    def remark(evidence: Evidence) -> ReadRemark:
        key = (evidence.recording, evidence.start, evidence.end)
        return found.setdefault(key, ReadRemark(evidence.quote))

    for check in record.checks:
        for evidence in check.evidence:
            remark(evidence).checks.append((check, evidence))
    for name, fitting in record.fittings.items():
        for evidence in fitting.evidence:
            remark(evidence).fittings.append((name, fitting, evidence))
    for name, fact in record.facts.items():
        for evidence in fact.evidence:
            remark(evidence).facts.append((name, fact, evidence))
    for left in record.untagged:
        found.setdefault((left.recording, left.start, left.end), ReadRemark(left.quote))
    places = {entry.file: place for place, entry in enumerate(record.recordings)}
    return [found[key] for key in sorted(found, key=lambda key: (places.get(key[0], 0), *key[1:]))]


def explanation_lines(record: Record) -> list[str]:
    """Each remark with the checks, readings, fittings and facts found in it, and why."""
    lines: list[str] = []
    for remark in read_remarks(record):
        lines += ["", *wrapped(f'"{remark.quote}"', " ", first="")]
        taken = list(_took(remark))
        lines += taken or ["  no check took this"]
    return lines[1:] or ["There are no words in this."]


def explanation_data(record: Record) -> dict[str, Any]:
    """The same for programs."""
    return {
        "remarks": [
            {
                "quote": remark.quote,
                "checks": [_check_data(check, evidence) for check, evidence in remark.checks],
                "fittings": [
                    {"fitting": name, "fitted": fitting.fitted, **_evidence_data(evidence)}
                    for name, fitting, evidence in remark.fittings
                ],
                "facts": [
                    {"fact": name, "value": fact.value, "unit": fact.unit, **_evidence_data(evidence)}
                    for name, fact, evidence in remark.facts
                ],
            }
            for remark in read_remarks(record)
        ]
    }


def _took(remark: ReadRemark) -> Iterator[str]:
    for check, evidence in remark.checks:
        severity = f" {check.severity}" if check.severity and evidence.polarity == "bad" else ""
        result = f"{JUDGEMENTS[evidence.polarity]}{severity}"
        yield from wrapped(f"{check.id}: {result}, {_sureness(evidence)}", "      ", first="  ")
        if check.title:
            yield from wrapped(check.title, "      ", first="      ")
        for reading in check.readings:
            source = f" [{reading.source}]" if reading.source else ""
            yield from wrapped(reading_line(reading) + source, "        ", first="      ")
        yield from _why(evidence)
    for name, fitting, evidence in remark.fittings:
        answer = {True: "yes", False: "no", None: "not settled"}[fitting.fitted]
        yield f"  fitted, {name}: {answer}, {_sureness(evidence)}"
        yield from _why(evidence)
    for name, fact, evidence in remark.facts:
        value = number(fact.value) if isinstance(fact.value, float) else fact.value
        unit = f" {fact.unit}" if fact.unit else ""
        yield from wrapped(f"noted, {name}: {value}{unit}, {_sureness(evidence)}", "      ", first="  ")
        yield from _why(evidence)


def _sureness(evidence: Evidence) -> str:
    return f"{evidence.basis}, confidence {evidence.confidence:.2f}"


def _why(evidence: Evidence) -> list[str]:
    return wrapped(f"because {evidence.why}", "        ", first="      ") if evidence.why else []


def _check_data(check: CheckFinding, evidence: Evidence) -> dict[str, Any]:
    return {
        "check": check.id,
        "title": check.title,
        "outcome": check.outcome,
        "severity": check.severity,
        "readings": [reading.model_dump(mode="json") for reading in check.readings],
        **_evidence_data(evidence),
    }


def _evidence_data(evidence: Evidence) -> dict[str, Any]:
    return evidence.model_dump(mode="json", include={"polarity", "basis", "confidence", "why"})
