"""Terms that a recogniser misspelt or misheard: found by spelling distance and by sound.

A guess stands only where nothing of the pack stands exactly. By spelling, a stretch of one to three
words must hold a word that ordinary English lacks. By sound (Double Metaphone, Philips 2000, on the
stretch with its spaces stripped), the keys must be equal and long, and where all the words are
ordinary English a judgement must stand close by: everyday speech is not turned into trade terms.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from voicenotes.language.hits import TermHit
from voicenotes.language.spans import words_of_all
from voicenotes.vocabulary.expand import morphology
from voicenotes.vocabulary.homes import everyday_words

if TYPE_CHECKING:
    from voicenotes.language.hits import Hits
    from voicenotes.language.lexicon import How, Lexicon, Subject
    from voicenotes.language.words import Words

MOST_WORDS = 3
LEAST_LETTERS = 6
LEAST_SPELLING_RATIO = 86.0
LEAST_SOUND_RATIO = 62.0
LEAST_KEY_UNKNOWN, LEAST_KEY_ORDINARY = 4, 5
ORDINARY_RANK = 6000
NEAR_WORDS = 5


@dataclass(frozen=True, eq=False)
class NearIndex:
    """A pack's terms by length and by sound; compared and cached by identity."""

    by_length: dict[int, tuple[str, ...]]
    by_sound: dict[str, tuple[str, ...]]
    subjects: dict[str, tuple[Subject, ...]]
    phrases: dict[str, str]
    words: frozenset[str]


@lru_cache(maxsize=1)
def ordinary_words() -> frozenset[str]:
    """The most frequent words of everyday English."""
    return frozenset(everyday_words()[:ORDINARY_RANK]) | morphology().function


def sound_keys(joined: str) -> tuple[str, ...]:
    """The Double Metaphone keys of letters without spaces."""
    from metaphone import doublemetaphone

    first, second = doublemetaphone(joined)
    return tuple(key for key in dict.fromkeys((first, second)) if key)


@lru_cache(maxsize=8)
def near_index(lexicon: Lexicon) -> NearIndex:
    """The index of a compiled pack, built once."""
    by_length: dict[int, list[str]] = defaultdict(list)
    by_sound: dict[str, list[str]] = defaultdict(list)
    subjects: dict[str, tuple[Subject, ...]] = {}
    phrases: dict[str, str] = {}
    for words, named in lexicon.term_phrases.items():
        joined = "".join(words)
        if len(joined) < LEAST_LETTERS or not joined.isalpha() or joined in subjects:
            continue
        subjects[joined] = named
        phrases[joined] = " ".join(words)
        by_length[len(joined)].append(joined)
        for key in sound_keys(joined):
            by_sound[key].append(joined)
    return NearIndex(
        {length: tuple(items) for length, items in by_length.items()},
        {key: tuple(items) for key, items in by_sound.items()},
        subjects,
        phrases,
        frozenset(word for words in lexicon.term_phrases for word in words),
    )


def guess_terms(words: Words, lexicon: Lexicon, hits: Hits) -> list[TermHit]:
    """Terms that probably were said where the words have none, best first at each place."""
    index = near_index(lexicon)
    ordinary = ordinary_words()
    long_cues = (cue for cue in hits.cues if cue.end - cue.start > 1)
    taken = words_of_all(hits.terms, hits.conditions, long_cues)
    judged = words_of_all(hits.conditions)
    function = morphology().function
    guesses: list[TermHit] = []
    at = 0
    while at < len(words):
        guess = None
        if at not in taken and words.norms[at] not in function:
            for length in range(MOST_WORDS, 0, -1):
                end = at + length
                if end > len(words) or any(
                    w in taken or (w > at and words.breaks[w]) for w in range(at, end)
                ):
                    continue
                said = words.norms[at:end]
                if said[-1] in function or not all(word.isalpha() for word in said):
                    continue
                strange = any(w not in ordinary and w not in index.words for w in said)
                close = any(w in judged for w in range(at - NEAR_WORDS, end + NEAR_WORDS))
                if not strange and not (close and length > 1):
                    continue
                guess = _match("".join(said), strange, index, at, end)
                if guess:
                    break
        if guess:
            guesses.append(guess)
            at = guess.end
        else:
            at += 1
    return guesses


def _match(joined: str, strange: bool, index: NearIndex, start: int, end: int) -> TermHit | None:
    found = _nearest(joined, strange, index)
    if found is None:
        return None
    term, how = found
    return TermHit(start, end, index.subjects[term], how, index.phrases[term])


@lru_cache(maxsize=20_000)
def _nearest(joined: str, strange: bool, index: NearIndex) -> tuple[str, How] | None:
    """The term nearest to some letters, and whether by spelling or by sound."""
    from rapidfuzz import fuzz, process

    if strange and len(joined) >= LEAST_LETTERS:
        pool = [
            term
            for length in range(len(joined) - 2, len(joined) + 3)
            for term in index.by_length.get(length, ())
        ]
        best = process.extractOne(joined, pool, scorer=fuzz.ratio, score_cutoff=LEAST_SPELLING_RATIO)
        if best is not None:
            return best[0], "spelling"
    least = LEAST_KEY_UNKNOWN if strange else LEAST_KEY_ORDINARY
    for key in sound_keys(joined):
        if len(key) < least:
            continue
        alike = [(fuzz.ratio(joined, term), term) for term in index.by_sound.get(key, ())]
        if alike and max(alike)[0] >= LEAST_SOUND_RATIO:
            return max(alike)[1], "sound"
    return None
