"""Tables of the report behind the checks: photos, checklist, machine, recordings, limits, costs."""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicenotes.outputs.wording import length
from voicenotes.report.cost_words import found_rows, invented_line
from voicenotes.report.table import Cell, Table, quote_lines, reading_lines, to_know_lines
from voicenotes.report.words import (
    fitted,
    heard_in,
    note_words,
    of_group,
    result,
    reviewed,
    station_titles,
)

if TYPE_CHECKING:
    from voicenotes.outputs.report_values import CostLine, Report


def photos_table(report: Report) -> Table:
    rows = [(photo.file, photo.caption, photo.problem or "") for photo in report.photos]
    note = "The pictures are in the HTML and PDF report."
    return Table("photos", "Photos", note, ("File", "Shows", "Problem"), tuple(rows))


def moments_table(report: Report) -> Table:
    rows = [(one.recording, length(one.at), one.said or "", ", ".join(one.about)) for one in report.moments]
    columns = ("Recording", "At", "Said just before", "About")
    return Table("moments", "Moments marked", "Marked aloud during the inspection.", columns, tuple(rows))


def checklist_table(report: Report) -> Table:
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


def in_order_table(report: Report) -> Table:
    titles = station_titles(report)
    rows = [
        (
            titles.get(check.station, check.station),
            check.title,
            check.wording or "",
            quote_lines(check.quotes, "good"),
            reading_lines(check),
            to_know_lines(check),
            reviewed(check.review),
            ", ".join(check.photos),
            check.id,
        )
        for check in of_group(report, "ok")
    ]
    columns = (
        "Station", "In order", "In the reviewer's words", "Quotes", "Readings", "To know", "Review", "Photos",
        "Check",
    )  # fmt: skip
    return Table("in_order", "Found in order", "Seen or measured, and good.", columns, tuple(rows))


def not_fitted_table(report: Report) -> Table:
    rows = [
        (
            check.title,
            check.wording or "",
            quote_lines(check.quotes, "not_fitted"),
            reading_lines(check),
            to_know_lines(check),
            reviewed(check.review) if check.review else "",
            check.id,
        )
        for check in of_group(report, "not_fitted")
    ]
    note = "Checks that drop out because their fitting is not there."
    columns = ("Check", "In the reviewer's words", "Quotes", "Readings", "To know", "Review", "Id")
    return Table("not_fitted", "Not fitted", note, columns, tuple(rows))


def facts_table(report: Report) -> Table:
    rows = [
        (
            fact.title,
            fact.value,
            "only told" if fact.only_told else "",
            quote_lines(fact.quotes, "named"),
            note_words(fact),
        )
        for fact in report.facts
    ]
    note = "Names and numbers are often misheard: compare them with the plate."
    return Table("facts", "The machine", note, ("Fact", "Value", "Known", "Quotes", "Review"), tuple(rows))


def fittings_table(report: Report) -> Table:
    rows = [
        (
            one.title,
            fitted(one),
            quote_lines(one.quotes, "good" if one.fitted else "not_fitted"),
            note_words(one),
        )
        for one in report.fittings
    ]
    columns = ("Fitting", "There?", "Quotes", "Review")
    return Table("fittings", "Fittings", "What the machine has.", columns, tuple(rows))


def corrections_table(report: Report) -> Table:
    """All that persons said in the review, in order."""
    rows = [
        (one.at.replace("T", " "), one.by, one.line, heard_in(one), one.undecided or "")
        for one in report.corrections
    ]
    note = "What persons said after listening; the recordings and the record stay as they were."
    columns = ("When", "Who", "What", "Remark", "Not applied, because")
    return Table("corrections", "Corrections", note, columns, tuple(rows))


def recordings_table(report: Report) -> Table:
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


def limits_table(report: Report) -> Table:
    rows = [("scope", line) for line in report.scope]
    rows += [("caution", line) for line in report.cautions]
    rows += [
        ("caution", f"{station.title}: {line}") for station in report.stations for line in station.cautions
    ]
    rows += [("what it is not", line) for line in report.is_not]
    note = f"Read with the pack {report.pack.id}, version {report.pack.version}."
    return Table("limits", "Scope and cautions", note, ("Kind", "What"), tuple(rows))


def cost_table(report: Report) -> Table:
    """The cost of the found defects, and apart from it what the unsettled checks may add."""
    cost = report.cost
    if cost is None:
        raise ValueError("a report without costs has no table of them")
    rows: list[tuple[Cell, ...]] = [
        (f"found defects: {what.lower()}", round(amount, 2), how) for what, amount, how in found_rows(cost)
    ]
    rows.append(("unsettled checks: at the worst", round(cost.open_worst, 2), "sum of their highest costs"))
    if cost.open:
        guess = "by the pack's likelihoods, a rough guess"
        rows.append(("unsettled checks: expected", round(cost.open.mean, 2), guess))
        rows.append(("unsettled checks: in 1 of 10 cases above", round(cost.open.p90, 2), guess))
    rows += [("without a price", None, title) for title in cost.unpriced]
    rows += [("unsettled, without a price", None, title) for title in cost.open_unpriced]
    note = f"{invented_line(cost) or ''} From the table \u201c{cost.table}\u201d. {cost.note}".strip()
    return Table("cost", "What it may cost", note, ("What", f"Amount, {cost.currency}", "How"), tuple(rows))


def cost_lines_table(report: Report) -> Table:
    cost = report.cost
    if cost is None:
        raise ValueError("a report without costs has no table of them")

    def row(kind: str, line: CostLine) -> tuple[Cell, ...]:
        odds = line.likelihood if kind == "found" or (cost is not None and cost.open_likelihoods) else None
        return (kind, line.title, line.severity, line.low, line.likely, line.high, round(line.mean, 2),
                round(line.sd, 2), odds, line.taken_from, line.check)  # fmt: skip

    rows = [row("found", line) for line in cost.lines] + [row("unsettled", line) for line in cost.open_lines]
    columns = (
        "Kind", "Defect", "Severity", "Low", "Likely", "High", "Expected", "Spread", "Likelihood",
        "Price by", "Check",
    )  # fmt: skip
    note = f"Amounts in {cost.currency}{'; INVENTED, a made-up example' if cost.invented else ''}."
    return Table("cost_lines", "Costs one by one", note, columns, tuple(rows))
