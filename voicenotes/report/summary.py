"""The summary in plain words: what a buyer should know before he reads on."""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicenotes.outputs.walk_round import SEVERITIES
from voicenotes.outputs.wording import count, in_a_list, length, minutes
from voicenotes.report.cost_words import found_line, invented_line, open_line, unpriced_line
from voicenotes.report.words import (
    NOT_REVIEWED,
    added_defects,
    defects,
    how_many,
    joined,
    of_group,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from voicenotes.outputs.report_values import AddedFinding, CostEstimate, Report, ReportCheck


def summary_of(report: Report) -> tuple[str, ...]:
    """One sentence or two on each: what was found, what was not checked, what is only told, review, money."""
    lines = [_basis(report), _found(report), *_critical(report), _not_checked(report), *_left_open(report)]
    lines += [*_limits(report), *_told(report), *_unheard(report), _review(report)]
    if report.cost:
        lines += _money(report.cost)
    return tuple(lines)


def _basis(report: Report) -> str:
    talk = length(sum(recording.seconds for recording in report.recordings))
    day = f" of {' to '.join(dict.fromkeys(report.dates))}" if report.dates else ""
    recordings = count(len(report.recordings), "recording")
    return f"This rests on {recordings}{day}, {talk} in all, spoken while walking round the machine."


def _found(report: Report) -> str:
    counts = [(severity, how_many(report, severity)) for severity in SEVERITIES]
    added = sum(one.outcome == "defect" for one in report.added)
    total = sum(number for _, number in counts)
    if not total:
        return "No defect was found in what was checked."
    parts = [f"{number} {severity}" for severity, number in counts if number]
    more = f"; {added} of them nobody spoke of, {'it was' if added == 1 else 'they were'} added in the review"
    return f"{count(total, 'defect')} found: {joined(parts)}{more if added else ''}."


def _critical(report: Report) -> list[str]:
    found: list[ReportCheck | AddedFinding] = [
        *defects(report, "critical"),
        *added_defects(report, "critical"),
    ]
    return [f"Critical, before anything else: {_titles(found)}."] if found else []


def _titles(things: Sequence[ReportCheck | AddedFinding]) -> str:
    return joined([in_a_list(thing.title) for thing in things])


def _not_checked(report: Report) -> str:
    open_ = of_group(report, "open")
    applying = [check for check in report.checks if check.group != "not_fitted"]
    if not open_ and of_group(report, "set_aside"):
        return "No check is open but those left open by a person."
    if not open_:
        return f"All {count(len(applying), 'check')} that apply to this machine are settled."
    must = [check for check in open_ if check.must_before_leaving]
    words = f"NOT settled: {len(open_)} of the {count(len(applying), 'check')} that apply or may apply"
    if not must:
        return f"{words}. None of them was to be settled before leaving."
    time = minutes(sum(check.minutes for check in must))
    return f"{words}; {len(must)} of them should have been settled before leaving (about {time})."


def _left_open(report: Report) -> list[str]:
    left = of_group(report, "set_aside")
    if not left:
        return []
    return [f"LEFT OPEN by a person, for a reason, and not passed either: {_titles(left)}."]


def _limits(report: Report) -> list[str]:
    readings = [reading for check in report.checks for reading in check.readings]
    outside = [reading for reading in readings if reading.verdict == "outside"]
    if not readings:
        return ["No value was measured."]
    if not outside:
        return [f"{count(len(readings), 'reading')}, none of them outside a limit."]
    titles = joined([in_a_list(title) for title in dict.fromkeys(r.title for r in outside)])
    return [f"{count(len(readings), 'reading')}, {len(outside)} of them outside the limit: {titles}."]


def _told(report: Report) -> list[str]:
    told = {(item.kind, item.id) for item in report.hearsay if not item.also_checked}
    return [f"{count(len(told), 'point')} known only from what somebody said."] if told else []


def _unheard(report: Report) -> list[str]:
    broken = [recording.file for recording in report.recordings if recording.problem]
    doubted = [recording.file for recording in report.recordings if recording.doubt]
    lines = []
    if broken:
        lines.append(f"Not read, or only in part: {joined(broken)}.")
    if doubted:
        lines.append(f"Recorded too badly to be trusted: {joined(doubted)}.")
    return lines


def _review(report: Report) -> str:
    done, found = report.findings_reviewed, report.findings
    if not found:
        return "There is no finding that could be reviewed."
    if not done:
        return "Nobody has reviewed the findings yet: each one is as a program understood the recordings."
    if done == found:
        return f"{done} of {count(found, 'finding')} reviewed by a person: all of them."
    return (
        f"{done} of {count(found, 'finding')} reviewed by a person; the others are marked "
        f"\u201c{NOT_REVIEWED}\u201d, and are as a program understood the recordings."
    )


def _money(cost: CostEstimate) -> list[str]:
    lines = [invented_line(cost), found_line(cost), unpriced_line(cost), open_line(cost)]
    return [line for line in lines if line]
