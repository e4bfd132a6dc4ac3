"""Whole numbers as they are said: counted ("two hundred and six") or piece by piece ("one twenty")."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from functools import lru_cache
from typing import Literal, NamedTuple

from voicenotes.language.number_words import Lexicon
from voicenotes.language.numerals import (
    LONGEST_DIGITS,
    Core,
    Kind,
    below_hundred,
    looks_written,
    written_number,
)
from voicenotes.language.spoken_fractions import fraction_core
from voicenotes.language.units import unit_forms


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
    elif small := below_hundred(tokens, i, w):
        value, end = small
        pair = below_hundred(tokens, end, w) if end == i + 1 and value < 10 else None
        if pair and pair[0] >= 10 and tokens[pair[1]] not in w.hundred and not _tiny(tokens, end):
            return Core(value * 100 + pair[0], pair[1], "cardinal")
    else:
        token = tokens[i]
        written = written_number(token) if looks_written(token) else None
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
        if not use_and or fraction_core(tokens, end + 1, lex):
            return hundreds
        end += 1
    rest = below_hundred(tokens, end, w)
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


def cardinal_at(tokens: Sequence[str], i: int, lex: Lexicon, use_and: bool = True) -> Core | None:
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
            if not use_and or fraction_core(tokens, position + 1, lex):
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


def pieces_at(tokens: Sequence[str], i: int, lex: Lexicon) -> list[Piece]:
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
        elif small := below_hundred(tokens, i, w):
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
    pieces = pieces_at(tokens, i, lex)
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


def whole_at(tokens: Sequence[str], i: int, lex: Lexicon, use_and: bool = True) -> Core | None:
    """The longer of the two ways to say a whole number; "zero" too."""
    pieces, cardinal = _piecewise(tokens, i, lex), cardinal_at(tokens, i, lex, use_and)
    if pieces and (cardinal is None or pieces.end >= cardinal.end):
        return pieces
    if cardinal is None and tokens[i] in lex.words.zero:
        return Core(0, i + 1, "cardinal", "0")
    return cardinal
