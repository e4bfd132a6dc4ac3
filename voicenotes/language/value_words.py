"""The words of english/values.yaml: what a spoken value is for."""

from __future__ import annotations

from functools import lru_cache

from pydantic import BaseModel, ConfigDict

from voicenotes.vocabulary.homes import SHARED_LANGUAGE, vocab_home
from voicenotes.vocabulary.yaml_files import read_as

VALUE_FILE = "values.yaml"


class ValueWords(BaseModel):
    """The whole of values.yaml; the fields are explained there."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    base_before: frozenset[str]
    base_after: frozenset[str]
    circumstance: frozenset[str]
    states: frozenset[str]
    nominal: tuple[str, ...]
    before_lent: frozenset[str]
    after_lent: frozenset[str]


@lru_cache(maxsize=1)
def value_words() -> ValueWords:
    """values.yaml, read once. Raises PackError naming file and line when it is malformed."""
    return read_as(vocab_home() / SHARED_LANGUAGE / VALUE_FILE, ValueWords)


def phrase_ends(norms: tuple[str, ...] | list[str], phrases: tuple[str, ...]) -> list[int]:
    """The places right behind each of the phrases found in the words."""
    ends = []
    for phrase in phrases:
        words = tuple(phrase.split())
        for at in range(len(norms) - len(words) + 1):
            if tuple(norms[at : at + len(words)]) == words:
                ends.append(at + len(words))
    return sorted(ends)
