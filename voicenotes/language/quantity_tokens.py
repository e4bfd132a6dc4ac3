"""Word tokens made ready for finding quantities: glued units cut off, digits with spaces joined.

"2.5mm" is "2.5" "mm", "ten-inch" is "ten" "inch", and "4 00 volts", as recognisers write it, "400 volts".
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from voicenotes.language.number_words import lexicon
from voicenotes.language.units import unit_forms, unit_heads

_GLUED = re.compile(r"([-+±\u2212]?(?:\d+/\d+|\d[\d,]*(?:\.\d+)?|\.\d+))-?([^\d\s.,/-]\S*)", re.ASCII)


@dataclass(frozen=True)
class Tokens:
    """Tokens with the places they had: `first` and `last` word of each, None where nothing was changed.

    `glued` are units that were written onto their number, `doubts` says what was assumed of a token.
    """

    words: Sequence[str]
    first: list[int] | None = None
    last: list[int] | None = None
    glued: frozenset[int] = frozenset()
    doubts: dict[int, str] = field(default_factory=dict)


def prepared(tokens: Sequence[str]) -> Tokens:
    """The tokens cut and joined as quantities need them."""
    if all(map(str.isalpha, tokens)):
        return Tokens(tokens)
    words, first, last, glued = list[str](), list[int](), list[int](), set[int]()
    doubts: dict[int, str] = {}
    place = 0
    while place < len(tokens):
        if joined := _joined(tokens, place):
            text, doubt = joined
            if doubt:
                doubts[len(words)] = doubt
            words.append(text)
            first.append(place)
            last.append(place + 1)
            place += 2
            continue
        parts = _cut(tokens[place])
        if len(parts) > 1:
            glued.update(range(len(words) + 1, len(words) + len(parts)))
        words += parts
        first += [place] * len(parts)
        last += [place] * len(parts)
        place += 1
    return Tokens(words, first, last, frozenset(glued), doubts)


def _cut(token: str) -> list[str]:
    if token.isalpha():
        return [token]
    match = _GLUED.fullmatch(token)
    if match and any(len(form.words) == 1 for form in unit_forms().get(match[2], ())):
        return [match[1], match[2]]
    known = lexicon()
    if "-" in token and token.partition("-")[0] in known.starters - known.words.articles:
        return [part for part in token.split("-") if part]
    return [token]


def _joined(tokens: Sequence[str], i: int) -> tuple[str, str | None] | None:
    """Digits that a recogniser cut in two before a unit -> (the whole number, what is doubtful about it).

    "4 00 volts" is 400, "12 500 hours" 12500, "1 20 psi" 120, "0 02 mm" 0.02; not "station 4 120 psi".
    """
    if i + 2 >= len(tokens) or not (_is_digits(tokens[i]) and _is_digits(tokens[i + 1])):
        return None
    a, b = tokens[i], tokens[i + 1]
    labelled = i > 0 and (tokens[i - 1] in lexicon().words.labels or _is_digits(tokens[i - 1]))
    if labelled or not _unit_follows(tokens, i + 2):
        return None
    note = f"'{a} {b}' taken as "
    if a == "0":
        return (f"0.{b}", f"{note}0.{b}") if len(b) > 1 and b[0] == "0" else None
    if set(b) == {"0"} and len(b) in (2, 3) and len(a) < 4:
        return f"{a}{b}", None
    if (len(b) == 3 and len(a) < 3) or (len(b) == 2 and len(a) == 1):
        return f"{a}{b}", None if b.endswith("00") else f"{note}{a}{b}"
    return None


def _is_digits(token: str) -> bool:
    return token.isdecimal() and token.isascii()


def _unit_follows(tokens: Sequence[str], at: int) -> bool:
    return tokens[at] in unit_heads()
