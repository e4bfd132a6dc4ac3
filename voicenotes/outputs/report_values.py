"""What a report says, as values: built once from a record, then rendered by every format.

Every text in it is one line of printable characters (control characters shown as `\\x1b`), still unescaped:
each format escapes for itself. Times are seconds from the start of a recording. `report/build.py` makes it.
"""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from voicenotes.model import Basis, Frozen, Outcome, PackStamp, Polarity, Severity, TimeSource, Verdict

REPORT_VERSION = 1
NOT_LOOKED_AT = "null: no person has reviewed it"
Group = Literal["defect", "ok", "open", "set_aside", "not_fitted"]
ReviewKind = Literal["confirmed", "corrected", "added", "left open"]
Mark = Literal["ok", "critical", "major", "minor", "must", "open", "told", "set_aside", "not_fitted"]


class ReportQuote(Frozen):
    """What somebody said, and where it can be heard."""

    recording: str
    start: float
    end: float
    text: str
    basis: Basis
    polarity: Polarity
    confidence: float = Field(ge=0, le=1)
    heard: str | None = Field(
        default=None, description="the words as the program heard them, where a person put them right"
    )


class ReportReading(Frozen):
    """A measured value with the limit that it was held against."""

    check: str
    title: str
    quantity: str
    value: float
    unit: str
    si_value: float
    si_unit: str
    limit: str | None
    verdict: Verdict
    source: str | None
    doubtful: str | None


class Review(Frozen):
    """That a person looked at what the program read."""

    by: str
    at: str = Field(description="date and time, ISO 8601")
    kind: ReviewKind = Field(description="confirmed: it is as the program understood it")


class ReportCheck(Frozen):
    """One check of the pack and what became of it.

    group  defect      found, seen or measured
           ok          found in order, seen or measured
           open        a gap: `why_open` says why; also what is known only from being told
           set_aside   a gap that a person left open for the reason `left_because`; it has not been passed
           not_fitted  the machine lacks what would be checked
    """

    id: str
    station: str
    title: str
    judged: str = Field(description="what the pack wants judged")
    group: Group
    outcome: Outcome
    severity: Severity | None = None
    only_told: bool = False
    applies: bool | None
    must_before_leaving: bool
    minutes: float
    why_open: str | None = None
    left_because: str | None = Field(default=None, description="why a person left it open")
    wording: str | None = Field(default=None, description="how a person words it")
    understood: str | None = Field(
        default=None, description="what the program had understood, where a person says otherwise"
    )
    corrections: tuple[str, ...] = Field(default=(), description="what persons corrected in it, a line each")
    quotes: tuple[ReportQuote, ...] = ()
    readings: tuple[ReportReading, ...] = ()
    remarks: tuple[str, ...] = Field(default=(), description="what to know about it, such as a contradiction")
    review: Review | None = Field(default=None, description=NOT_LOOKED_AT)
    photos: tuple[str, ...] = Field(default=(), description="file names")


class AddedFinding(Frozen):
    """A finding that a person added in the review and that belongs to no check of the pack."""

    title: str
    station: str | None = Field(default=None, description="title of the place, if one was given")
    outcome: Outcome = "defect"
    severity: Severity | None = None
    review: Review
    photos: tuple[str, ...] = ()


class ReportFact(Frozen):
    """A value noted of the machine, worded with its unit."""

    id: str
    title: str
    value: str
    only_told: bool = False
    quotes: tuple[ReportQuote, ...] = ()
    understood: str | None = Field(default=None, description="what the program had understood instead")
    review: Review | None = Field(default=None, description=NOT_LOOKED_AT)


class ReportFitting(Frozen):
    """Whether the machine has a fitting; null where nobody said."""

    id: str
    title: str
    fitted: bool | None
    only_told: bool = False
    quotes: tuple[ReportQuote, ...] = ()
    understood: str | None = Field(default=None, description="what the program had understood instead")
    review: Review | None = Field(default=None, description=NOT_LOOKED_AT)


class Hearsay(Frozen):
    """Something that is in the record because somebody said so."""

    kind: Literal["check", "fact", "fitting"]
    id: str
    title: str
    quote: ReportQuote
    also_checked: bool = Field(description="whether it was looked at besides")


class MarkedMoment(Frozen):
    """A moment that the inspector marked aloud, in seconds from the recording's beginning."""

    recording: str
    at: float
    said: str | None = Field(default=None, description="the remark before it, if there is one")
    about: tuple[str, ...] = Field(default=(), description="titles of what that remark speaks of")


class StationMark(Frozen):
    """One check in the drawing of the walk round."""

    check: str
    title: str
    mark: Mark


class ReportStation(Frozen):
    """One place of the walk round, with counts of its checks."""

    id: str
    title: str
    cautions: tuple[str, ...] = ()
    marks: tuple[StationMark, ...] = ()
    applying: int
    settled: int
    defects: int
    open: int
    left: int = Field(default=0, description="left open by a person, with a reason")
    not_fitted: int


class ReportCorrection(Frozen):
    """What a person said in the review; `undecided` says why it could not be applied."""

    by: str
    at: str = Field(description="date and time, ISO 8601")
    line: str
    heard: str | None = Field(default=None, description="the remark as the program heard it, if it is of one")
    recording: str | None = None
    start: float | None = None
    undecided: str | None = None


class ReportRecording(Frozen):
    """A recording that the report rests on."""

    file: str
    seconds: float
    words: int
    recorded_at: str | None
    recorded_at_from: TimeSource | None
    engine: str | None
    sha256: str | None
    problem: str | None = None
    doubt: str | None = None


class Photo(Frozen):
    """A photo of the visit; the picture itself travels beside the report."""

    file: str
    caption: str
    width: int = Field(ge=0, description="pixels of the scaled picture; 0 where it can't be shown")
    height: int = Field(ge=0)
    problem: str | None = None


class Spread(Frozen):
    """A sum of uncertain costs: by the three-point formulas, and drawn at random.

    `mean` and `sd` are sums of (a+4m+b)/6 and roots of summed variances ((b-a)/6)^2; the others come from
    `samples` draws of each cost's beta-PERT distribution. `low` and `high` are the sums of the extremes.
    """

    mean: float
    sd: float
    drawn_mean: float
    drawn_sd: float
    p10: float
    p50: float
    p90: float
    low: float
    high: float


class CostLine(Frozen):
    """What one defect may cost to put right."""

    check: str = Field(description="id; empty for a finding that was added and belongs to no check")
    title: str
    severity: Severity
    taken_from: str = Field(description="which entry of the table gave it")
    low: float
    likely: float
    high: float
    mean: float
    sd: float
    likelihood: float = Field(default=1.0, ge=0, le=1, description="1 for a defect that was found")


class CostEstimate(Frozen):
    """What the found defects may cost, and apart from it what the unsettled checks may add."""

    table: str
    invented: bool = Field(description="whether the table is a made-up example")
    currency: str
    note: str = ""
    samples: int
    seed: int
    lines: tuple[CostLine, ...] = ()
    unpriced: tuple[str, ...] = Field(default=(), description="titles of found defects without a price")
    found: Spread
    open_lines: tuple[CostLine, ...] = ()
    open_unpriced: tuple[str, ...] = ()
    open_likelihoods: bool = Field(description="false: the pack gives none, so only the worst case is known")
    open: Spread | None = None
    open_worst: float = Field(description="if every unsettled check turned out a defect at its highest cost")


class Report(Frozen):
    """Everything that a report says; each format renders this and nothing else."""

    report_version: int = REPORT_VERSION
    title: str
    machine: str = Field(description="the pack's word for the kind of machine")
    pack: PackStamp
    dates: tuple[str, ...] = Field(default=(), description="first and last day of the recordings, if known")
    reviewed: bool = Field(description="whether there was a review; without one nothing counts as reviewed")
    findings: int = Field(description="what was found, as a defect or in order, and what was added")
    findings_reviewed: int = Field(description="how many of these a person confirmed, corrected or added")
    summary: tuple[str, ...]
    facts: tuple[ReportFact, ...]
    fittings: tuple[ReportFitting, ...]
    checks: tuple[ReportCheck, ...]
    added: tuple[AddedFinding, ...] = ()
    corrections: tuple[ReportCorrection, ...] = Field(default=(), description="all in effect, in order")
    damaged: tuple[str, ...] = Field(default=(), description="corrections that can't be read")
    hearsay: tuple[Hearsay, ...]
    moments: tuple[MarkedMoment, ...] = Field(default=(), description="marked aloud, in order")
    stations: tuple[ReportStation, ...]
    checklist: tuple[str, ...] = Field(description="ids of the checks to tick off before the move")
    photos: tuple[Photo, ...] = ()
    cost: CostEstimate | None = None
    recordings: tuple[ReportRecording, ...]
    unmatched_remarks: int = Field(description="remarks that fit no check; they stand in record.json")
    scope: tuple[str, ...]
    cautions: tuple[str, ...]
    is_not: tuple[str, ...]
