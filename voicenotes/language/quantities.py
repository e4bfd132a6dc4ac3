"""Spoken quantities: "two tenths", "a thou and a half", "one twenty psi", "2.5mm", "ten to fifteen bar".

Numbers come from `numbers`, units from `units`; here the two are joined. Finding needs no pint.

Rules where shop talk is ambiguous (each leaves a note in `doubtful`):
- "tenths" alone are 0.0001 in, from a speaker who works metric 0.1 mm; "tenths of a millimetre" are what
  they say.
- bare "degrees" are Celsius; `in_dimension` turns them into an angle where one is wanted.
- "oh oh two inches" is 0.002 in.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from decimal import Decimal
from functools import lru_cache
from itertools import pairwise

from voicenotes.language.joined_quantities import finished, joined_up
from voicenotes.language.number_words import lexicon
from voicenotes.language.numbers import Number, fraction_at, hedge_before, scan_numbers
from voicenotes.language.quantity_tokens import Tokens, prepared
from voicenotes.language.said_units import (
    LOOKAHEAD,
    Found,
    Quantity,
    Said,
    past_of_a,
    times,
    unit_at,
    unit_before,
)
from voicenotes.language.units import (
    convert,
    convert_rise,
    dimension_of,
    parse_quantity_text,
    rise_to_si,
    to_si,
    unit_forms,
    unit_table,
)

STRONG = 2  # a full stop or a long pause, as in `Words.breaks`

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


def find_quantities(
    tokens: Sequence[str], metric: bool | None = None, breaks: Sequence[int] | None = None
) -> list[Quantity]:
    """All quantities of running speech, left to right.

    `metric` says whether the speaker is known to work metric (see `detect_metric`); it settles "tenths",
    "thousandths" and "mils". `breaks` are the pauses before the words, as in `Words`. A number without a
    unit is no quantity: `find_numbers` has those.
    """
    if breaks is None or not any(breaks[1:]):
        return [found.quantity for found in _find(tokens, metric)]
    quantities = list[Quantity]()
    for start, end in _stretches(tokens, breaks):
        for found in _find(tokens[start:end], metric):
            q = found.quantity
            quantities.append(replace(q, start=q.start + start, end=q.end + start))
    return quantities


def detect_metric(tokens: Sequence[str]) -> bool | None:
    """Whether the speaker works metric, by the unambiguous units said; None when they don't tell.

    Give it the words of the whole visit: who says microns in one recording means them in the next.
    """
    systems = [found.said.spoken.system for found in _find(tokens, None)]
    metric, imperial = systems.count("metric"), systems.count("imperial")
    return None if metric == imperial else metric > imperial


def in_dimension(quantity: Quantity, dimension: str) -> Quantity | None:
    """The quantity read as `dimension`: itself, or what its unit means there ("forty five degrees" of angle).

    None when it can't be one.
    """
    if quantity.dimension == dimension:
        return quantity
    known = unit_table().dimensions.get(dimension)
    if known is not None and known.difference_of == quantity.dimension:
        return replace(quantity, dimension=dimension)
    words = tuple(quantity.said_unit.split())
    for form in unit_forms().get(words[0], ()) if words else ():
        if form.words == words and (unit := form.spoken.as_.get(dimension)):
            return replace(quantity, unit=unit, dimension=dimension, doubtful=None)
    return None


def _find(tokens: Sequence[str], metric: bool | None) -> list[Found]:
    ready = prepared(tokens)
    size = len(ready.words)
    padded = [*ready.words, *LOOKAHEAD]
    found = list(_numbered(padded, size, ready.glued, metric))
    found = _with_articles(padded, size, found, metric)
    if found:
        found = joined_up([finished(padded, size, each) for each in found], padded)
    return found if ready.first is None else [_moved(each, ready) for each in found]


def _moved(found: Found, ready: Tokens) -> Found:
    """A quantity with the places that its tokens had, and with what was assumed of them."""
    q = found.quantity
    assert ready.first is not None and ready.last is not None
    doubts = [note for at, note in ready.doubts.items() if q.start <= at < q.end]
    doubtful = "; ".join([*doubts, *([q.doubtful] if q.doubtful else [])]) or None
    moved = replace(q, start=ready.first[q.start], end=ready.last[q.end - 1] + 1, doubtful=doubtful)
    return replace(found, quantity=moved)


def _stretches(tokens: Sequence[str], breaks: Sequence[int]) -> list[tuple[int, int]]:
    """Where no quantity goes across: full stops before anything but a unit, commas between two numbers
    ("station seven, two microns")."""
    lex = lexicon()
    numerals = lex.starters - lex.words.articles

    def numeric(token: str) -> bool:
        return token in numerals or token[:1].isdigit()

    cuts = [0]
    for i in range(1, len(tokens)):
        apart = breaks[i] == STRONG and tokens[i] not in lex.units
        between = breaks[i] and numeric(tokens[i]) and numeric(tokens[i - 1])
        if apart or (between and tokens[i - 1] not in lex.words.scales):
            cuts.append(i)
    return list(pairwise([*cuts, len(tokens)]))


def _numbered(
    padded: Sequence[str], size: int, glued: frozenset[int], metric: bool | None
) -> Iterator[Found]:
    """Quantities that have a number, with the unit behind it or a unit that leads to it."""
    for number in scan_numbers(padded, size, ordinals=False):
        at = number.end
        if number.kind in ("fraction", "decimal") and number.value < 1:
            at = past_of_a(padded, at)
        said = unit_at(padded, at, glued, metric)
        if said is None and padded[at] in unit_table().fillers:
            said = unit_at(padded, at + 1, glued, metric)
        if said:
            yield _quantity(*_sifted(number, said), _fitting_meaning(number, said))
        elif lead := unit_before(padded, number.start, metric):
            start, said = lead
            said = replace(said, end=number.end)
            led = _quantity(number, None, _fitting_meaning(number, said))
            yield replace(led, quantity=replace(led.quantity, start=start))


def _sifted(number: Number, said: Said) -> tuple[Number, str | None]:
    """A number before a unit, with what is doubtful about numbers that were only said one after another.

    Nobody says 72 as "seven two" before a unit: "two three thou" is two to three, and in "station seven
    two microns" the seven is not of the quantity. "thirty forty psi" may be thirty to forty, and "twelve
    fifteen microns" are, for nobody says so many of them.
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
    if number.kind == "paired" and len(digits) == 4:
        low, high = float(digits[:2]), float(digits[2:])
        most = said.spoken.at_most
        if low < high and most is not None and number.value > most:
            note = f"'{number.text}' taken as {low:g} to {high:g}"
            return replace(number, value=(low + high) / 2, low=low, high=high, kind="range"), note
        if 0 < high - low <= 10:
            return number, f"'{number.text}' taken as {digits}; it was perhaps {digits[:2]} to {digits[2:]}"
    return number, None


def _fitting_meaning(number: Number, said: Said) -> Said:
    """The unit as this number can mean it: "point oh two mil" and "315 mil" can only be millimetres."""
    spoken = said.spoken
    if spoken.metric is None or said.unit == spoken.metric.unit:
        return said
    count = Decimal(repr(number.value)) * said.scale / spoken.scale
    low, high = spoken.usual_from, spoken.usual_to
    if (low is None or count >= low) and (high is None or count <= high):
        return said
    other = spoken.metric
    scale = said.scale / spoken.scale * other.scale
    doubtful = other.doubtful or said.doubtful
    if doubtful and high is not None:
        doubtful = (
            f"{number.value:g} {said.words} taken as {other.unit}: so many only make sense in that unit"
        )
    return replace(said, unit=other.unit, scale=scale, doubtful=doubtful)


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
        said.scale,
    )
    return Found(quantity, said)


@lru_cache(maxsize=1)
def _article_heads() -> frozenset[str]:
    return frozenset(
        head
        for head, forms in unit_forms().items()
        if any(f.spoken.article and not f.written and not f.misheard for f in forms)
    )


def _article_before(padded: Sequence[str], at: int) -> int:
    """Where the article of a unit stands: "a | thou", "a full | thou", "one good | thou"."""
    words = lexicon().words
    if at and padded[at - 1] in words.articles:
        return at - 1
    if at > 1 and padded[at - 1] in unit_table().fillers:
        head = padded[at - 2]
        if head in words.articles or words.ones.get(head) == 1:
            return at - 2
    return at


def _with_articles(padded: Sequence[str], size: int, found: list[Found], metric: bool | None) -> list[Found]:
    """Add "a thou", "an inch", and the "thou and a half" that lost its article."""
    heads = _article_heads()
    places = [i for i, token in enumerate(padded) if token in heads]
    if not places:
        return found
    taken = {i for each in found for i in range(each.quantity.start, each.quantity.end)}
    words, more = lexicon().words, list[Found]()
    for at in places:
        start = _article_before(padded, at)
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
