"""Number tokens: those written in digits, and the words from one to ninety-nine."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from fractions import Fraction
from functools import lru_cache
from typing import Literal, NamedTuple

from voicenotes.language.number_words import NumberWords

LONGEST_DIGITS = 30  # more spoken digits in a row than this are not one number
Kind = Literal["cardinal", "paired", "digits", "decimal", "fraction", "ordinal", "range", "plus_minus"]


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


_WRITTEN = re.compile(
    r"([-+\u2212±])?"
    r"(\d{1,30}(?:\.\d{1,30})?|\.\d{1,30}|\d{1,3}(?:,\d{3}){1,9}(?:\.\d{1,30})?|\d{1,9},\d{1,9})(k)?",
    re.ASCII,
)
_SLASHED = re.compile(r"([-+\u2212±])?(\d{1,6})/(\d{1,6})", re.ASCII)
_TH = re.compile(r"(\d{1,30})(?:st|nd|rd|th)", re.ASCII)


@lru_cache(maxsize=4096)
def written_number(token: str) -> Written | None:
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


def looks_written(token: str) -> bool:
    """Whether a token may be a number in digits."""
    return not "a" <= token[:1] <= "z" and token != ""


def below_hundred(tokens: Sequence[str], i: int, w: NumberWords) -> tuple[int, int] | None:
    """A word number from 1 to 99 -> (value, end)."""
    token = tokens[i]
    if (tens := w.tens.get(token)) is not None:
        unit = w.ones.get(tokens[i + 1])
        return (tens, i + 1) if unit is None else (tens + unit, i + 2)
    value = w.ones.get(token) or w.teens.get(token)
    return None if value is None else (value, i + 1)
