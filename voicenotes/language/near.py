"""Terms that a recogniser misspelt or misheard: found by spelling distance and by sound.

A guess weighs two readings of a stretch of one to four words. That they are meant as they stand is the less
likely the rarer they are in everyday English. That they are a term of the pack is unlikely to begin with
(`PRIOR`), the more so the further the sounds are apart (`PER_SOUND`), and the less so the more speaks for
the trade there (`evidence.py`). A guess must win, must stand where something speaks for it, and never
touches judgements, numbers with their units, and negations. The same holds for single words that the pack
lists as misheard; its longer phrases count as they stand.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass, replace
from functools import lru_cache
from math import log
from typing import TYPE_CHECKING, NamedTuple

from voicenotes.language.everyday import BELONGING_TOGETHER, UNHEARD_OF, surprise
from voicenotes.language.evidence import MOST_OF_A_PLACE, VERBS, evidence_of
from voicenotes.language.hits import TermHit
from voicenotes.language.number_words import counting_words
from voicenotes.language.sound_index import MOST_APART, sound_index, sounds_like
from voicenotes.language.spans import words_of_all
from voicenotes.vocabulary.expand import morphology, plural_forms, verb_forms

if TYPE_CHECKING:
    from collections.abc import Sequence

    from voicenotes.language.evidence import Evidence
    from voicenotes.language.hits import ConditionHit, Hits
    from voicenotes.language.lexicon import How, Lexicon, Subject
    from voicenotes.language.quantities import Quantity
    from voicenotes.language.words import Words

MOST_WORDS = 4
MOST_MISSPELT_WORDS = 3
LEAST_LETTERS = 6
LEAST_SPELLING_RATIO = 86.0
PRIOR = 14.0
PER_SOUND = 8.0
PACK_WORD = 7.0
MOST_APART_IF_UNLIKELY = 0.055


class Guess(NamedTuple):
    """A term that may have been said, and by how much it wins over the words as they stand, in nats."""

    gain: float
    hit: TermHit


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
        rarity[words] = 0.5 * log(min(listed[subject] for subject in subjects))
        joined = "".join(words)
        if len(joined) < LEAST_LETTERS or not joined.isalpha() or joined in terms:
            continue
        terms[joined] = words
        by_length[len(joined)].append(joined)
    return NearIndex(
        {length: tuple(items) for length, items in by_length.items()},
        terms,
        rarity,
        frozenset(word for words in lexicon.term_phrases for word in words),
    )


@dataclass(frozen=True, eq=False)
class Scene:
    """A transcript while its guesses are made.

    usual   how surprising each word is there
    strange words that no dictionary has, nor the pack
    fixed   words that no guess may touch
    named   the plain term of one word that counts on a word, which a longer guess may take over
    status  the condition of one word on a word, which a guess may take over where a noun must stand
    """

    words: Words
    lexicon: Lexicon
    evidence: Evidence
    usual: list[float]
    strange: frozenset[int]
    fixed: frozenset[int]
    named: dict[int, TermHit]
    status: dict[int, ConditionHit]


def heard_hits(words: Words, lexicon: Lexicon, hits: Hits, quantities: Sequence[Quantity]) -> Hits:
    """The hits with the terms that stand and those that probably were said where the words have none.

    What a guess takes the words of stands no longer: pieces of terms, and words like "cool" in "the cool
    and is dirty", which judge nothing there.
    """
    evidence = evidence_of(words, hits, quantities)
    terms = [term for term in hits.terms if _counts(term, words, evidence)]
    guesses = _chosen(_guesses(_scene(words, lexicon, hits, terms, quantities, evidence)))
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
    return usual >= UNHEARD_OF or (around > 0 and usual + speaking >= PRIOR)


def _scene(
    words: Words,
    lexicon: Lexicon,
    hits: Hits,
    terms: Sequence[TermHit],
    quantities: Sequence[Quantity],
    evidence: Evidence,
) -> Scene:
    own = lexicon.own_words
    function = morphology().function
    named, status = {}, {}
    never = VERBS | counting_words()
    fixed = {word for word, norm in enumerate(words.norms) if norm in never or not norm.isalpha()}
    for term in terms:
        content = [word for word in words.norms[term.start : term.end] if word not in function]
        if term.how == "misheard" or len(content) != 1:
            fixed.update(range(term.start, term.end))
        else:
            named.update(dict.fromkeys(range(term.start, term.end), term))
    for condition in hits.conditions:
        if condition.end - condition.start > 1:
            fixed.update(range(condition.start, condition.end))
        elif not all(meaning.only_negated for meaning in condition.meanings):
            status[condition.start] = condition
    fixed |= words_of_all(
        quantities,
        (fact for fact in hits.facts if fact.end - fact.start > 1),
        (cue for cue in hits.cues if cue.end - cue.start > 1 or cue.kind == "negation"),
    )
    return Scene(
        words,
        lexicon,
        evidence,
        [min(surprise(norm), PACK_WORD) if norm in own else surprise(norm) for norm in words.norms],
        frozenset(
            word for word, norm in enumerate(words.norms) if norm not in own and surprise(norm) >= UNHEARD_OF
        ),
        frozenset(fixed),
        named,
        status,
    )


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
    stretch = range(start, end)
    around = scene.evidence.around(start, end)
    strange = not scene.strange.isdisjoint(stretch)
    gain = sum(scene.usual[start:end]) - BELONGING_TOGETHER * (end - start - 1) + around - PRIOR
    if not (around > 0 or strange) or gain + MOST_OF_A_PLACE < 0:
        return None
    gain += scene.evidence.of_place(start, end) - scene.evidence.off_topic(start)
    said = scene.words.norms[start:end]
    if gain < 0 or sum(len(word) == 1 for word in said) > 1:
        return None
    if said in scene.lexicon.misheard_phrases and (end - start > 1 or start not in scene.named):
        phrase = " ".join(said)
        return Guess(gain, TermHit(start, end, scene.lexicon.misheard_phrases[said], "misheard", phrase))
    if not _may_be_changed(scene, start, end):
        return None
    plain = scene.named.keys().isdisjoint(stretch) and scene.status.keys().isdisjoint(stretch)
    index = near_index(scene.lexicon)
    if strange and plain and end - start <= MOST_MISSPELT_WORDS:
        term = _spelt_like("".join(said), index)
        if term is not None:
            return Guess(gain, _hit(start, end, term, "spelling", scene.lexicon))
    alike = sounds_like(said, sound_index(scene.lexicon)) if around > 0 else None
    if alike is None or _is_form_of(said, alike.term) or not _stands_well(scene, start, end):
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


def _stands_well(scene: Scene, start: int, end: int) -> bool:
    """Whether a stretch begins and ends like a noun phrase: with a small word in front only after an
    article or the like, and with one at the end only where a noun must stand."""
    small, norms = morphology().function, scene.words.norms
    if norms[end - 1] in small:
        return scene.evidence.noun_must_stand(start, end)
    return norms[start] not in small or scene.evidence.of_place(start, end) > 0


def _may_be_changed(scene: Scene, start: int, end: int) -> bool:
    """Whether the terms and judgements on a stretch of words may be taken for pieces of something else.

    A term only where the stretch holds a word that is none of the pack's beside it; a condition only inside
    a longer stretch, where something else is judged close by, and one that is no noun only where a noun must
    stand ("the cool and is dirty").
    """
    stretch = range(start, end)
    over = {scene.named[word] for word in stretch if word in scene.named}
    if over:
        norms, function = scene.words.norms, morphology().function
        theirs = {word for term in over for word in range(term.start, term.end)}
        beside = {norms[word] for word in set(stretch) - theirs}
        left = {norms[word] for word in theirs - set(stretch)}
        if not beside - function - near_index(scene.lexicon).words or left - function:
            return False
    conditions = [scene.status[word] for word in stretch if word in scene.status]
    if not conditions:
        return True
    if end - start == 1 or not scene.evidence.judged_beside(start, end):
        return False
    return all(c.is_noun for c in conditions) or scene.evidence.noun_must_stand(start, end)


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


@lru_cache(maxsize=20_000)
def _spelt_like(joined: str, index: NearIndex) -> tuple[str, ...] | None:
    """The term nearest to some letters in spelling, if one is near enough."""
    from rapidfuzz import fuzz, process

    if len(joined) < LEAST_LETTERS:
        return None
    lengths = range(len(joined) - 2, len(joined) + 3)
    pool = [term for length in lengths for term in index.by_length.get(length, ())]
    best = process.extractOne(joined, pool, scorer=fuzz.ratio, score_cutoff=LEAST_SPELLING_RATIO)
    return index.terms[best[0]] if best is not None else None
