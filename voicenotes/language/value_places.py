"""What each value of a remark is there for, and which of the words round it belong to it.

A value may be measured, the length that another was measured over ("four microns | over two hundred"),
what a thing should be ("the plate says four hundred"), or a circumstance ("growls above two thousand").
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

from voicenotes.language.lent_units import bare_numbers
from voicenotes.language.said_units import Quantity, times
from voicenotes.language.units import convert
from voicenotes.language.value_words import phrase_ends, value_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from voicenotes.language.clause_view import ClauseView
    from voicenotes.language.hits import TermHit
    from voicenotes.language.numbers import Number

_JOINING = frozenset({"and", "but", "plus", "or"})
_BESIDE = frozenset({"with", "against", "per", "versus"})
MOST_DEVIATION_MM, LEAST_BASE_MM = 5.0, 20.0
MOST_WORDS_TO_NOMINAL = 5


@dataclass(frozen=True)
class Place:
    """A measured value with the words that belong to it, start..end, and the length it was measured over."""

    quantity: Quantity
    start: int
    end: int
    base: Quantity | None = None


def places_of(view: ClauseView, quantities: Sequence[Quantity]) -> tuple[list[Place], list[Quantity]]:
    """The measured values of a remark with their words, and the values that only say what should be."""
    nominal = _nominals(view, quantities)
    rest = [q for q in quantities if q not in nominal]
    bases = [q for q in rest if _is_base(view, q, rest)]
    measured = [q for q in rest if q not in bases]
    places = []
    edges = [view.clause.start, *_edges(view, measured), view.clause.end]
    for at, quantity in enumerate(measured):
        start, end = edges[at], edges[at + 1]
        near = [b for b in bases if start <= b.start < end] or (bases if len(measured) == 1 else [])
        base = near[0] if near else _bare_base(view, quantity, quantities, start, end)
        places.append(Place(quantity, _own_start(view, start, quantity), end, base))
    return places, nominal


def _own_start(view: ClauseView, start: int, quantity: Quantity) -> int:
    """Where a value's own words start: behind the last pause before it that something is named after."""
    for at in range(quantity.start, start, -1):
        if view.words.breaks[at] and any(at <= t.start < quantity.start for t in view.terms):
            return at
    return start


def _bare_base(
    view: ClauseView, quantity: Quantity, others: Sequence[Quantity], start: int, end: int
) -> Quantity | None:
    """A measuring length without unit: "a hundredth | over a hundred" is over 100 mm, a thou over inches."""
    if quantity.dimension != "length":
        return None
    unit, least, most = ("in", 2, 80) if quantity.unit == "in" else ("mm", LEAST_BASE_MM, 3000)
    taken = {word for other in others for word in range(other.start, other.end)}
    for number in bare_numbers(view.words.norms[start:end], view.words.breaks[start:end], start):
        led = {view.words.norms[number.start], view.word_before(number.start)} & value_words().base_before
        ends = number.end >= view.clause.end or bool(view.words.breaks[number.end])
        if number.start in taken or not led or not least <= number.value <= most:
            continue
        if ends or view.words.norms[number.end] in value_words().after_lent:
            note = f"measuring length without unit: taken as {unit}"
            return Quantity(number.start, number.end, number.value, unit, "", "length", note)
    return None


def _nominals(view: ClauseView, quantities: Sequence[Quantity]) -> list[Quantity]:
    norms = view.words.norms[view.clause.start : view.clause.end]
    found = []
    for end in phrase_ends(norms, value_words().nominal):
        at = view.clause.start + end
        after = [q for q in quantities if 0 <= q.start - at <= MOST_WORDS_TO_NOMINAL]
        bare = _bare_between(view, at, after[0].start) if after else None
        before = [q for q in quantities if q.end <= at and at - q.end <= 3]
        if bare is not None:
            value = times(bare.value, after[0].scale)
            found.append(replace(after[0], start=bare.start, end=bare.end, value=value, low=None, high=None))
        elif after and not (before and view.words.breaks[after[0].start]):
            found.append(after[0])
        elif before:
            found.append(before[-1])
    return found


def _bare_between(view: ClauseView, start: int, end: int) -> Number | None:
    """A number without unit in start..end: "rated for | 4,500 and I see 4,490 rpm"."""
    numbers = bare_numbers(view.words.norms[start:end], view.words.breaks[start:end], start)
    return numbers[0] if numbers else None


def _is_base(view: ClauseView, quantity: Quantity, others: Sequence[Quantity]) -> bool:
    """Whether a length is only what something was measured over or at: "in 300 mm", "eight inches long"."""
    if quantity.dimension != "length":
        return _repeats(view, quantity, others)
    if abs(convert(quantity.value, quantity.unit, "mm")) < LEAST_BASE_MM:
        return False
    words = value_words()
    first = view.words.norms[quantity.start]
    after = view.words.norms[quantity.end] if quantity.end < view.clause.end else ""
    led = {first, view.word_before(quantity.start)} & words.base_before
    small = any(
        other is not quantity
        and other.dimension == "length"
        and abs(convert(other.value, other.unit, "mm")) <= MOST_DEVIATION_MM
        for other in others
    )
    return bool(led) or after in words.base_after or small


def _repeats(view: ClauseView, quantity: Quantity, others: Sequence[Quantity]) -> bool:
    """ "65 degrees with the shop at | twenty": said beside another of its dimension, as what goes with it."""
    if not any(o.dimension == quantity.dimension and o.end <= quantity.start for o in others):
        return False
    for at in range(quantity.start - 1, max(quantity.start - MOST_WORDS_TO_NOMINAL, view.clause.start), -1):
        if view.words.norms[at] in _BESIDE:
            return True
        if view.words.breaks[at] or view.words.norms[at] in _JOINING:
            return False
    return False


def _edges(view: ClauseView, measured: Sequence[Quantity]) -> list[int]:
    """Where the words of one value end and those of the next begin."""
    edges = []
    named_first = bool(measured) and any(term.start < measured[0].start for term in view.terms)
    for this, following in pairwise(measured):
        edges.append(_edge(view, this.end, following.start, named_first))
    return edges


def _edge(view: ClauseView, end: int, start: int, named_first: bool) -> int:
    for at in range(end, start + 1):
        if view.words.breaks[at] or (at < start and view.words.norms[at] in _JOINING):
            return at
    if not named_first:
        return start
    tied = [t for t in view.terms if end <= t.start and t.end <= start and view.follows_link(t)]
    return tied[0].end if tied else end


def is_circumstance(view: ClauseView, quantity: Quantity, judged: bool) -> bool:
    """Whether a value only says when something holds: "growls | above two thousand", "after ten minutes".

    `judged` says that the remark judges something else than what the value would measure.
    """
    if not judged:
        return False
    if quantity.dimension == "length" and abs(convert(quantity.value, quantity.unit, "mm")) < 1:
        return False
    words = value_words()
    first, before = view.words.norms[quantity.start], view.word_before(quantity.start)
    if first not in words.circumstance and before not in words.circumstance:
        return False
    at = quantity.start if first in words.circumstance else quantity.start - 1
    link = view.words.norms[at]
    state = view.words.norms[at - 1] if at > view.clause.start else ""
    return not (link in ("at", "around", "about", "by") and state in words.states)


def terms_at(view: ClauseView, place: Place) -> list[TermHit]:
    """The terms among the words of a value."""
    return [t for t in view.terms if place.start <= t.start < place.end]


def came_up_to(view: ClauseView, quantity: Quantity) -> bool:
    """Whether the value is where something got *to*: "rose to | sixty degrees"."""
    return "to" in (view.word_before(quantity.start), *view.words.norms[quantity.start : quantity.start + 2])


def started_from(view: ClauseView, quantity: Quantity) -> bool:
    """Whether a range is a change: "went | from 20 to 65 degrees"."""
    return quantity.low is not None and "from" in (
        view.words.norms[quantity.start],
        view.word_before(quantity.start),
    )
