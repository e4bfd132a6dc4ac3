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

import re
import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise
from typing import Literal, NamedTuple

from pydantic import BaseModel, ConfigDict

from voicenotes.language.units import unit_forms, unit_heads
from voicenotes.vocabulary.homes import SHARED_LANGUAGE, vocab_home
from voicenotes.vocabulary.yaml_files import read_as

NUMBER_FILE = "numbers.yaml"
LONGEST_DIGITS = 30  # more spoken digits in a row than this are not one number
Kind = Literal["cardinal", "paired", "digits", "decimal", "fraction", "ordinal", "range", "plus_minus"]
Comparator = Literal["<", ">", "~"]


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


class FractionWord(BaseModel):
    """A part of a whole; the fields are explained in numbers.yaml."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    one: str
    many: str
    parts: int
    loose: bool = False
    bound: bool = False


class NumberWords(BaseModel):
    """The whole of numbers.yaml."""

    model_config = ConfigDict(frozen=True, extra="forbid", alias_generator=lambda name: name.rstrip("_"))
    zero: frozenset[str]
    oh: frozenset[str]
    ones: dict[str, int]
    teens: dict[str, int]
    tens: dict[str, int]
    hundred: frozenset[str]
    scales: dict[str, int]
    dozens: dict[str, int]
    couples: dict[str, int]
    repeats: dict[str, int]
    articles: frozenset[str]
    and_: frozenset[str]
    of: frozenset[str]
    point: frozenset[str]
    minus: frozenset[str]
    plus: frozenset[str]
    half: frozenset[str]
    ordinals: dict[str, str]
    fractions: tuple[FractionWord, ...]
    range_joiners: frozenset[str]
    range_openers: dict[str, str]
    before: dict[Comparator, tuple[str, ...]]
    after: dict[Comparator, tuple[str, ...]]
    plus_minus: tuple[str, ...]
    labels: frozenset[str]
    pronoun_before: frozenset[str]
    noun_before: frozenset[str]
    point_not_after: frozenset[str]
    ordinals_not_alone: frozenset[str]


Phrases = dict[str, tuple[tuple[tuple[str, ...], Comparator | None], ...]]


class Lexicon(NamedTuple):
    """numbers.yaml made ready for looking up."""

    words: NumberWords
    starters: frozenset[str]
    article_heads: frozenset[str]
    parts_one: dict[str, tuple[tuple[tuple[str, ...], FractionWord], ...]]
    parts_many: dict[str, tuple[tuple[tuple[str, ...], FractionWord], ...]]
    before_first: Phrases
    before_last: Phrases
    after_first: Phrases
    units: frozenset[str]


class Core(NamedTuple):
    """A bare number without sign, hedge or range."""

    value: Fraction | int
    end: int
    kind: Kind
    digits: str | None = None
    scale: int = 1
    vague: bool = False


class Written(NamedTuple):
    """A number token in digits."""

    value: Fraction
    kind: Kind
    digits: str | None
    signed: bool


# --- the words -------------------------------------------------------------------------------------------


@lru_cache(maxsize=1)
def lexicon() -> Lexicon:
    """numbers.yaml, read once. Raises PackError naming file and line when it is malformed."""
    w = read_as(vocab_home() / SHARED_LANGUAGE / NUMBER_FILE, NumberWords)
    values = {*w.ones, *w.teens, *w.tens, *w.zero}
    large = {*w.hundred, *w.scales, *w.dozens, *w.couples}
    one_first, many_first = (
        {f.one.split()[0] for f in w.fractions},
        {f.many.split()[0] for f in w.fractions},
    )
    before = [(tuple(p.split()), c) for c, some in w.before.items() for p in some]
    after = [(tuple(p.split()), c) for c, some in w.after.items() for p in some]
    return Lexicon(
        words=w,
        starters=frozenset(
            {*values, *large, *w.oh, *w.repeats, *w.articles, *w.point, *w.half, *one_first, *w.ordinals}
        ),
        article_heads=frozenset({*large, *one_first, *many_first}),
        parts_one=_by_first([(tuple(f.one.split()), f) for f in w.fractions]),
        parts_many=_by_first([(tuple(f.many.split()), f) for f in w.fractions]),
        before_first=_by_word(before, 0),
        before_last=_by_word(before, -1),
        after_first=_by_word(after, 0),
        units=unit_heads(),
    )


def _by_first(
    some: list[tuple[tuple[str, ...], FractionWord]],
) -> dict[str, tuple[tuple[tuple[str, ...], FractionWord], ...]]:
    grouped: dict[str, list[tuple[tuple[str, ...], FractionWord]]] = {}
    for words, fraction in some:
        grouped.setdefault(words[0], []).append((words, fraction))
    return {key: tuple(entries) for key, entries in grouped.items()}


def _by_word(phrases: list[tuple[tuple[str, ...], Comparator]], at: int) -> Phrases:
    grouped: dict[str, list[tuple[tuple[str, ...], Comparator | None]]] = {}
    for words, comparator in phrases:
        grouped.setdefault(words[at], []).append((words, comparator))
    return {key: tuple(sorted(some, key=lambda entry: -len(entry[0]))) for key, some in grouped.items()}


_WRITTEN = re.compile(
    r"([-+\u2212±])?"
    r"(\d{1,30}(?:\.\d{1,30})?|\.\d{1,30}|\d{1,3}(?:,\d{3}){1,9}(?:\.\d{1,30})?|\d{1,9},\d{1,9})(k)?",
    re.ASCII,
)
_SLASHED = re.compile(r"([-+\u2212±])?(\d{1,6})/(\d{1,6})", re.ASCII)
_TH = re.compile(r"(\d{1,30})(?:st|nd|rd|th)", re.ASCII)


@lru_cache(maxsize=4096)
def _written(token: str) -> Written | None:
    """A token in digits: "7,200", ".002", "0,02", "15k", "1/2", "7th", a single vulgar fraction."""
    if match := _WRITTEN.fullmatch(token):
        sign, body, thousands = match.groups()
        if "," in body:
            grouped = re.fullmatch(r"[1-9]\d{0,2}(?:,\d{3})+(?:\.\d+)?", body)
            body = body.replace(",", "" if grouped else ".")
        value = Fraction(body) * (1000 if thousands else 1) * (-1 if sign in ("-", "\u2212") else 1)
        whole = body.isdecimal() and body.isascii()
        kind: Kind = "cardinal" if whole else "decimal"
        return Written(value, kind, body if whole and not sign and not thousands else None, bool(sign))
    if (match := _SLASHED.fullmatch(token)) and int(match[3]):
        part = Fraction(int(match[2]), int(match[3])) * (-1 if match[1] in ("-", "\u2212") else 1)
        return Written(part, "fraction", None, bool(match[1]))
    if match := _TH.fullmatch(token):
        return Written(Fraction(match[1]), "ordinal", None, False)
    if token and unicodedata.decomposition(token[-1]).startswith("<fraction>"):
        whole_part = token[:-1]
        if not whole_part or (whole_part.isdecimal() and len(whole_part) < LONGEST_DIGITS):
            part = Fraction(unicodedata.numeric(token[-1])).limit_denominator(100)
            return Written(part + int(whole_part or 0), "fraction", None, False)
    return None


def _looks_written(token: str) -> bool:
    return not "a" <= token[:1] <= "z" and token != ""


# --- whole numbers ---------------------------------------------------------------------------------------


def _below_hundred(tokens: Sequence[str], i: int, w: NumberWords) -> tuple[int, int] | None:
    """A word number from 1 to 99 -> (value, end)."""
    token = tokens[i]
    if (tens := w.tens.get(token)) is not None:
        unit = w.ones.get(tokens[i + 1])
        return (tens, i + 1) if unit is None else (tens + unit, i + 2)
    value = w.ones.get(token) or w.teens.get(token)
    return None if value is None else (value, i + 1)


def _group(tokens: Sequence[str], i: int, lex: Lexicon, use_and: bool, first: bool) -> Core | None:
    """What may stand before "thousand": below a hundred, hundreds, a dozen, a couple, digits."""
    w, vague, value, end = lex.words, False, 1, i
    if first and tokens[i] in w.articles and tokens[i + 1] in lex.article_heads:
        end = i + 1
    heads = tokens[end]
    if first and (heads in w.hundred or heads in w.scales or heads in w.dozens):
        value = 1
    elif first and heads in w.couples:
        more = end + 2 if tokens[end + 1] in w.of else end + 1
        known = end > i or more == end + 2 or tokens[more] in w.hundred or tokens[more] in w.scales
        if not (known or tokens[more] in lex.units or tokens[more] in w.dozens):
            return None
        value, end, vague = w.couples[heads], more, True
    elif end > i:
        return None
    elif small := _below_hundred(tokens, i, w):
        value, end = small
        pair = _below_hundred(tokens, end, w) if end == i + 1 and value < 10 else None
        if pair and pair[0] >= 10 and tokens[pair[1]] not in w.hundred and not _tiny(tokens, end):
            return Core(value * 100 + pair[0], pair[1], "cardinal")
    else:
        token = tokens[i]
        written = _written(token) if _looks_written(token) else None
        if written is None or written.kind not in ("cardinal", "decimal") or (written.signed and not first):
            return None
        if not first and written.kind != "cardinal":
            return None
        if tokens[i + 1] not in w.hundred or written.value >= 100:
            return Core(written.value, i + 1, written.kind, written.digits)
        return Core(written.value * 100, i + 2, "cardinal")
    if tokens[end] in w.dozens:
        return Core(value * w.dozens[tokens[end]], end + 1, "cardinal", vague=vague)
    if tokens[end] in w.hundred and value < 100:
        return _after_hundred(tokens, Core(value * 100, end + 1, "cardinal", vague=vague), lex, use_and)
    return Core(value, end, "cardinal", vague=vague)


def _after_hundred(tokens: Sequence[str], hundreds: Core, lex: Lexicon, use_and: bool) -> Core:
    """Hundreds: "[two hundred] and twenty", "[two hundred] twenty"; not "[one hundred] two hundred"."""
    w, end = lex.words, hundreds.end
    if tokens[end] in w.and_:
        if not use_and or _fraction(tokens, end + 1, lex):
            return hundreds
        end += 1
    rest = _below_hundred(tokens, end, w)
    if rest is None or tokens[rest[1]] in w.hundred or _tiny(tokens, end):
        return hundreds
    return hundreds._replace(value=hundreds.value + rest[0], end=rest[1])


def _tiny(tokens: Sequence[str], i: int) -> bool:
    """Whether "ten thousandths" stands here, a unit of its own behind another number."""
    return f"{tokens[i]} {tokens[i + 1]}" in _two_word_units()


@lru_cache(maxsize=1)
def _two_word_units() -> frozenset[str]:
    return frozenset(
        " ".join(form.words)
        for forms in unit_forms().values()
        for form in forms
        if len(form.words) == 2 and form.spoken.part is not None
    )


def _cardinal(tokens: Sequence[str], i: int, lex: Lexicon, use_and: bool = True) -> Core | None:
    """The longest whole number at i, "and" taken the British way; also "2 thousand" and "1.5 million"."""
    w = lex.words
    total: Fraction | int = 0
    limit, position, end, vague, digits = 10**40, i, 0, False, None
    kind: Kind = "cardinal"
    while True:
        group = _group(tokens, position, lex, use_and, first=position == i)
        if group is None and end and tokens[position] in w.oh | w.zero and tokens[position + 1] in w.ones:
            group = Core(w.ones[tokens[position + 1]], position + 2, "cardinal")
        if group is None or group.value >= limit:
            break
        vague = vague or group.vague
        scale = w.scales.get(tokens[group.end])
        if scale is None or scale >= limit:
            if scale is None:
                digits, kind = (group.digits, group.kind) if not end else (None, kind)
                total, end, limit = total + group.value, group.end, 1
            break
        total, limit, end = total + group.value * scale, scale, group.end + 1
        position = end
        if tokens[position] in w.and_:
            if not use_and or _fraction(tokens, position + 1, lex):
                break
            position += 1
    if not end:
        return None
    return Core(total, end, kind, digits, limit if limit < 10**40 else 1, vague)


class Piece(NamedTuple):
    """A step of a number said piece by piece: its digits, where it ends, and what it is."""

    digits: str
    end: int
    sort: Literal["digit", "zero", "tens", "written"]


def _pieces(tokens: Sequence[str], i: int, lex: Lexicon) -> list[Piece]:
    """Digits, ohs, doubles and numbers from 10 to 99, as long as they follow each other."""
    w, pieces = lex.words, list[Piece]()
    while len(pieces) < LONGEST_DIGITS:
        token = tokens[i]
        if token in w.zero or token in w.oh:
            piece = Piece("0", i + 1, "zero")
        elif token in w.repeats:
            digit = "0" if tokens[i + 1] in w.zero | w.oh else str(w.ones.get(tokens[i + 1], ""))
            if not digit:
                break
            piece = Piece(digit * w.repeats[token], i + 2, "digit")
        elif small := _below_hundred(tokens, i, w):
            if _tiny(tokens, i) and pieces:
                break
            piece = Piece(str(small[0]), small[1], "digit" if small[0] < 10 else "tens")
        elif len(token) == 1 and token.isdecimal() and token.isascii():
            piece = Piece(token, i + 1, "written")
        else:
            break
        if piece.sort == "digit" and pieces and pieces[-1].sort == "tens":
            break  # "fourteen two": two numbers, or one nobody can tell
        pieces.append(piece)
        i = piece.end
    while len(pieces) > 1 and (tokens[pieces[-1].end] in w.hundred or tokens[pieces[-1].end] in w.dozens):
        pieces.pop()
    return pieces


def _piecewise(tokens: Sequence[str], i: int, lex: Lexicon) -> Core | None:
    """Said by pieces: "one twenty", "nineteen ninety eight", "twenty oh eight", "oh four oh seven"."""
    pieces = _pieces(tokens, i, lex)
    while pieces:
        sorts = [piece.sort for piece in pieces]
        digits, end = "".join(piece.digits for piece in pieces), pieces[-1].end
        doubled = len(digits) > len(pieces) and "tens" not in sorts
        if len(pieces) == 2 and sorts[1] == "tens" and sorts[0] in ("digit", "tens"):
            return Core(int(digits), end, "paired", digits)
        if sorts == ["tens", "zero", "digit"]:
            return Core(int(digits), end, "paired", digits)
        if "tens" not in sorts and (len(pieces) > 1 or doubled):
            if "written" not in sorts or len(pieces) > 2:
                return Core(int(digits), end, "digits", digits)
        elif len(pieces) > 2 and ("zero" in sorts or sorts.count("digit") > 1):
            return Core(int(digits), end, "digits", digits)
        pieces.pop()
    return None


def _whole(tokens: Sequence[str], i: int, lex: Lexicon, use_and: bool = True) -> Core | None:
    """The longer of the two ways to say a whole number; "zero" too."""
    pieces, cardinal = _piecewise(tokens, i, lex), _cardinal(tokens, i, lex, use_and)
    if pieces and (cardinal is None or pieces.end >= cardinal.end):
        return pieces
    if cardinal is None and tokens[i] in lex.words.zero:
        return Core(0, i + 1, "cardinal", "0")
    return cardinal


# --- decimals and fractions ------------------------------------------------------------------------------


def _decimals(tokens: Sequence[str], i: int, lex: Lexicon) -> tuple[str, int] | None:
    """The digits behind "point": "oh oh two", "seventy five", "002" -> (digits, end)."""
    token = tokens[i]
    if len(token) > 1 and token.isdecimal() and token.isascii() and len(token) <= LONGEST_DIGITS:
        return token, i + 1
    pieces = _pieces(tokens, i, lex)
    if not pieces:
        return None
    return "".join(piece.digits for piece in pieces), pieces[-1].end


def _of_or_unit(tokens: Sequence[str], i: int, lex: Lexicon) -> bool:
    """Whether a unit follows, or "of a ..."."""
    w = lex.words
    return tokens[i] in lex.units or (tokens[i] in w.of and tokens[i + 1] in w.articles | {"one"})


def _part_word(
    tokens: Sequence[str], i: int, table: dict[str, tuple[tuple[tuple[str, ...], FractionWord], ...]]
) -> tuple[FractionWord, int] | None:
    for words, part in table.get(tokens[i], ()):
        if len(words) == 1 or tokens[i + 1] == words[1]:
            return part, i + len(words)
    return None


def _fraction(tokens: Sequence[str], i: int, lex: Lexicon) -> Core | None:
    """Parts: "half a", "a quarter", "three sixteenths", "1/2"; never the bare "half" of "half the"."""
    w, token = lex.words, tokens[i]
    if token in w.half:
        after = tokens[i + 1]
        if after in w.articles:
            return Core(Fraction(1, 2), i + 2, "fraction")
        if after in w.of and tokens[i + 2] in w.articles and tokens[i + 3] in lex.units:
            return Core(Fraction(1, 2), i + 1, "fraction")
        if after in lex.units or after in w.dozens or after in w.scales:
            return Core(Fraction(1, 2), i + 1, "fraction")
        return None
    if _looks_written(token) and (written := _written(token)) and written.kind == "fraction":
        return Core(written.value, i + 1, "fraction")
    if token in w.articles or w.ones.get(token) == 1:
        if (found := _part_word(tokens, i + 1, lex.parts_one)) is None:
            return None
        part, end = found
        spoken_one = token not in w.articles and not part.bound
        if part.loose or spoken_one or _of_or_unit(tokens, end, lex):
            return Core(Fraction(1, part.parts), end, "fraction")
        return None
    if (found := _part_word(tokens, i, lex.parts_one)) and found[0].loose:
        known = _of_or_unit(tokens, found[1], lex)
        return Core(Fraction(1, found[0].parts), found[1], "fraction") if known else None
    top = _below_hundred(tokens, i, w) or _small_written(token, i)
    if top is None:
        return None
    if found := _part_word(tokens, top[1], lex.parts_many):
        if not found[0].bound or _of_or_unit(tokens, found[1], lex):
            return Core(Fraction(top[0], found[0].parts), found[1], "fraction")
    elif (found := _part_word(tokens, top[1], lex.parts_one)) and tokens[found[1]] in lex.units:
        return Core(Fraction(top[0], found[0].parts), found[1], "fraction")
    return None


def _small_written(token: str, i: int) -> tuple[int, int] | None:
    return (int(token), i + 1) if 0 < len(token) < 3 and token.isdecimal() and token.isascii() else None


def _scaled(core: Core, tokens: Sequence[str], lex: Lexicon) -> Core:
    """Scales: "[one point five] thousand", "[two and a half] million", "[half a] dozen"."""
    w = lex.words
    token = tokens[core.end]
    scale = w.scales.get(token) or w.dozens.get(token) or (100 if token in w.hundred else None)
    if scale is None:
        return core
    return Core(core.value * scale, core.end + 1, "cardinal", scale=scale)


def _core(tokens: Sequence[str], i: int, lex: Lexicon, use_and: bool = True) -> Core | None:
    """The longest number at i without sign, hedge or range."""
    w = lex.words
    part = _fraction(tokens, i, lex)
    whole = _whole(tokens, i, lex, use_and)
    if part and (whole is None or part.end >= whole.end):
        return _scaled(part, tokens, lex)
    point = i if whole is None else whole.end
    if whole is None and tokens[i] in w.oh and tokens[i + 1] in w.point:
        point = i + 1
    takes_point = tokens[point] in w.point and (whole is None or whole.kind != "decimal")
    if takes_point and (digits := _decimals(tokens, point + 1, lex)):
        value = Fraction(f"{int(whole.value) if whole else 0}.{digits[0]}")
        return _scaled(Core(value, digits[1], "decimal"), tokens, lex)
    if whole is None:
        return None
    if whole.kind in ("cardinal", "paired", "digits"):
        joined = tokens[whole.end] in w.and_
        follow = whole.end + joined
        more = _fraction(tokens, follow, lex) if joined or _looks_written(tokens[follow]) else None
        if more and more.value < 1 and use_and:
            return _scaled(Core(whole.value + Fraction(more.value), more.end, "fraction"), tokens, lex)
    return whole


def _ordinal(tokens: Sequence[str], i: int, lex: Lexicon) -> Core | None:
    """Ordinals: "seventh", "twenty first", "one hundred and second", "7th"."""
    w = lex.words
    if (written := _written(tokens[i]) if _looks_written(tokens[i]) else None) and written.kind == "ordinal":
        return Core(written.value, i + 1, "ordinal")
    end = i
    while tokens[end] not in w.ordinals:
        token = tokens[end]
        known = any(token in some for some in (w.ones, w.teens, w.tens, w.scales, w.hundred))
        if not (known or (end > i and token in w.and_) or (end == i and token in w.articles)):
            return None
        end += 1
    said = [*tokens[i:end], w.ordinals[tokens[end]], "", "", "", ""]
    core = _cardinal(said, 0, lex)
    if core is None or core.end != end - i + 1:
        return None
    paired = any(a in w.ones and (b in w.teens or b in w.tens) for a, b in pairwise(said))
    return None if paired else Core(core.value, end + 1, "ordinal")


# --- sign, range, hedge ----------------------------------------------------------------------------------


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
    high = _core(tokens, at, lex)
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
        if list(tokens[number.end : after]) == words and (core := _core(tokens, after, lex)):
            by = abs(float(core.value))
            return replace(
                number, end=core.end, kind="plus_minus", low=number.value - by, high=number.value + by
            )
    return number


def _number(tokens: Sequence[str], start: int, lex: Lexicon, opener: str | None = None) -> Number | None:
    """A number at `start`, sign and range taken; `opener` is the "between" or "from" before it."""
    sign, at = _sign(tokens, start, lex.words)
    core = _core(tokens, at, lex)
    if core is None:
        return None
    joiners = lex.words.range_joiners
    if opener and (joiner := lex.words.range_openers[opener]) not in joiners:
        for use_and in (True, False):
            low = _core(tokens, at, lex, use_and)
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
    if ordinals and at == start and (core := _ordinal(padded, at, lex)):
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
    if ordinals and (core := _ordinal(tokens, i, lex)) and (number is None or core.end >= number.end):
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
    if found := _fraction(padded, i, lex):
        return (float(found.value), found.end) if found.value < 1 else None
    return (0.5, i + 1) if padded[i] in lex.words.half and padded[i + 1] in {"", *lex.words.and_} else None


def find_numbers(tokens: Sequence[str]) -> list[Number]:
    """All number phrases of running speech, left to right, none overlapping."""
    return list(scan_numbers([*tokens, "", "", "", ""], len(tokens)))
