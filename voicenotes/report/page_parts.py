"""Parts of the HTML report on the checks: findings, what was not checked, readings, hearsay, photos."""

from __future__ import annotations

import base64
from typing import TYPE_CHECKING

from voicenotes.outputs.walk_round import SEVERITIES
from voicenotes.outputs.wording import length
from voicenotes.report import pieces
from voicenotes.report.markup import Markup, joined, tag
from voicenotes.report.words import (
    NOT_PASSED,
    NOTED,
    SEVERITY_MEANS,
    VERDICTS,
    added_defects,
    defects,
    measured,
    of_group,
    result,
    station_titles,
    told_of,
)

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from voicenotes.outputs.report_values import Report
    from voicenotes.report.pictures import Picture

NOTHING = Markup("")
JPEG = "image/jpeg"


def findings(report: Report, pictures: Mapping[str, Picture]) -> Markup:
    titles = station_titles(report)
    blocks: list[Markup] = []
    for severity in SEVERITIES:
        found = defects(report, severity)
        extra = added_defects(report, severity)
        blocks.append(tag("h3", f"{severity.capitalize()} ({len(found) + len(extra)})"))
        blocks.append(pieces.note(f"{severity.capitalize()}: {SEVERITY_MEANS[severity]}."))
        if not found and not extra:
            blocks.append(tag("p", "None found in what was checked."))
        for check in found:
            blocks.append(
                pieces.finding(
                    check, titles.get(check.station, check.station), shots(check.photos, report, pictures)
                )
            )
        blocks += [pieces.added(one, shots(one.photos, report, pictures)) for one in extra]
    rest = [added for added in report.added if added.severity is None]
    if rest:
        blocks.append(tag("h3", f"{NOTED} ({len(rest)})"))
        blocks += [pieces.added(one, shots(one.photos, report, pictures)) for one in rest]
    return joined(blocks)


def shots(names: Sequence[str], report: Report, pictures: Mapping[str, Picture]) -> list[Markup]:
    return [_shot(name, report, pictures) for name in names]


def _shot(name: str, report: Report, pictures: Mapping[str, Picture]) -> Markup:
    caption = next((photo.caption for photo in report.photos if photo.file == name), "")
    words = f"{caption} ({name})" if caption else name
    picture = pictures.get(name)
    if picture is None or picture.problem or not picture.jpeg:
        problem = picture.problem if picture else None
        return tag("p", f"Photo {name} {problem or 'is not there'}.", class_="note")
    source = f"data:{JPEG};base64,{base64.b64encode(picture.jpeg).decode('ascii')}"
    image = tag("img", src=source, alt=f"Photo: {words}", width=picture.width, height=picture.height)
    return tag("figure", image, tag("figcaption", words, class_="note"))


def not_checked(report: Report, pictures: Mapping[str, Picture]) -> Markup:
    open_ = of_group(report, "open", "set_aside")
    if not open_:
        return tag("p", "Every check that applies to this machine is settled.")
    photos_of = {check.id: shots(check.photos, report, pictures) for check in open_ if check.photos}
    stations = {station.id: station for station in report.stations}
    return joined([tag("p", tag("b", NOT_PASSED)), *pieces.not_checked(open_, stations, photos_of)])


def readings(report: Report) -> Markup:
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


def hearsay(report: Report) -> Markup:
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


def moments(report: Report) -> Markup:
    if not report.moments:
        return NOTHING
    rows = [
        (
            f"{one.recording}, {length(one.at)}",
            f"\u201c{one.said}\u201d" if one.said else "nothing was said before it",
            ", ".join(one.about),
        )
        for one in report.moments
    ]
    return pieces.table(("At", "Said just before", "About"), rows, "Marked aloud during the inspection")


def photos(report: Report, pictures: Mapping[str, Picture]) -> Markup:
    used = {name for check in report.checks for name in check.photos} | {
        n for one in report.added for n in one.photos
    }
    rest = [photo.file for photo in report.photos if photo.file not in used]
    if rest:
        return tag("div", *shots(rest, report, pictures), class_="photos")
    return pieces.note(f"{len(report.photos)} in all, each beside its finding.") if report.photos else NOTHING


def checklist(report: Report) -> Markup:
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
