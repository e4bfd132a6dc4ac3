"""Parts of the HTML report behind the checks: costs, what was in order, machine, recordings, limits."""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicenotes.outputs.wording import length, number
from voicenotes.report import pieces
from voicenotes.report.cost_words import (
    METHOD,
    dearest,
    found_rows,
    invented_line,
    open_line,
    open_unpriced_line,
    unpriced_line,
)
from voicenotes.report.markup import Markup, joined, tag
from voicenotes.report.page_parts import shots
from voicenotes.report.words import (
    NOT_REVIEWED,
    VERDICTS,
    corrected,
    fitted,
    heard_in,
    measured,
    money,
    note_words,
    of_group,
    station_titles,
    value_words,
)

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from voicenotes.outputs.report_values import CostLine, Report, ReportFact, ReportFitting
    from voicenotes.report.pictures import Picture

NOTHING = Markup("")


def cost(report: Report) -> Markup:
    """What the found defects may cost, and apart from it what the unsettled checks may add."""
    estimate = report.cost
    if estimate is None:
        return NOTHING
    rows = [(what, money(amount, estimate.currency), how) for what, amount, how in found_rows(estimate)]
    columns = ("The defects found", "Amount", "How it is reckoned")
    blocks = [
        _caution(invented_line(estimate)),
        tag("p", f"From the cost table \u201c{estimate.table}\u201d. {estimate.note}"),
        pieces.table(columns, rows, "The defects found, taken together", frozenset([1])),
        _cost_table(estimate.lines, estimate.currency, "Each defect found", with_odds=False),
        _caution(unpriced_line(estimate)),
        tag("h3", "What the unsettled checks may add"),
        tag("p", open_line(estimate) or "Nothing: no unsettled check has a price."),
    ]
    if estimate.open:
        caption = "The unsettled checks that weigh most"
        blocks.append(_cost_table(dearest(estimate), estimate.currency, caption, with_odds=True))
    blocks.append(pieces.note(open_unpriced_line(estimate) or ""))
    return joined([*blocks, pieces.note(METHOD)])


def _caution(line: str | None) -> Markup:
    return tag("p", line, class_="caution") if line else NOTHING


def _cost_table(lines: Sequence[CostLine], currency: str, caption: str, with_odds: bool) -> Markup:
    if not lines:
        return NOTHING
    columns = ["Defect", "Low", "Likely", "High", "Expected", "Price by"] + (
        ["Likelihood"] if with_odds else []
    )
    rows = []
    for line in lines:
        row: list[str] = [joined((tag("b", line.title), tag("span", line.severity, class_="note")))]
        row += [
            f"{amount:,.0f}" for amount in (line.low, line.likely, line.high, line.likelihood * line.mean)
        ]
        row += [line.taken_from] + ([f"{100 * line.likelihood:.0f} %"] if with_odds else [])
        rows.append(row)
    return pieces.table(columns, rows, f"{caption}, in {currency}", frozenset([1, 2, 3, 4]))


def in_order(report: Report, pictures: Mapping[str, Picture]) -> Markup:
    found = of_group(report, "ok")
    if not found:
        return tag("p", "Nothing was found in order.")
    titles = station_titles(report)
    rows = []
    for check in found:
        name = joined(
            (tag("b", check.title), tag("span", titles.get(check.station, check.station), class_="note"))
        )
        values = [
            f"{reading.quantity} {measured(reading)}: {VERDICTS[reading.verdict]}"
            for reading in check.readings
        ]
        more = [tag("span", text, class_="note") for text in (*values, *check.remarks, *corrected(check))]
        more += shots(check.photos, report, pictures)
        rows.append(
            (
                name,
                joined((pieces.wording(check), pieces.short_quotes(check.quotes, "good"), *more)),
                pieces.review_tag(check.review),
            )
        )
    return pieces.table(
        ("Check", "Quote", "Review"),
        rows,
        f"Found in order; \u201c{NOT_REVIEWED}\u201d: as a program understood it",
    )


def machine(report: Report) -> Markup:
    facts = [
        (
            fact.title,
            joined((value_words(fact), _who(fact))),
            pieces.short_quotes(fact.quotes, "named"),
        )
        for fact in report.facts
    ]
    blocks = (
        [
            pieces.table(
                ("Fact", "Value", "Quote"),
                facts,
                "Facts noted; names and numbers are often misheard, compare them with the plate",
            )
        ]
        if facts
        else []
    )
    fittings = [
        (
            one.title,
            joined((fitted(one), _who(one))),
            pieces.short_quotes(one.quotes, "good" if one.fitted else "not_fitted"),
        )
        for one in report.fittings
    ]
    if fittings:
        blocks.append(pieces.table(("Fitting", "There?", "Quote"), fittings, "What the machine has"))
    absent = of_group(report, "not_fitted")
    if absent:
        text = ", ".join(check.title for check in absent)
        blocks.append(
            tag(
                "p",
                f"Checks that drop out because their fitting is not there: {text}.",
            )
        )
    spoken_of = [check for check in absent if check.quotes or check.readings or check.review]
    if spoken_of:
        blocks.append(tag("h3", "What was said of these"))
    titles = station_titles(report)
    blocks += [pieces.finding(check, titles.get(check.station, check.station)) for check in spoken_of]
    return joined(blocks)


def _who(thing: ReportFact | ReportFitting) -> Markup:
    words = note_words(thing)
    return tag("span", words, class_="note") if words else NOTHING


def corrections(report: Report) -> Markup:
    """All that persons said in the review, in order; nothing where there was none."""
    rows = [
        (
            joined((one.line, tag("span", heard_in(one), class_="note") if one.heard else "")),
            joined((one.by, tag("span", one.at[:16].replace("T", " "), class_="note"))),
            tag("span", one.undecided, class_="outside") if one.undecided else "",
        )
        for one in report.corrections
    ]
    if not rows:
        return NOTHING
    text = "What persons said after listening. The recordings and what the program read stay as they were."
    columns = ("What", "Who and when", "Not applied, because")
    return joined(
        (tag("p", text), pieces.table(columns, rows, "Corrections, in the order in which they were made"))
    )


def recordings(report: Report) -> Markup:
    rows = []
    for one in report.recordings:
        trouble = [tag("span", text, class_="outside") for text in (one.problem, one.doubt) if text]
        known_by = f" (by {one.recorded_at_from})" if one.recorded_at_from else ""
        made = f"{(one.recorded_at or 'not known').replace('T', ' ')}{known_by}"
        mark = tag("span", f"SHA-256 {one.sha256}", class_="note") if one.sha256 else NOTHING
        rows.append(
            (
                joined((one.file, mark)),
                made,
                length(one.seconds),
                number(one.words),
                joined((one.engine or "", " ", *trouble)),
            )
        )
    columns = ("Recording", "Made", "Length", "Words", "Heard by")
    more = (
        pieces.note(
            f"{report.unmatched_remarks} remarks fit no check; they stand in the record with all others."
        )
        if report.unmatched_remarks
        else NOTHING
    )
    return joined((pieces.table(columns, rows, "What this report rests on"), more))


def limits(report: Report) -> Markup:
    blocks = []
    for title, lines in (
        ("Scope", report.scope),
        ("Cautions", report.cautions),
        ("What this report is not", report.is_not),
    ):
        if lines:
            blocks += [tag("h3", title), tag("ul", *(tag("li", line) for line in lines))]
    stamp = f"Read with the pack {report.pack.id}, version {report.pack.version}."
    return joined((*blocks, pieces.note(stamp)))
