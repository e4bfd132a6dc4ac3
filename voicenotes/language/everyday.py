"""How surprising words are in ordinary English."""

from __future__ import annotations

from functools import lru_cache
from math import log

from voicenotes.vocabulary.expand import morphology
from voicenotes.vocabulary.homes import everyday_words
from voicenotes.vocabulary.pronunciation import in_dictionary

ORDINARY_RANK = 6000
ZIPF = 10.0
RARE, UNHEARD_OF = 12.7, 14.0
BELONGING_TOGETHER = 3.0  # by so much words in a row are less surprising than the sum of them


@lru_cache(maxsize=1)
def ordinary_words() -> frozenset[str]:
    """The most frequent words of everyday English."""
    return frozenset(everyday_words()[:ORDINARY_RANK]) | morphology().function


@lru_cache(maxsize=1)
def _ranks() -> dict[str, int]:
    return {word: rank for rank, word in enumerate(everyday_words(), start=1)}


@lru_cache(maxsize=20_000)
def surprise(word: str) -> float:
    """Minus the natural logarithm of how often a word comes in everyday English.

    By rank after Zipf (1949): the word of rank r is one in 10 r. Words that are not among the twelve
    thousand are `RARE`, those that no dictionary has `UNHEARD_OF`.
    """
    rank = _ranks().get(word)
    if rank is not None:
        return log(ZIPF * rank)
    return RARE if in_dictionary(word) else UNHEARD_OF
