"""Which texts another pack could be read otherwise in, found without reading them.

A reading looks things up in the compiled pack: phrases word by word, single words (whether it has them), and,
for guesses, the terms that some words nearly spell or sound like. Two packs read a text alike if every such
look-up answers the same. So a text is touched where it has a word that only one of them knows, a whole phrase
that only one of them has, or words that nearly spell, or sound like, a term that only one of them has.
In doubt it is touched: `tests/test_learning_effect.py` compares with reading everything again.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import islice, product
from typing import TYPE_CHECKING, Any

from voicenotes.language.compile_lexicon import lexicon_of
from voicenotes.language.lexicon import MEANINGS
from voicenotes.language.near import MOST_MISSPELT_WORDS, MOST_WORDS
from voicenotes.language.sound_index import (
    LEAST_SOUNDS,
    MOST_APART,
    MOST_SOUNDS,
    SAYINGS_OF_A_STRETCH,
    joined,
    sound_index,
    ways_to_say,
)
from voicenotes.language.sounds import distance, skeleton
from voicenotes.language.spelling_index import LEAST_LETTERS, LEAST_SPELLING_RATIO, near_index
from voicenotes.language.words import words_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from voicenotes.language.lexicon import Lexicon
    from voicenotes.model import Transcript
    from voicenotes.vocabulary.schema import Pack


@dataclass(frozen=True)
class Difference:
    """What only one of two compiled packs has: single words, phrases, terms as spelt, terms as they sound."""

    words: frozenset[str] = frozenset()
    phrases: frozenset[tuple[str, ...]] = frozenset()
    spellings: frozenset[str] = frozenset()
    sequences: frozenset[str] = frozenset()


@dataclass
class TextIndex:
    """Texts by their words, by what stretches of their words spell, and by how these sound."""

    norms: list[tuple[str, ...]] = field(default_factory=list)
    by_word: dict[str, set[int]] = field(default_factory=dict)
    by_letters: dict[str, set[int]] = field(default_factory=dict)
    by_skeleton: dict[str, dict[str, set[int]]] = field(default_factory=dict)


def text_index(texts: Iterable[Sequence[Transcript]], pack: Pack) -> TextIndex:
    """The index of some texts, each the transcripts of a visit or of a sentence, by their numbers."""
    index, sounding = TextIndex(), sound_index(lexicon_of(pack))
    known: dict[tuple[str, ...], tuple[str, ...]] = {}
    for number, transcripts in enumerate(texts):
        norms: tuple[str, ...] = ()
        for transcript in transcripts:
            norms += (*words_of(transcript).norms, "")
        index.norms.append(norms)
        for start, word in enumerate(norms):
            index.by_word.setdefault(word, set()).add(number)
            for end in range(start + 1, min(len(norms), start + MOST_WORDS) + 1):
                said = norms[start:end]
                if "" in said:
                    break
                if end - start <= MOST_MISSPELT_WORDS:
                    index.by_letters.setdefault("".join(said), set()).add(number)
                if said not in known:
                    sayings = product(*(ways_to_say(one, sounding) for one in said))
                    said_so = {joined("".join(s)) for s in islice(sayings, SAYINGS_OF_A_STRETCH)}
                    known[said] = tuple(
                        one for one in said_so if LEAST_SOUNDS - 1 <= len(one) <= MOST_SOUNDS + 1
                    )
                for sequence in known[said]:
                    alike = index.by_skeleton.setdefault(skeleton(sequence), {})
                    alike.setdefault(sequence, set()).add(number)
    return index


def difference_of(before: Pack, after: Pack, words: Iterable[str]) -> Difference:
    """What differs between two packs of which one has more terms, mishearings or pronunciations.

    `words` are those of the texts that it will be used for.
    """
    one, other = lexicon_of(before), lexicon_of(after, without=before)
    near, nearer = near_index(one), near_index(other)
    sound, sounder = sound_index(one), sound_index(other)
    changed = set(one.own_words ^ other.own_words) | (one.known_words ^ other.known_words)
    changed |= near.words ^ nearer.words
    if before.pronunciations != after.pronunciations:
        changed |= {word for word in words if ways_to_say(word, sound) != ways_to_say(word, sounder)}
    terms = _unlike(near.rarity, nearer.rarity) | _unlike(one.term_phrases, other.term_phrases)
    sequences = _unlike(sound.terms, sounder.terms)
    sequences |= {s for index in (sound, sounder) for s, term in index.terms.items() if term in terms}
    spellings = _unlike(near.terms, nearer.terms) | {"".join(term) for term in terms}
    return Difference(
        frozenset(changed),
        frozenset(_phrases_unlike(one, other)),
        frozenset(spellings),
        frozenset(sequences),
    )


def touched(index: TextIndex, difference: Difference) -> set[int]:
    """The numbers of the texts that may be read otherwise."""
    from rapidfuzz import fuzz, process

    found: set[int] = set()
    for word in difference.words:
        found |= index.by_word.get(word, set())
    for phrase in difference.phrases:
        some = set.intersection(*(index.by_word.get(word, set()) for word in phrase))
        found |= {number for number in some - found if _has(index.norms[number], phrase)}
    letters = [one for one in index.by_letters if len(one) >= LEAST_LETTERS]
    for spelling in difference.spellings:
        near = process.extract(
            spelling, letters, scorer=fuzz.ratio, score_cutoff=LEAST_SPELLING_RATIO, limit=None
        )
        for one, *_ in near:
            found |= index.by_letters[one]
    for sequence in difference.sequences:
        bones, most = skeleton(sequence), MOST_APART * len(sequence)
        for other, alike in index.by_skeleton.items():
            if _one_apart(bones, other):
                for said, numbers in alike.items():
                    if not numbers <= found and distance(said, sequence, most) < most:
                        found |= numbers
    return found


def _unlike(one: Mapping[Any, Any], other: Mapping[Any, Any]) -> set[Any]:
    """The keys that two mappings don't hold alike."""
    return {key for key in one.keys() | other.keys() if one.get(key) != other.get(key)}


def _phrases_unlike(one: Lexicon, other: Lexicon) -> set[tuple[str, ...]]:
    """The phrases that mean something else in two compiled packs, by walking both trees together."""
    found: set[tuple[str, ...]] = set()
    waiting: list[tuple[tuple[str, ...], dict[str, Any], dict[str, Any]]] = [((), one.tree, other.tree)]
    while waiting:
        phrase, mine, theirs = waiting.pop()
        if mine is theirs:
            continue
        if mine.get(MEANINGS) != theirs.get(MEANINGS):
            found.add(phrase)
        for word in mine.keys() | theirs.keys():
            if word != MEANINGS:
                waiting.append(((*phrase, word), mine.get(word, {}), theirs.get(word, {})))
    return found


def _has(norms: tuple[str, ...], phrase: tuple[str, ...]) -> bool:
    length = len(phrase)
    return any(norms[at : at + length] == phrase for at in range(len(norms) - length + 1))


def _one_apart(one: str, other: str) -> bool:
    """Whether one string is the other, or has one character more, less or other."""
    if one == other:
        return True
    if abs(len(one) - len(other)) > 1:
        return False
    shorter, longer = sorted((one, other), key=len)
    at = next((n for n, (a, b) in enumerate(zip(shorter, longer, strict=False)) if a != b), len(shorter))
    return shorter[at + (len(one) == len(other)) :] == longer[at + 1 :]
