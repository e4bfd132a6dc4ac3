"""The way in which terms were guessed before: letters run together and Double Metaphone keys (Philips 2000).

Kept only to be compared with (`misheard.py`). By spelling, a stretch of one to three words must hold a word
that ordinary English lacks; by sound the keys must be equal and long, and where all the words are ordinary
English a judgement must stand close by.
"""

from __future__ import annotations

from collections import defaultdict
from functools import lru_cache

from metaphone import doublemetaphone
from rapidfuzz import fuzz, process

from voicenotes.language.everyday import ordinary_words
from voicenotes.language.hits import Hits, TermHit
from voicenotes.language.lexicon import How, Lexicon
from voicenotes.language.spans import words_of_all
from voicenotes.language.words import Words
from voicenotes.vocabulary.expand import morphology

MOST_WORDS = 3
LEAST_LETTERS = 6
LEAST_SPELLING_RATIO = 86.0
LEAST_SOUND_RATIO = 62.0
LEAST_KEY_UNKNOWN, LEAST_KEY_ORDINARY = 4, 5
NEAR_WORDS = 5


def sound_keys(joined: str) -> tuple[str, ...]:
    """The Double Metaphone keys of letters without spaces."""
    return tuple(key for key in dict.fromkeys(doublemetaphone(joined)) if key)


class Index:
    """A pack's terms by length in letters and by key."""

    def __init__(self, lexicon: Lexicon) -> None:
        self.by_length: dict[int, list[str]] = defaultdict(list)
        self.by_sound: dict[str, list[str]] = defaultdict(list)
        self.terms: dict[str, tuple[str, ...]] = {}
        self.words = {word for words in lexicon.term_phrases for word in words}
        for words in lexicon.term_phrases:
            joined = "".join(words)
            if len(joined) < LEAST_LETTERS or not joined.isalpha() or joined in self.terms:
                continue
            self.terms[joined] = words
            self.by_length[len(joined)].append(joined)
            for key in sound_keys(joined):
                self.by_sound[key].append(joined)


@lru_cache(maxsize=4)
def index_of(lexicon: Lexicon) -> Index:
    """The index of a compiled pack, built once."""
    return Index(lexicon)


def guess_terms(words: Words, lexicon: Lexicon, hits: Hits) -> list[TermHit]:
    """Terms that probably were said where the words have none."""
    index, ordinary, function = index_of(lexicon), ordinary_words(), morphology().function
    taken = words_of_all(hits.terms, hits.conditions, (cue for cue in hits.cues if cue.end - cue.start > 1))
    judged = words_of_all(hits.conditions)
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
                found = _nearest("".join(said), strange, index)
                if found is not None:
                    term, how = found
                    guess = TermHit(at, end, lexicon.term_phrases[term], how, " ".join(term))
                    break
        if guess:
            guesses.append(guess)
            at = guess.end
        else:
            at += 1
    return guesses


@lru_cache(maxsize=20_000)
def _nearest(joined: str, strange: bool, index: Index) -> tuple[tuple[str, ...], How] | None:
    """The term nearest to some letters, and whether by spelling or by sound."""
    if strange and len(joined) >= LEAST_LETTERS:
        lengths = range(len(joined) - 2, len(joined) + 3)
        pool = [term for length in lengths for term in index.by_length.get(length, ())]
        best = process.extractOne(joined, pool, scorer=fuzz.ratio, score_cutoff=LEAST_SPELLING_RATIO)
        if best is not None:
            return index.terms[best[0]], "spelling"
    least = LEAST_KEY_UNKNOWN if strange else LEAST_KEY_ORDINARY
    for key in sound_keys(joined):
        if len(key) < least:
            continue
        alike = [(fuzz.ratio(joined, term), term) for term in index.by_sound.get(key, ())]
        if alike and max(alike)[0] >= LEAST_SOUND_RATIO:
            return index.terms[max(alike)[1]], "sound"
    return None
