"""A number without sign, hedge or range: whole, decimal, with a fraction, scaled, or ordinal."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise

from voicenotes.language.number_words import Lexicon
from voicenotes.language.numerals import LONGEST_DIGITS, Core, looks_written, written_number
from voicenotes.language.spoken_fractions import fraction_core
from voicenotes.language.whole_numbers import cardinal_at, pieces_at, whole_at


def core_at(tokens: Sequence[str], i: int, lex: Lexicon, use_and: bool = True) -> Core | None:
    """The longest number at i without sign, hedge or range."""
    w = lex.words
    part = fraction_core(tokens, i, lex)
    whole = whole_at(tokens, i, lex, use_and)
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
        more = fraction_core(tokens, follow, lex) if joined or looks_written(tokens[follow]) else None
        if more and more.value < 1 and use_and:
            return _scaled(Core(whole.value + Fraction(more.value), more.end, "fraction"), tokens, lex)
    return whole


def _decimals(tokens: Sequence[str], i: int, lex: Lexicon) -> tuple[str, int] | None:
    """The digits behind "point": "oh oh two", "seventy five", "002" -> (digits, end)."""
    token = tokens[i]
    if len(token) > 1 and token.isdecimal() and token.isascii() and len(token) <= LONGEST_DIGITS:
        return token, i + 1
    pieces = pieces_at(tokens, i, lex)
    if not pieces:
        return None
    return "".join(piece.digits for piece in pieces), pieces[-1].end


def _scaled(core: Core, tokens: Sequence[str], lex: Lexicon) -> Core:
    """Scales: "[one point five] thousand", "[two and a half] million", "[half a] dozen"."""
    w = lex.words
    token = tokens[core.end]
    scale = w.scales.get(token) or w.dozens.get(token) or (100 if token in w.hundred else None)
    if scale is None:
        return core
    return Core(core.value * scale, core.end + 1, "cardinal", scale=scale)


def ordinal_at(tokens: Sequence[str], i: int, lex: Lexicon) -> Core | None:
    """Ordinals: "seventh", "twenty first", "one hundred and second", "7th"."""
    w = lex.words
    if (
        written := written_number(tokens[i]) if looks_written(tokens[i]) else None
    ) and written.kind == "ordinal":
        return Core(written.value, i + 1, "ordinal")
    end = i
    while tokens[end] not in w.ordinals:
        token = tokens[end]
        known = any(token in some for some in (w.ones, w.teens, w.tens, w.scales, w.hundred))
        if not (known or (end > i and token in w.and_) or (end == i and token in w.articles)):
            return None
        end += 1
    said = [*tokens[i:end], w.ordinals[tokens[end]], "", "", "", ""]
    core = cardinal_at(said, 0, lex)
    if core is None or core.end != end - i + 1:
        return None
    paired = any(a in w.ones and (b in w.teens or b in w.tens) for a, b in pairwise(said))
    return None if paired else Core(core.value, end + 1, "ordinal")
