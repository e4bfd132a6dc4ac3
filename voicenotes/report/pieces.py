"""Pieces of the HTML report that recur: quotes, readings, findings, tables."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING

from voicenotes.outputs.wording import minutes
from voicenotes.report.markup import Markup, joined, tag
from voicenotes.report.words import (
    VERDICTS,
    added_at,
    added_result,
    corrected,
    deciding,
    is_open,
    measured,
    quoted,
    result,
    reviewed,
    said,
    where,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from voicenotes.outputs.report_values import (
        AddedFinding,
        ReportCheck,
        ReportQuote,
        ReportReading,
        ReportStation,
        Review,
    )

NOTHING = Markup("")


def section(name: str, title: str, *content: str) -> Markup:
    """A part of the page with its heading."""
    heading = tag("h2", title, id=f"{name}-title")
    return tag("section", heading, *content, id=name, aria_labelledby=f"{name}-title")


def note(*content: str) -> Markup:
    return tag("p", *content, class_="note")


def quote(spoken: ReportQuote, usual: str) -> Markup:
    """A quote with recording and time, and what kind of remark it is where it is not the usual one."""
    kind = said(spoken, usual)
    cite = tag("cite", where(spoken), f"; {kind}" if kind else "")
    return tag("blockquote", tag("bdi", quoted(spoken.text)), cite)


def quotes(check: ReportCheck) -> list[Markup]:
    usual = deciding(check)
    return [quote(spoken, usual) for spoken in check.quotes]


def review_lines(check: ReportCheck, class_: str = "note") -> list[Markup]:
    """What was changed in a check in the review."""
    return [tag("p" if class_ == "corrected" else "span", line, class_=class_) for line in corrected(check)]


def wording(check: ReportCheck) -> Markup:
    """How a person words a finding."""
    return tag("p", tag("bdi", check.wording), class_="wording") if check.wording else NOTHING


def short_quotes(spoken: Sequence[ReportQuote], usual: str) -> Markup:
    """Quotes inside a table's cell."""
    lines = []
    for piece in spoken:
        kind = said(piece, usual)
        lines.append(
            tag("div", tag("bdi", quoted(piece.text)), tag("span", where(piece), f"; {kind}" if kind else "",
                class_="note"))
        )  # fmt: skip
    return joined(lines)


def review_tag(review: Review | None) -> Markup:
    return tag("span", reviewed(review), class_="tag warn" if review is None else "tag good")


def reading_line(reading: ReportReading) -> Markup:
    """A value, how it stands to its limit, and where the limit comes from."""
    verdict = VERDICTS[reading.verdict]
    limit = f" ({reading.limit})" if reading.limit else ""
    shown = tag("strong", verdict, class_="outside") if reading.verdict == "outside" else verdict
    source = note(f"Limit from: {reading.source}") if reading.source and reading.limit else NOTHING
    doubt = note(f"Doubtful: {reading.doubtful}") if reading.doubtful else NOTHING
    return tag(
        "div",
        tag("p", f"{reading.quantity} ", tag("b", measured(reading)), ": ", shown, limit),
        source,
        doubt,
    )


def finding(check: ReportCheck, station: str, photos: Sequence[Markup] = ()) -> Markup:
    """A check with all that is known of it, as a block with a heading of its own."""
    kind = check.severity or ("open" if check.group == "open" else "")
    head = tag(
        "div",
        tag("h4", check.title),
        tag("span", f"{station} \u00b7 {check.id}", class_="at"),
        class_="head",
    )
    strong = "tag strong" if check.severity == "critical" else "tag bad"
    what = tag("span", result(check), class_=strong if check.group == "defect" else "tag open")
    return tag(
        "article",
        head,
        tag("p", what, review_tag(check.review)),
        wording(check),
        *quotes(check),
        *(reading_line(reading) for reading in check.readings),
        *(tag("p", remark, class_="caution") for remark in check.remarks),
        *review_lines(check, "corrected"),
        *photos,
        class_=f"finding {kind}",
    )


def added(extra: AddedFinding, photos: Sequence[Markup] = ()) -> Markup:
    """A finding that was added in the review."""
    head = tag(
        "div",
        tag("h4", extra.title),
        tag("span", added_at(extra), class_="at"),
        class_="head",
    )
    kind = "good" if extra.outcome == "ok" else "strong" if extra.severity == "critical" else "bad"
    return tag(
        "article",
        head,
        tag("p", tag("span", added_result(extra), class_=f"tag {kind}"), review_tag(extra.review)),
        *photos,
        class_=f"finding {extra.severity or 'good'}",
    )


def not_checked(
    checks: Sequence[ReportCheck],
    stations: Mapping[str, ReportStation],
    photos: Mapping[str, Sequence[Markup]],
) -> list[Markup]:
    """The open checks, station by station, with the station's cautions; `photos` by check."""
    blocks: list[Markup] = []
    for name, group in groupby(checks, key=lambda check: check.station):
        station = stations.get(name)
        blocks.append(tag("h3", station.title if station else name))
        if station:
            blocks += [tag("p", f"Caution: {caution}", class_="caution") for caution in station.cautions]
        rows = [_open_row(check, photos.get(check.id, ())) for check in group]
        blocks.append(
            table(
                ("Not settled", "Why", "Takes"),
                rows,
                f"Not settled: {station.title if station else name}",
                class_="wide three",
            )
        )
    return blocks


def _open_row(check: ReportCheck, photos: Sequence[Markup]) -> tuple[Markup, Markup, str]:
    perhaps = ", if fitted" if check.applies is None else ""
    must = (
        tag("span", f"before leaving{perhaps}", class_="tag open") if check.must_before_leaving else NOTHING
    )
    if perhaps and not check.must_before_leaving:
        must = tag("span", "if fitted", class_="tag open")
    name = joined((tag("b", check.title), " ", must, tag("span", check.judged, class_="note")))
    why = joined(
        (
            tag("div", tag("b", f"Left open, because: {check.left_because}."))
            if check.left_because
            else NOTHING,
            is_open(check),
            wording(check),
            short_quotes(check.quotes, deciding(check)),
            *(reading_line(reading) for reading in check.readings),
            *(note(remark) for remark in check.remarks),
            *review_lines(check),
            tag("span", reviewed(check.review), class_="note") if check.review else NOTHING,
            *photos,
        )
    )
    return name, why, minutes(check.minutes)


def table(
    columns: Sequence[str],
    rows: Iterable[Sequence[str]],
    caption: str,
    amounts: frozenset[int] = frozenset(),
    class_: str = "wide",
) -> Markup:
    """A table with headers for columns and rows; `amounts` are columns of numbers, set to the right."""
    head = [tag("th", name, scope="col", role="columnheader", class_="amount" if index in amounts else None)
            for index, name in enumerate(columns)]  # fmt: skip
    body = []
    for row in rows:
        first, *rest = row
        cells = [tag("th", first, scope="row", role="rowheader")]
        cells += [
            tag(
                "td",
                cell,
                role="cell",
                data_label=columns[index],
                class_="amount" if index in amounts else None,
            )
            for index, cell in enumerate(rest, 1)
        ]
        body.append(tag("tr", *cells, role="row"))
    return tag(
        "div",
        tag(
            "table",
            tag("caption", caption),
            tag("thead", tag("tr", *head, role="row"), role="rowgroup"),
            tag("tbody", *body, role="rowgroup"),
            role="table",
        ),
        class_=class_,
    )
