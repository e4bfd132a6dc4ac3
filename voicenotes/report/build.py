"""From a record to a report: one value that every format renders. A pure function of what it is given."""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicenotes.corrections.reviewed_values import Reviewed
from voicenotes.outputs.report_values import (
    Photo,
    Report,
    ReportCheck,
    ReportRecording,
    ReportStation,
    StationMark,
)
from voicenotes.outputs.walk_round import station_state
from voicenotes.report.moments import moments_of
from voicenotes.report.reviews import added_findings, captions, report_corrections, stands_of, value_of
from voicenotes.report.said import checks_of, facts_of, fittings_of, hearsay_of
from voicenotes.report.summary import summary_of
from voicenotes.report.words import clean

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from voicenotes.corrections.values import Correction
    from voicenotes.model import Record
    from voicenotes.outputs.report_values import CostEstimate, Mark
    from voicenotes.report.pictures import Picture
    from voicenotes.report.reviews import Stands
    from voicenotes.vocabulary.schema import Pack

SCOPE = (
    "This report says what an inspector said on the day, as a program understood it.",
    "What was not mentioned was not checked, and has not been passed.",
    "Whatever has a cover counts as not opened unless a finding says that it was open.",
    "Each finding rests on the quotes beside it; the recordings are the evidence.",
)
REVIEWED = "What a person confirmed or corrected afterwards is marked with the name and the day."
IS_NOT = (
    "It is not a certification, nor an approval of any kind.",
    "It is not a permit to run the machine, to open it, or to move it.",
    "It does not replace local codes, the machine's own manual or the site's rules, which come first.",
    "Electrical work, lifting and everything else that can hurt is for licensed or qualified people.",
    "It is not a valuation, and a cost estimate in it is not an offer.",
)


def report_of(
    record: Record,
    pack: Pack,
    pictures: Mapping[str, Picture] | None = None,
    cost: CostEstimate | None = None,
    corrections: Sequence[Correction] = (),
) -> Report:
    """The report of a visit with the corrections of its journal; arguments else as of `report_from`."""
    return report_from(stands_of(record, pack, corrections), pack, pictures, cost)


def report_from(
    stands: Stands,
    pack: Pack,
    pictures: Mapping[str, Picture] | None = None,
    cost: CostEstimate | None = None,
) -> Report:
    """The report of a visit as it stands.

    `pictures` are the photos of the visit by file name, `cost` what the defects may cost (`report/costs.py`).
    """
    record = stands.record
    checks = checks_of(stands, pack)
    added = added_findings(stands, pack)
    found = [check for check in checks if check.group in ("defect", "ok")]
    report = Report(
        title=_title(record, pack),
        machine=clean(pack.head.title),
        pack=record.pack,
        dates=_dates(record),
        reviewed=stands.now != Reviewed(record=stands.before),
        findings=len(found) + len(added),
        findings_reviewed=sum(check.review is not None for check in found) + len(added),
        summary=(),
        facts=facts_of(stands, pack),
        fittings=fittings_of(stands, pack),
        checks=checks,
        added=added,
        corrections=report_corrections(stands),
        damaged=stands.damaged,
        hearsay=hearsay_of(stands, pack),
        moments=moments_of(stands),
        stations=_stations(stands, checks, pack),
        checklist=_checklist(checks, pack),
        photos=_photos(pictures or {}, captions(stands)),
        cost=cost,
        recordings=_recordings(record),
        unmatched_remarks=len(record.untagged),
        scope=(*SCOPE, REVIEWED) if stands.corrections else SCOPE,
        cautions=tuple(clean(caution) for caution in pack.head.cautions),
        is_not=IS_NOT,
    )
    return report.model_copy(update={"summary": summary_of(report)})


def _title(record: Record, pack: Pack) -> str:
    """The kind of machine, and what its head facts say which one it is."""
    known = {name: fact for name, fact in record.facts.items() if fact.value is not None}
    named = [value_of(known[fact.id]) for fact in pack.facts if fact.headline and fact.id in known]
    return f"{clean(pack.head.title)}{': ' if named else ''}{' '.join(named)}"


def _mark(check: ReportCheck) -> Mark:
    if check.group == "open":
        return "told" if check.only_told else "must" if check.must_before_leaving else "open"
    if check.group == "defect":
        return check.severity or "minor"
    return check.group


def _stations(stands: Stands, checks: Sequence[ReportCheck], pack: Pack) -> tuple[ReportStation, ...]:
    """The walk round: each station of the pack that has checks, in walking order."""
    open_ = {gap.id for gap in stands.record.gaps}
    left = {gap.check for gap in stands.now.settled}
    stations = []
    for station in pack.head.stations:
        here = [check for check in checks if check.station == station.id]
        if not here:
            continue
        state = station_state((f for f in stands.record.checks if f.station == station.id), open_, left)
        stations.append(
            ReportStation(
                id=station.id,
                title=clean(station.title),
                cautions=tuple(clean(caution) for caution in station.cautions),
                marks=tuple(StationMark(check=c.id, title=c.title, mark=_mark(c)) for c in here),
                applying=state.applying,
                settled=state.settled,
                left=state.left,
                defects=state.defects,
                open=state.open,
                not_fitted=state.not_fitted,
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
