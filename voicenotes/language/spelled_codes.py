"""Codes as they are spelled out: "four seven alpha dash two", "M as in Mike", "double seven oh nine lima".

The spelling words and signs are data: vocab/english/spelling.yaml.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

from pydantic import BaseModel, ConfigDict

from voicenotes.language.numbers import parse_number
from voicenotes.vocabulary.homes import SHARED_LANGUAGE, vocab_home
from voicenotes.vocabulary.yaml_files import read_as

if TYPE_CHECKING:
    from collections.abc import Sequence

SPELLING_FILE = "spelling.yaml"
MOST_FILLERS = 8
LEAST_SIGNS = 2
STRONG = 2


class Spelling(BaseModel):
    """The whole of spelling.yaml; the fields are explained there."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    letters: dict[str, str]
    as_in: tuple[str, ...]
    signs: dict[str, str]
    repeats: dict[str, int]
    zeros: frozenset[str]
    fillers: frozenset[str]
    between: frozenset[str]
    corrections: tuple[str, ...]


@lru_cache(maxsize=1)
def spelling() -> Spelling:
    """spelling.yaml, read once. Raises PackError naming file and line when it is malformed."""
    return read_as(vocab_home() / SHARED_LANGUAGE / SPELLING_FILE, Spelling)


def code_at(norms: Sequence[str], breaks: Sequence[int], at: int, end: int) -> tuple[str, int] | None:
    """The code spelled at `at`, at most up to `end` -> (upper-case signs, where it ends); None when none is.

    A correction inside it counts: of "four seven, no, four eight" the second, and where that is shorter it
    replaces the last signs only ("four seven alpha, sorry, bravo" is 47B).
    """
    signs, at = _signs(norms, breaks, at, end)
    while signs and (after := _corrected(norms, at, end)) is not None:
        second, stop = _signs(norms, breaks, after, end)
        if not second:
            break
        signs = second if len(second) >= len(signs) else signs[: -len(second)] + second
        at = stop
    code = signs.strip("-/.")
    if len(code) < LEAST_SIGNS or not any(sign.isdigit() for sign in code):
        return None
    return code, at


def _corrected(norms: Sequence[str], at: int, end: int) -> int | None:
    for phrase in sorted(spelling().corrections, key=len, reverse=True):
        words = tuple(phrase.split())
        if at + len(words) < end and tuple(norms[at : at + len(words)]) == words:
            return at + len(words)
    return None


def _signs(norms: Sequence[str], breaks: Sequence[int], at: int, end: int) -> tuple[str, int]:
    """Signs said one after another -> (the signs, where they end)."""
    data, signs, repeat, first = spelling(), "", 1, at
    while at < end and not (at > first and breaks[at] >= STRONG):
        norm = norms[at]
        if norm in data.repeats:
            repeat, at = data.repeats[norm], at + 1
            continue
        if signs and norm in data.between and at + 1 < end and _sign(norms, at + 1, end, 1):
            at += 1
            continue
        found = _sign(norms, at, end, repeat)
        if found is None:
            break
        piece, at = found
        signs, repeat = signs + piece, 1
    return signs, at


def _sign(norms: Sequence[str], at: int, end: int, repeat: int) -> tuple[str, int] | None:
    """One sign, or one number, and where it ends."""
    data, norm = spelling(), norms[at]
    if norm in data.signs:
        return data.signs[norm] * repeat, at + 1
    if norm in data.zeros:
        return "0" * repeat, at + 1
    letter = _letter(norms, at, end)
    if letter is not None:
        return letter[0].upper() * repeat, _past_as_in(norms, letter[1], end, letter[0])
    if norm.isascii() and not norm.isalpha() and any(sign.isalnum() for sign in norm):
        return ("".join(sign for sign in norm if sign.isalnum() or sign in "-/.").upper() * repeat, at + 1)
    limit = at + 1 if repeat > 1 else end
    number = parse_number(norms[:limit], at, ordinals=False)
    if number is None or number.kind not in ("cardinal", "digits", "paired") or number.comparator:
        return None
    return (number.digits or f"{number.value:.0f}") * repeat, number.end


def _letter(norms: Sequence[str], at: int, end: int) -> tuple[str, int] | None:
    data, norm = spelling(), norms[at].replace("-", "")
    if at + 1 < end and (both := norm + norms[at + 1]) in data.letters:
        return data.letters[both], at + 2
    if norm in data.letters:
        return data.letters[norm], at + 1
    if len(norm) == 1 and norm.isalpha() and norm.isascii():
        return norm, at + 1
    return None


def _past_as_in(norms: Sequence[str], at: int, end: int, letter: str) -> int:
    """Past "as in Mike" behind an M."""
    for phrase in spelling().as_in:
        words = tuple(phrase.split())
        name = at + len(words)
        if name < end and tuple(norms[at:name]) == words and norms[name][:1] == letter.lower():
            return name + (2 if name + 1 < end and norms[name] == "x" and norms[name + 1] == "ray" else 1)
    return at
