"""The words that numbers are said with (vocab/english/numbers.yaml), ready for looking up."""

from __future__ import annotations

from functools import lru_cache
from typing import Literal, NamedTuple

from pydantic import BaseModel, ConfigDict

from voicenotes.language.units import unit_heads
from voicenotes.vocabulary.homes import SHARED_LANGUAGE, vocab_home
from voicenotes.vocabulary.yaml_files import read_as

NUMBER_FILE = "numbers.yaml"
Comparator = Literal["<", ">", "~"]


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


Parts = dict[str, tuple[tuple[tuple[str, ...], FractionWord], ...]]
Phrases = dict[str, tuple[tuple[tuple[str, ...], Comparator | None], ...]]


class Lexicon(NamedTuple):
    """numbers.yaml made ready for looking up."""

    words: NumberWords
    starters: frozenset[str]
    article_heads: frozenset[str]
    parts_one: Parts
    parts_many: Parts
    before_first: Phrases
    before_last: Phrases
    after_first: Phrases
    units: frozenset[str]


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
) -> Parts:
    grouped: dict[str, list[tuple[tuple[str, ...], FractionWord]]] = {}
    for words, fraction in some:
        grouped.setdefault(words[0], []).append((words, fraction))
    return {key: tuple(entries) for key, entries in grouped.items()}


def _by_word(phrases: list[tuple[tuple[str, ...], Comparator]], at: int) -> Phrases:
    grouped: dict[str, list[tuple[tuple[str, ...], Comparator | None]]] = {}
    for words, comparator in phrases:
        grouped.setdefault(words[at], []).append((words, comparator))
    return {key: tuple(sorted(some, key=lambda entry: -len(entry[0]))) for key, some in grouped.items()}


@lru_cache(maxsize=1)
def counting_words() -> frozenset[str]:
    """The single words that only count or number things."""
    words = lexicon().words
    return frozenset((
        *words.zero, *words.oh, *words.ones, *words.teens, *words.tens, *words.hundred, *words.scales,
        *words.dozens, *words.couples, *words.repeats, *words.point, *words.half, *words.ordinals,
        *words.labels,
    ))  # fmt: skip
