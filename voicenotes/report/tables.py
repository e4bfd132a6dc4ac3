"""The report as tables: what spreadsheets, CSV and Markdown show. One row for each item, nothing left out."""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicenotes.outputs.walk_round import SEVERITIES
from voicenotes.outputs.wording import length
from voicenotes.report import more_tables
from voicenotes.report.table import Cell, Table, quote_lines, reading_lines, to_know_lines
from voicenotes.report.words import (
    ADDED,
    VERDICTS,
    added_result,
    deciding,
    defects,
    of_group,
    reviewed,
    station_line,
    station_titles,
    told_of,
    troubles,
    why_open,
)

if TYPE_CHECKING:
    from voicenotes.outputs.report_values import Report


def tables_of(report: Report) -> tuple[Table, ...]:
    """Every part of the report in the order of the report; parts without rows stay, and say so by it."""
    made = [
        _summary(report),
        _walk(report),
        _findings(report),
        _not_checked(report),
        _readings(report),
        _hearsay(report),
        more_tables.moments_table(report),
        more_tables.photos_table(report),
        more_tables.checklist_table(report),
        more_tables.in_order_table(report),
        more_tables.not_fitted_table(report),
        more_tables.facts_table(report),
        more_tables.fittings_table(report),
        more_tables.corrections_table(report),
        more_tables.recordings_table(report),
        more_tables.limits_table(report),
    ]
    if report.cost:
        made[9:9] = [more_tables.cost_table(report), more_tables.cost_lines_table(report)]
    return tuple(made)


def _summary(report: Report) -> Table:
    rows: list[tuple[Cell, ...]] = [(line,) for line in report.summary]
    rows += [(line,) for line in troubles(report)]
    return Table("summary", "Summary", report.title, ("In plain words",), tuple(rows))


def _walk(report: Report) -> Table:
    rows = [
        (
            number,
            station.title,
            station.settled,
            station.applying,
            station.defects,
            station.open,
            station.left,
            station_line(station),
        )
        for number, station in enumerate(report.stations, 1)
    ]
    columns = ("No.", "Station", "Settled", "Of", "Defects", "Not settled", "Left open", "In words")
    return Table("walk", "Walk round", "The stations in walking order.", columns, tuple(rows))


def _findings(report: Report) -> Table:
    titles = station_titles(report)
    rows: list[tuple[Cell, ...]] = []
    for severity in SEVERITIES:
        rows += [
            (
                severity,
                check.title,
                titles.get(check.station, check.station),
                check.wording or "",
                quote_lines(check.quotes, deciding(check)),
                reading_lines(check),
                to_know_lines(check),
                reviewed(check.review),
                ", ".join(check.photos),
                check.id,
            )
            for check in defects(report, severity)
        ]
    rows += [
        (
            extra.severity or added_result(extra),
            extra.title,
            extra.station or "",
            "",
            "",
            "",
            ADDED,
            reviewed(extra.review),
            ", ".join(extra.photos),
            "",
        )
        for extra in report.added
    ]
    columns = (
        "Severity", "Finding", "Station", "In the reviewer's words", "Quotes", "Readings", "To know",
        "Review", "Photos", "Check",
    )  # fmt: skip
    return Table("findings", "What was found", "Defects, the worst first.", columns, tuple(rows))


def _not_checked(report: Report) -> Table:
    titles = station_titles(report)
    rows = [
        (
            titles.get(check.station, check.station),
            check.title,
            why_open(check),
            check.wording or "",
            quote_lines(check.quotes, deciding(check)),
            reading_lines(check),
            to_know_lines(check),
            "yes" if check.must_before_leaving else "no",
            "if fitted" if check.applies is None else "yes",
            check.minutes,
            reviewed(check.review),
            ", ".join(check.photos),
            check.id,
        )
        for check in of_group(report, "open", "set_aside")
    ]
    columns = (
        "Station", "Not settled", "Why", "In the reviewer's words", "Quotes", "Readings", "To know",
        "Before leaving", "Applies", "Minutes", "Review", "Photos", "Check",
    )  # fmt: skip
    note = "A check that stands here has not been passed."
    return Table("not_checked", "What was NOT checked", note, columns, tuple(rows))


def _readings(report: Report) -> Table:
    rows = [
        (
            reading.title,
            reading.quantity,
            reading.value,
            reading.unit,
            reading.limit or "none known",
            VERDICTS[reading.verdict],
            reading.source or "",
            reading.doubtful or "",
            reading.check,
        )
        for check in report.checks
        for reading in check.readings
    ]
    columns = (
        "Reading", "Quantity", "Value", "Unit", "Limit", "Result", "Source of the limit", "Doubtful", "Check",
    )  # fmt: skip
    return Table("readings", "Readings", "Spoken values beside their limits.", columns, tuple(rows))


def _hearsay(report: Report) -> Table:
    rows = [
        (
            item.title,
            told_of(item),
            item.quote.text,
            item.quote.recording,
            length(item.quote.start),
            "also looked at" if item.also_checked else "not looked at",
            item.id,
        )
        for item in report.hearsay
    ]
    columns = ("About", "What", "Quote", "Recording", "At", "Checked?", "Id")
    note = "Told by somebody; it settles nothing until somebody looks."
    return Table("hearsay", "Only hearsay", note, columns, tuple(rows))
