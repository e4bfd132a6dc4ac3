"""A pack's terms by their letters, and the one that some letters nearly spell."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass
from functools import lru_cache
from math import log
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from voicenotes.language.lexicon import Lexicon, Subject

LEAST_LETTERS = 6
LEAST_SPELLING_RATIO = 86.0
RARER_BY_PLACE = 0.5


@dataclass(frozen=True, eq=False)
class NearIndex:
    """A pack's terms by length in letters, how rare each is, and its words; compared and cached by identity.

    A pack lists what is said most first: the rarity of the nth term of a thing is
    half the logarithm of n.
    """

    by_length: dict[int, tuple[str, ...]]
    terms: dict[str, tuple[str, ...]]
    rarity: dict[tuple[str, ...], float]
    words: frozenset[str]


@lru_cache(maxsize=8)
def near_index(lexicon: Lexicon) -> NearIndex:
    """The index of a compiled pack, built once."""
    by_length: dict[int, list[str]] = defaultdict(list)
    terms: dict[str, tuple[str, ...]] = {}
    rarity: dict[tuple[str, ...], float] = {}
    listed: Counter[Subject] = Counter()
    for words, subjects in lexicon.term_phrases.items():
        listed.update(subjects)
        rarity[words] = RARER_BY_PLACE * log(min(listed[subject] for subject in subjects))
        joined = "".join(words)
        if len(joined) < LEAST_LETTERS or not joined.isalpha() or joined in terms:
            continue
        terms[joined] = words
        by_length[len(joined)].append(joined)
    return NearIndex(
        {length: tuple(sorted(items)) for length, items in by_length.items()},
        terms,
        rarity,
        frozenset(word for words in lexicon.term_phrases for word in words),
    )


@lru_cache(maxsize=20_000)
def spelt_like(joined: str, index: NearIndex) -> tuple[str, ...] | None:
    """The term nearest to some letters in spelling, if one is near enough."""
    from rapidfuzz import fuzz, process

    if len(joined) < LEAST_LETTERS:
        return None
    lengths = range(len(joined) - 2, len(joined) + 3)
    pool = [term for length in lengths for term in index.by_length.get(length, ())]
    best = process.extractOne(joined, pool, scorer=fuzz.ratio, score_cutoff=LEAST_SPELLING_RATIO)
    return index.terms[best[0]] if best is not None else None
