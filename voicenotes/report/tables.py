"""The report as tables: what spreadsheets, CSV and Markdown show. One row for each item, nothing left out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from voicenotes.outputs.wording import length
from voicenotes.report.words import (
    SEVERITIES,
    VERDICTS,
    deciding,
    defects,
    fitted,
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
    from collections.abc import Sequence

    from voicenotes.outputs.report_values import CostLine, Report, ReportCheck, ReportQuote

Cell = str | float | None


@dataclass(frozen=True)
class Table:
    """A part of the report: columns, rows of as many cells, and a line that says what it is."""

    key: str
    title: str
    note: str
    columns: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]


def tables_of(report: Report) -> tuple[Table, ...]:
    """Every part of the report in the order of the report; parts without rows stay, and say so by it."""
    made = [
        _summary(report),
        _walk(report),
        _findings(report),
        _not_checked(report),
        _readings(report),
        _hearsay(report),
        _photos(report),
        _checklist(report),
        _in_order(report),
        _not_fitted(report),
        _facts(report),
        _fittings(report),
        _recordings(report),
        _limits(report),
    ]
    if report.cost:
        made[8:8] = [_cost(report), _cost_lines(report)]
    return tuple(made)


def quote_lines(quotes: Sequence[ReportQuote], usual: str) -> str:
    """Quotes with their places, a line each."""
    lines = []
    for quote in quotes:
        kind = said(quote, usual)
        lines.append(f"{quoted(quote.text)} ({where(quote)}{f'; {kind}' if kind else ''})")
    return "\n".join(lines)


def _reading_lines(check: ReportCheck) -> str:
    lines = []
    for reading in check.readings:
        limit = f" ({reading.limit})" if reading.limit else ""
        doubt = f"; doubtful: {reading.doubtful}" if reading.doubtful else ""
        lines.append(f"{reading.quantity} {measured(reading)}: {VERDICTS[reading.verdict]}{limit}{doubt}")
    return "\n".join(lines)


def _summary(report: Report) -> Table:
    rows: list[tuple[Cell, ...]] = [(line,) for line in report.summary]
    rows += [(f"A correction needs a decision: {line}",) for line in report.undecided]
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
            station_line(station.applying, station.settled, station.defects),
        )
        for number, station in enumerate(report.stations, 1)
    ]
    columns = ("No.", "Station", "Settled", "Of", "Defects", "Not settled", "In words")
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
                quote_lines(check.quotes, deciding(check)),
                _reading_lines(check),
                "\n".join(check.remarks),
                reviewed(check.review),
                ", ".join(check.photos),
                check.id,
            )
            for check in defects(report, severity)
        ]
    rows += [
        (
            extra.severity or "noted",
            extra.title,
            "",
            extra.text,
            "",
            "added in the review, not spoken",
            reviewed(extra.review),
            ", ".join(extra.photos),
            "",
        )
        for extra in report.added
    ]
    columns = (
        "Severity", "Finding", "Station", "Quotes", "Readings", "To know", "Review", "Photos", "Check",
    )  # fmt: skip
    return Table("findings", "What was found", "Defects, the worst first.", columns, tuple(rows))


def _not_checked(report: Report) -> Table:
    titles = station_titles(report)
    rows = [
        (
            titles.get(check.station, check.station),
            check.title,
            is_open(check) if check.group == "open" else f"set aside: {check.why_open}",
            quote_lines(check.quotes, deciding(check)),
            _reading_lines(check),
            "yes" if check.must_before_leaving else "no",
            "if fitted" if check.applies is None else "yes",
            check.minutes,
            reviewed(check.review),
            check.id,
        )
        for check in of_group(report, "open", "set_aside")
    ]
    columns = (
        "Station", "Not settled", "Why", "Quotes", "Readings", "Before leaving", "Applies", "Minutes", "Review",
        "Check",
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


def _photos(report: Report) -> Table:
    rows = [(photo.file, photo.caption, photo.problem or "") for photo in report.photos]
    note = "The pictures are in the HTML and PDF report."
    return Table("photos", "Photos", note, ("File", "Shows", "Problem"), tuple(rows))


def _checklist(report: Report) -> Table:
    by_id = {check.id: check for check in report.checks}
    rows = [
        (
            "done" if by_id[name].group == "ok" else "",
            by_id[name].title,
            by_id[name].judged,
            result(by_id[name]),
        )
        for name in report.checklist
    ]
    return Table(
        "checklist", "Before the move", "To tick off.", ("Done", "Check", "What", "So far"), tuple(rows)
    )


def _in_order(report: Report) -> Table:
    titles = station_titles(report)
    rows = [
        (
            titles.get(check.station, check.station),
            check.title,
            quote_lines(check.quotes, "good"),
            _reading_lines(check),
            "\n".join(check.remarks),
            reviewed(check.review),
            check.id,
        )
        for check in of_group(report, "ok")
    ]
    columns = ("Station", "In order", "Quotes", "Readings", "To know", "Review", "Check")
    return Table("in_order", "Found in order", "Seen or measured, and good.", columns, tuple(rows))


def _not_fitted(report: Report) -> Table:
    rows = [
        (check.title, quote_lines(check.quotes, "not_fitted"), _reading_lines(check), check.id)
        for check in of_group(report, "not_fitted")
    ]
    note = "Checks that drop out because their fitting is not there."
    return Table("not_fitted", "Not fitted", note, ("Check", "Quotes", "Readings", "Id"), tuple(rows))


def _facts(report: Report) -> Table:
    rows = [
        (fact.title, fact.value, "only told" if fact.only_told else "", quote_lines(fact.quotes, "named"))
        for fact in report.facts
    ]
    note = "Names and numbers are often misheard: compare them with the plate."
    return Table("facts", "The machine", note, ("Fact", "Value", "Known", "Quotes"), tuple(rows))


def _fittings(report: Report) -> Table:
    rows = [
        (one.title, fitted(one), quote_lines(one.quotes, "good" if one.fitted else "not_fitted"))
        for one in report.fittings
    ]
    return Table(
        "fittings", "Fittings", "What the machine has.", ("Fitting", "There?", "Quotes"), tuple(rows)
    )


def _recordings(report: Report) -> Table:
    rows = [
        (
            one.file,
            (one.recorded_at or "").replace("T", " "),
            one.recorded_at_from or "",
            length(one.seconds),
            one.words,
            one.engine or "",
            " ".join(text for text in (one.problem, one.doubt) if text),
            one.sha256 or "",
        )
        for one in report.recordings
    ]
    columns = ("Recording", "Made", "Known by", "Length", "Words", "Heard by", "Trouble", "SHA-256")
    note = (
        f"What the report rests on; {report.unmatched_remarks} remarks fit no check and stand in the record."
    )
    return Table("recordings", "Recordings", note, columns, tuple(rows))


def _limits(report: Report) -> Table:
    rows = [("scope", line) for line in report.scope]
    rows += [("caution", line) for line in report.cautions]
    rows += [
        ("caution", f"{station.title}: {line}") for station in report.stations for line in station.cautions
    ]
    rows += [("what it is not", line) for line in report.is_not]
    note = f"Read with the pack {report.pack.id}, version {report.pack.version}."
    return Table("limits", "Scope and cautions", note, ("Kind", "What"), tuple(rows))


def _cost(report: Report) -> Table:
    cost = report.cost
    if cost is None:
        raise ValueError("a report without costs has no table of them")
    found = cost.found
    rows: list[tuple[Cell, ...]] = [
        ("found defects: expected", round(found.mean, 2), "sum of (low + 4 likely + high) / 6"),
        ("found defects: spread", round(found.sd, 2), "one standard deviation, three-point formula"),
        ("found defects: in 1 of 10 cases below", round(found.p10, 2), f"{cost.samples} random sums"),
        ("found defects: as often below as above", round(found.p50, 2), f"{cost.samples} random sums"),
        ("found defects: in 1 of 10 cases above", round(found.p90, 2), f"{cost.samples} random sums"),
        ("unsettled checks: at the worst", round(cost.open_worst, 2), "sum of their highest costs"),
    ]
    if cost.open:
        rows += [
            (
                "unsettled checks: expected",
                round(cost.open.mean, 2),
                "by the pack's likelihoods, a rough guess",
            ),
            (
                "unsettled checks: in 1 of 10 cases above",
                round(cost.open.p90, 2),
                f"{cost.samples} random sums",
            ),
        ]
    rows += [("without a price", None, title) for title in cost.unpriced]
    rows += [("unsettled, without a price", None, title) for title in cost.open_unpriced]
    invented = "INVENTED AMOUNTS, a made-up example. " if cost.invented else ""
    note = f"{invented}From the table \u201c{cost.table}\u201d. {cost.note}".strip()
    return Table("cost", "What it may cost", note, ("What", f"Amount, {cost.currency}", "How"), tuple(rows))


def _cost_lines(report: Report) -> Table:
    cost = report.cost
    if cost is None:
        raise ValueError("a report without costs has no table of them")

    def row(kind: str, line: CostLine) -> tuple[Cell, ...]:
        odds = line.likelihood if kind == "found" or cost is not None and cost.open_likelihoods else None
        return (kind, line.title, line.severity, line.low, line.likely, line.high, round(line.mean, 2),
                round(line.sd, 2), odds, line.taken_from, line.check)  # fmt: skip

    rows = [row("found", line) for line in cost.lines] + [row("unsettled", line) for line in cost.open_lines]
    columns = (
        "Kind", "Defect", "Severity", "Low", "Likely", "High", "Expected", "Spread", "Likelihood", "Price by", "Check",
    )  # fmt: skip
    note = f"Amounts in {cost.currency}{'; INVENTED, a made-up example' if cost.invented else ''}."
    return Table("cost_lines", "Costs one by one", note, columns, tuple(rows))
