"""Parts of a whole as they are said: "half a", "a quarter", "three sixteenths"."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from voicenotes.language.number_words import FractionWord, Lexicon, Parts
from voicenotes.language.numerals import Core, below_hundred, looks_written, written_number


def fraction_core(tokens: Sequence[str], i: int, lex: Lexicon) -> Core | None:
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
    if looks_written(token) and (written := written_number(token)) and written.kind == "fraction":
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
    top = below_hundred(tokens, i, w) or _small_written(token, i)
    if top is None:
        return None
    if found := _part_word(tokens, top[1], lex.parts_many):
        if not found[0].bound or _of_or_unit(tokens, found[1], lex):
            return Core(Fraction(top[0], found[0].parts), found[1], "fraction")
    elif (found := _part_word(tokens, top[1], lex.parts_one)) and tokens[found[1]] in lex.units:
        return Core(Fraction(top[0], found[0].parts), found[1], "fraction")
    return None


def _part_word(tokens: Sequence[str], i: int, table: Parts) -> tuple[FractionWord, int] | None:
    for words, part in table.get(tokens[i], ()):
        if len(words) == 1 or tokens[i + 1] == words[1]:
            return part, i + len(words)
    return None


def _of_or_unit(tokens: Sequence[str], i: int, lex: Lexicon) -> bool:
    """Whether a unit follows, or "of a ..."."""
    w = lex.words
    return tokens[i] in lex.units or (tokens[i] in w.of and tokens[i + 1] in w.articles | {"one"})


def _small_written(token: str, i: int) -> tuple[int, int] | None:
    return (int(token), i + 1) if 0 < len(token) < 3 and token.isdecimal() and token.isascii() else None
