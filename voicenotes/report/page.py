"""The report as one HTML file: no script, no outside address, pictures inside."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from voicenotes.outputs.walk_round import SEVERITIES
from voicenotes.report import page_parts, page_records, pieces
from voicenotes.report.drawing import legend, svg
from voicenotes.report.markup import Markup, joined, stylesheet, tag
from voicenotes.report.words import (
    how_many,
    of_group,
    troubles,
)

if TYPE_CHECKING:
    from collections.abc import Mapping

    from voicenotes.outputs.report_values import Report
    from voicenotes.report.pictures import Picture

STYLE = Path(__file__).with_name("style.css")
POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"
NOTHING = Markup("")
KEY_LINES = 4  # of the summary: what it rests on, what was found, what was not settled


def html_page(report: Report, pictures: Mapping[str, Picture] | None = None) -> str:
    """The whole page; `pictures` are the photos by file name, as `pictures_of` gives them."""
    shown = pictures or {}
    sections = [
        ("summary", "Summary", _summary(report)),
        ("walk", "Walk round", _walk(report)),
        ("findings", "What was found", page_parts.findings(report, shown)),
        ("not-checked", "What was NOT checked, and why", page_parts.not_checked(report, shown)),
        ("readings", "Readings against limits", page_parts.readings(report)),
        ("hearsay", "Only hearsay", page_parts.hearsay(report)),
        ("moments", "Moments marked", page_parts.moments(report)),
        ("photos", "Photos", page_parts.photos(report, shown)),
        ("checklist", "Before the move", page_parts.checklist(report)),
        ("cost", "What it may cost", page_records.cost(report)),
        ("in-order", "What was found in order", page_records.in_order(report, shown)),
        ("machine", "The machine as noted", page_records.machine(report)),
        ("corrections", "What was corrected in the review", page_records.corrections(report)),
        ("recordings", "Recordings", page_records.recordings(report)),
        ("limits", "Scope, cautions and what this is not", page_records.limits(report)),
    ]
    present = [(name, title, content) for name, title, content in sections if content]
    links = [tag("li", tag("a", title, href=f"#{name}")) for name, title, _ in present]
    head = tag(
        "head",
        tag("meta", charset="utf-8"),
        tag("meta", http_equiv="Content-Security-Policy", content=POLICY),
        tag("meta", name="viewport", content="width=device-width, initial-scale=1"),
        tag("meta", name="referrer", content="no-referrer"),
        tag("title", f"Inspection report: {report.title}"),
        stylesheet(STYLE.read_text(encoding="utf-8")),
    )
    body = tag(
        "body",
        tag("a", "To the summary", href="#summary", class_="skip"),
        tag(
            "div",
            _header(report),
            tag("nav", tag("ul", *links), aria_label="Parts of the report"),
            tag("main", *(pieces.section(name, title, content) for name, title, content in present)),
            class_="page",
        ),
    )
    return f"<!DOCTYPE html>\n{tag('html', head, body, lang='en')}\n"


def _header(report: Report) -> Markup:
    days = " to ".join(dict.fromkeys(report.dates)) or "day not known"
    return tag(
        "header",
        tag("p", f"Inspection report \u00b7 {days}", class_="kicker"),
        tag("h1", report.title),
        _facts(report),
    )


def _facts(report: Report) -> Markup:
    rows = [
        tag(
            "div",
            tag("dt", fact.title),
            tag("dd", fact.value, tag("span", " (only told)", class_="note") if fact.only_told else ""),
        )
        for fact in report.facts
    ]
    return (
        tag("dl", *rows, class_="facts") if rows else pieces.note("Nothing was noted of the machine itself.")
    )


def _summary(report: Report) -> Markup:
    settled = len(of_group(report, "defect", "ok"))
    figures = [(f"{severity} defects", how_many(report, severity), "is-bad") for severity in SEVERITIES]
    figures.append(("found in order", len(of_group(report, "ok")), "is-good"))
    open_ = of_group(report, "open")
    figures.append(("checks NOT settled", len(open_), "is-open"))
    left = of_group(report, "set_aside")
    if left:
        figures.append(("left open, with a reason", len(left), "is-open"))
    shown = [
        tag("li", tag("b", str(value)), words, class_=kind if value else None)
        for words, value, kind in figures
    ]
    lines = [
        tag("li", line, class_="key" if index < KEY_LINES or line.startswith("LEFT OPEN") else None)
        for index, line in enumerate(report.summary)
    ]
    of = settled + len(open_) + len(left)
    share = f"{settled} of {of} checks that apply or may apply are settled."
    cautions = [tag("p", line, class_="caution") for line in troubles(report)]
    return joined(
        (
            tag("ul", *shown, class_="figures"),
            pieces.note(share),
            tag("ul", *lines, class_="summary"),
            *cautions,
        )
    )


def _walk(report: Report) -> Markup:
    if not report.stations:
        return NOTHING
    drawings = [svg(report.stations, columns, f"walk{columns}") for columns in (4, 2, 1)]
    text = "The stations in the order in which they are walked. Each sign is one check."
    return joined((pieces.note(text), legend(report.stations), tag("figure", *drawings)))
