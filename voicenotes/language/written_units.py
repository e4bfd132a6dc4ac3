"""Numbers and units as a recogniser writes them: "7%", "60°C", '10"', "2.8mm/s", "25-30 psi", "p.s.i.".

A tokenizer for running text cuts such pieces at their signs and drops the signs. Here a piece that is
a written number, a unit, or both comes apart into words that the rest knows: "7%" is "7" "percent".
The forms are those of vocab/english/units.yaml.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import NamedTuple

from voicenotes.language.units import SpokenUnit, unit_table

_NUMBER = r"[-+±\u2212]?(?:\d+/\d+|\d[\d,]*\.?\d*[½¼¾⅓⅔⅛⅜⅝⅞]?|\.\d+|[½¼¾⅓⅔⅛⅜⅝⅞])(?:k(?![^\W\d_]))?"
_UNIT = r"[^\s\d.,;:!?()\[\]/-][^\s,;:!?()\[\]]*?"
_PIECE = re.compile(
    rf"(?P<first>{_NUMBER})(?:(?P<dash>[-\u2013\u2014])(?P<second>\d+/\d+|{_NUMBER}))?(?:-?(?P<unit>{_UNIT}))?",
    re.ASCII,
)
_DOTTED = re.compile(r"(?:[a-z]\.){2,}[a-z]?", re.IGNORECASE)
_LAST_MARKS = ".,;:!?)]"
_FIRST_MARKS = "(["
_LEAST_DIGITS_APART = 2


class WrittenPiece(NamedTuple):
    """A word made of part of a piece of text, with its places in it."""

    norm: str
    start: int
    end: int


def written_pieces(piece: str, before: str = "", following: str = "") -> list[WrittenPiece] | None:
    """The words in one whitespace-free piece of text, or None when it is no written number or unit.

    `before` is the norm before it and `following` the lower-case word after it: "60 C" is Celsius, but
    "16C collet" names a collet.
    """
    start = 1 if piece[:1] in _FIRST_MARKS else 0
    body = piece[start:].rstrip(_LAST_MARKS)
    if not body:
        return None
    if alone := _unit_alone(body, before, following):
        return [WrittenPiece(alone, start, start + len(body))]
    if (dotted := _DOTTED.fullmatch(body + ".")) and "." in body:
        joined = dotted[0].replace(".", "").lower()
        return [WrittenPiece(joined, start, start + len(body))] if joined in _forms() else None
    match = _PIECE.fullmatch(body)
    if match is None or not (match["unit"] or match["dash"]):
        return None
    pieces = [WrittenPiece(match["first"].lower(), start, start + match.end("first"))]
    if match["dash"]:
        pieces.append(WrittenPiece("-", start + match.start("dash"), start + match.end("dash")))
        pieces.append(WrittenPiece(match["second"].lower(), *(start + at for at in match.span("second"))))
        if "/" in match["second"]:
            del pieces[1]  # "2-1/2" is two and a half
    if match["unit"]:
        name = _written(match["unit"], following)
        if name is None:
            return None
        pieces.append(WrittenPiece(name, *(start + at for at in match.span("unit"))))
    return pieces


def _unit_alone(body: str, before: str, following: str) -> str | None:
    """A unit apart from its number: "%", "mm/s", "°C", and "C" or "F" right behind digits."""
    apart = _apart().get(body)
    if apart and following not in apart[0].not_before:
        digits = sum(sign.isdigit() for sign in before)
        if digits and ("." in before or (body.isupper() and digits >= _LEAST_DIGITS_APART)):
            return apart[1]
    if body.isalnum() and body.isascii():
        return None
    known = _forms().get(body) or _forms().get(body.lower())
    return known[1] if known and before and not (known[2] and body.isascii()) else None


def _written(text: str, following: str) -> str | None:
    known = _forms().get(text) or _forms().get(text.lower())
    return None if known is None or following in known[0].not_before else known[1]


@lru_cache(maxsize=1)
def _forms() -> dict[str, tuple[SpokenUnit, str, bool]]:
    """Written form -> its unit, the word that it stands for, and whether it must touch its number."""
    forms: dict[str, tuple[SpokenUnit, str, bool]] = {}
    for spoken in unit_table().spoken:
        word = _word_for(spoken)
        for short, texts in ((False, spoken.say), (True, spoken.write)):
            for text in texts:
                if " " not in text:
                    plain = not short and text.isascii() and any(sign.isalpha() for sign in text)
                    forms.setdefault(text, (spoken, text if plain else word, short))
    return forms


@lru_cache(maxsize=1)
def _apart() -> dict[str, tuple[SpokenUnit, str]]:
    return {text: (spoken, _word_for(spoken)) for spoken in unit_table().spoken for text in spoken.apart}


def _word_for(spoken: SpokenUnit) -> str:
    """One word that says the unit: the first of its spoken forms without a space."""
    plain = [form for form in spoken.say if " " not in form]
    letters = [form for form in plain if form.isalpha()]
    return (letters or plain or list(spoken.say))[0]
