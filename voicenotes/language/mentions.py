"""What the reader says of each remark; findings are made of these."""

from __future__ import annotations

from dataclasses import dataclass, field

from voicenotes.model import Basis, Polarity, Reading, Severity


@dataclass(frozen=True)
class Mention:
    """One check as one remark speaks of it.

    `severity` is that of a defect; `stated` says that the speaker gave it himself.
    """

    check: str
    polarity: Polarity
    basis: Basis
    confidence: float
    why: str
    severity: Severity | None = None
    stated: bool = False
    readings: tuple[Reading, ...] = ()


@dataclass(frozen=True)
class FittingMention:
    """A remark that says whether a fitting is there."""

    fitting: str
    fitted: bool | None
    basis: Basis
    confidence: float
    why: str


@dataclass(frozen=True)
class FactMention:
    """A remark that gives a fact's value."""

    fact: str
    value: str | float | int
    unit: str | None
    basis: Basis
    confidence: float
    why: str


@dataclass(frozen=True)
class Remark:
    """A stretch of a transcript that says one thing, with what was read in it.

    start, end in seconds; `taken_back` when a later remark withdrew it.
    """

    quote: str
    start: float
    end: float
    mentions: tuple[Mention, ...] = ()
    fittings: tuple[FittingMention, ...] = ()
    facts: tuple[FactMention, ...] = ()
    taken_back: str | None = field(default=None)

    @property
    def is_tagged(self) -> bool:
        """Whether any check, fact or fitting took the remark."""
        return bool(self.mentions or self.fittings or self.facts)
