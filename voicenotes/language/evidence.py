"""What speaks for a trade term at each place of a transcript, before it is known which.

Evidence is counted in nats, as a bonus on the odds of a trade reading: a judgement or a measured value close
by, terms of the pack said plainly in the neighbourhood, and a place in the sentence where a noun must stand.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import accumulate
from typing import TYPE_CHECKING

from voicenotes.language.everyday import ordinary_words
from voicenotes.language.remarks import DETERMINERS
from voicenotes.language.words import STRONG
from voicenotes.vocabulary.expand import morphology
from voicenotes.vocabulary.schema import GENERAL

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from voicenotes.language.hits import ConditionHit, Hits, TermHit
    from voicenotes.language.quantities import Quantity
    from voicenotes.language.words import Words

JUDGED_WITHIN, NAMED_WITHIN = 5, 15
JUDGED, JUDGED_GENERALLY, MEASURED = 3.0, 2.0, 2.0
ONLY_A_NOUN = 1.5
NAMED, NAMED_IN_PLAIN_WORDS = 2.5, 1.0
NOUN_AFTER_ARTICLE, NOUN_BEFORE_VERB = 2.0, 1.0
NO_NOUN_BY_ITSELF = 2.0
MOST_OF_A_PLACE = NOUN_AFTER_ARTICLE + NOUN_BEFORE_VERB + NO_NOUN_BY_ITSELF
VERBS = frozenset(
    ["is", "are", "was", "were", "'s", "has", "have", "looks", "seems", "does", "did", "will", "can"]
)
TOPIC_WITHIN = 45
WORDS_A_TERM, TERMS_EXPECTED = 20, 0.5
OFF_TOPIC, MOST_OFF_TOPIC = 1.6, 6.0
_BEFORE_NOUN = DETERMINERS | {"no", "any", "each", "both", "either", "another"}


@dataclass(frozen=True, eq=False)
class Evidence:
    """What stands at and around each word.

    judged    the strongest judgement or value close by
    named     the strongest term in the neighbourhood
    terms     how many terms there are before the word, those in plain English words by half; one entry more
    judging   the first words of conditions that are no nouns
    """

    words: Words
    judged: Sequence[float]
    named: Sequence[float]
    terms: Sequence[float]
    judging: frozenset[int]

    def around(self, start: int, end: int) -> float:
        """What judgements, values and terms nearby say for a term on the words start..end."""
        stretch = range(start, end)
        return max(self.judged[word] for word in stretch) + max(self.named[word] for word in stretch)

    def off_topic(self, word: int) -> float:
        """What the talk around a word says against the trade: long stretches of it name nothing of the pack.

        In dictation every 60 words hold 5 terms or more (half of the windows; nine in ten hold 1), in
        ordinary English less than 1 (measured on the pack's dictation and the texts of
        tests/benchmarks/ordinary_english.py). A few words alone say little either way.
        """
        first, last = max(0, word - TOPIC_WITHIN), min(len(self.words), word + TOPIC_WITHIN)
        missing = (last - first) / WORDS_A_TERM - (self.terms[last] - self.terms[first]) / TERMS_EXPECTED
        return min(MOST_OFF_TOPIC, max(0.0, OFF_TOPIC * missing))

    def judged_beside(self, start: int, end: int) -> bool:
        """Whether something outside the words start..end is judged in the same sentence close by."""
        for step, first in ((1, end), (-1, start - 1)):
            for word in range(first, first + step * JUDGED_WITHIN, step):
                if not 0 <= word < len(self.words) or self.words.breaks[word + (step < 0)] == STRONG:
                    break
                if word in self.judging:
                    return True
        return False

    def noun_must_stand(self, start: int, end: int) -> bool:
        """Whether the words start..end stand between an article or the like and a verb: "the ... is"."""
        verb = end < len(self.words) and not self.words.breaks[end] and self.words.norms[end] in VERBS
        return verb and self._led(start)

    def of_place(self, start: int, end: int) -> float:
        """What the sentence says for a noun on the words start..end."""
        if not self._led(start):
            return 0.0
        words, function = self.words, morphology().function
        closed = end == len(words) or bool(words.breaks[end]) or words.norms[end] in VERBS
        odd = closed and (words.norms[start] in function or words.norms[end - 1] in function)
        return NOUN_AFTER_ARTICLE + NOUN_BEFORE_VERB * closed + NO_NOUN_BY_ITSELF * odd

    def _led(self, start: int) -> bool:
        words = self.words
        return start > 0 and not words.breaks[start] and words.norms[start - 1] in _BEFORE_NOUN


def evidence_of(words: Words, hits: Hits, quantities: Iterable[Quantity]) -> Evidence:
    """The evidence at every word, in time linear in the words."""
    judged = [0.0] * len(words)
    named = [0.0] * len(words)
    for condition in hits.conditions:
        if condition.judges:
            _spread(judged, words, condition.start, condition.end, _of_condition(words, condition))
    for quantity in quantities:
        _spread(judged, words, quantity.start, quantity.end, MEASURED)
    terms = [0.0] * (len(words) + 1)
    for term in hits.terms:
        if term.how in ("exact", "inflected"):
            strength = _of_term(words, term)
            terms[term.start + 1] += 1.0 if strength == NAMED else 0.5
            for word in range(max(0, term.start - NAMED_WITHIN), min(len(words), term.end + NAMED_WITHIN)):
                named[word] = max(named[word], strength)
    judging = {c.start for c in hits.conditions if not c.is_noun}
    return Evidence(words, judged, named, list(accumulate(terms)), frozenset(judging))


def _spread(values: list[float], words: Words, start: int, end: int, strength: float) -> None:
    """Raise the values within reach of start..end, as far as the sentence goes."""
    for word in range(start, min(len(words), end + JUDGED_WITHIN)):
        if word >= end and words.breaks[word] == STRONG:
            break
        values[word] = max(values[word], strength)
    for word in range(start - 1, max(-1, start - JUDGED_WITHIN - 1), -1):
        if words.breaks[word + 1] == STRONG:
            break
        values[word] = max(values[word], strength)


def _of_condition(words: Words, condition: ConditionHit) -> float:
    """How much a judgement says for talk of the trade: more if it fits only some things, less if it is a
    noun, and so may be no judgement."""
    if condition.is_noun:
        return ONLY_A_NOUN
    plain = morphology().function.issuperset(words.norms[condition.start : condition.end])
    own = any(meaning.owner != GENERAL for meaning in condition.meanings)
    return JUDGED if own and not plain else JUDGED_GENERALLY


def _of_term(words: Words, term: TermHit) -> float:
    """How much a term says for talk of the trade: one in plain English words says less."""
    function = morphology().function
    content = [word for word in words.norms[term.start : term.end] if word not in function]
    plain = len(content) < 2 and all(word in ordinary_words() for word in content)
    return NAMED_IN_PLAIN_WORDS if plain else NAMED
