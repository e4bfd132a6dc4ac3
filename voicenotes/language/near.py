"""Terms that a recogniser misspelt or misheard: found by spelling distance and by sound.

A guess weighs two readings of a stretch of one to four words. That they are meant as they stand is the less
likely the rarer they are in everyday English. That they are a term of the pack is unlikely to begin with
(`PRIOR`), the more so the further the sounds are apart (`PER_SOUND`), and the less so the more speaks for
the trade there (`evidence.py`). A guess must win, must stand where something speaks for it, and never
touches judgements, numbers with their units, and negations (`near_scene.py`). The same holds for single
words that the pack lists as misheard; its longer phrases count as they stand.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from voicenotes.language.everyday import BELONGING_TOGETHER, UNHEARD_OF, surprise
from voicenotes.language.evidence import MOST_OF_A_PLACE, evidence_of
from voicenotes.language.hits import TermHit
from voicenotes.language.near_scene import may_be_changed, scene_of, stands_well
from voicenotes.language.sound_index import MOST_APART, sound_index, sounds_like
from voicenotes.language.spans import words_of_all
from voicenotes.language.spelling_index import near_index, spelt_like
from voicenotes.vocabulary.expand import plural_forms, verb_forms

if TYPE_CHECKING:
    from collections.abc import Sequence

    from voicenotes.language.evidence import Evidence
    from voicenotes.language.hits import Hits
    from voicenotes.language.lexicon import How, Lexicon
    from voicenotes.language.near_scene import Scene
    from voicenotes.language.quantities import Quantity
    from voicenotes.language.words import Words

MOST_WORDS = 4
MOST_MISSPELT_WORDS = 3
PRIOR, PRIOR_OF_A_WORD = 14.0, 15.0
PER_SOUND = 8.0
MOST_APART_IF_UNLIKELY = 0.055


class Guess(NamedTuple):
    """A term that may have been said, and by how much it wins over the words as they stand, in nats."""

    gain: float
    hit: TermHit


def heard_hits(words: Words, lexicon: Lexicon, hits: Hits, quantities: Sequence[Quantity]) -> Hits:
    """The hits with the terms that stand and those that probably were said where the words have none.

    What a guess takes the words of stands no longer: pieces of terms, and words like "cool" in "the cool
    and is dirty", which judge nothing there.
    """
    evidence = evidence_of(words, hits, quantities)
    terms = [term for term in hits.terms if _counts(term, words, evidence)]
    guesses = _chosen(_guesses(scene_of(words, lexicon, hits, terms, quantities, evidence)))
    if len(terms) == len(hits.terms) and not guesses:
        return hits
    over = words_of_all(guesses)
    standing = [term for term in terms if over.isdisjoint(range(term.start, term.end))]
    return replace(
        hits,
        terms=tuple(sorted((*standing, *guesses), key=lambda term: term.start)),
        conditions=tuple(hit for hit in hits.conditions if over.isdisjoint(range(hit.start, hit.end))),
    )


def _counts(term: TermHit, words: Words, evidence: Evidence) -> bool:
    """Whether a listed mishearing of one word is to be believed here; longer ones always are."""
    if term.how != "misheard" or term.end - term.start > 1:
        return True
    usual = surprise(words.norms[term.start])
    around = evidence.around(term.start, term.end)
    speaking = around + evidence.of_place(term.start, term.end) - evidence.off_topic(term.start)
    return usual >= UNHEARD_OF or (around > 0 and usual + speaking >= PRIOR_OF_A_WORD)


def _guesses(scene: Scene) -> list[Guess]:
    """All guesses that win against the words as they stand; they may overlap."""
    words, guesses = scene.words, []
    for start in range(len(words)):
        for end in range(start + 1, min(len(words), start + MOST_WORDS) + 1):
            last = end - 1
            if last in scene.fixed or (last > start and words.breaks[last]):
                break
            guess = _guess(scene, start, end)
            if guess is not None:
                guesses.append(guess)
    return guesses


def _guess(scene: Scene, start: int, end: int) -> Guess | None:
    around = scene.evidence.around(start, end)
    strange = not scene.strange.isdisjoint(range(start, end))
    gain = sum(scene.usual[start:end]) - BELONGING_TOGETHER * (end - start - 1) + around - PRIOR
    if not (around > 0 or strange) or gain + MOST_OF_A_PLACE < 0:
        return None
    gain += scene.evidence.of_place(start, end) - scene.evidence.off_topic(start)
    said = scene.words.norms[start:end]
    if gain < 0 or sum(len(word) == 1 for word in said) > 1:
        return None
    listed = scene.lexicon.misheard_phrases.get(said)
    if listed and end - start > 1 and scene.hides_a_listed(start, end):
        return Guess(gain, TermHit(start, end, listed, "misheard", " ".join(said)))
    if not may_be_changed(scene, start, end):
        return None
    plain = scene.is_plain(start, end)
    index = near_index(scene.lexicon)
    if strange and plain and end - start <= MOST_MISSPELT_WORDS:
        term = spelt_like("".join(said), index)
        if term is not None:
            return Guess(gain, _hit(start, end, term, "spelling", scene.lexicon))
    alike = sounds_like(said, sound_index(scene.lexicon)) if around > 0 else None
    if alike is None or _is_form_of(said, alike.term) or not stands_well(scene, start, end):
        return None
    gain -= PER_SOUND * alike.cost + index.rarity[alike.term]
    several = plain and end - start > 1
    if gain < 0 or alike.apart > (MOST_APART if several or strange else MOST_APART_IF_UNLIKELY):
        return None
    return Guess(gain, _hit(start, end, alike.term, "sound", scene.lexicon))


def _is_form_of(said: tuple[str, ...], term: tuple[str, ...]) -> bool:
    """Whether the words are the term itself, its other number, or a verb made of it."""
    last, meant = said[-1], term[-1]
    forms = (meant, *plural_forms(meant), *verb_forms(meant))
    return said[:-1] == term[:-1] and (last in forms or (len(meant) > 3 and last.startswith(meant)))


def _chosen(guesses: list[Guess]) -> list[TermHit]:
    """Of overlapping guesses those that win by most."""
    taken: set[int] = set()
    chosen = []
    for _, hit in sorted(guesses, key=lambda guess: (-guess.gain, guess.hit.start, -guess.hit.end)):
        if taken.isdisjoint(range(hit.start, hit.end)):
            taken.update(range(hit.start, hit.end))
            chosen.append(hit)
    return chosen


def _hit(start: int, end: int, term: tuple[str, ...], how: How, lexicon: Lexicon) -> TermHit:
    return TermHit(start, end, lexicon.term_phrases[term], how, " ".join(term))
