"""A transcript while its guesses are made: which words they may take, and how surprising each word is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from voicenotes.language.everyday import UNHEARD_OF, surprise
from voicenotes.language.evidence import VERBS
from voicenotes.language.number_words import counting_words
from voicenotes.language.number_words import lexicon as number_words
from voicenotes.language.spans import words_of_all
from voicenotes.language.spelling_index import near_index
from voicenotes.vocabulary.expand import morphology

if TYPE_CHECKING:
    from collections.abc import Sequence

    from voicenotes.language.evidence import Evidence
    from voicenotes.language.hits import ConditionHit, Hits, TermHit
    from voicenotes.language.lexicon import Lexicon
    from voicenotes.language.quantities import Quantity
    from voicenotes.language.words import Words

PACK_WORD = 7.0


@dataclass(frozen=True, eq=False)
class Scene:
    """A transcript while its guesses are made.

    usual   how surprising each word is there, in nats; a word of the pack at most `PACK_WORD`
    strange words that no dictionary has, nor the pack
    fixed   words that no guess may touch
    named   the term on a word that a longer guess may take over: a plain one of one word that counts, or
            a listed mishearing
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

    def is_plain(self, start: int, end: int) -> bool:
        """Whether the words start..end mean nothing yet."""
        stretch = range(start, end)
        return self.named.keys().isdisjoint(stretch) and self.status.keys().isdisjoint(stretch)

    def hides_a_listed(self, start: int, end: int) -> bool:
        """Whether plain terms on the words start..end kept a listed mishearing from being found there."""
        over = [self.named[word] for word in range(start, end) if word in self.named]
        return bool(over) and all(term.how != "misheard" for term in over)


def scene_of(
    words: Words,
    lexicon: Lexicon,
    hits: Hits,
    terms: Sequence[TermHit],
    quantities: Sequence[Quantity],
    evidence: Evidence,
) -> Scene:
    """The scene of a transcript whose standing terms are `terms`.

    No guess touches numbers and their units, negations, verbs like "is", phrases of several words that
    mean something, and what is not made of letters.
    """
    own, function = lexicon.own_words, morphology().function
    never = VERBS | (counting_words() - number_words().words.labels)
    fixed = {word for word, norm in enumerate(words.norms) if norm in never or not norm.isalpha()}
    named: dict[int, TermHit] = {}
    for term in terms:
        content = [word for word in words.norms[term.start : term.end] if word not in function]
        if term.how == "misheard" or len(content) == 1:
            named.update(dict.fromkeys(range(term.start, term.end), term))
        else:
            fixed.update(range(term.start, term.end))
    status: dict[int, ConditionHit] = {}
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
    usual = [min(surprise(norm), PACK_WORD) if norm in own else surprise(norm) for norm in words.norms]
    strange = {word for word, norm in enumerate(words.norms) if norm not in own and usual[word] >= UNHEARD_OF}
    return Scene(words, lexicon, evidence, usual, frozenset(strange), frozenset(fixed), named, status)


def may_be_changed(scene: Scene, start: int, end: int) -> bool:
    """Whether what the words start..end mean already may be taken for pieces of something else.

    A listed mishearing only inside a longer stretch; a plain term only where the stretch holds a word that
    is none of the pack's beside it; a condition only inside a longer stretch, where something else is judged
    close by, and one that is no noun only where a noun must stand ("the cool and is dirty").
    """
    stretch = range(start, end)
    over = {scene.named[word] for word in stretch if word in scene.named}
    if not all(_may_be_piece(scene, term, start, end) for term in over):
        return False
    conditions = [scene.status[word] for word in stretch if word in scene.status]
    if not conditions:
        return True
    if end - start == 1 or not scene.evidence.judged_beside(start, end):
        return False
    return all(c.is_noun for c in conditions) or scene.evidence.noun_must_stand(start, end)


def _may_be_piece(scene: Scene, term: TermHit, start: int, end: int) -> bool:
    norms, function = scene.words.norms, morphology().function
    if term.how == "misheard":
        return start <= term.start and term.end <= end and term.end - term.start < end - start
    beside = {norms[word] for word in range(start, end) if scene.named.get(word) is not term}
    left = {norms[word] for word in range(term.start, term.end) if not start <= word < end}
    return bool(beside - function - near_index(scene.lexicon).words) and not left - function


def stands_well(scene: Scene, start: int, end: int) -> bool:
    """Whether a stretch begins and ends like a noun phrase: with a small word in front only after an
    article or the like, and with one at the end only where a noun must stand."""
    small, norms = morphology().function, scene.words.norms
    if norms[end - 1] in small:
        return scene.evidence.noun_must_stand(start, end)
    return norms[start] not in small or scene.evidence.of_place(start, end) > 0
