"""Spoken measurements judged against the pack's limits."""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicenotes.language.quantities import in_dimension
from voicenotes.language.units import convert, to_si
from voicenotes.model import Reading

if TYPE_CHECKING:
    from collections.abc import Sequence

    from voicenotes.language.quantities import Quantity
    from voicenotes.model import Verdict
    from voicenotes.vocabulary.schema import Check, Limit


def limit_for(check: Check, quantity: Quantity, norms: Sequence[str]) -> tuple[Limit, Quantity] | None:
    """The check's limit that a quantity is to be judged by, and the quantity in its dimension.

    Where several limits share a dimension the one whose words stand in the remark comes first, then
    one without words. None when the check measures nothing of that dimension.
    """
    said = f" {' '.join(norms)} "
    fitting: list[tuple[int, Limit, Quantity]] = []
    for limit in check.readings:
        there = in_dimension(quantity, limit.dimension)
        if there is None:
            continue
        named = any(f" {phrase} " in said for phrase in limit.words)
        if limit.words and not named:
            continue
        fitting.append((0 if named else 1, limit, there))
    if not fitting:
        return None
    _, limit, there = min(fitting, key=lambda item: item[0])
    return limit, there


def judge(limit: Limit, quantity: Quantity) -> Reading:
    """The reading with its SI value, the limit in words, and the verdict.

    A range is judged by the end that is worse.
    """
    si_value, si_unit = to_si(quantity.value, quantity.unit)
    lowest, highest = (
        sorted(convert(end, quantity.unit, limit.unit) for end in (quantity.low, quantity.high))
        if quantity.low is not None and quantity.high is not None
        else [convert(quantity.value, quantity.unit, limit.unit)] * 2
    )
    verdict: Verdict = "within" if _has_bounds(limit) else "no_limit"
    words = _in_words(limit)
    slack = 1e-9 * max(1.0, abs(highest))
    if limit.at_least is not None and lowest < limit.at_least - slack:
        verdict = "outside"
    if limit.at_most is not None and highest > limit.at_most + slack:
        verdict = "outside"
    if limit.nominals and limit.lowest_ratio is not None and limit.highest_ratio is not None:
        nominal = min(limit.nominals, key=lambda value: abs(value - lowest))
        low, high = nominal * limit.lowest_ratio, nominal * limit.highest_ratio
        verdict = "within" if low - slack <= lowest and highest <= high + slack else "outside"
        words = f"{low:g} to {high:g} {limit.unit} for nominal {nominal:g}"
    source = limit.source + (" (from memory)" if limit.from_memory else "")
    return Reading(
        quantity=limit.quantity,
        value=float(f"{quantity.value:.9g}"),
        unit=quantity.unit,
        si_value=float(f"{si_value:.9g}"),
        si_unit=si_unit,
        limit=words,
        verdict=verdict,
        source=source,
    )


def _has_bounds(limit: Limit) -> bool:
    return limit.at_least is not None or limit.at_most is not None or bool(limit.nominals)


def _in_words(limit: Limit) -> str | None:
    if limit.at_least is not None and limit.at_most is not None:
        return f"{limit.at_least:g} to {limit.at_most:g} {limit.unit}"
    if limit.at_most is not None:
        return f"at most {limit.at_most:g} {limit.unit}"
    if limit.at_least is not None:
        return f"at least {limit.at_least:g} {limit.unit}"
    return None
