"""Units as they are said behind a number, and the quantities made of both."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from voicenotes.language.number_words import Comparator, lexicon
from voicenotes.language.units import SpokenUnit, unit_forms, unit_table

LOOKAHEAD = ("", "", "", "", "")
MOST_LINKS = 4


@dataclass(frozen=True, slots=True)
class Quantity:
    """A value with its unit, tokens[start:end].

    `unit` is canonical ("in", "um", "rpm", "degC"), `said_unit` the words that were said; `low` and `high`
    are the ends of a range, `value` then its middle; `doubtful` says what was assumed, or is None;
    `scale` is one of what was said in `unit` (0.001 for thou).
    """

    start: int
    end: int
    value: float
    unit: str
    said_unit: str
    dimension: str
    doubtful: str | None = None
    low: float | None = None
    high: float | None = None
    comparator: Comparator | None = None
    approximate: bool = False
    scale: Decimal = Decimal(1)


@dataclass(frozen=True, slots=True)
class Said:
    """A unit as it was said: where it ends, what one of it is in canonical units, and what was assumed."""

    end: int
    words: str
    spoken: SpokenUnit
    unit: str
    scale: Decimal
    doubtful: str | None


@dataclass(frozen=True, slots=True)
class Found:
    """A quantity with the unit that was said."""

    quantity: Quantity
    said: Said


def times(value: float, scale: Decimal) -> float:
    """value * scale without a float's dust: 3 * 0.0001 is 0.0003."""
    return value if scale == 1 else float(Decimal(repr(value)) * scale)


def past_of_a(padded: Sequence[str], at: int) -> int:
    """Past "of a", "of an", "of one", or "of"."""
    words = lexicon().words
    if padded[at] not in words.of:
        return at
    return at + 2 if padded[at + 1] in words.articles or words.ones.get(padded[at + 1]) == 1 else at + 1


def unit_at(padded: Sequence[str], at: int, glued: frozenset[int], metric: bool | None) -> Said | None:
    """The longest unit at `at`; "tenths of a millimetre" as one unit."""
    said = simple_unit_at(padded, at, glued, metric)
    if said is None or (part := said.spoken.part) is None:
        return said
    after = past_of_a(padded, said.end)
    whole = simple_unit_at(padded, after, glued, metric)
    if whole and whole.spoken.part is None:
        words = " ".join(padded[at : whole.end])
        return replace(whole, words=words, scale=whole.scale * part)
    if after > said.end and (after == said.end + 2 or padded[after] == "the"):
        return None  # "a tenth of a turn", "nine tenths of the travel"
    return said


def simple_unit_at(padded: Sequence[str], at: int, glued: frozenset[int], metric: bool | None) -> Said | None:
    """The longest unit at `at` that is named at once; `glued` are places written onto a number."""
    for form in unit_forms().get(padded[at], ()):
        end, spoken = at + len(form.words), form.spoken
        if len(form.words) > 1 and tuple(padded[at:end]) != form.words:
            continue
        if (form.written and at not in glued) or (end < len(padded) and padded[end] in spoken.not_before):
            continue
        words, other = " ".join(form.words), spoken.metric
        if other and metric:
            return Said(end, words, spoken, other.unit, other.scale, other.doubtful)
        settled = (
            metric is False and other is not None and other.unit != spoken.unit and spoken.system is None
        )
        doubtful = None if settled and spoken.unit == "in" else spoken.doubtful
        if form.misheard:
            doubtful = doubtful or f"'{words}' taken for {spoken.say[-1]}"
        return Said(end, words, spoken, spoken.unit, spoken.scale, doubtful)
    return None


def unit_before(padded: Sequence[str], start: int, metric: bool | None) -> tuple[int, Said] | None:
    """A unit that leads to a number at `start` -> (its start, the unit): "pH is about | nine"."""
    links = unit_table().lead_links
    at = start
    while at > 0 and start - at <= MOST_LINKS:
        for width in (2, 1):
            first = at - width
            said = simple_unit_at(padded, first, frozenset(), metric) if first >= 0 else None
            if said and said.end == at and said.spoken.leads:
                return first, said
        if padded[at - 1] not in links:
            return None
        at -= 1
    return None
