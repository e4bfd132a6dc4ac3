"""Spoken numbers: "one twenty", "point oh oh two", "two and a half", "ten to fifteen", "oh four oh seven".

Works on lower-case word tokens without punctuation, hyphenated words split, and takes written numbers
("0.002", "7,200", "1/2") as they come. The words are data: vocab/english/numbers.yaml.

Rules where speech is ambiguous:
- "one twenty" is 120 and "twenty eleven" 2011, never 20.11; `year` is set when it may be a year.
- "fourteen two" stays two numbers, 14 and 2; "four two" is a string of digits, 42.
- "oh" is zero only inside a string of digits or after "point".
- A range's value is its middle; `low` and `high` hold the ends.
- `find_numbers` takes a lone "one" only before a unit or right after a label ("station one"), and
  leaves out a lone "first" or "second"; `parse_number` takes them all.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from voicenotes.language.bare_numbers import core_at, ordinal_at
from voicenotes.language.number_words import Comparator, Lexicon, NumberWords, Phrases, lexicon
from voicenotes.language.numerals import Core, Kind
from voicenotes.language.spoken_fractions import fraction_core

__all__ = [
    "Number",
    "find_numbers",
    "fraction_at",
    "hedge_after",
    "hedge_before",
    "lexicon",
    "parse_number",
    "scan_numbers",
]


@dataclass(frozen=True, slots=True)
class Number:
    """A number phrase, tokens[start:end], hedges such as "about" included.

    `digits` is what was said digit by digit, zeros kept ("0407"); `year` a year that it may be;
    `low` and `high` the ends of a range or of plus or minus; `comparator` "<", ">", "~" or None.
    """

    start: int
    end: int
    value: float
    text: str
    kind: Kind
    low: float | None = None
    high: float | None = None
    digits: str | None = None
    approximate: bool = False
    comparator: Comparator | None = None
    year: int | None = None


def _sign(tokens: Sequence[str], i: int, w: NumberWords) -> tuple[int, int]:
    if tokens[i] in w.minus:
        return -1, i + 1
    return 1, i + 1 if tokens[i] in w.plus else i


def _range(
    tokens: Sequence[str], low: Core, start: int, sign: int, joiners: frozenset[str], lex: Lexicon
) -> Number | None:
    """Ranges: "[ten] to fifteen", "[two] or three hundred"; None unless it rises."""
    if tokens[low.end] not in joiners:
        return None
    second_sign, at = _sign(tokens, low.end + 1, lex.words)
    high = core_at(tokens, at, lex)
    if high is None:
        return None
    first, second = low.value * sign, high.value * second_sign
    scale = 100 if tokens[high.end - 1] in lex.words.hundred else high.scale
    if low.scale == 1 and low.kind != "decimal" and 0 < first * scale < second:
        first = first * scale  # "two to three thousand", "five or six hundred"
    if first >= second:
        return None
    ends = float(first), float(second)
    middle = float((Fraction(first) + Fraction(second)) / 2)
    return Number(start, high.end, middle, "", "range", *ends, approximate=low.vague or high.vague)


def _plain(core: Core, start: int, sign: int) -> Number:
    value = float(core.value) * sign
    whole = core.value == int(core.value)
    plain = core.kind in ("cardinal", "paired", "digits") and whole and not core.vague
    year = int(core.value) if plain and 1900 <= value <= 2099 else None
    return Number(start, core.end, value, "", core.kind, None, None, core.digits, core.vague, None, year)


def _spread(tokens: Sequence[str], number: Number, lex: Lexicon) -> Number:
    """Tolerances: "[five] plus or minus two"."""
    for phrase in lex.words.plus_minus:
        words = phrase.split()
        after = number.end + len(words)
        if list(tokens[number.end : after]) == words and (core := core_at(tokens, after, lex)):
            by = abs(float(core.value))
            return replace(
                number, end=core.end, kind="plus_minus", low=number.value - by, high=number.value + by
            )
    return number


def _number(tokens: Sequence[str], start: int, lex: Lexicon, opener: str | None = None) -> Number | None:
    """A number at `start`, sign and range taken; `opener` is the "between" or "from" before it."""
    sign, at = _sign(tokens, start, lex.words)
    core = core_at(tokens, at, lex)
    if core is None:
        return None
    joiners = lex.words.range_joiners
    if opener and (joiner := lex.words.range_openers[opener]) not in joiners:
        for use_and in (True, False):
            low = core_at(tokens, at, lex, use_and)
            if low and (found := _range(tokens, low, start, sign, frozenset({joiner, *joiners}), lex)):
                return found
    return _range(tokens, core, start, sign, joiners, lex) or _spread(tokens, _plain(core, start, sign), lex)


def _phrase_at(tokens: Sequence[str], i: int, phrases: Phrases) -> tuple[int, Comparator | None] | None:
    for words, comparator in phrases.get(tokens[i], ()):
        if len(words) == 1 or tuple(tokens[i : i + len(words)]) == words:
            return i + len(words), comparator
    return None


def hedge_after(tokens: Sequence[str], end: int) -> tuple[int, Comparator] | None:
    """A hedge at `end` for what stands before it ("or so", "at most") -> (its end, comparator)."""
    if end >= len(tokens):
        return None
    found = _phrase_at(tokens, end, lexicon().after_first)
    return (found[0], found[1]) if found and found[1] else None


def hedge_before(tokens: Sequence[str], start: int, floor: int = 0) -> tuple[int, Comparator] | None:
    """A hedge ending at `start` ("about", "no more than") -> (its start, comparator); none before `floor`."""
    if start <= floor or start > len(tokens):
        return None
    for words, comparator in lexicon().before_last.get(tokens[start - 1], ()):
        first = start - len(words)
        if first >= floor and comparator and tuple(tokens[first:start]) == words:
            return first, comparator
    return None


def _plus_minus_before(tokens: Sequence[str], start: int, floor: int, lex: Lexicon) -> int | None:
    """Where a "plus or minus" that ends at `start` begins."""
    for phrase in lex.words.plus_minus:
        first = start - len(phrase.split())
        if first >= floor and " ".join(tokens[first:start]) == phrase:
            return first
    return None


def _hedged(tokens: Sequence[str], number: Number, size: int, floor: int, lex: Lexicon) -> Number:
    """Add what stands around a number: between, from, plus or minus, about, or so; and its text."""
    w, start = lex.words, number.start
    low, high, kind, comparator = number.low, number.high, number.kind, number.comparator
    if number.kind != "range":
        if (first := _plus_minus_before(tokens, start, floor, lex)) is not None:
            start, kind, low, high = first, "plus_minus", -abs(number.value), abs(number.value)
        if start == number.start and tokens[start].startswith("±"):
            kind, low, high = "plus_minus", -abs(number.value), abs(number.value)
    elif start > floor and tokens[start - 1] in w.range_openers:
        start -= 1
    if before := hedge_before(tokens, start, floor):
        start, comparator = before
    end = number.end
    if comparator is None and end < size and (after := _phrase_at(tokens, end, lex.after_first)):
        end, comparator = after
    approximate = number.approximate or comparator == "~"
    text = " ".join(tokens[start:end])
    return Number(
        start, end, number.value, text, kind, low, high, number.digits, approximate, comparator, number.year
    )


def parse_number(tokens: Sequence[str], start: int, *, ordinals: bool = True) -> Number | None:
    """The longest number phrase that starts at `start`, with sign, range and hedges; None when none does."""
    if not 0 <= start < len(tokens):
        return None
    lex, size = lexicon(), len(tokens)
    padded = [*tokens, "", "", "", ""]
    at, opener = start, None
    if before := _phrase_at(padded, start, lex.before_first):
        at = before[0]
    for phrase in lex.words.plus_minus:
        words = phrase.split()
        if padded[at : at + len(words)] == words:
            at += len(words)
    if padded[at] in lex.words.range_openers:
        opener, at = padded[at], at + 1
    number = _number(padded, at, lex, opener)
    if opener and (number is None or number.kind != "range"):
        return None
    if ordinals and at == start and (core := ordinal_at(padded, at, lex)):
        end, kind = (number.end, number.kind) if number else (0, None)
        if core.end > end or (core.end == end and kind != "fraction"):
            return replace(_plain(core, start, 1), text=" ".join(tokens[start : core.end]))
    if number is None:
        return None
    hedged = _hedged(padded, number, size, start, lex)
    return hedged if hedged.start == start else None


def scan_numbers(padded: Sequence[str], size: int, *, ordinals: bool = True) -> Iterator[Number]:
    """`find_numbers` over tokens that are followed by four empty ones; `size` counts the real ones."""
    lex = lexicon()
    starters, w = lex.starters, lex.words
    floor, i = 0, 0
    while i < size:
        token = padded[i]
        if token not in starters and ("a" <= token < "{" or not token):
            i += 1
            continue
        number = _found(padded, i, floor, lex, ordinals)
        if number is None:
            i += 1
            continue
        if number.kind == "ordinal":
            number = replace(number, text=" ".join(padded[number.start : number.end]))
        else:
            start = number.start
            signed_word = start > floor and (padded[start - 1] in w.minus or padded[start - 1] in w.plus)
            if signed_word and _plus_minus_before(padded, start, floor, lex) is None:
                signed = _number(padded, start - 1, lex)
                number = signed if signed and signed.end >= number.end else number
            number = _hedged(padded, number, size, floor, lex)
        yield number
        floor = i = number.end


def _found(tokens: Sequence[str], i: int, floor: int, lex: Lexicon, ordinals: bool) -> Number | None:
    """A number at i that running speech means as one."""
    w, token = lex.words, tokens[i]
    before = tokens[i - 1] if i > floor else ""
    if token in w.articles and tokens[i + 1] not in lex.article_heads:
        return None
    if token in w.point and before in w.point_not_after:
        return None
    number = _number(tokens, i, lex, before if before in w.range_openers else None)
    if ordinals and (core := ordinal_at(tokens, i, lex)) and (number is None or core.end >= number.end):
        if number and number.kind == "fraction" and core.end == number.end:
            return number
        lone = core.end == i + 1 and token in w.ordinals_not_alone
        return None if lone else _plain(core, i, 1)
    if number is None:
        return None
    if token in w.oh and number.end - i < 3 and number.kind == "digits":  # "oh two of them"
        return number if before in w.labels or tokens[number.end] in lex.units else None
    if w.ones.get(token) == 1 and not _one_counts(tokens, i, before, number, lex):
        return None
    return number


def _one_counts(tokens: Sequence[str], i: int, before: str, number: Number, lex: Lexicon) -> bool:
    """Whether a number that begins with "one" is meant as a number: not in "this one", "one of them"."""
    w = lex.words
    if tokens[i + 1] in lex.units:
        return True
    if number.end == i + 1:
        return before in w.labels
    loose = number.kind == "digits" or (number.kind == "paired" and before in w.pronoun_before)
    return not (loose and (before in w.pronoun_before or before in w.noun_before))


def fraction_at(padded: Sequence[str], i: int) -> tuple[float, int] | None:
    """A fraction below one at i -> (value, end), a bare "half" too; for "a thou and a half"."""
    lex = lexicon()
    if found := fraction_core(padded, i, lex):
        return (float(found.value), found.end) if found.value < 1 else None
    return (0.5, i + 1) if padded[i] in lex.words.half and padded[i + 1] in {"", *lex.words.and_} else None


def find_numbers(tokens: Sequence[str]) -> list[Number]:
    """All number phrases of running speech, left to right, none overlapping."""
    return list(scan_numbers([*tokens, "", "", "", ""], len(tokens)))
