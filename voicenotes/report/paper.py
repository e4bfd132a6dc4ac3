"""The report as PDF: what the template `report.typ` sets, as plain data, and the call that sets it."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING, Any

from voicenotes.outputs.typeset.typeset import pdf
from voicenotes.outputs.wording import length, minutes
from voicenotes.report.drawing import ORDER, drawing_of, sorted_marks
from voicenotes.report.tables import tables_of
from voicenotes.report.words import (
    MARKS,
    SEVERITIES,
    SEVERITY_MEANS,
    SIGNS,
    VERDICTS,
    deciding,
    defects,
    is_open,
    measured,
    of_group,
    quoted,
    result,
    reviewed,
    said,
    station_line,
    station_titles,
    told_of,
    where,
)

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from voicenotes.outputs.report_values import AddedFinding, Report, ReportCheck, ReportQuote, ReportReading
    from voicenotes.report.pictures import Picture

COLUMNS = 3
LONG = 1200  # characters of quotes from which on a finding may be broken across pages


def pdf_pages(report: Report, pictures: Mapping[str, Picture] | None = None, paper: str = "a4") -> bytes:
    """The report as a PDF on `paper` ("a4" or "letter"); raises SheetError when it can't be set."""
    shown = {name: one for name, one in (pictures or {}).items() if one.jpeg}
    paths = {name: f"photo-{index}.jpg" for index, name in enumerate(shown)}
    files = {paths[name]: one.jpeg for name, one in shown.items()}
    return pdf("report", paper_data(report, paths, paper), files)


def paper_data(report: Report, paths: Mapping[str, str], paper: str = "a4") -> dict[str, Any]:
    """What the template needs: every text already worded, no decision left to it."""
    tables = {table.key: table for table in tables_of(report)}
    cost = report.cost
    return {
        "paper": paper,
        "title": report.title,
        "days": " to ".join(dict.fromkeys(report.dates)) or "day not known",
        "facts": [
            {"title": fact.title, "value": f"{fact.value}{' (only told)' if fact.only_told else ''}"}
            for fact in report.facts
        ],
        "figures": _figures(report),
        "summary": list(report.summary),
        "undecided": list(report.undecided),
        "legend": _legend(report),
        "walk": _walk(report),
        "findings": _findings(report, paths),
        "noted": [_added(one, paths) for one in report.added if one.severity is None],
        "not_checked": _not_checked(report),
        "set_aside": [
            [check.title, check.why_open or "", reviewed(check.review)]
            for check in of_group(report, "set_aside")
        ],
        "readings": [
            [
                reading.title,
                reading.quantity,
                measured(reading),
                f"doubtful: {reading.doubtful}" if reading.doubtful else "",
                reading.limit or "none known",
                VERDICTS[reading.verdict],
                reading.source or "",
            ]
            for check in report.checks
            for reading in check.readings
        ],
        "hearsay": [
            [
                item.title,
                told_of(item),
                quoted(item.quote.text),
                where(item.quote),
                "also looked at" if item.also_checked else "not looked at",
            ]
            for item in report.hearsay
        ],
        "photos": _photos(report, paths),
        "checklist": _checklist(report),
        "cost": None
        if cost is None
        else {
            "invented": cost.invented,
            "note": tables["cost"].note,
            "sum": [[str(a), f"{b:,.0f}" if isinstance(b, float) else "", str(c)] for a, b, c in tables["cost"].rows],
            "currency": cost.currency,
            "lines": [
                [line.title, line.severity, *(f"{n:,.0f}" for n in (line.low, line.likely, line.high, line.mean))]
                for line in cost.lines
            ],
        },
        "in_order": _in_order(report),
        "fittings": [[str(cell) for cell in row] for row in tables["fittings"].rows],
        "fact_quotes": [[str(row[0]), f"{row[1]} {row[2]}".strip(), str(row[3])] for row in tables["facts"].rows],
        "not_fitted": [[str(cell) for cell in row[:3]] for row in tables["not_fitted"].rows],
        "recordings": [
            [one.file, (one.recorded_at or "").replace("T", " "), length(one.seconds), one.engine or "",
             " ".join(text for text in (one.problem, one.doubt) if text), one.sha256 or ""]
            for one in report.recordings
        ],
        "unmatched": report.unmatched_remarks,
        "scope": list(report.scope),
        "cautions": list(report.cautions),
        "is_not": list(report.is_not),
        "stamp": f"Read with the pack {report.pack.id}, version {report.pack.version}.",
    }  # fmt: skip


def _figures(report: Report) -> list[dict[str, Any]]:
    figures = [
        {"number": len(defects(report, severity)), "words": f"{severity} defects", "kind": "bad"}
        for severity in SEVERITIES
    ]
    figures.append({"number": len(of_group(report, "ok")), "words": "found in order", "kind": "good"})
    figures.append({"number": len(of_group(report, "open")), "words": "checks NOT settled", "kind": "open"})
    return figures


def _legend(report: Report) -> list[dict[str, Any]]:
    marks = [mark.mark for station in report.stations for mark in station.marks]
    return [
        {"mark": mark, "sign": SIGNS[mark], "words": f"{MARKS[mark]}: {marks.count(mark)}"}
        for mark in ORDER
        if mark in marks
    ]


def _walk(report: Report) -> list[dict[str, Any]]:
    """The drawing, row by row, so that it can go on on the next page."""
    drawn = drawing_of(report.stations, COLUMNS)
    rows = []
    for _, group in groupby(drawn.tiles, key=lambda tile: tile.y):
        tiles = list(group)
        rows.append(
            {
                "height": tiles[0].height,
                "tiles": [
                    {
                        "x": tile.x,
                        "title": f"{tile.number}. {tile.station.title}",
                        "line": station_line(
                            tile.station.applying, tile.station.settled, tile.station.defects
                        ),
                        "nothing": not tile.station.applying,
                        "marks": [
                            {"mark": mark, "sign": SIGNS[mark]} for mark, _ in sorted_marks(tile.station)
                        ],
                    }
                    for tile in tiles
                ],
            }
        )
    return rows


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


def _shots(names: Sequence[str], paths: Mapping[str, str]) -> list[dict[str, str]]:
    return [{"name": name, "path": paths.get(name, "")} for name in names]


def _finding(check: ReportCheck, station: str, paths: Mapping[str, str]) -> dict[str, Any]:
    return {
        "title": check.title,
        "at": f"{station} \u00b7 {check.id}",
        "result": result(check),
        "severity": check.severity or "",
        "review": reviewed(check.review),
        "reviewed": check.review is not None,
        "quotes": _quotes(check.quotes, deciding(check)),
        "readings": _readings(check.readings),
        "remarks": list(check.remarks),
        "photos": _shots(check.photos, paths),
        "long": sum(len(quote.text) for quote in check.quotes) > LONG or bool(check.photos),
    }


def _added(extra: AddedFinding, paths: Mapping[str, str]) -> dict[str, Any]:
    return {
        "title": extra.title,
        "at": "added in the review, not spoken",
        "result": f"{extra.severity} defect" if extra.severity else "noted",
        "severity": extra.severity or "",
        "review": reviewed(extra.review),
        "reviewed": True,
        "quotes": [],
        "readings": [],
        "remarks": [extra.text] if extra.text else [],
        "photos": _shots(extra.photos, paths),
        "long": True,
    }


def _findings(report: Report, paths: Mapping[str, str]) -> list[dict[str, Any]]:
    titles = station_titles(report)
    groups = []
    for severity in SEVERITIES:
        found = [_finding(c, titles.get(c.station, c.station), paths) for c in defects(report, severity)]
        found += [_added(one, paths) for one in report.added if one.severity == severity]
        title = f"{severity.capitalize()} ({len(found)})"
        groups.append({"title": title, "means": f"{SEVERITY_MEANS[severity]}.", "found": found})
    return groups


def _not_checked(report: Report) -> list[dict[str, Any]]:
    stations = {station.id: station for station in report.stations}
    groups = []
    for name, group in groupby(of_group(report, "open"), key=lambda check: check.station):
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
                        "why": is_open(check),
                        "quotes": _quotes(check.quotes, deciding(check)),
                        "readings": _readings(check.readings),
                        "remarks": list(check.remarks),
                        "minutes": minutes(check.minutes),
                    }
                    for check in group
                ],
            }
        )
    return groups


def _photos(report: Report, paths: Mapping[str, str]) -> list[dict[str, str]]:
    """The photos that stand beside no finding, and those that can't be shown."""
    used = {name for check in report.checks for name in check.photos}
    used |= {name for one in report.added for name in one.photos}
    return [
        {
            "name": photo.file,
            "path": paths.get(photo.file, ""),
            "caption": photo.caption,
            "problem": photo.problem or "",
        }
        for photo in report.photos
        if photo.problem or photo.file not in used
    ]


def _checklist(report: Report) -> list[dict[str, Any]]:
    by_id = {check.id: check for check in report.checks}
    return [
        {
            "title": by_id[name].title,
            "judged": by_id[name].judged,
            "result": result(by_id[name]),
            "done": by_id[name].group == "ok",
        }
        for name in report.checklist
    ]


def _in_order(report: Report) -> list[dict[str, Any]]:
    titles = station_titles(report)
    return [
        {
            "title": check.title,
            "at": titles.get(check.station, check.station),
            "quotes": _quotes(check.quotes, "good"),
            "readings": _readings(check.readings),
            "remarks": list(check.remarks),
            "review": reviewed(check.review),
        }
        for check in of_group(report, "ok")
    ]
