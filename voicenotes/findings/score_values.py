"""What a score holds: how well labelled sentences and visits were read, as values that validate."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from voicenotes.findings.shares import Share
from voicenotes.model import Frozen, Outcome, PackStamp

SCORE_VERSION = 1


class OutcomeScore(Frozen):
    """One outcome as a class: each check of each entry is a case. A share without cases is null."""

    outcome: Outcome
    labelled: int = Field(description="checks whose label has it")
    read: int = Field(description="checks whose record has it")
    right: int = Field(description="checks with both")
    precision: float | None = Field(description="right of read")
    recall: float | None = Field(description="right of labelled")
    f1: float | None


class MentionScore(Frozen):
    """Whether checks are noticed at all: outcome ok, defect, unsure or not tested, no matter which.

    Neither not mentioned nor not fitted is a mention; the latter only follows from a fitting.
    """

    right: int = Field(description="mentioned in label and record")
    missed: int = Field(description="mentioned in the label alone")
    extra: int = Field(description="mentioned in the record alone")
    precision: Share
    recall: Share
    f1: float | None


class FalseSettlements(Frozen):
    """Checks that the label leaves open (not mentioned, unsure, not tested, only told), but the record
    settles (ok, defect or not fitted, and no gap): reported as checked though nobody did.
    """

    of_open_checks: Share
    per_100_texts: float = Field(description="per 100 sentences; a recording of a visit counts as one")
    per_1000_words: float


class SeverityScore(Frozen):
    """Of the defects that are labelled with a severity and read as defects: how many have the labelled one.

    A record doesn't say whether a severity was stated; the label does, where it isn't the check's usual one.
    """

    all: Share
    usual: Share = Field(description="labelled with the check's usual severity")
    other: Share = Field(description="labelled with another: stated by the speaker, or softened")


class ValueScore(Frozen):
    """Fittings, readings or facts that are labelled: how many came out right."""

    labelled: Share
    beyond: int = Field(description="read, but not so labelled; of fittings: said to be absent")


class Pair(Frozen):
    """How many checks were labelled one outcome and read as another, or the same."""

    labelled: Outcome
    read: Outcome
    count: int


class KindScore(Frozen):
    """The entries of one kind of language."""

    kind: str
    entries: Share = Field(description="read wholly as labelled")
    mention_f1: float | None
    false_settlements: int


class Misreading(Frozen):
    """One thing that differs from its label."""

    place: str = Field(description="file and line of the entry, or the visit's folder")
    kind: str
    what: Literal["outcome", "severity", "fitting", "reading", "fact"]
    subject: str = Field(description="id of the check, fitting or fact")
    labelled: str
    read: str
    false_settlement: bool = False
    quote: str = Field(description="the sentence; of longer talk the words that it was read from")
    why: str = Field(description="the terms and cues that decided")


class SetScore(Frozen):
    """How well the entries were read in one way of writing them. Shares have 95 % intervals."""

    entries: Share = Field(description="read wholly as labelled: outcomes, severities, and all other values")
    texts: int = Field(description="sentences, and recordings of visits")
    words: int
    outcomes: tuple[OutcomeScore, ...]
    confusion: tuple[Pair, ...] = Field(description="worst first, the right ones last")
    mentions: MentionScore
    right_outcomes: Share = Field(description="of the right mentions")
    false_settlements: FalseSettlements
    severity: SeverityScore
    fittings: ValueScore
    readings: ValueScore = Field(description="right check, value and unit")
    facts: ValueScore
    kinds: tuple[KindScore, ...]
    misreadings: tuple[Misreading, ...] = Field(description="worst first")


class Loss(Frozen):
    """One number of both scores."""

    measure: str
    written: float
    raw: float
    points_lost: float = Field(description="percentage points by which raw is worse; negative where better")


class Score(Frozen):
    """What `score` makes of its sets."""

    schema_version: int = SCORE_VERSION
    pack: PackStamp
    sets: tuple[str, ...]
    notes: tuple[str, ...] = Field(default=(), description="recordings that could not be read, one line each")
    written: SetScore = Field(description="read as the sets have it")
    raw: SetScore | None = Field(default=None, description="read without punctuation and capitals")
    lost: tuple[Loss, ...] = ()
