"""Text over silence or noise: words where nobody is heard, phrases known to be invented, impossible pace.

Whisper fills silence and machine noise with what closed the films it learned from; hotwords come out of
silence too (faster-whisper issue 1356). `vocab/english/invented.yaml` lists such phrases (after arXiv
2501.11378). A listed phrase alone throws nothing out: technicians do say "thank you".
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

from voicenotes.speech.passage import bare, ends_sentence
from voicenotes.vocabulary.homes import SHARED_LANGUAGE, vocab_home
from voicenotes.vocabulary.yaml_files import read_as

if TYPE_CHECKING:
    from collections.abc import Sequence

    from voicenotes.model import Word
    from voicenotes.speech.guard_limits import GuardLimits
    from voicenotes.speech.passage import Passage
    from voicenotes.speech.voice_activity import VoiceActivity

NOBODY = "nobody is heard there, and the words are improbable"
INVENTED = "a phrase that recognisers invent, where nobody is heard for long enough"
TOO_MANY = "more words than anybody can say while speech is heard, and improbable"


class Judged(NamedTuple):
    """Reasons by the index of a word, and what each word's confidence is multiplied by."""

    reasons: dict[int, str]
    factors: list[float]


def judged(
    passage: Passage,
    words: Sequence[Word],
    others: Sequence[Word],
    activity: VoiceActivity,
    limits: GuardLimits,
) -> Judged:
    """Judge `words` of a passage (those that no other guard has taken); `others` are all words around."""
    factors = [1.0] * len(words)
    if not words:
        return Judged({}, factors)
    unsure = _is_improbable(passage, words, limits)
    reasons = dict.fromkeys(_invented(words, unsure, activity, limits), INVENTED)
    silent = [i for i, word in enumerate(words) if _peak(word, activity, limits) < limits.silent]
    drifted = bool(silent) and _may_have_drifted([words[i] for i in silent], others, activity, limits)
    for index in silent:
        if not drifted and (unsure or words[index].confidence < limits.improbable_word):
            reasons.setdefault(index, NOBODY)
        factors[index] = limits.doubted
    if len(words) > 4 and not drifted and _too_many(words, activity, limits):
        if unsure:
            reasons = dict.fromkeys(range(len(words)), TOO_MANY) | reasons
        factors = [min(factor, limits.doubted) for factor in factors]
    return Judged(reasons, factors)


@lru_cache(maxsize=1)
def known_inventions() -> frozenset[tuple[str, ...]]:
    """The phrases of `english/invented.yaml` as words in lower case, read once."""
    listed = read_as(vocab_home() / SHARED_LANGUAGE / "invented.yaml", tuple[str, ...])
    return frozenset(tuple(bare(word) for word in phrase.split()) for phrase in listed)


def _invented(words: Sequence[Word], unsure: bool, activity: VoiceActivity, limits: GuardLimits) -> set[int]:
    """The words of sentences that are known phrases and have too little speech behind them."""
    found: set[int] = set()
    start = 0
    for end in range(1, len(words) + 1):
        if end < len(words) and not ends_sentence(words[end - 1].text):
            continue
        sentence = words[start:end]
        if tuple(bare(word.text) for word in sentence) in known_inventions():
            first, last = sentence[0].start - limits.margin_s, sentence[-1].end + limits.margin_s
            sure = activity.peak(first, last) >= limits.surely_heard
            long_enough = activity.heard_s(first, last) >= len(sentence) * limits.shortest_word_s
            if not (sure and long_enough) or (unsure and _confidence(sentence) < limits.improbable_word):
                found |= set(range(start, end))
        start = end
    return found


def _may_have_drifted(
    silent: Sequence[Word], others: Sequence[Word], activity: VoiceActivity, limits: GuardLimits
) -> bool:
    """Whether speech without any words lies near enough, and is long enough, to be what `silent` was."""
    first, last = silent[0].start - limits.farthest_drift_s, silent[-1].end + limits.farthest_drift_s
    first, last = max(0.0, first), min(last, activity.seconds)
    heard = activity.heard_s(first, last, limits.heard)
    edge, taken = first, 0.0
    for word in others:
        start, end = max(word.start - limits.margin_s, edge), min(word.end + limits.margin_s, last)
        if end > start:
            taken += activity.heard_s(start, end, limits.heard)
            edge = end
    return heard - taken >= len(silent) * limits.shortest_word_s


def _too_many(words: Sequence[Word], activity: VoiceActivity, limits: GuardLimits) -> bool:
    heard = activity.heard_s(words[0].start - limits.margin_s, words[-1].end + limits.margin_s, limits.silent)
    return len(words) > limits.words_per_second * heard


def _is_improbable(passage: Passage, words: Sequence[Word], limits: GuardLimits) -> bool:
    if passage.log_probability is not None and passage.log_probability < limits.improbable_log:
        return True
    if passage.no_speech is not None and passage.no_speech > limits.no_speech:
        return True
    return _confidence(words) < limits.improbable_word


def _confidence(words: Sequence[Word]) -> float:
    return sum(word.confidence for word in words) / len(words)


def _peak(word: Word, activity: VoiceActivity, limits: GuardLimits) -> float:
    return activity.peak(word.start - limits.margin_s, word.end + limits.margin_s)
