"""How a report words what it says: the same words in every format."""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicenotes.outputs.wording import count, length, number, printable

if TYPE_CHECKING:
    from collections.abc import Sequence

    from voicenotes.model import Reading, Severity
    from voicenotes.outputs.report_values import (
        Hearsay,
        Report,
        ReportCheck,
        ReportFitting,
        ReportQuote,
        ReportReading,
        Review,
    )

SEVERITIES: tuple[Severity, ...] = ("critical", "major", "minor")
SEVERITY_MEANS = {
    "critical": "can hurt someone, or the machine can't do its work",
    "major": "function impaired, or costly to put right",
    "minor": "no effect on the work today",
}
OUTCOMES = {
    "ok": "in order",
    "defect": "defect",
    "unsure": "unsure",
    "not_tested": "not tested",
    "not_fitted": "not fitted",
    "not_mentioned": "never mentioned",
}
VERDICTS = {"within": "within the limit", "outside": "OUTSIDE the limit", "no_limit": "no limit known"}
POLARITIES = {
    "good": "said to be in order",
    "bad": "said to be bad",
    "unsure": "not sure",
    "not_tested": "not tested",
    "not_fitted": "said not to be there",
    "named": "named only",
    "withdrawn": "taken back",
}
MARKS = {
    "ok": "in order",
    "critical": "critical defect",
    "major": "major defect",
    "minor": "minor defect",
    "must": "not settled, to be settled before leaving",
    "open": "not settled",
    "told": "only told",
    "set_aside": "set aside by a person",
    "not_fitted": "not fitted",
}
SIGNS = {
    "ok": "\u2713", "critical": "C", "major": "M", "minor": "m", "must": "!", "open": "?", "told": "\u201d",
    "set_aside": "s", "not_fitted": "\u2013",
}  # fmt: skip
NOT_REVIEWED = "not reviewed"
NOT_PASSED = (
    "A check that stands here has not been passed. Nobody can tell from this visit whether it is in order."
)


def clean(text: str) -> str:
    r"""One line of printable characters; what a terminal or reader would act on is shown as `\x1b`."""
    return printable(" ".join(text.split()))


def where(quote: ReportQuote) -> str:
    """ "memo.m4a at 0:12"."""
    return f"{quote.recording} at {length(quote.start)}"


def quoted(text: str) -> str:
    """A whole quote in quotation marks."""
    return f"\u201c{text}\u201d"


def said(quote: ReportQuote, usual: str) -> str:
    """What kind of remark a quote is, where it is not the usual one of its place; empty otherwise."""
    words = [] if quote.polarity == usual else [POLARITIES[quote.polarity]]
    if quote.basis == "told":
        words.insert(0, "told")
    return ", ".join(words)


def deciding(check: ReportCheck) -> str:
    """The polarity that decided a check's outcome."""
    by_outcome = {"defect": "bad", "ok": "good", "not_mentioned": "named"}
    return by_outcome.get(check.outcome, check.outcome)


def result(check: ReportCheck) -> str:
    """What became of a check, in a few words: "major defect", "only told: in order", "not tested"."""
    words = f"{check.severity} defect" if check.outcome == "defect" else OUTCOMES[check.outcome]
    if check.group == "set_aside":
        return f"set aside ({words})"
    return f"only told: {words}" if check.only_told else words


def is_open(check: ReportCheck) -> str:
    """Why a check is open, without the quotes that stand beside it anyway."""
    return (check.why_open or "").partition(': "')[0]


def reviewed(review: Review | None) -> str:
    """ "reviewed by Kim on 2024-03-13, changed", or "not reviewed"."""
    if review is None:
        return NOT_REVIEWED
    changed = ", changed" if review.changed else ""
    note = f": {review.note}" if review.note else ""
    return f"reviewed by {review.by} on {review.at[:10]}{changed}{note}"


def measured(reading: Reading | ReportReading) -> str:
    """ "60 um"."""
    return f"{number(reading.value)} {reading.unit}"


def told_of(item: Hearsay) -> str:
    """What hearsay says of its thing."""
    if item.kind == "fact":
        return "value told"
    words = {"good": "told to be there", "not_fitted": "told not to be there"}
    if item.kind == "fitting":
        return words.get(item.quote.polarity, "told")
    return {"good": "told to be in order", "bad": "told to be bad"}.get(item.quote.polarity, "told")


def fitted(fitting: ReportFitting) -> str:
    """ "fitted", "not fitted", "nobody said"."""
    if fitting.fitted is None:
        return "only told" if fitting.only_told else "nobody said"
    return "fitted" if fitting.fitted else "not fitted"


def money(amount: float, currency: str) -> str:
    """An amount, rounded to what an estimate can say: "EUR 12,300"."""
    digits = 0 if abs(amount) < 100 else -1 if abs(amount) < 10_000 else -2
    return f"{currency} {round(amount, digits):,.0f}"


def of_group(report: Report, *groups: str) -> list[ReportCheck]:
    """The checks of some groups, in walking order."""
    return [check for check in report.checks if check.group in groups]


def defects(report: Report, severity: str) -> list[ReportCheck]:
    """The found defects of a severity, in walking order."""
    return [check for check in of_group(report, "defect") if check.severity == severity]


def station_titles(report: Report) -> dict[str, str]:
    """Title of each station by its id."""
    return {station.id: station.title for station in report.stations}


def station_line(applying: int, settled: int, defective: int) -> str:
    """A station's share in words: "6 of 9 settled, 2 defects"."""
    if not applying:
        return "nothing to check: not fitted"
    words = f"{settled} of {applying} settled"
    return f"{words}, {count(defective, 'defect')}" if defective else words


def joined(words: Sequence[str], most: int = 6) -> str:
    """ "a, b and c"; the first few of many, and how many more."""
    shown = list(words[:most])
    if len(words) > most:
        shown.append(f"{len(words) - most} more")
    return shown[0] if len(shown) == 1 else f"{', '.join(shown[:-1])} and {shown[-1]}" if shown else ""
