"""The report as one HTML file: no script, no outside address, pictures inside."""

from __future__ import annotations

import base64
from pathlib import Path
from typing import TYPE_CHECKING

from voicenotes.outputs.wording import length, number
from voicenotes.report import pieces
from voicenotes.report.drawing import legend, svg
from voicenotes.report.markup import Markup, joined, stylesheet, tag
from voicenotes.report.words import (
    NOT_REVIEWED,
    OUTCOMES,
    SEVERITIES,
    SEVERITY_MEANS,
    VERDICTS,
    defects,
    fitted,
    measured,
    money,
    of_group,
    result,
    reviewed,
    station_titles,
    told_of,
)

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from voicenotes.outputs.report_values import CostLine, Report
    from voicenotes.report.pictures import Picture

STYLE = Path(__file__).with_name("style.css")
POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"
NOTHING = Markup("")


def html_page(report: Report, pictures: Mapping[str, Picture] | None = None) -> str:
    """The whole page; `pictures` are the photos by file name, as `pictures_of` gives them."""
    shown = pictures or {}
    sections = [
        ("summary", "Summary", _summary(report)),
        ("walk", "Walk round", _walk(report)),
        ("findings", "What was found", _findings(report, shown)),
        ("not-checked", "What was NOT checked, and why", _not_checked(report)),
        ("readings", "Readings against limits", _readings(report)),
        ("hearsay", "Only hearsay", _hearsay(report)),
        ("photos", "Photos", _photos(report, shown)),
        ("checklist", "Before the move", _checklist(report)),
        ("cost", "What it may cost", _cost(report)),
        ("in-order", "What was found in order", _in_order(report)),
        ("machine", "The machine as noted", _machine(report)),
        ("recordings", "Recordings", _recordings(report)),
        ("limits", "Scope, cautions and what this is not", _limits(report)),
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
    settled = len(of_group(report, "defect", "ok", "set_aside"))
    figures = [(f"{severity} defects", len(defects(report, severity)), "is-bad") for severity in SEVERITIES]
    figures.append(("found in order", len(of_group(report, "ok")), "is-good"))
    open_ = of_group(report, "open")
    figures.append(("checks NOT settled", len(open_), "is-open"))
    shown = [
        tag("li", tag("b", str(value)), words, class_=kind if value else None)
        for words, value, kind in figures
    ]
    lines = [tag("li", line) for line in report.summary]
    share = f"{settled} of {settled + len(open_)} checks that apply or may apply are settled."
    undecided = [
        tag("p", f"A correction needs a decision: {line}", class_="caution") for line in report.undecided
    ]
    return joined(
        (
            tag("ul", *shown, class_="figures"),
            pieces.note(share),
            tag("ul", *lines, class_="summary"),
            *undecided,
        )
    )


def _walk(report: Report) -> Markup:
    if not report.stations:
        return NOTHING
    drawings = [svg(report.stations, columns, f"walk{columns}") for columns in (4, 2, 1)]
    text = "The stations in the order in which they are walked. Each sign is one check."
    return joined((pieces.note(text), legend(report.stations), tag("figure", *drawings)))


def _findings(report: Report, pictures: Mapping[str, Picture]) -> Markup:
    titles = station_titles(report)
    blocks: list[Markup] = []
    for severity in SEVERITIES:
        found = defects(report, severity)
        extra = [added for added in report.added if added.severity == severity]
        blocks.append(tag("h3", f"{severity.capitalize()} ({len(found) + len(extra)})"))
        blocks.append(pieces.note(f"{severity.capitalize()}: {SEVERITY_MEANS[severity]}."))
        if not found and not extra:
            blocks.append(tag("p", "None found in what was checked."))
        for check in found:
            blocks.append(
                pieces.finding(
                    check, titles.get(check.station, check.station), _shots(check.photos, report, pictures)
                )
            )
        blocks += [pieces.added(one, _shots(one.photos, report, pictures)) for one in extra]
    rest = [added for added in report.added if added.severity is None]
    if rest:
        blocks.append(tag("h3", f"Noted in the review ({len(rest)})"))
        blocks += [pieces.added(one, _shots(one.photos, report, pictures)) for one in rest]
    return joined(blocks)


def _shots(names: Sequence[str], report: Report, pictures: Mapping[str, Picture]) -> list[Markup]:
    return [_shot(name, report, pictures) for name in names]


def _shot(name: str, report: Report, pictures: Mapping[str, Picture]) -> Markup:
    caption = next((photo.caption for photo in report.photos if photo.file == name), "")
    words = f"{name}: {caption}" if caption else name
    picture = pictures.get(name)
    if picture is None or picture.problem or not picture.jpeg:
        problem = picture.problem if picture else None
        return tag("p", f"Photo {name} {problem or 'is not there'}.", class_="note")
    source = f"data:image/jpeg;base64,{base64.b64encode(picture.jpeg).decode('ascii')}"
    image = tag("img", src=source, alt=f"Photo: {words}", width=picture.width, height=picture.height)
    return tag("figure", image, tag("figcaption", words, class_="note"))


def _not_checked(report: Report) -> Markup:
    open_ = of_group(report, "open")
    aside = of_group(report, "set_aside")
    if not open_ and not aside:
        return tag("p", "Every check that applies to this machine is settled.")
    text = "A check that stands here has not been passed. Nobody can tell from this visit whether it is in order."
    blocks = [tag("p", tag("b", text))] if open_ else []
    blocks += pieces.not_checked(open_, {station.id: station for station in report.stations})
    if aside:
        rows = [(check.title, check.why_open or "", reviewed(check.review)) for check in aside]
        blocks += [
            tag("h3", "Set aside by a person"),
            pieces.table(("Check", "Reason", "Who"), rows, "Set aside, with the reason"),
        ]
    return joined(blocks)


def _readings(report: Report) -> Markup:
    rows = []
    for check in report.checks:
        for reading in check.readings:
            verdict = tag(
                "span", VERDICTS[reading.verdict], class_="outside" if reading.verdict == "outside" else None
            )
            doubt = (
                tag("span", f"doubtful: {reading.doubtful}", class_="note") if reading.doubtful else NOTHING
            )
            name = joined((tag("b", reading.title), tag("span", reading.quantity, class_="note")))
            rows.append(
                (
                    name,
                    joined((measured(reading), doubt)),
                    reading.limit or "none known",
                    verdict,
                    reading.source or "",
                )
            )
    if not rows:
        return tag("p", "No value was measured.")
    columns = ("Reading", "Value", "Limit", "Result", "Source of the limit")
    return pieces.table(columns, rows, "Each spoken value beside the limit that it was held against")


def _hearsay(report: Report) -> Markup:
    if not report.hearsay:
        return tag("p", "Nothing in the record rests on what somebody else said.")
    rows = [
        (
            tag("b", item.title),
            told_of(item),
            pieces.short_quotes([item.quote], item.quote.polarity),
            "also looked at" if item.also_checked else "not looked at",
        )
        for item in report.hearsay
    ]
    text = "Told by the seller, an operator or somebody else. It settles nothing until somebody looks."
    return joined(
        (tag("p", text), pieces.table(("About", "What", "Quote", "Checked?"), rows, "What was only told"))
    )


def _photos(report: Report, pictures: Mapping[str, Picture]) -> Markup:
    used = {name for check in report.checks for name in check.photos} | {
        n for one in report.added for n in one.photos
    }
    rest = [photo.file for photo in report.photos if photo.file not in used]
    if rest:
        return tag("div", *_shots(rest, report, pictures), class_="photos")
    return pieces.note(f"{len(report.photos)} in all, each beside its finding.") if report.photos else NOTHING


def _checklist(report: Report) -> Markup:
    by_id = {check.id: check for check in report.checks}
    titles = station_titles(report)
    items = []
    for name in report.checklist:
        check = by_id[name]
        done = check.group == "ok"
        state = tag(
            "span",
            result(check),
            class_="tag good" if done else "tag bad" if check.group == "defect" else "tag open",
        )
        words = tag("div", tag("b", check.title), " ", state, tag("span", f"{check.judged}", class_="note"))
        box = tag(
            "span",
            "\u2713" if done else "\u00a0",
            class_="box",
            role="img",
            aria_label="done" if done else "still to do",
        )
        items.append(tag("li", box, words))
    if not items:
        return NOTHING
    stations = ", ".join(
        dict.fromkeys(titles.get(by_id[n].station, by_id[n].station) for n in report.checklist)
    )
    return joined((pieces.note(f"The checks of: {stations}."), tag("ul", *items, class_="boxes")))


def _cost(report: Report) -> Markup:
    cost = report.cost
    if cost is None:
        return NOTHING
    blocks: list[Markup] = []
    if cost.invented:
        blocks.append(
            tag(
                "p",
                f"INVENTED AMOUNTS: the table \u201c{cost.table}\u201d is a made-up example, no real prices.",
                class_="caution",
            )
        )
    blocks.append(tag("p", f"From the cost table \u201c{cost.table}\u201d. {cost.note}"))
    found = cost.found
    rows = [
        ("Expected", money(found.mean, cost.currency), "sum of (low + 4 likely + high) / 6"),
        (
            "Spread",
            money(found.sd, cost.currency),
            "one standard deviation, root of the sum of ((high - low) / 6) squared",
        ),
        (
            "In 1 of 10 cases below",
            money(found.p10, cost.currency),
            f"{cost.samples:,} sums drawn at random (beta-PERT)",
        ),
        ("As often below as above", money(found.p50, cost.currency), "the same draws"),
        ("In 1 of 10 cases above", money(found.p90, cost.currency), "the same draws"),
    ]
    columns = ("The defects found", "Amount", "How it is reckoned")
    blocks.append(pieces.table(columns, rows, "The defects found, taken together", frozenset([1])))
    if cost.lines:
        blocks.append(_cost_table(cost.lines, cost.currency, "Each defect found", with_odds=False))
    if cost.unpriced:
        blocks.append(
            tag("p", f"Without a price, and not in the sum: {', '.join(cost.unpriced)}.", class_="caution")
        )
    blocks.append(tag("h3", "What the unsettled checks may add"))
    blocks += _open_cost(report)
    blocks.append(
        pieces.note(
            "Three-point formulas: Malcolm, Roseboom, Clark and Fazar 1959, Operations Research 7(5). The costs are taken as independent of one another; where one repair brings another with it the true spread is wider."
        )
    )
    return joined(blocks)


def _open_cost(report: Report) -> list[Markup]:
    cost = report.cost
    if cost is None:
        return []
    worst = money(cost.open_worst, cost.currency)
    if cost.open is None:
        lines = [
            tag(
                "p",
                f"Between nothing and {worst}, if every one of the {len(cost.open_lines)} unsettled checks with a price turned out a defect at its highest cost. How likely each is, is not known.",
            )
        ]
    else:
        low, high = money(cost.open.p10, cost.currency), money(cost.open.p90, cost.currency)
        lines = [
            tag(
                "p",
                f"On average {money(cost.open.mean, cost.currency)} on top; in 8 of 10 cases between {low} and {high}; at the very worst {worst}. This rests on how often the pack takes each check to be a defect, which is a rough guess.",
            )
        ]
        dearest = sorted(cost.open_lines, key=lambda line: -line.likelihood * line.mean)[:10]
        lines.append(
            _cost_table(dearest, cost.currency, "The unsettled checks that weigh most", with_odds=True)
        )
    if cost.open_unpriced:
        lines.append(pieces.note(f"Without a price: {', '.join(cost.open_unpriced)}."))
    return lines


def _cost_table(lines: Sequence[CostLine], currency: str, caption: str, with_odds: bool) -> Markup:
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


def _in_order(report: Report) -> Markup:
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
        more = [tag("span", text, class_="note") for text in (*values, *check.remarks)]
        rows.append(
            (
                name,
                joined((pieces.short_quotes(check.quotes, "good"), *more)),
                pieces.review_tag(check.review),
            )
        )
    return pieces.table(
        ("Check", "Quote", "Review"),
        rows,
        f"Found in order; \u201c{NOT_REVIEWED}\u201d: as a program understood it",
    )


def _machine(report: Report) -> Markup:
    facts = [
        (
            fact.title,
            joined((fact.value, " (only told)" if fact.only_told else "")),
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
        (one.title, fitted(one), pieces.short_quotes(one.quotes, "good" if one.fitted else "not_fitted"))
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
                f"Checks that drop out because their fitting is not there ({OUTCOMES['not_fitted']}): {text}.",
            )
        )
    for check in absent:
        if check.quotes or check.readings:
            blocks.append(pieces.finding(check, station_titles(report).get(check.station, check.station)))
    return joined(blocks)


def _recordings(report: Report) -> Markup:
    rows = []
    for one in report.recordings:
        trouble = [tag("span", text, class_="outside") for text in (one.problem, one.doubt) if text]
        made = f"{(one.recorded_at or 'not known').replace('T', ' ')}{f' (by {one.recorded_at_from})' if one.recorded_at_from else ''}"
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


def _limits(report: Report) -> Markup:
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
