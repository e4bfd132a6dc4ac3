"""Numbers said without a unit beside one that has it: "X is two thou, Z is three", "four sixty, four fifty
volts". The bare number takes the other's unit."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING

from voicenotes.language.number_words import lexicon
from voicenotes.language.numbers import find_numbers
from voicenotes.language.said_units import times
from voicenotes.language.value_words import value_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from voicenotes.language.numbers import Number
    from voicenotes.language.said_units import Quantity

STRONG = 2
MOST_WORDS_BETWEEN = 9
MOST_RATIO = 20.0  # values of one list are of one size
_JOINING = frozenset({"and", "or"})


def with_lent_units(
    norms: Sequence[str], breaks: Sequence[int], quantities: Sequence[Quantity], term_words: frozenset[int]
) -> list[Quantity]:
    """The quantities, and the bare numbers beside them that take their unit; in order of words.

    `term_words` are the words that name things: a number may stand between a name and a pause.
    """
    if not quantities:
        return list(quantities)
    taken = {word for quantity in quantities for word in range(quantity.start, quantity.end)}
    bare = [n for n in bare_numbers(norms, breaks) if n.start not in taken and n.end - 1 not in taken]
    bare = [n for n in bare if _stands_alone(norms, breaks, n, term_words, taken)]
    found = sorted(quantities, key=lambda q: q.start)
    for number in bare:
        before = [q for q in found if q.end <= number.start]
        if before and before[-1].end == number.start and norms[number.start] in value_words().base_before:
            continue  # "six microns | over a hundred": what it was measured over
        if before and _near(norms, breaks, before[-1].end, number.start) and _alike(before[-1], number):
            found = sorted([*found, _lent(number, before[-1])], key=lambda q: q.start)
    for number in reversed(bare):
        if any(q.start == number.start for q in found):
            continue
        after = [q for q in found if q.start >= number.end]
        listed = after and after[0].start - number.end <= 3 and _lists(norms, breaks, number, after[0])
        if listed and _alike(after[0], number):
            found = sorted([*found, _lent(number, after[0])], key=lambda q: q.start)
    return found


def bare_numbers(norms: Sequence[str], breaks: Sequence[int], first: int = 0) -> list[Number]:
    """The numbers of running speech, none of them across a pause; places count from `first`."""
    cuts = [0, *(i for i in range(1, len(norms)) if breaks[i]), len(norms)]
    return [
        replace(number, start=number.start + start + first, end=number.end + start + first)
        for start, end in pairwise(cuts)
        for number in find_numbers(norms[start:end])
        if number.kind != "ordinal"
    ]


def _stands_alone(
    norms: Sequence[str], breaks: Sequence[int], number: Number, term_words: frozenset[int], taken: set[int]
) -> bool:
    """Whether nothing is counted by the number: a pause, a joining word or a name follows it."""
    words = value_words()
    start, end = number.start, number.end
    before = norms[start - 1] if start else ""
    if before in lexicon().words.labels - words.before_lent:
        return False
    follows = end >= len(norms) or breaks[end] or norms[end] in words.after_lent or end in taken
    if not (follows or end in term_words):
        return False
    hedged = number.comparator is not None or start == 0 or bool(breaks[start])
    return hedged or before in words.before_lent or start - 1 in term_words


def _near(norms: Sequence[str], breaks: Sequence[int], end: int, start: int) -> bool:
    """Whether a number belongs to the same list as a quantity before it."""
    stops = sum(breaks[i] == STRONG for i in range(end, start + 1))
    return start - end <= MOST_WORDS_BETWEEN and stops == 0


def _lists(norms: Sequence[str], breaks: Sequence[int], number: Number, quantity: Quantity) -> bool:
    """Whether a bare number and the quantity after it are two of a list."""
    between = range(number.end, quantity.start + 1)
    if any(breaks[i] == STRONG for i in between):
        return False
    return any(breaks[i] for i in between) or any(norms[i] in _JOINING for i in between[:-1])


def _alike(quantity: Quantity, number: Number) -> bool:
    said = abs(quantity.value) / float(quantity.scale)
    value = abs(number.value)
    if not said or not value:
        return True
    return 1 / MOST_RATIO <= value / said <= MOST_RATIO


def _lent(number: Number, quantity: Quantity) -> Quantity:
    """The number in the quantity's unit."""
    return replace(
        quantity,
        start=number.start,
        end=number.end,
        value=times(number.value, quantity.scale),
        low=None if number.low is None else times(number.low, quantity.scale),
        high=None if number.high is None else times(number.high, quantity.scale),
        comparator=number.comparator,
        approximate=number.approximate,
    )
