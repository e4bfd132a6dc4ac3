"""What passes between the stages, from a spoken word to the finished record.

Every class is a frozen pydantic model, so it validates what it is given, compares by value and has
a JSON Schema. Times are seconds from the start of the recording; confidences run from 0 to 1.
"""

from __future__ import annotations

import sys
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

SCHEMA_VERSION = 1
SAMPLE_RATE_HZ = 16_000

Outcome = Literal["ok", "defect", "unsure", "not_tested", "not_fitted", "not_mentioned"]
Severity = Literal["critical", "major", "minor"]
Basis = Literal["seen", "measured", "told"]
Polarity = Literal["good", "bad", "unsure", "not_tested", "not_fitted", "named", "withdrawn"]
TimeSource = Literal["container", "file name", "file time"]
Verdict = Literal["within", "outside", "no_limit"]


class Frozen(BaseModel):
    """A value: immutable, no unknown fields."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class Word(Frozen):
    """One spoken word as the recogniser wrote it."""

    text: str
    start: float = Field(ge=0, description="seconds from the start of the recording")
    end: float = Field(ge=0, description="seconds from the start of the recording")
    confidence: float = Field(default=1.0, ge=0, le=1)

    def model_post_init(self, _context: object, /) -> None:
        """Share what a ten-hour recording would hold a hundred thousand times: it halves a word's memory."""
        self.__dict__["text"] = sys.intern(self.text)
        object.__setattr__(self, "__pydantic_fields_set__", _WORD_FIELDS)


_WORD_FIELDS = set(Word.model_fields)


class LeftOut(Frozen):
    """What an engine wrote and nobody said, as far as can be told: kept, and not read as talk."""

    text: str
    start: float = Field(ge=0, description="seconds from the start of the recording")
    end: float = Field(ge=0, description="seconds from the start of the recording")
    why: str = Field(description="one line: what gave it away")


class Transcript(Frozen):
    """The words of one recording in speech order.

    `text` is the words joined by single spaces unless a ready-made transcript brought its own text.
    """

    words: tuple[Word, ...] = ()
    engine: str = Field(default="text", description="engine that made it, or the file type it came from")
    model: str | None = Field(default=None, description="the engine's model, if it has one")
    seconds: float = Field(default=0.0, ge=0, description="length of the recording")
    left_out: tuple[LeftOut, ...] = Field(default=(), description="text that was not taken for speech")
    utterances: tuple[float, ...] = Field(
        default=(), description="where its utterances begin, in seconds, if it was cut into such"
    )

    @property
    def text(self) -> str:
        """The words joined by single spaces."""
        return " ".join(word.text for word in self.words)


class Evidence(Frozen):
    """A stretch of a transcript that bears on a check, fact or fitting."""

    recording: str
    start: float
    end: float
    quote: str = Field(description="what the transcript has, word for word")
    basis: Basis
    polarity: Polarity
    confidence: float = Field(ge=0, le=1)
    why: str = Field(description="the terms and cues that decided")


class Reading(Frozen):
    """A measured value, judged against the pack's limit for its check."""

    quantity: str
    value: float
    unit: str
    si_value: float
    si_unit: str
    limit: str | None = None
    verdict: Verdict = "no_limit"
    source: str | None = None
    doubtful: str | None = Field(default=None, description="what had to be assumed of the value or its unit")


class FactFinding(Frozen):
    """A noted value, such as a serial number or a chuck size."""

    value: str | float | int | None = None
    unit: str | None = None
    evidence: tuple[Evidence, ...] = ()


class FittingFinding(Frozen):
    """Whether the machine has a fitting; `fitted` is null while nobody has said."""

    fitted: bool | None = None
    evidence: tuple[Evidence, ...] = ()


class CheckFinding(Frozen):
    """What the record says of one check of the pack."""

    id: str
    station: str
    title: str
    applies: bool | None
    outcome: Outcome = "not_mentioned"
    severity: Severity | None = None
    must_before_leaving: bool
    minutes: float
    readings: tuple[Reading, ...] = ()
    evidence: tuple[Evidence, ...] = ()
    conflict: bool = False
    confirmed: bool = False


class Untagged(Frozen):
    """A remark that no check, fact or fitting took: nothing said is ever lost."""

    recording: str
    start: float
    end: float
    quote: str


class Gap(Frozen):
    """A check that applies, or may apply, and is not settled."""

    id: str
    why: str


class LeftOutQuote(Frozen):
    """What an engine wrote of a recording and nobody said, as far as can be told."""

    recording: str
    start: float
    end: float
    quote: str
    why: str


class CommandHeard(Frozen):
    """A command to voicenotes itself among what was said: a moment marked for the report, for one."""

    recording: str
    start: float
    end: float
    quote: str
    command: str = Field(description="open_here, open_in_all, take_back, mark or stop")


class Quality(Frozen):
    """How well a recording can be heard; levels in dB relative to full scale."""

    level_dbfs: float | None = Field(default=None, description="RMS level of the speech; null without any")
    peak_dbfs: float = Field(description="largest sample")
    clipped_share: float = Field(ge=0, le=1, description="share of the samples that are clipped")
    noise_dbfs: float | None = Field(default=None, description="RMS level between the speech")
    snr_db: float | None = Field(default=None, description="estimated signal-to-noise ratio")
    speech_share: float = Field(ge=0, le=1, description="share of the time in which somebody speaks")
    doubt: str | None = Field(default=None, description="null, or why it can't be trusted and what to do")


class RecordingEntry(Frozen):
    """One recording of the visit and what became of it."""

    file: str
    sha256: str | None = None
    seconds: float = 0.0
    recorded_at: str | None = None
    recorded_at_from: TimeSource | None = None
    engine: str | None = None
    model: str | None = None
    words: int = 0
    problem: str | None = Field(default=None, description="null, or one clear line")
    quality: Quality | None = None


class PackStamp(Frozen):
    """Which pack made the record."""

    id: str
    version: str


class Record(Frozen):
    """The findings record of one visit, as `record.json` holds it."""

    schema_version: int = SCHEMA_VERSION
    pack: PackStamp
    recordings: tuple[RecordingEntry, ...] = ()
    facts: dict[str, FactFinding] = {}
    fittings: dict[str, FittingFinding] = {}
    checks: tuple[CheckFinding, ...] = ()
    untagged: tuple[Untagged, ...] = ()
    left_out: tuple[LeftOutQuote, ...] = ()
    commands: tuple[CommandHeard, ...] = ()
    gaps: tuple[Gap, ...] = ()

    def check(self, check_id: str) -> CheckFinding:
        """The finding for one check; KeyError when the pack has no such check."""
        for finding in self.checks:
            if finding.id == check_id:
                return finding
        raise KeyError(check_id)
