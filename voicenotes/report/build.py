"""From a record to a report: one value that every format renders. A pure function of what it is given."""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicenotes.findings.settle import basis_is_told
from voicenotes.outputs.report_values import (
    Hearsay,
    Photo,
    Report,
    ReportCheck,
    ReportFact,
    ReportFitting,
    ReportQuote,
    ReportReading,
    ReportRecording,
    ReportStation,
    StationMark,
)
from voicenotes.outputs.wording import number
from voicenotes.report.summary import summary_of
from voicenotes.report.words import clean

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from voicenotes.model import CheckFinding, Evidence, FactFinding, Reading, Record
    from voicenotes.outputs.report_values import CostEstimate, Group, Mark
    from voicenotes.report.pictures import Picture
    from voicenotes.vocabulary.schema import Check, Pack

LITTLE_CONFIDENCE = 0.6
SCOPE = (
    "This report says what an inspector said on the day of the visit, as a program understood it, and nothing more.",
    "What was not mentioned was not checked, and has not been passed.",
    "Covers, guards and cabinets count as closed unless a finding says that they were open.",
    "Each finding rests on the quotes beside it; the recordings are the evidence.",
)
IS_NOT = (
    "It is not a certification, an approval or a declaration of conformity.",
    "It is not a permit to run the machine, to open it, or to move it.",
    "It does not replace local codes, the machine's own manual or the site's rules, which come first.",
    "Electrical, hydraulic, lifting and other hazardous work, and readings in a live cabinet, are for licensed or "
    "qualified people.",
    "It is not a valuation, and a cost estimate in it is not an offer.",
)


def checks_of(record: Record, pack: Pack) -> tuple[ReportCheck, ...]:
    """Each check of the record as the report shows it, in walking order."""
    known = {check.id: check for check in pack.checks}
    why = {gap.id: gap.why for gap in record.gaps}
    return tuple(_check(finding, known.get(finding.id), why.get(finding.id)) for finding in record.checks)


def report_of(
    record: Record,
    pack: Pack,
    pictures: Mapping[str, Picture] | None = None,
    cost: CostEstimate | None = None,
) -> Report:
    """The report of a visit.

    `pictures` are the photos of the visit by file name, `cost` what the defects may cost (`report/costs.py`).
    """
    checks = checks_of(record, pack)
    report = Report(
        title=_title(record, pack),
        machine=clean(pack.head.title),
        pack=record.pack,
        dates=_dates(record),
        reviewed=False,
        summary=(),
        facts=_facts(record, pack),
        fittings=_fittings(record, pack),
        checks=checks,
        hearsay=_hearsay(record, pack),
        stations=_stations(checks, pack),
        checklist=_checklist(checks, pack),
        photos=_photos(pictures or {}, {}),
        cost=cost,
        recordings=_recordings(record),
        unmatched_remarks=len(record.untagged),
        scope=SCOPE,
        cautions=tuple(clean(caution) for caution in pack.head.cautions),
        is_not=IS_NOT,
    )
    return report.model_copy(update={"summary": summary_of(report)})


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
    texts = {
        name: clean(value) if isinstance(value, str) else value
        for name, value in reading.model_dump().items()
    }
    return ReportReading(check=finding.id, title=clean(finding.title), **texts)


def _title(record: Record, pack: Pack) -> str:
    """The kind of machine, and what its head facts say which one it is."""
    known = {name: fact for name, fact in record.facts.items() if fact.value is not None}
    named = [_value(known[fact.id]) for fact in pack.facts if fact.headline and fact.id in known]
    return f"{clean(pack.head.title)}{': ' if named else ''}{' '.join(named)}"


def _value(fact: FactFinding) -> str:
    value = fact.value if isinstance(fact.value, (str, int)) else number(fact.value or 0.0)
    return clean(f"{value} {fact.unit or ''}")


def _facts(record: Record, pack: Pack) -> tuple[ReportFact, ...]:
    titles = {fact.id: fact.title for fact in pack.facts}
    return tuple(
        ReportFact(
            id=name,
            title=clean(titles.get(name, name)),
            value=_value(fact),
            only_told=bool(fact.evidence) and all(e.basis == "told" for e in _counting(fact.evidence)),
            quotes=quotes_of(fact.evidence),
        )
        for name, fact in record.facts.items()
        if fact.value is not None
    )


def _counting(evidence: Sequence[Evidence]) -> list[Evidence]:
    return [piece for piece in evidence if piece.polarity != "withdrawn"] or list(evidence)


def _fittings(record: Record, pack: Pack) -> tuple[ReportFitting, ...]:
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


def _hearsay(record: Record, pack: Pack) -> tuple[Hearsay, ...]:
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


def _mark(check: ReportCheck) -> Mark:
    if check.group == "open":
        return "told" if check.only_told else "must" if check.must_before_leaving else "open"
    if check.group == "defect":
        return check.severity or "minor"
    return check.group


def _stations(checks: Sequence[ReportCheck], pack: Pack) -> tuple[ReportStation, ...]:
    """The walk round: each station of the pack that has checks, in walking order."""
    stations = []
    for station in pack.head.stations:
        here = [check for check in checks if check.station == station.id]
        if not here:
            continue
        of = {
            group: sum(check.group == group for check in here) for group in ("defect", "open", "not_fitted")
        }
        applying = len(here) - of["not_fitted"]
        stations.append(
            ReportStation(
                id=station.id,
                title=clean(station.title),
                cautions=tuple(clean(caution) for caution in station.cautions),
                marks=tuple(StationMark(check=c.id, title=c.title, mark=_mark(c)) for c in here),
                applying=applying,
                settled=applying - of["open"],
                defects=of["defect"],
                open=of["open"],
                not_fitted=of["not_fitted"],
            )
        )
    return tuple(stations)


def _checklist(checks: Sequence[ReportCheck], pack: Pack) -> tuple[str, ...]:
    stations = {station.id for station in pack.head.stations if station.checklist}
    return tuple(check.id for check in checks if check.station in stations and check.group != "not_fitted")


def _photos(pictures: Mapping[str, Picture], captions: Mapping[str, str]) -> tuple[Photo, ...]:
    return tuple(
        Photo(
            file=clean(name),
            caption=clean(captions.get(name, "")),
            width=picture.width,
            height=picture.height,
            problem=picture.problem,
        )
        for name, picture in pictures.items()
    )


def _recordings(record: Record) -> tuple[ReportRecording, ...]:
    return tuple(
        ReportRecording(
            file=clean(entry.file),
            seconds=entry.seconds,
            words=entry.words,
            recorded_at=entry.recorded_at,
            recorded_at_from=entry.recorded_at_from,
            engine=entry.engine,
            sha256=entry.sha256,
            problem=clean(entry.problem) if entry.problem else None,
            doubt=clean(entry.quality.doubt) if entry.quality and entry.quality.doubt else None,
        )
        for entry in record.recordings
    )


def _dates(record: Record) -> tuple[str, ...]:
    """First and last day on which something was recorded; empty where no recording knows."""
    days = sorted({entry.recorded_at[:10] for entry in record.recordings if entry.recorded_at})
    return (days[0], days[-1]) if days else ()
