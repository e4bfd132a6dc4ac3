"""Spoken quantities: "two tenths", "a thou and a half", "one twenty psi", "2.5mm", "ten to fifteen bar".

Numbers come from `numbers`, units from `units`; here the two are joined. Finding needs no pint.

Rules where shop talk is ambiguous (each leaves a note in `doubtful`):
- "tenths" alone are 0.0001 in, from a speaker who works metric 0.1 mm; "tenths of a millimetre" are what
  they say.
- bare "degrees" are Celsius; `in_dimension` turns them into an angle where one is wanted.
- "oh oh two inches" is 0.002 in.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import lru_cache

from voicenotes.language.joined_quantities import finished, joined_up
from voicenotes.language.number_words import lexicon
from voicenotes.language.numbers import Number, fraction_at, hedge_before, scan_numbers
from voicenotes.language.said_units import LOOKAHEAD, Found, Quantity, Said, past_of_a, times, unit_at
from voicenotes.language.units import (
    convert,
    convert_rise,
    dimension_of,
    parse_quantity_text,
    rise_to_si,
    to_si,
    unit_forms,
)

__all__ = [
    "Quantity",
    "convert",
    "convert_rise",
    "detect_metric",
    "find_quantities",
    "in_dimension",
    "parse_quantity_text",
    "rise_to_si",
    "to_si",
]


def find_quantities(tokens: Sequence[str], metric: bool | None = None) -> list[Quantity]:
    """All quantities of running speech, left to right.

    `metric` says whether the speaker is known to work metric (see `detect_metric`); it settles "tenths",
    "thousandths" and "mils". A number without a unit is no quantity: `find_numbers` has those.
    """
    return [found.quantity for found in _find(tokens, metric)]


def detect_metric(tokens: Sequence[str]) -> bool | None:
    """Whether the speaker works metric, by the unambiguous units said; None when they don't tell."""
    systems = [found.said.spoken.system for found in _find(tokens, None)]
    metric, imperial = systems.count("metric"), systems.count("imperial")
    return None if metric == imperial else metric > imperial


def in_dimension(quantity: Quantity, dimension: str) -> Quantity | None:
    """The quantity read as `dimension`: itself, or what its unit means there ("forty five degrees" of angle).

    None when it can't be one.
    """
    if quantity.dimension == dimension:
        return quantity
    words = tuple(quantity.said_unit.split())
    for form in unit_forms().get(words[0], ()) if words else ():
        if form.words == words and (unit := form.spoken.as_.get(dimension)):
            return replace(quantity, unit=unit, dimension=dimension, doubtful=None)
    return None


def _find(tokens: Sequence[str], metric: bool | None) -> list[Found]:
    split, places = _unglued(tokens)
    size = len(split)
    padded = [*split, *LOOKAHEAD]
    glued = frozenset() if places is None else frozenset(_second_halves(places))
    found = list(_numbered(padded, size, glued, metric))
    found = _with_articles(padded, size, found, metric)
    if found:
        found = joined_up([finished(padded, size, each) for each in found], padded)
    return found if places is None else [_moved(each, places) for each in found]


_GLUED = re.compile(r"([-+±\u2212]?(?:\d+/\d+|\d[\d,]*(?:\.\d+)?|\.\d+))-?([^\d\s.,/-]\S*)", re.ASCII)


def _unglued(tokens: Sequence[str]) -> tuple[Sequence[str], list[int] | None]:
    """ "2.5mm" -> "2.5", "mm"; "ten-inch" -> "ten", "inch"; with each part's old place if any was cut."""
    if all(map(str.isalpha, tokens)):
        return tokens, None
    split, places, words = list[str](), list[int](), lexicon()
    for place, token in enumerate(tokens):
        parts = [token]
        if not token.isalpha():
            match = _GLUED.fullmatch(token)
            if match and match[2] in unit_forms():
                parts = [match[1], match[2]]
            elif "-" in token and token.partition("-")[0] in words.starters - words.words.articles:
                parts = [part for part in token.split("-") if part]
        split += parts
        places += [place] * len(parts)
    return split, places


def _second_halves(places: list[int]) -> Iterator[int]:
    return (i for i in range(1, len(places)) if places[i] == places[i - 1])


def _moved(found: Found, places: list[int]) -> Found:
    q = found.quantity
    return replace(found, quantity=replace(q, start=places[q.start], end=places[q.end - 1] + 1))


def _numbered(
    padded: Sequence[str], size: int, glued: frozenset[int], metric: bool | None
) -> Iterator[Found]:
    """Quantities that have a number."""
    for number in scan_numbers(padded, size, ordinals=False):
        at = number.end
        if number.kind in ("fraction", "decimal") and number.value < 1:
            at = past_of_a(padded, at)
        if said := unit_at(padded, at, glued, metric):
            yield _quantity(*_sifted(number), said)


def _sifted(number: Number) -> tuple[Number, str | None]:
    """A number before a unit, with what is doubtful about numbers that were only said one after another.

    Nobody says 72 as "seven two" before a unit: "two three thou" is two to three, and in "station seven
    two microns" the seven is not of the quantity. "thirty forty psi" may be thirty to forty.
    """
    digits = number.digits or ""
    if number.kind == "digits" and len(set(digits)) == len(digits) == 2 and "0" not in digits:
        low, high = (float(digit) for digit in digits)
        if low + 1 == high:
            note = f"'{number.text}' taken as {digits[0]} to {digits[1]}"
            return replace(number, value=(low + high) / 2, low=low, high=high, kind="range"), note
        note = f"'{number.text}' taken as {digits[1]}; it was perhaps {digits}"
        start = number.start if number.comparator else number.end - 1
        return replace(number, start=start, value=high, kind="cardinal"), note
    if number.kind == "paired" and len(digits) == 4 and 0 < int(digits[2:]) - int(digits[:2]) <= 10:
        return number, f"'{number.text}' taken as {digits}; it was perhaps {digits[:2]} to {digits[2:]}"
    return number, None


def _quantity(number: Number, note: str | None, said: Said) -> Found:
    value, doubtful, digits = number.value, note or said.doubtful, number.digits
    if number.kind == "digits" and digits and digits[0] == "0" and said.scale == 1:
        if digits.startswith("00") and said.spoken.no_point:
            value = float(f"0.{digits}")
        doubtful = f"'{number.text}' with no point: taken as {value:g}"
    low = None if number.low is None else times(number.low, said.scale)
    high = None if number.high is None else times(number.high, said.scale)
    quantity = Quantity(
        number.start,
        said.end,
        times(value, said.scale),
        said.unit,
        said.words,
        dimension_of(said.unit),
        doubtful,
        low,
        high,
        number.comparator,
        number.approximate,
    )
    return Found(quantity, said)


@lru_cache(maxsize=1)
def _article_heads() -> frozenset[str]:
    return frozenset(
        head for head, forms in unit_forms().items() if any(f.spoken.article and not f.written for f in forms)
    )


def _with_articles(padded: Sequence[str], size: int, found: list[Found], metric: bool | None) -> list[Found]:
    """Add "a thou", "an inch", and the "thou and a half" that lost its article."""
    heads = _article_heads()
    places = [i for i, token in enumerate(padded) if token in heads]
    if not places:
        return found
    taken = {i for each in found for i in range(each.quantity.start, each.quantity.end)}
    words, more = lexicon().words, list[Found]()
    for at in places:
        start = at - 1 if at and padded[at - 1] in words.articles else at
        if at in taken or start in taken:
            continue
        said = unit_at(padded, at, frozenset(), metric)
        if said is None or not said.spoken.article:
            continue
        bare_half = said.end < size and padded[said.end] in words.and_ and fraction_at(padded, said.end + 1)
        if not bare_half and (start == at or said.spoken.article == "and"):
            continue
        if start == at and said.spoken.scale == 1:
            continue  # "thou and a half", but not "inch and a half"
        number = Number(start, at, 1.0, padded[start], "cardinal")
        if before := hedge_before(padded, start):
            begin, comparator = before
            number = replace(number, start=begin, comparator=comparator, approximate=comparator == "~")
        more.append(_quantity(number, None, said))
        taken.update(range(number.start, said.end))
    return sorted([*found, *more], key=lambda each: each.quantity.start) if more else found
