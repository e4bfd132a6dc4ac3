"""Three values of one quantity said together, and how far they differ: the unbalance of three phases."""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicenotes.language.limits import Setting, judge
from voicenotes.language.said_units import Quantity
from voicenotes.language.units import convert

if TYPE_CHECKING:
    from collections.abc import Sequence

    from voicenotes.model import Reading
    from voicenotes.vocabulary.schema import Check

COUNT = 3
MOST_APART = 0.25  # values further from their mean than this are not three of one kind


def unbalance_percent(values: Sequence[float]) -> float:
    """100 x the largest deviation from the mean, divided by the mean (NEMA MG 1, 14.36, from memory)."""
    mean = sum(values) / len(values)
    return 100 * max(abs(value - mean) for value in values) / mean


def spread_reading(check: Check, values: Sequence[Quantity]) -> Reading | None:
    """The check's reading of how far three values differ, if it has a limit for it and they are alike."""
    for limit in check.readings:
        if limit.spread_of is None or len(values) != COUNT:
            continue
        if any(value.dimension != limit.spread_of or value.low is not None for value in values):
            continue
        numbers = [convert(value.value, value.unit, values[0].unit) for value in values]
        mean = sum(numbers) / COUNT
        if mean <= 0 or any(abs(number - mean) > MOST_APART * mean for number in numbers):
            continue
        said = Quantity(
            values[0].start,
            values[-1].end,
            float(f"{unbalance_percent(numbers):.3g}"),
            "%",
            "",
            limit.dimension,
        )
        return judge(limit, said, Setting())
    return None
