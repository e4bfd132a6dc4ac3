"""A pack's terms by how they sound, and the one that a stretch of words sounds like.

Word boundaries don't count: the sounds of the words are strung together. Terms are kept by the classes of
their consonants, so that a look-up compares only those whose classes are the same or one apart.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache
from itertools import islice, product
from typing import TYPE_CHECKING, NamedTuple

from voicenotes.language.sounds import distance, skeleton, sounds, sounds_of
from voicenotes.vocabulary.expand import plural_forms
from voicenotes.vocabulary.pronunciation import english_sounds, in_dictionary, pronunciations

if TYPE_CHECKING:
    from collections.abc import Mapping

    from voicenotes.language.lexicon import Lexicon

MOST_TERM_WORDS = 3
LEAST_SOUNDS, MOST_SOUNDS = 5, 18
LEAST_CLASSES_TO_CHANGE = 4
MOST_APART = 0.13
SAYINGS_OF_A_WORD, SAYINGS_OF_A_STRETCH = 2, 4


class Alike(NamedTuple):
    """A term that sounds like something: its words, the cost of the difference, and that cost a sound."""

    term: tuple[str, ...]
    cost: float
    apart: float


@dataclass(frozen=True, eq=False)
class SoundIndex:
    """Terms by sounds, sounds by their consonants' classes; compared and cached by identity."""

    given: Mapping[str, tuple[str, ...]]
    terms: dict[str, tuple[str, ...]] = field(default_factory=dict)
    by_skeleton: dict[str, list[str]] = field(default_factory=dict)


@lru_cache(maxsize=8)
def sound_index(lexicon: Lexicon) -> SoundIndex:
    """The index of a compiled pack, built once, with each term's other number. Of terms that sound the
    same the shortest counts."""
    index = SoundIndex(lexicon.pronunciations)
    for words in sorted(lexicon.term_phrases, key=lambda words: (len(words), words)):
        if len(words) > MOST_TERM_WORDS:
            continue
        head = "".join(ways_to_say(word, index)[0] for word in words[:-1])
        for last in (words[-1], *plural_forms(words[-1])):
            sequence = joined(head + ways_to_say(last, index)[0])
            if LEAST_SOUNDS <= len(sequence) <= MOST_SOUNDS and sequence not in index.terms:
                index.terms[sequence] = words
                index.by_skeleton.setdefault(skeleton(sequence), []).append(sequence)
    return index


def joined(sequence: str) -> str:
    """Sounds strung together: one that ends a word and begins the next is heard once."""
    return "".join(sound for at, sound in enumerate(sequence) if at == 0 or sequence[at - 1] != sound)


@lru_cache(maxsize=50_000)
def ways_to_say(word: str, index: SoundIndex) -> tuple[str, ...]:
    """The ways a word is said; one empty way for a word without a letter."""
    said = pronunciations(word, index.given, in_dictionary, english_sounds())
    return tuple(sounds_of(one) for one in said[:SAYINGS_OF_A_WORD]) or ("",)


@lru_cache(maxsize=50_000)
def sounds_like(words: tuple[str, ...], index: SoundIndex) -> Alike | None:
    """The term nearest in sound to some words, if one is near enough for its length."""
    best: Alike | None = None
    sayings = product(*(ways_to_say(word, index) for word in words))
    for saying in islice(sayings, SAYINGS_OF_A_STRETCH):
        sequence = joined("".join(saying))
        if not LEAST_SOUNDS - 1 <= len(sequence) <= MOST_SOUNDS + 1:
            continue
        for other in _candidates(skeleton(sequence), index):
            most = MOST_APART * len(other)
            if best is not None:
                most = min(most, best.cost)
            cost = distance(sequence, other, most)
            if cost < most or (cost == 0.0 and best is None):
                best = Alike(index.terms[other], cost, cost / len(other))
    return best


def _candidates(bones: str, index: SoundIndex) -> list[str]:
    """The terms with the same classes, or with one more, one less or one other."""
    keys = {bones}
    if len(bones) >= LEAST_CLASSES_TO_CHANGE - 1:
        classes = _all_classes()
        for at in range(len(bones) + 1):
            head, tail = bones[:at], bones[at:]
            keys.update(head + other + tail for other in classes)
            if tail and len(bones) >= LEAST_CLASSES_TO_CHANGE:
                keys.add(head + tail[1:])
                keys.update(head + other + tail[1:] for other in classes)
    return [sequence for key in sorted(keys) for sequence in index.by_skeleton.get(key, ())]


@lru_cache(maxsize=1)
def _all_classes() -> tuple[str, ...]:
    return tuple(sorted({kind for kind in sounds().classes.values() if kind is not None}))
