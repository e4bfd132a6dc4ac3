"""How a report words what it says: the same words in every format."""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicenotes.outputs.walk_round import SEVERITY_SIGNS, state_words
from voicenotes.outputs.wording import length, number, printable

if TYPE_CHECKING:
    from collections.abc import Sequence

    from voicenotes.model import Outcome, Reading, Severity
    from voicenotes.outputs.report_values import (
        AddedFinding,
        Hearsay,
        Mark,
        Report,
        ReportCheck,
        ReportCorrection,
        ReportFact,
        ReportFitting,
        ReportQuote,
        ReportReading,
        ReportStation,
        Review,
    )

SEVERITY_MEANS = {
    "critical": "can hurt someone, or the machine can't do its work",
    "major": "function impaired, or costly to put right",
    "minor": "no effect on the work today",
}
OUTCOMES: dict[Outcome, str] = {
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
    "set_aside": "left open by a person, with a reason",
    "not_fitted": "not fitted",
}
SIGNS: dict[Mark, str] = {
    "critical": SEVERITY_SIGNS["critical"], "major": SEVERITY_SIGNS["major"],
    "minor": SEVERITY_SIGNS["minor"], "ok": "\u2713", "must": "!", "open": "?", "told": "\u201d",
    "set_aside": "\u2026", "not_fitted": "\u2013",
}  # fmt: skip
NOT_REVIEWED = "not reviewed"
ADDED = "added in the review, not spoken"
NOTED = "Found in order, and added in the review"
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
    """What kind of remark a quote is, where it is not the usual one of its place, and how it was heard."""
    words = [] if quote.polarity == usual else [POLARITIES[quote.polarity]]
    if quote.basis == "told":
        words.insert(0, "told")
    if quote.heard:
        words.append(f"put right in the review; heard as {quoted(quote.heard)}")
    return ", ".join(words)


def deciding(check: ReportCheck) -> str:
    """The polarity that decided a check's outcome."""
    by_outcome = {"defect": "bad", "ok": "good", "not_mentioned": "named"}
    return by_outcome.get(check.outcome, check.outcome)


def outcome_named(outcome: Outcome, severity: Severity | None) -> str:
    """ "major defect", "in order"."""
    return f"{severity} defect" if outcome == "defect" else OUTCOMES[outcome]


def result(check: ReportCheck) -> str:
    """What became of a check, in a few words: "major defect", "only told: in order", "not tested"."""
    words = outcome_named(check.outcome, check.severity)
    if check.only_told:
        words = f"only told: {words}"
    return f"left open ({words})" if check.group == "set_aside" else words


def added_result(extra: AddedFinding) -> str:
    """The same of a finding that was added."""
    return outcome_named(extra.outcome, extra.severity)


def added_at(extra: AddedFinding) -> str:
    """Where a finding belongs that was added."""
    return f"{extra.station} \u00b7 {ADDED}" if extra.station else ADDED


def corrected(check: ReportCheck) -> list[str]:
    """What was changed in a check in the review, a sentence each."""
    lines = [f"Corrected: {line}" for line in check.corrections]
    if check.understood:
        lines.append(f"The program had understood: {check.understood}.")
    return lines


def why_open(check: ReportCheck) -> str:
    """Why a check is not settled; of one that a person left open his reason too."""
    why = is_open(check)
    return f"left open, because: {check.left_because} ({why})" if check.left_because else why


def value_words(fact: ReportFact) -> str:
    """A fact's value, and how it is known."""
    return f"{fact.value} (only told)" if fact.only_told else fact.value


def note_words(thing: ReportFact | ReportFitting) -> str:
    """Who gave or confirmed a fact or fitting, and what the program had understood instead; else empty."""
    if thing.review is None:
        return ""
    had = f"; the program had understood: {thing.understood}" if thing.understood else ""
    return f"{reviewed(thing.review)}{had}"


def heard_in(correction: ReportCorrection) -> str:
    """The remark that a correction is of, as it was heard, and where; empty for other corrections."""
    if correction.heard is None:
        return ""
    place = f"{correction.recording} at {length(correction.start or 0.0)}"
    heard = quoted(correction.heard)
    return place if heard in correction.line else f"heard: {heard} ({place})"


def correction_words(correction: ReportCorrection) -> str:
    """A correction that needs a decision, and why."""
    return f"{correction.line} ({correction.by}, {correction.at[:10]}): {correction.undecided}"


def troubles(report: Report) -> list[str]:
    """Corrections that could not be applied or read, a line each."""
    lines = [
        f"A correction needs a decision: {correction_words(c)}." for c in report.corrections if c.undecided
    ]
    return lines + [f"A correction can't be read: {line}." for line in report.damaged]


def is_open(check: ReportCheck) -> str:
    """Why a check is open, without the quotes that stand beside it anyway."""
    return (check.why_open or "").partition(': "')[0]


def reviewed(review: Review | None) -> str:
    """ "confirmed by Kim on 2024-03-13", or "not reviewed"."""
    return f"{review.kind} by {review.by} on {review.at[:10]}" if review else NOT_REVIEWED


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


def added_defects(report: Report, severity: str) -> list[AddedFinding]:
    """The defects of a severity that a person added and that belong to no check."""
    return [one for one in report.added if one.severity == severity]


def how_many(report: Report, severity: str) -> int:
    """How many defects of a severity were found or added."""
    return len(defects(report, severity)) + len(added_defects(report, severity))


def station_titles(report: Report) -> dict[str, str]:
    """Title of each station by its id."""
    return {station.id: station.title for station in report.stations}


def station_line(station: ReportStation) -> str:
    """A station's counts in words."""
    return state_words(station.applying, station.settled, station.left, station.defects)


def joined(words: Sequence[str], most: int = 6) -> str:
    """ "a, b and c"; the first few of many, and how many more."""
    shown = list(words[:most])
    if len(words) > most:
        shown.append(f"{len(words) - most} more")
    return shown[0] if len(shown) == 1 else f"{', '.join(shown[:-1])} and {shown[-1]}" if shown else ""
