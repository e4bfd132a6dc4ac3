"""Spoken measurements judged against the pack's limits."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from voicenotes.language.quantities import in_dimension
from voicenotes.language.units import convert, convert_in, si_in
from voicenotes.model import Reading
from voicenotes.vocabulary.expand import expand

if TYPE_CHECKING:
    from collections.abc import Sequence

    from voicenotes.language.quantities import Quantity
    from voicenotes.model import Verdict
    from voicenotes.vocabulary.entry import Phrases
    from voicenotes.vocabulary.limit import Limit
    from voicenotes.vocabulary.schema import Check

SCALED_LEAST, SCALED_STEP = 0.005, 0.002  # mm; IS 6040:1993, 3.5
_MM = "mm"


@dataclass(frozen=True)
class Setting:
    """What was said round a value that bears on its limit.

    said     the words of the remark that belong to the value
    base     the length it was measured over
    nominal  what it should be, in the limit's unit
    no_rise  it was said to have come up *to* the value
    """

    said: tuple[str, ...] = ()
    base: Quantity | None = None
    nominal: float | None = None
    no_rise: bool = False


def limit_for(check: Check, quantity: Quantity, setting: Setting) -> tuple[Limit, Quantity] | None:
    """The check's limit that a quantity is to be judged by, and the quantity in its dimension.

    Where several limits share a dimension the one whose longest words stand beside the value comes
    first, then one for a length that was said, then one without words. None when the check measures
    nothing of that dimension, or not in that size.
    """
    best: tuple[tuple[int, int], Limit, Quantity] | None = None
    for limit in check.readings:
        there = in_dimension(quantity, limit.dimension)
        if there is None or not _plausible(limit, there) or names(limit.not_with, setting.said):
            continue
        if setting.no_rise and limit.dimension != quantity.dimension:
            continue
        named = names(limit.words, setting.said)
        if limit.words and not named:
            continue
        rank = (named, int(limit.per is not None and setting.base is not None))
        if best is None or rank > best[0]:
            best = (rank, limit, there)
    return None if best is None else best[1:]


def names(phrases: Phrases, said: Sequence[str]) -> int:
    """How many words the longest of some phrases has that stands in what was said; 0 for none."""
    text = f" {' '.join(said)} "
    return max((len(plain.split()) for plain in _plain(phrases) if f" {plain} " in text), default=0)


@lru_cache(maxsize=4096)
def _plain(phrases: Phrases) -> tuple[str, ...]:
    return tuple(plain for phrase in phrases for plain in expand(phrase))


def _plausible(limit: Limit, quantity: Quantity) -> bool:
    if limit.plausible is None:
        return True
    low, high = limit.plausible
    return low <= abs(convert_in(limit.dimension, quantity.value, quantity.unit, limit.unit)) <= high


@dataclass(frozen=True)
class _Bounds:
    """What a value is compared with, in the limit's unit, and how that is worded."""

    at_least: float | None
    at_most: float | None
    words: str | None
    note: str | None = None


def judge(limit: Limit, quantity: Quantity, setting: Setting) -> Reading:
    """The reading with its SI value, the limit in words, the verdict, and what had to be assumed.

    A range is judged by the end that is worse; a deviation in length by its size, whatever its sign.
    """
    si_value, si_unit = si_in(limit.dimension, quantity.value, quantity.unit)
    ends = (
        (quantity.value,) if quantity.low is None or quantity.high is None else (quantity.low, quantity.high)
    )
    lowest, *_, highest = sorted(
        [convert_in(limit.dimension, end, quantity.unit, limit.unit) for end in ends] * 2
    )
    if limit.dimension == "length":
        lowest, highest = min(abs(lowest), abs(highest)), max(abs(lowest), abs(highest))
    bounds = _bounds(limit, setting, lowest)
    slack = 1e-9 * max(1.0, abs(highest))
    low = bounds.at_least is not None and lowest < bounds.at_least - slack
    high = bounds.at_most is not None and highest > bounds.at_most + slack
    wrong_side = bool(names(limit.wrong_side, setting.said)) and highest > slack
    verdict: Verdict = "no_limit"
    if bounds.at_least is not None or bounds.at_most is not None:
        verdict = "outside" if low or high or wrong_side else "within"
    notes = [quantity.doubtful, bounds.note, _undecided(quantity, bounds, low, high)]
    return Reading(
        quantity=limit.quantity,
        value=float(f"{quantity.value:.9g}"),
        unit=quantity.unit,
        si_value=float(f"{si_value:.9g}"),
        si_unit=si_unit,
        limit=_worded(limit, bounds, highest),
        verdict=verdict,
        source=limit.source + (" (from memory)" if limit.from_memory else ""),
        doubtful="; ".join(note for note in notes if note) or None,
    )


def _undecided(quantity: Quantity, bounds: _Bounds, low: bool, high: bool) -> str | None:
    """ "Under twenty microns" says nothing about a limit of ten: then the figure itself was judged."""
    open_below = quantity.comparator == "<" and (high or (bounds.at_least is not None and not low))
    open_above = quantity.comparator == ">" and (low or (bounds.at_most is not None and not high))
    if not (open_below or open_above) or not bounds.words:
        return None
    return f"said as {'less' if open_below else 'more'} than this: the figure itself was judged"


def _bounds(limit: Limit, setting: Setting, value: float) -> _Bounds:
    if limit.nominals and limit.lowest_ratio is not None and limit.highest_ratio is not None:
        nominal, assumed = setting.nominal, ""
        if nominal is None:
            nominal, assumed = min(limit.nominals, key=lambda each: abs(each - value)), ", assumed"
        low, high = nominal * limit.lowest_ratio, nominal * limit.highest_ratio
        return _Bounds(low, high, f"{low:g} to {high:g} {limit.unit} for nominal {nominal:g}{assumed}")
    if limit.per is not None and limit.at_most is not None:
        return _scaled(limit, limit.at_most, limit.per, setting.base)
    unit = limit.unit
    if limit.at_least is not None and limit.at_most is not None:
        return _Bounds(limit.at_least, limit.at_most, f"{limit.at_least:g} to {limit.at_most:g} {unit}")
    if limit.at_most is not None:
        return _Bounds(None, limit.at_most, f"at most {limit.at_most:g} {unit}")
    if limit.at_least is not None:
        return _Bounds(limit.at_least, None, f"at least {limit.at_least:g} {unit}")
    return _Bounds(None, None, None)


def _scaled(limit: Limit, at_most: float, per: float, base: Quantity | None) -> _Bounds:
    """A limit for one measuring length brought to another: not under 0.005 mm, rounded to 0.002 mm
    (IS 6040:1993, 3.5): 0.02 over 300 is 0.014 over 200."""
    unit = limit.unit
    if base is None:
        return _Bounds(None, at_most, f"at most {at_most:g} {unit} over {per:g} {unit}")
    length = convert(abs(base.value), base.unit, unit)
    step, least = convert(SCALED_STEP, _MM, unit), convert(SCALED_LEAST, _MM, unit)
    if abs(length - per) <= 0.02 * per:  # twelve inches are 300 mm to a fitter
        scaled = at_most
    else:
        scaled = max(least, round(at_most * length / per / step) * step)
    words = f"at most {scaled:.4g} {unit} over {length:.4g} {unit} ({at_most:g} over {per:g})"
    return _Bounds(None, float(f"{scaled:.9g}"), words, base.doubtful)


def _worded(limit: Limit, bounds: _Bounds, highest: float) -> str | None:
    words = bounds.words
    if words and limit.side:
        words += f", {limit.side}"
    zone = next((name for name, up_to in limit.zones.items() if up_to is None or highest <= up_to), None)
    return f"{words}; zone {zone}" if zone else words
