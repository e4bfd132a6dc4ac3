"""What the record holds, as the report shows it: checks, facts, fittings, hearsay, each with its quotes."""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicenotes.findings.settle import basis_is_told
from voicenotes.outputs.report_values import (
    Hearsay,
    ReportCheck,
    ReportFact,
    ReportFitting,
    ReportQuote,
    ReportReading,
)
from voicenotes.outputs.wording import number
from voicenotes.report.words import clean

if TYPE_CHECKING:
    from collections.abc import Sequence

    from voicenotes.model import CheckFinding, Evidence, FactFinding, Reading, Record
    from voicenotes.outputs.report_values import Group
    from voicenotes.vocabulary.schema import Check, Pack

LITTLE_CONFIDENCE = 0.6


def checks_of(record: Record, pack: Pack) -> tuple[ReportCheck, ...]:
    """Each check of the record as the report shows it, in walking order."""
    known = {check.id: check for check in pack.checks}
    why = {gap.id: gap.why for gap in record.gaps}
    return tuple(_check(finding, known.get(finding.id), why.get(finding.id)) for finding in record.checks)


def _check(finding: CheckFinding, check: Check | None, why_open: str | None) -> ReportCheck:
    return ReportCheck(
        id=finding.id,
        station=finding.station,
        title=clean(finding.title),
        judged=clean(check.judged) if check else "",
        group=_group(finding, why_open),
        outcome=finding.outcome,
        severity=finding.severity,
        only_told=finding.outcome in ("ok", "defect") and basis_is_told(finding),
        applies=finding.applies,
        must_before_leaving=finding.must_before_leaving,
        minutes=finding.minutes,
        why_open=clean(why_open) if why_open else None,
        quotes=quotes_of(finding.evidence),
        readings=tuple(_reading(finding, reading) for reading in finding.readings),
        remarks=tuple(_remarks(finding)),
    )


def _group(finding: CheckFinding, why_open: str | None) -> Group:
    if why_open is not None:
        return "open"
    if finding.applies is False or finding.outcome == "not_fitted":
        return "not_fitted"
    if finding.outcome in ("ok", "defect"):
        return "defect" if finding.outcome == "defect" else "ok"
    return "set_aside"


def _remarks(finding: CheckFinding) -> list[str]:
    """What to know of a finding beside its quotes."""
    found = []
    if finding.conflict:
        found.append("Said to be good and said to be bad: the worse stands, and somebody has to look again.")
    outside = any(reading.verdict == "outside" for reading in finding.readings)
    if finding.outcome == "ok" and outside:
        found.append("Said to be good, although a reading is outside its limit: look again.")
    within = bool(finding.readings) and all(r.verdict == "within" for r in finding.readings)
    if finding.outcome == "defect" and within:
        found.append("Said to be bad, although the readings are within their limits.")
    counting = [e for e in finding.evidence if e.polarity in ("good", "bad")]
    if counting and all(evidence.confidence < LITTLE_CONFIDENCE for evidence in counting):
        found.append("Read with little certainty: listen to the recording.")
    return found


def quotes_of(evidence: Sequence[Evidence]) -> tuple[ReportQuote, ...]:
    """Evidence as quotes, in the order in which it was spoken."""
    return tuple(_quote(piece) for piece in evidence)


def _quote(piece: Evidence) -> ReportQuote:
    return ReportQuote(
        recording=clean(piece.recording),
        start=piece.start,
        end=piece.end,
        text=clean(piece.quote),
        basis=piece.basis,
        polarity=piece.polarity,
        confidence=piece.confidence,
    )


def _reading(finding: CheckFinding, reading: Reading) -> ReportReading:
    return ReportReading(
        check=finding.id,
        title=clean(finding.title),
        quantity=clean(reading.quantity),
        value=reading.value,
        unit=clean(reading.unit),
        si_value=reading.si_value,
        si_unit=clean(reading.si_unit),
        limit=clean(reading.limit) if reading.limit else None,
        verdict=reading.verdict,
        source=clean(reading.source) if reading.source else None,
        doubtful=clean(reading.doubtful) if reading.doubtful else None,
    )


def facts_of(record: Record, pack: Pack) -> tuple[ReportFact, ...]:
    titles = {fact.id: fact.title for fact in pack.facts}
    return tuple(
        ReportFact(
            id=name,
            title=clean(titles.get(name, name)),
            value=value_of(fact),
            only_told=bool(fact.evidence) and all(e.basis == "told" for e in _counting(fact.evidence)),
            quotes=quotes_of(fact.evidence),
        )
        for name, fact in record.facts.items()
        if fact.value is not None
    )


def value_of(fact: FactFinding) -> str:
    value = fact.value if isinstance(fact.value, (str, int)) else number(fact.value or 0.0)
    return clean(f"{value} {fact.unit or ''}")


def _counting(evidence: Sequence[Evidence]) -> list[Evidence]:
    return [piece for piece in evidence if piece.polarity != "withdrawn"] or list(evidence)


def fittings_of(record: Record, pack: Pack) -> tuple[ReportFitting, ...]:
    found = []
    for fitting in pack.head.fittings:
        known = record.fittings.get(fitting.id)
        said = _counting(known.evidence) if known else []
        found.append(
            ReportFitting(
                id=fitting.id,
                title=clean(fitting.title),
                fitted=known.fitted if known else None,
                only_told=bool(said) and all(piece.basis == "told" for piece in said),
                quotes=quotes_of(known.evidence) if known else (),
            )
        )
    return tuple(found)


def hearsay_of(record: Record, pack: Pack) -> tuple[Hearsay, ...]:
    """Every piece of evidence that somebody only told, of checks, facts and fittings."""
    found = []
    for finding in record.checks:
        seen = finding.outcome in ("ok", "defect") and not basis_is_told(finding)
        found += _told("check", finding.id, finding.title, finding.evidence, seen)
    titles = {fact.id: fact.title for fact in pack.facts}
    for name, fact in record.facts.items():
        seen = any(piece.basis != "told" for piece in fact.evidence)
        found += _told("fact", name, titles.get(name, name), fact.evidence, seen)
    titles = {fitting.id: fitting.title for fitting in pack.head.fittings}
    for name, fitting in record.fittings.items():
        found += _told("fitting", name, titles.get(name, name), fitting.evidence, fitting.fitted is not None)
    return tuple(found)


def _told(kind: str, name: str, title: str, evidence: Sequence[Evidence], seen: bool) -> list[Hearsay]:
    return [
        Hearsay.model_validate(
            {"kind": kind, "id": name, "title": clean(title), "quote": _quote(piece), "also_checked": seen}
        )
        for piece in evidence
        if piece.basis == "told"
    ]
