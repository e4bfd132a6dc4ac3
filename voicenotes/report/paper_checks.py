"""What the template of the PDF shows of checks, as plain data: findings, open checks, what was in order."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING, Any

from voicenotes.outputs.walk_round import SEVERITIES
from voicenotes.outputs.wording import minutes
from voicenotes.report.words import (
    SEVERITY_MEANS,
    VERDICTS,
    added_at,
    added_defects,
    added_result,
    corrected,
    deciding,
    defects,
    is_open,
    measured,
    of_group,
    quoted,
    result,
    reviewed,
    said,
    station_titles,
    where,
)

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from voicenotes.outputs.report_values import (
        AddedFinding,
        Report,
        ReportCheck,
        ReportQuote,
        ReportReading,
    )

LONG = 1200  # characters of quotes from which on a finding may be broken across pages


def _quotes(quotes: Sequence[ReportQuote], usual: str) -> list[dict[str, str]]:
    return [
        {"text": quoted(quote.text), "where": where(quote), "kind": said(quote, usual)} for quote in quotes
    ]


def _readings(readings: Sequence[ReportReading]) -> list[dict[str, str]]:
    return [
        {
            "quantity": reading.quantity,
            "value": measured(reading),
            "verdict": VERDICTS[reading.verdict],
            "limit": f"({reading.limit})" if reading.limit else "",
            "outside": "yes" if reading.verdict == "outside" else "",
            "source": f"Limit from: {reading.source}" if reading.source and reading.limit else "",
            "doubtful": f"Doubtful: {reading.doubtful}" if reading.doubtful else "",
        }
        for reading in readings
    ]


def _shots(names: Sequence[str], paths: Mapping[str, str], report: Report) -> list[dict[str, str]]:
    captions = {photo.file: photo.caption for photo in report.photos}
    return [{"name": name, "path": paths.get(name, ""), "caption": captions.get(name, "")} for name in names]


def _is_long(check: ReportCheck) -> bool:
    """Whether its quotes may need more than what is left of a page."""
    return sum(len(quote.text) + len(quote.recording) for quote in check.quotes) > LONG


def _finding(check: ReportCheck, station: str, paths: Mapping[str, str], report: Report) -> dict[str, Any]:
    return {
        "title": check.title,
        "at": f"{station} \u00b7 {check.id}",
        "result": result(check),
        "good": False,
        "severity": check.severity or "",
        "review": reviewed(check.review),
        "reviewed": check.review is not None,
        "quotes": _quotes(check.quotes, deciding(check)),
        "readings": _readings(check.readings),
        "remarks": list(check.remarks),
        "wording": check.wording or "",
        "corrected": corrected(check),
        "photos": _shots(check.photos, paths, report),
        "long": _is_long(check) or bool(check.photos),
    }


def added(extra: AddedFinding, paths: Mapping[str, str], report: Report) -> dict[str, Any]:
    return {
        "title": extra.title,
        "at": added_at(extra),
        "result": added_result(extra),
        "good": extra.outcome == "ok",
        "severity": extra.severity or "",
        "review": reviewed(extra.review),
        "reviewed": True,
        "quotes": [],
        "readings": [],
        "remarks": [],
        "wording": "",
        "corrected": [],
        "photos": _shots(extra.photos, paths, report),
        "long": True,
    }


def findings(report: Report, paths: Mapping[str, str]) -> list[dict[str, Any]]:
    titles = station_titles(report)
    groups = []
    for severity in SEVERITIES:
        found = [
            _finding(c, titles.get(c.station, c.station), paths, report) for c in defects(report, severity)
        ]
        found += [added(one, paths, report) for one in added_defects(report, severity)]
        title = f"{severity.capitalize()} ({len(found)})"
        groups.append({"title": title, "means": f"{SEVERITY_MEANS[severity]}.", "found": found})
    return groups


def not_checked(report: Report, paths: Mapping[str, str]) -> list[dict[str, Any]]:
    stations = {station.id: station for station in report.stations}
    groups = []
    for name, group in groupby(of_group(report, "open", "set_aside"), key=lambda check: check.station):
        station = stations.get(name)
        groups.append(
            {
                "title": station.title if station else name,
                "cautions": list(station.cautions) if station else [],
                "checks": [
                    {
                        "title": check.title,
                        "judged": check.judged,
                        "must": check.must_before_leaving,
                        "perhaps": check.applies is None,
                        "left": f"Left open, because: {check.left_because}." if check.left_because else "",
                        "why": is_open(check),
                        "wording": check.wording or "",
                        "corrected": corrected(check),
                        "review": reviewed(check.review) if check.review else "",
                        "photos": _shots(check.photos, paths, report),
                        "quotes": _quotes(check.quotes, deciding(check)),
                        "readings": _readings(check.readings),
                        "remarks": list(check.remarks),
                        "minutes": minutes(check.minutes),
                        "long": _is_long(check) or bool(check.photos),
                    }
                    for check in group
                ],
            }
        )
    return groups


def in_order(report: Report, paths: Mapping[str, str]) -> list[dict[str, Any]]:
    titles = station_titles(report)
    return [
        {
            "title": check.title,
            "at": titles.get(check.station, check.station),
            "quotes": _quotes(check.quotes, "good"),
            "readings": _readings(check.readings),
            "remarks": list(check.remarks),
            "wording": check.wording or "",
            "corrected": corrected(check),
            "review": reviewed(check.review),
            "photos": _shots(check.photos, paths, report),
            "long": _is_long(check) or bool(check.photos),
        }
        for check in of_group(report, "ok")
    ]
