"""What the gap list holds (values only). Times are minutes; a risk is a severity's weight x a likelihood.

A risk says how much stays unknown: it counts against other risks of the same pack, and has no unit.
"""

from __future__ import annotations

from pydantic import Field

from voicenotes.findings.gaps import GapKind
from voicenotes.model import Frozen, Outcome, PackStamp, Severity
from voicenotes.vocabulary.schema import Likely


class OpenCheck(Frozen):
    """A check that is not settled."""

    id: str
    station: str
    title: str
    kind: GapKind
    why: str = Field(description="why it is open, with the words that were said")
    outcome: Outcome
    applies: bool | None = Field(description="null where it depends on a fitting that nobody spoke of")
    minutes: float
    must_before_leaving: bool
    severity: Severity = Field(description="of the defect: as told, else the check's usual one")
    likely: Likely | None
    risk: float | None = Field(description="null where the pack weighs no risks")


class Question(Frozen):
    """A fitting nobody spoke of, and the open checks that depend on it: counted here, not listed besides."""

    fitting: str
    title: str
    words: tuple[str, ...] = Field(description="what was said of it, which settled nothing")
    minutes: float | None = Field(description="what finding out takes; null where the pack doesn't say")
    checks: tuple[OpenCheck, ...]


class LeftOpen(Frozen):
    """A gap that a person left open for a reason: no longer counted as open, and not passed either."""

    id: str
    station: str
    title: str
    why: str = Field(description="why it was open")
    reason: str
    by: str
    at: str = Field(description="date and time, ISO 8601")
    must_before_leaving: bool


class Sum(Frozen):
    """How many checks, and their minutes together."""

    checks: int
    minutes: float


class Planned(Frozen):
    """A check (by its id) or a question (by its fitting) in the time left."""

    id: str
    minutes: float
    risk: float = Field(description="what doing it removes")
    must_before_leaving: bool
    if_fitted: str | None = Field(default=None, description="the fitting that has to be there")


class Plan(Frozen):
    """What removes the most risk in the time left, in walking order with the questions first."""

    minutes_left: float
    questions: tuple[Planned, ...]
    checks: tuple[Planned, ...]
    left_out: tuple[Planned, ...]
    minutes: float
    risk: float = Field(description="removed by all that is planned")
    risk_left: float


class GapList(Frozen):
    """What is open before leaving: questions about fittings first, then checks in walking order."""

    pack: PackStamp
    questions: tuple[Question, ...]
    checks: tuple[OpenCheck, ...]
    open: Sum = Field(description="the checks that apply")
    behind_questions: Sum
    must: Sum = Field(description="to be settled before leaving, of the checks that apply")
    must_behind_questions: Sum
    left_open: tuple[LeftOpen, ...] = Field(
        default=(), description="what a person left open in the review, in walking order"
    )
    can_leave: bool
    summary: str
    plan: Plan | None = None
