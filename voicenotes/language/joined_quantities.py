"""Quantities that several phrases make: "two thou and a half", "five foot six", "ten psi to fifteen psi"."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from decimal import Decimal

from voicenotes.language.number_words import lexicon
from voicenotes.language.numbers import fraction_at, hedge_after, parse_number
from voicenotes.language.said_units import LOOKAHEAD, Found, past_of_a, simple_unit_at, times
from voicenotes.language.units import unit_forms


def finished(padded: Sequence[str], size: int, found: Found) -> Found:
    """Add what follows the unit: "and a half", "or two", "or so"."""
    q, said = found.quantity, found.said
    words = lexicon().words
    if padded[q.end] in words.range_joiners and q.low is None and not q.comparator:
        more = parse_number(padded[: size + len(LOOKAHEAD)], q.end + 1, ordinals=False)
        of_things = more and (padded[more.end] in words.of or padded[more.end] in unit_forms())
        if more and more.low is None and not more.comparator and not of_things:
            high = times(more.value, said.scale)
            if high > q.value:
                q = replace(
                    q, end=more.end, low=q.value, high=high, value=times(q.value + high, Decimal("0.5"))
                )
    if padded[q.end] in words.and_ and q.low is None:
        part = fraction_at(padded, q.end + 1)
        own_unit = part and simple_unit_at(padded, past_of_a(padded, part[1]), frozenset(), None)
        if part and not own_unit:
            value = float(Decimal(repr(q.value)) + Decimal(repr(times(part[0], said.scale))))
            q = replace(q, value=value, end=part[1])
    if q.comparator is None and q.end < size and (after := hedge_after(padded, q.end)):
        q = replace(q, end=after[0], comparator=after[1], approximate=q.approximate or after[1] == "~")
    return Found(q, said)


def joined_up(found: Iterable[Found], padded: Sequence[str]) -> list[Found]:
    """Make one of "five foot six inches", "ten psi to fifteen psi", "between a thou and two thou"."""
    joined = list[Found]()
    for each in found:
        last = joined[-1] if joined else None
        if last and each.quantity.start < last.quantity.end:
            continue
        both = last and (_compound(last, each, padded) or _span(last, each, padded))
        if both:
            joined[-1] = both
        else:
            joined.append(each)
    return joined


def _compound(first: Found, second: Found, padded: Sequence[str]) -> Found | None:
    a, b = first.quantity, second.quantity
    parts = first.said.spoken.then.get(second.said.spoken.name)
    gap = b.start - a.end
    if parts is None or a.low is not None or b.low is not None or b.comparator:
        return None
    if gap > 1 or (gap == 1 and padded[a.end] not in lexicon().words.and_):
        return None
    count = Decimal(repr(b.value)) / second.said.scale
    if not 0 < count < parts or second.said.unit != second.said.spoken.unit:
        return None
    value = float(Decimal(repr(a.value)) + count / parts * first.said.scale)
    words = f"{a.said_unit} {b.said_unit}"
    return Found(replace(a, end=b.end, value=value, said_unit=words), first.said)


def _span(first: Found, second: Found, padded: Sequence[str]) -> Found | None:
    """Two quantities as the ends of a range; they rise and have one canonical unit."""
    a, b, words = first.quantity, second.quantity, lexicon().words
    alike = a.unit == b.unit and a.low is None and b.low is None and a.value < b.value
    if b.start != a.end + 1 or not alike or b.comparator in ("<", ">"):
        return None
    opener = padded[a.start - 1] if a.start else ""
    if padded[a.end] not in words.range_joiners and padded[a.end] != words.range_openers.get(opener):
        return None
    middle = float((Decimal(repr(a.value)) + Decimal(repr(b.value))) / 2)
    start = a.start - (opener in words.range_openers)
    joined = replace(
        a, start=start, end=b.end, value=middle, low=a.value, high=b.value, said_unit=b.said_unit
    )
    return Found(replace(joined, doubtful=a.doubtful or b.doubtful), second.said)
