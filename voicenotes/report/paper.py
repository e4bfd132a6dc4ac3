"""The report as PDF: what the template `report.typ` sets, as plain data, and the call that sets it."""

from __future__ import annotations

import json
from itertools import groupby
from typing import TYPE_CHECKING, Any

from voicenotes.outputs.typeset.drawable import NOTE, all_drawable
from voicenotes.outputs.typeset.typeset import pdf
from voicenotes.outputs.walk_round import SEVERITIES
from voicenotes.outputs.wording import length
from voicenotes.report.cost_words import (
    METHOD,
    dearest,
    found_rows,
    invented_line,
    open_line,
    open_unpriced_line,
    unpriced_line,
)
from voicenotes.report.drawing import GAP, ORDER, TILE, drawing_of, sorted_marks
from voicenotes.report.paper_checks import added, findings, in_order, not_checked
from voicenotes.report.tables import tables_of
from voicenotes.report.words import (
    MARKS,
    NOT_PASSED,
    SIGNS,
    VERDICTS,
    heard_in,
    how_many,
    measured,
    money,
    of_group,
    quoted,
    result,
    station_line,
    told_of,
    troubles,
    value_words,
    where,
)

if TYPE_CHECKING:
    from collections.abc import Mapping

    from voicenotes.outputs.report_values import (
        CostEstimate,
        CostLine,
        Report,
    )
    from voicenotes.report.pictures import Picture

COLUMNS = 4


def pdf_pages(report: Report, pictures: Mapping[str, Picture] | None = None, paper: str = "a4") -> bytes:
    """The report as a PDF on `paper` ("a4" or "letter"); raises SheetError when it can't be set."""
    shown = {name: one for name, one in (pictures or {}).items() if one.jpeg}
    paths = {name: f"photo-{index}.jpg" for index, name in enumerate(shown)}
    files = {paths[name]: one.jpeg for name, one in shown.items()}
    data = paper_data(report, paths, paper)
    shown_data = all_drawable(data)
    return pdf("report", {**shown_data, "lacking_signs": NOTE if _lacks(data, shown_data) else ""}, files)


def _lacks(data: dict[str, Any], shown: dict[str, Any]) -> bool:
    """Whether a character had to be shown as its code."""
    return json.dumps(shown).count("[U+") > json.dumps(data).count("[U+")


def paper_data(report: Report, paths: Mapping[str, str], paper: str = "a4") -> dict[str, Any]:
    """What the template needs: every text already worded, no decision left to it."""
    tables = {table.key: table for table in tables_of(report)}
    return {
        "paper": paper,
        "title": report.title,
        "days": " to ".join(dict.fromkeys(report.dates)) or "day not known",
        "facts": [
            {"title": fact.title, "value": f"{value_words(fact)}"}
            for fact in report.facts
        ],
        "figures": _figures(report),
        "summary": list(report.summary),
        "troubles": troubles(report),
        "legend": _legend(report),
        "walk": _walk(report),
        "walk_width": COLUMNS * (TILE + GAP),
        "gap": GAP,
        "findings": findings(report, paths),
        "noted": [added(one, paths, report) for one in report.added if one.severity is None],
        "not_passed": NOT_PASSED,
        "not_checked": not_checked(report, paths),
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
        "moments": [
            [f"{one.recording}, {length(one.at)}", quoted(one.said) if one.said else "", ", ".join(one.about)]
            for one in report.moments
        ],
        "photos": _photos(report, paths),
        "checklist": _checklist(report),
        "cost": _cost(report.cost) if report.cost else None,
        "in_order": in_order(report, paths),
        "fittings": [[str(cell) for cell in row] for row in tables["fittings"].rows],
        "fact_quotes": [
            [str(title), f"{value} {known}".strip(), str(said), str(review)]
            for title, value, known, said, review in tables["facts"].rows
        ],
        "not_fitted": [
            {"title": str(row[0]), "lines": [str(cell) for cell in row[1:-1] if cell]}
            for row in tables["not_fitted"].rows
        ],
        "corrections": [
            [one.line, heard_in(one), f"{one.by}, {one.at[:16].replace('T', ' ')}", one.undecided or ""]
            for one in report.corrections
        ],
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
        {"number": how_many(report, severity), "words": f"{severity} defects", "kind": "bad"}
        for severity in SEVERITIES
    ]
    figures.append({"number": len(of_group(report, "ok")), "words": "found in order", "kind": "good"})
    figures.append({"number": len(of_group(report, "open")), "words": "NOT settled", "kind": "open"})
    if left := of_group(report, "set_aside"):
        figures.append({"number": len(left), "words": "left open", "kind": "open"})
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
                        "line": station_line(tile.station),
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


def _cost(cost: CostEstimate) -> dict[str, Any]:
    return {
        "invented": invented_line(cost) or "",
        "source": f"From the cost table \u201c{cost.table}\u201d. {cost.note}",
        "currency": cost.currency,
        "sum": [[what, money(amount, cost.currency), how] for what, amount, how in found_rows(cost)],
        "lines": [_cost_line(line) for line in cost.lines],
        "lacking": unpriced_line(cost) or "",
        "open": open_line(cost) or "Nothing: no unsettled check has a price.",
        "open_lines": [_cost_line(line) for line in dearest(cost)] if cost.open else [],
        "open_lacking": open_unpriced_line(cost) or "",
        "method": METHOD,
    }


def _cost_line(line: CostLine) -> list[str]:
    amounts = (line.low, line.likely, line.high, line.likelihood * line.mean)
    odds = f", {100 * line.likelihood:.0f} % likely" if line.likelihood < 1 else ""
    return [line.title, f"{line.severity}{odds}", *(f"{amount:,.0f}" for amount in amounts)]
