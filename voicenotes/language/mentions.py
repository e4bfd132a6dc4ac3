"""What the reader says of each remark; findings are made of these."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from voicenotes.language.severity import worst_severity
from voicenotes.model import Basis, Polarity, Reading, Severity

_WORST_FIRST: tuple[Polarity, ...] = (
    "bad", "unsure", "not_tested", "good", "not_fitted", "withdrawn", "named",
)  # fmt: skip
_STRONGEST_BASIS: tuple[Basis, ...] = ("told", "measured", "seen")


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
    """A remark that says whether a fitting is there; `implied` where it only places something at it."""

    fitting: str
    fitted: bool | None
    basis: Basis
    confidence: float
    why: str
    implied: bool = False


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


def merge(mentions: list[Mention]) -> list[Mention]:
    """One mention a check and remark: the worse judgement, with all readings and reasons."""
    merged: dict[str, Mention] = {}
    for mention in mentions:
        known = merged.get(mention.check)
        if known is None:
            merged[mention.check] = mention
            continue
        worse, other = sorted((known, mention), key=lambda m: _WORST_FIRST.index(m.polarity))
        merged[mention.check] = replace(
            worse,
            basis=next(kind for kind in _STRONGEST_BASIS if kind in (known.basis, mention.basis)),
            confidence=max(worse.confidence, other.confidence),
            why=worse.why if other.why in worse.why else f"{worse.why}; {other.why}",
            readings=known.readings + mention.readings,
            severity=worst_severity(known.severity, mention.severity),
            stated=known.stated or mention.stated,
        )
    return list(merged.values())
