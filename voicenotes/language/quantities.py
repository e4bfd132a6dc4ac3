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
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import lru_cache

from voicenotes.language.numbers import (
    Comparator,
    Number,
    fraction_at,
    hedge_after,
    hedge_before,
    lexicon,
    parse_number,
    scan_numbers,
)
from voicenotes.language.units import (
    SpokenUnit,
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

LOOKAHEAD = ("", "", "", "", "")


@dataclass(frozen=True, slots=True)
class Quantity:
    """A value with its unit, tokens[start:end].

    `unit` is canonical ("in", "um", "rpm", "degC"), `said_unit` the words that were said; `low` and `high`
    are the ends of a range, `value` then its middle; `doubtful` says what was assumed, or is None.
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


@dataclass(frozen=True, slots=True)
class _Said:
    """A unit as it was said: where it ends, what one of it is in canonical units, and what was assumed."""

    end: int
    words: str
    spoken: SpokenUnit
    unit: str
    scale: Decimal
    doubtful: str | None


@dataclass(frozen=True, slots=True)
class _Found:
    quantity: Quantity
    said: _Said


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


# --- finding ---------------------------------------------------------------------------------------------


def _find(tokens: Sequence[str], metric: bool | None) -> list[_Found]:
    split, places = _unglued(tokens)
    size = len(split)
    padded = [*split, *LOOKAHEAD]
    glued = frozenset() if places is None else frozenset(_second_halves(places))
    found = list(_numbered(padded, size, glued, metric))
    found = _with_articles(padded, size, found, metric)
    if found:
        found = _joined([_finished(padded, size, each) for each in found], padded)
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


def _moved(found: _Found, places: list[int]) -> _Found:
    q = found.quantity
    return replace(found, quantity=replace(q, start=places[q.start], end=places[q.end - 1] + 1))


def _numbered(
    padded: Sequence[str], size: int, glued: frozenset[int], metric: bool | None
) -> Iterator[_Found]:
    """Quantities that have a number."""
    for number in scan_numbers(padded, size, ordinals=False):
        at = number.end
        if number.kind in ("fraction", "decimal") and number.value < 1:
            at = _past_of_a(padded, at)
        if said := _unit_at(padded, at, glued, metric):
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


def _quantity(number: Number, note: str | None, said: _Said) -> _Found:
    value, doubtful, digits = number.value, note or said.doubtful, number.digits
    if number.kind == "digits" and digits and digits[0] == "0" and said.scale == 1:
        if digits.startswith("00") and said.spoken.no_point:
            value = float(f"0.{digits}")
        doubtful = f"'{number.text}' with no point: taken as {value:g}"
    low = None if number.low is None else _times(number.low, said.scale)
    high = None if number.high is None else _times(number.high, said.scale)
    quantity = Quantity(
        number.start,
        said.end,
        _times(value, said.scale),
        said.unit,
        said.words,
        dimension_of(said.unit),
        doubtful,
        low,
        high,
        number.comparator,
        number.approximate,
    )
    return _Found(quantity, said)


def _times(value: float, scale: Decimal) -> float:
    """value * scale without a float's dust: 3 * 0.0001 is 0.0003."""
    return value if scale == 1 else float(Decimal(repr(value)) * scale)


def _past_of_a(padded: Sequence[str], at: int) -> int:
    """Past "of a", "of an", "of one", or "of"."""
    words = lexicon().words
    if padded[at] not in words.of:
        return at
    return at + 2 if padded[at + 1] in words.articles or words.ones.get(padded[at + 1]) == 1 else at + 1


def _unit_at(padded: Sequence[str], at: int, glued: frozenset[int], metric: bool | None) -> _Said | None:
    """The longest unit at `at`; "tenths of a millimetre" as one unit."""
    said = _simple_unit_at(padded, at, glued, metric)
    if said is None or (part := said.spoken.part) is None:
        return said
    after = _past_of_a(padded, said.end)
    whole = _simple_unit_at(padded, after, glued, metric)
    if whole and whole.spoken.part is None:
        words = " ".join(padded[at : whole.end])
        return replace(whole, words=words, scale=whole.scale * part)
    if after > said.end and (after == said.end + 2 or padded[after] == "the"):
        return None  # "a tenth of a turn", "nine tenths of the travel"
    return said


def _simple_unit_at(
    padded: Sequence[str], at: int, glued: frozenset[int], metric: bool | None
) -> _Said | None:
    for form in unit_forms().get(padded[at], ()):
        end, spoken = at + len(form.words), form.spoken
        if len(form.words) > 1 and tuple(padded[at:end]) != form.words:
            continue
        if (form.written and at not in glued) or (end < len(padded) and padded[end] in spoken.not_before):
            continue
        words, other = " ".join(form.words), spoken.metric
        if other and metric:
            return _Said(end, words, spoken, other.unit, other.scale, other.doubtful)
        settled = (
            metric is False and other is not None and other.unit != spoken.unit and spoken.system is None
        )
        doubtful = None if settled and spoken.unit == "in" else spoken.doubtful
        return _Said(end, words, spoken, spoken.unit, spoken.scale, doubtful)
    return None


@lru_cache(maxsize=1)
def _article_heads() -> frozenset[str]:
    return frozenset(
        head for head, forms in unit_forms().items() if any(f.spoken.article and not f.written for f in forms)
    )


def _with_articles(
    padded: Sequence[str], size: int, found: list[_Found], metric: bool | None
) -> list[_Found]:
    """Add "a thou", "an inch", and the "thou and a half" that lost its article."""
    heads = _article_heads()
    places = [i for i, token in enumerate(padded) if token in heads]
    if not places:
        return found
    taken = {i for each in found for i in range(each.quantity.start, each.quantity.end)}
    words, more = lexicon().words, list[_Found]()
    for at in places:
        start = at - 1 if at and padded[at - 1] in words.articles else at
        if at in taken or start in taken:
            continue
        said = _unit_at(padded, at, frozenset(), metric)
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


# --- joining ---------------------------------------------------------------------------------------------


def _finished(padded: Sequence[str], size: int, found: _Found) -> _Found:
    """Add what follows the unit: "and a half", "or two", "or so"."""
    q, said = found.quantity, found.said
    words = lexicon().words
    if padded[q.end] in words.range_joiners and q.low is None and not q.comparator:
        more = parse_number(padded[: size + len(LOOKAHEAD)], q.end + 1, ordinals=False)
        of_things = more and (padded[more.end] in words.of or padded[more.end] in unit_forms())
        if more and more.low is None and not more.comparator and not of_things:
            high = _times(more.value, said.scale)
            if high > q.value:
                q = replace(
                    q, end=more.end, low=q.value, high=high, value=_times(q.value + high, Decimal("0.5"))
                )
    if padded[q.end] in words.and_ and q.low is None:
        part = fraction_at(padded, q.end + 1)
        own_unit = part and _simple_unit_at(padded, _past_of_a(padded, part[1]), frozenset(), None)
        if part and not own_unit:
            value = float(Decimal(repr(q.value)) + Decimal(repr(_times(part[0], said.scale))))
            q = replace(q, value=value, end=part[1])
    if q.comparator is None and q.end < size and (after := hedge_after(padded, q.end)):
        q = replace(q, end=after[0], comparator=after[1], approximate=q.approximate or after[1] == "~")
    return _Found(q, said)


def _joined(found: Iterable[_Found], padded: Sequence[str]) -> list[_Found]:
    """Make one of "five foot six inches", "ten psi to fifteen psi", "between a thou and two thou"."""
    joined = list[_Found]()
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


def _compound(first: _Found, second: _Found, padded: Sequence[str]) -> _Found | None:
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
    return _Found(replace(a, end=b.end, value=value, said_unit=words), first.said)


def _span(first: _Found, second: _Found, padded: Sequence[str]) -> _Found | None:
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
    return _Found(replace(joined, doubtful=a.doubtful or b.doubtful), second.said)
