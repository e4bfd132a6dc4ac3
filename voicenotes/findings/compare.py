"""Compares a record with the label of what was said: check by check, and each fitting, reading and fact."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from voicenotes.errors import PackError
from voicenotes.findings.read import read_texts
from voicenotes.language.units import convert, parse_quantity_text, to_si
from voicenotes.vocabulary.labels import is_yes

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from voicenotes.model import CheckFinding, Evidence, FactFinding, Outcome, Reading, Record, Severity
    from voicenotes.vocabulary.labels import Label, LabelledSentence
    from voicenotes.vocabulary.schema import Check, Fact, Pack

SETTLED: tuple[Outcome, ...] = ("ok", "defect", "not_fitted")
NOTHING_FOUND = "nothing found"
_SI_TOLERANCE, _FACT_TOLERANCE = 1e-6, 0.002


@dataclass(frozen=True)
class CheckResult:
    """One check of the pack: what the label expects, what the record has."""

    check: str
    labelled: Outcome
    read: Outcome
    told: bool  # the label says: known from hearsay alone
    open_in_record: bool  # the record lists it as a gap
    severity: Severity | None  # that of the label
    severity_read: Severity | None
    severity_usual: Severity
    quote: str
    why: str

    @property
    def left_open(self) -> bool:
        """Whether the label leaves it unsettled: not mentioned, unsure, not tested or only told."""
        return self.told or self.labelled not in SETTLED

    @property
    def falsely_settled(self) -> bool:
        """Whether the record settles what the label leaves open: the costly mistake."""
        return self.left_open and self.read in SETTLED and not self.open_in_record

    @property
    def severity_counts(self) -> bool:
        """Whether there is a severity to be right: a defect, found as one, whose label has a severity."""
        return self.severity is not None and self.labelled == self.read == "defect"

    @property
    def right(self) -> bool:
        """Whether outcome and severity are as labelled, and nothing is settled that only was told."""
        same_severity = not self.severity_counts or self.severity == self.severity_read
        return self.labelled == self.read and same_severity and not self.falsely_settled


@dataclass(frozen=True)
class ValueResult:
    """A labelled fitting, reading or fact, and what the record has of it."""

    what: Literal["fitting", "reading", "fact"]
    subject: str
    labelled: str
    read: str
    right: bool
    quote: str
    why: str


@dataclass(frozen=True)
class Comparison:
    """A record against its label. `beyond` counts readings, facts and absent fittings not so labelled."""

    checks: tuple[CheckResult, ...]
    values: tuple[ValueResult, ...]
    beyond: dict[str, int]

    @property
    def right(self) -> bool:
        """Whether all is as labelled; what was read beyond readings and facts of the label is left alone."""
        return all(c.right for c in self.checks) and all(v.right for v in self.values)


def compare(label: Label, record: Record, pack: Pack) -> Comparison:
    """The record of what was said against its label.

    A labelled quantity whose unit the reader doesn't know is not right. Raises KeyError when the record or
    the pack lacks a check, a fitting or a fact.
    """
    gaps = {gap.id for gap in record.gaps}
    checks = tuple(_check(label, check, record, check.id in gaps) for check in pack.checks)
    readings = tuple(_reading(record.check(name), said) for name, said in label.readings.items())
    facts = tuple(_fact(record, fact, label) for fact in pack.facts if fact.id in label.facts)
    found = [reading for finding in record.checks for reading in finding.readings]
    known = [fact for fact in record.facts.values() if fact.value is not None]
    absent = {name for name, fitting in record.fittings.items() if fitting.fitted is False}
    return Comparison(
        checks=checks,
        values=(*_fittings(record, label), *readings, *facts),
        beyond={
            "reading": len(found) - sum(reading.right for reading in readings),
            "fact": len(known) - sum(fact.right for fact in facts),
            "fitting": len(absent - label.absent),
        },
    )


def differences(sentence: LabelledSentence, pack: Pack) -> list[str]:
    """Reads a labelled sentence; what differs from its label, one line each, none when all is as labelled."""
    comparison = compare(sentence, read_texts(sentence.texts, pack), pack)
    return list(_lines(comparison))


def _lines(comparison: Comparison) -> Iterator[str]:
    for check in comparison.checks:
        if check.labelled != check.read:
            yield f"{check.check}: expected {check.labelled}, read {check.read} because {check.why}"
        elif check.falsely_settled:
            yield f"{check.check}: expected only told, read {check.read} because {check.why}"
        elif not check.right:
            yield f"{check.check}: expected {check.severity}, read {check.severity_read}"
    for value in comparison.values:
        if not value.right:
            yield f"{value.what} {value.subject}: expected {value.labelled}, read {value.read}"


def _check(label: Label, check: Check, record: Record, is_gap: bool) -> CheckResult:
    finding = record.check(check.id)
    outcome, severity = label.expected(check)
    evidence = finding.evidence
    if finding.outcome == "not_fitted" and check.fitting:
        evidence = (*evidence, *record.fittings[check.fitting].evidence)
    return CheckResult(
        check=check.id, labelled=outcome, read=finding.outcome, told=check.id in label.told,
        open_in_record=is_gap, severity=severity, severity_read=finding.severity,
        severity_usual=check.severity, quote=_quotes(evidence), why=_reasons(evidence),
    )  # fmt: skip


def _fittings(record: Record, label: Label) -> Iterator[ValueResult]:
    words = {True: "yes", False: "no", None: "nothing"}
    for name, said in label.fittings.items():
        finding = record.fittings[name]
        yield ValueResult(
            "fitting", name, words[is_yes(said)], words[finding.fitted], finding.fitted is is_yes(said),
            _quotes(finding.evidence), _reasons(finding.evidence),
        )  # fmt: skip


def _reading(finding: CheckFinding, said: str) -> ValueResult:
    read = ", ".join(f"{reading.value:g} {reading.unit}" for reading in finding.readings) or "nothing"
    right, why = False, _reasons(finding.evidence)
    try:
        si_value, si_unit = to_si(*parse_quantity_text(said))
        right = any(_is_reading(reading, si_value, si_unit) for reading in finding.readings)
    except PackError as error:  # a unit that the reader doesn't know
        why = f"the label's {error}"
    return ValueResult("reading", finding.id, said, read, right, _quotes(finding.evidence), why)


def _is_reading(reading: Reading, si_value: float, si_unit: str) -> bool:
    near = abs(reading.si_value - si_value) <= _SI_TOLERANCE * max(abs(si_value), 1e-9)
    return reading.si_unit == si_unit and near


def _fact(record: Record, fact: Fact, label: Label) -> ValueResult:
    said = str(label.facts[fact.id])
    finding = record.facts[fact.id]
    read = "nothing" if finding.value is None else f"{finding.value} {finding.unit or ''}".strip()
    right, why = False, _reasons(finding.evidence)
    try:
        right = _is_quantity(fact, finding, said) if fact.kind == "quantity" else _is_value(finding, said)
    except PackError as error:
        why = f"the label's {error}"
    return ValueResult("fact", fact.id, said, read, right, _quotes(finding.evidence), why)


def _is_quantity(fact: Fact, finding: FactFinding, said: str) -> bool:
    """A quantity within 0.2 %, in whatever unit; a label without a unit is in the fact's own."""
    bare = _is_number(said) and fact.unit
    value, unit = parse_quantity_text(f"{said} {fact.unit}" if bare else said)
    if not isinstance(finding.value, (int, float)):
        return False
    wanted = convert(value, unit, finding.unit or unit)
    return abs(wanted - finding.value) <= _FACT_TOLERANCE * abs(finding.value)


def _is_value(finding: FactFinding, said: str) -> bool:
    """The same letters and digits, whatever the case, spaces and hyphens; or the same number."""
    if finding.value is None:
        return False
    if isinstance(finding.value, (int, float)) and _is_number(said):
        return float(said) == float(finding.value)
    return _plain(str(finding.value)) == _plain(said)


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def _plain(text: str) -> str:
    return "".join(text.lower().split()).replace("-", "")


def _quotes(evidence: Sequence[Evidence]) -> str:
    return " / ".join(dict.fromkeys(e.quote for e in evidence))


def _reasons(evidence: Sequence[Evidence]) -> str:
    return "; ".join(dict.fromkeys(e.why for e in evidence)) or NOTHING_FOUND
