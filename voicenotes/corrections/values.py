"""What a technician corrects in a record, as values: each stands as one line in the visit's journal.

A remark is named by what stays the same when the visit is processed again: its recording's SHA-256, its time
there and its words. What is said of a check as a whole carries `seen`: how the record had it then.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import ConfigDict, Field, TypeAdapter

from voicenotes.model import Frozen, Outcome, Severity

MOST_TEXT = 2_000
MOST_PHOTOS = 20

Line = Annotated[str, Field(min_length=1, max_length=MOST_TEXT)]
PhotoName = Annotated[str, Field(pattern=r"^photo-[0-9a-f]{16}\.(?:jpg|png|webp)$")]
Said = Literal["good", "bad", "unsure", "not_tested"]


class Value(Frozen):
    """Like Frozen, and no number is infinite or none."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class RemarkRef(Value):
    """A remark: `sha256` of its recording (null where it had none), the file's name then, seconds, words."""

    sha256: str | None
    recording: str
    start: float
    end: float
    quote: str


class Seen(Value):
    """How the record had a check when it was corrected; `mark` changes with all that it says of it."""

    outcome: Outcome
    severity: Severity | None = None
    quotes: tuple[str, ...] = ()
    mark: str


class Measured(Value):
    """A value in a unit of english/units.yaml."""

    value: float
    unit: Annotated[str, Field(min_length=1, max_length=40)]


class Confirm(Value):
    """The record is right about a check."""

    kind: Literal["confirm"] = "confirm"
    check: str
    seen: Seen


class SetOutcome(Value):
    """Another outcome; `severity` only with a defect, null for the check's usual one."""

    kind: Literal["outcome"] = "outcome"
    check: str
    outcome: Outcome
    severity: Severity | None = None
    seen: Seen


class SetSeverity(Value):
    """How bad a defect is."""

    kind: Literal["severity"] = "severity"
    check: str
    severity: Severity
    seen: Seen


class SetReading(Value):
    """A measured value: `heard` is the one that it replaces (null: a new one), `said` null takes it away."""

    kind: Literal["reading"] = "reading"
    check: str
    heard: Measured | None = None
    said: Measured | None = None
    seen: Seen


class SetWording(Value):
    """How a finding is to be worded for a reader."""

    kind: Literal["wording"] = "wording"
    check: str
    text: Line
    seen: Seen


class Move(Value):
    """A remark speaks of another check than `check`, or, with `to` null, of none."""

    kind: Literal["move"] = "move"
    remark: RemarkRef
    check: str
    to: str | None = None


class Tag(Value):
    """A remark speaks of a check, and what it says of it."""

    kind: Literal["tag"] = "tag"
    remark: RemarkRef
    check: str
    says: Said
    severity: Severity | None = None


class WordChange(Value):
    """From word number `at` of a quote on stand the words `heard`; `said` was said, perhaps nothing."""

    at: int = Field(ge=0)
    heard: str = Field(max_length=MOST_TEXT)
    said: str = Field(max_length=MOST_TEXT)


class Words(Value):
    """Mis-heard words of a remark, put right. The places are those of the quote as the record has it."""

    kind: Literal["words"] = "words"
    remark: RemarkRef
    changes: Annotated[tuple[WordChange, ...], Field(min_length=1)]


class Add(Value):
    """A finding that was never spoken, of a check of the pack or of none; photos by their file names."""

    kind: Literal["add"] = "add"
    title: Line
    check: str | None = None
    station: str | None = None
    outcome: Literal["defect", "ok"] = "defect"
    severity: Severity | None = None
    photos: Annotated[tuple[PhotoName, ...], Field(max_length=MOST_PHOTOS)] = ()


class SettleGap(Value):
    """A check that is open may stay so, for a reason."""

    kind: Literal["settle"] = "settle"
    check: str
    reason: Line
    seen: Seen


class SetFact(Value):
    """Another value of a fact; null for none. `was` is what the record had."""

    kind: Literal["fact"] = "fact"
    fact: str
    value: str | int | float | None
    unit: str | None = None
    was: str | int | float | None = None


class SetFitting(Value):
    """Whether the machine has a fitting. `was` is what the record had."""

    kind: Literal["fitting"] = "fitting"
    fitting: str
    fitted: bool | None
    was: bool | None = None


class Undo(Value):
    """Takes a correction back; taking an undo back brings the correction into effect again."""

    kind: Literal["undo"] = "undo"
    undoes: str


OfCheck = Confirm | SetOutcome | SetSeverity | SetReading | SetWording | SettleGap
OfRemark = Move | Tag | Words
What = Annotated[OfCheck | OfRemark | Add | SetFact | SetFitting | Undo, Field(discriminator="kind")]


class Correction(Value):
    """One correction: who said what, and when (ISO 8601 with its zone)."""

    id: Annotated[str, Field(pattern=r"^[0-9a-zA-Z_-]{8,64}$")]
    time: str
    who: Annotated[str, Field(min_length=1, max_length=200)]
    what: What


CORRECTION: TypeAdapter[Correction] = TypeAdapter(Correction)
