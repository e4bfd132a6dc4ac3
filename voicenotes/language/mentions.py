"""What the reader says of each remark; findings are made of these."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from voicenotes.language.grounds import Grounds
from voicenotes.language.severity import SeverityFrom, worst_severity
from voicenotes.language.spans import Span
from voicenotes.model import Basis, Polarity, Reading, Severity

if TYPE_CHECKING:
    from collections.abc import Sequence

_WORST_FIRST: tuple[Polarity, ...] = (
    "bad", "unsure", "not_tested", "good", "not_fitted", "withdrawn", "named",
)  # fmt: skip
_STRONGEST_BASIS: tuple[Basis, ...] = ("told", "measured", "seen")


@dataclass(frozen=True)
class Mention:
    """One check as one remark speaks of it.

    `severity` is that of a defect, `severity_from` where it was taken from; `stated` says that the
    speaker gave it himself, `by_limit` that only a reading's limit judged. `grounds` are the words that
    `why` cites.
    """

    check: str
    polarity: Polarity
    basis: Basis
    confidence: float
    why: str
    severity: Severity | None = None
    stated: bool = False
    readings: tuple[Reading, ...] = ()
    severity_from: SeverityFrom | None = None
    grounds: Grounds = ()
    by_limit: bool = False


@dataclass(frozen=True)
class FittingMention:
    """A remark that says whether a fitting is there; `implied` where it only places something at it."""

    fitting: str
    fitted: bool | None
    basis: Basis
    confidence: float
    why: str
    implied: bool = False
    grounds: Grounds = ()


@dataclass(frozen=True)
class FactMention:
    """A remark that gives a fact's value."""

    fact: str
    value: str | float | int
    unit: str | None
    basis: Basis
    confidence: float
    why: str
    grounds: Grounds = ()


@dataclass(frozen=True)
class Remark:
    """A stretch of a transcript that says one thing, with what was read in it.

    start, end in seconds; `taken_back` when a later remark withdrew it, with the words `taken_back_by`.
    """

    quote: str
    start: float
    end: float
    mentions: tuple[Mention, ...] = ()
    fittings: tuple[FittingMention, ...] = ()
    facts: tuple[FactMention, ...] = ()
    taken_back: str | None = field(default=None)
    taken_back_by: Span | None = None

    @property
    def said(self) -> tuple[Mention | FittingMention | FactMention, ...]:
        """Everything that was read in it."""
        return (*self.mentions, *self.fittings, *self.facts)

    @property
    def is_tagged(self) -> bool:
        """Whether any check, fact or fitting took the remark."""
        return bool(self.said)


def merge(mentions: list[Mention]) -> list[Mention]:
    """One mention a check and remark: the worse judgement, with all readings and reasons."""
    merged: dict[str, Mention] = {}
    for mention in mentions:
        known = merged.get(mention.check)
        if known is None:
            merged[mention.check] = mention
            continue
        worse, other = sorted((known, mention), key=lambda m: _WORST_FIRST.index(m.polarity))
        severity = worst_severity(known.severity, mention.severity)
        merged[mention.check] = replace(
            worse,
            basis=next(kind for kind in _STRONGEST_BASIS if kind in (known.basis, mention.basis)),
            confidence=max(worse.confidence, other.confidence),
            why=worse.why if other.why in worse.why else f"{worse.why}; {other.why}",
            readings=known.readings + mention.readings,
            severity=severity,
            stated=known.stated or mention.stated,
            severity_from=next(
                (m.severity_from for m in (known, mention) if severity and m.severity == severity), None
            ),
            grounds=tuple(dict.fromkeys(worse.grounds + other.grounds)),
            by_limit=known.by_limit and mention.by_limit,
        )
    return list(merged.values())


def judged_afterwards(last: Remark, mentions: Sequence[Mention]) -> Remark:
    """ "It's four thou. | I'm happy with that": what is said right after a reading outweighs its limit."""
    said = {m.check: m for m in mentions if m.polarity in ("good", "bad") and not m.readings}
    return replace(
        last, mentions=tuple(_overruled(mention, said.get(mention.check)) for mention in last.mentions)
    )


def _overruled(mention: Mention, said: Mention | None) -> Mention:
    if said is None or not mention.by_limit or {mention.polarity, said.polarity} != {"good", "bad"}:
        return mention
    why = f"{mention.why}; said {said.polarity} afterwards, against the limit: that stands"
    return replace(mention, polarity=said.polarity, severity=said.severity, why=why)
