"""Word times: in order, inside the recording, and where speech is heard.

Recognisers that align words by attention put the first word after a pause up to ten seconds early
(faster-whisper issue 125) and the last one late, let words span pauses, and drift (issues 294, 759, with
hotwords 853).
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from voicenotes.speech.passage import Passage

if TYPE_CHECKING:
    from collections.abc import Sequence

    from voicenotes.model import Word
    from voicenotes.speech.guard_limits import GuardLimits
    from voicenotes.speech.voice_activity import VoiceActivity

LEAD_S = 0.06  # a word begins a little before the detector is sure of it
USUAL_WORD_S, LONGEST_WORD_S = 0.35, 1.5


def within(passages: Sequence[Passage], seconds: float) -> list[Passage]:
    """The passages with each word inside 0..`seconds`, starts never falling, ends not before starts."""
    told, latest = [], 0.0
    for passage in passages:
        words = []
        for word in passage.words:
            latest = start = min(max(word.start, latest), seconds)
            words.append(_timed(word, start, min(max(word.end, start), seconds)))
        told.append(replace(passage, words=tuple(words)))
    return told


def onto_speech(passage: Passage, activity: VoiceActivity, limits: GuardLimits) -> Passage:
    """The passage with silent beginnings and ends of words cut off and its outer words moved to speech.

    The first word moves forward, the last one back, at most `farthest_drift_s`, and only into speech that
    lies before the next word, or after the one before. A word with no speech near keeps its times.
    """
    starts = [word.start for word in passage.words[1:]]
    words = [
        _trimmed(word, following, activity, limits)
        for word, following in zip(passage.words, [*starts, activity.seconds], strict=False)
    ]
    if words:
        following = words[1].start if len(words) > 1 else None
        words[0] = _moved_forward(words[0], following, activity, limits)
        before = words[-2].end if len(words) > 1 else None
        words[-1] = _moved_back(words[-1], before, activity, limits)
    return replace(passage, words=tuple(words))


def _trimmed(word: Word, following: float, activity: VoiceActivity, limits: GuardLimits) -> Word:
    """The word without more than `margin_s` of silence at either end, where any speech is in it.

    It never starts later than `following`, the start of the word after it.
    """
    first = activity.first_heard(word.start, word.end, limits.heard)
    last = activity.last_heard(word.start, word.end, limits.heard)
    if first is None or last is None:
        return word
    start = min(first - LEAD_S, following) if first - word.start > limits.margin_s else word.start
    end = last + LEAD_S if word.end - last > limits.margin_s else word.end
    start = max(word.start, start)
    return _timed(word, start, max(start, min(word.end, end)))


def _moved_forward(word: Word, following: float | None, activity: VoiceActivity, limits: GuardLimits) -> Word:
    if _is_near_speech(word, activity, limits):
        return word
    latest = min(word.end + limits.farthest_drift_s, activity.seconds)
    latest = latest if following is None else min(latest, following)
    heard = activity.first_heard(word.end, latest, limits.heard)
    if heard is None:
        return word
    length = min(max(word.end - word.start, limits.shortest_word_s), USUAL_WORD_S)
    start = max(word.start, heard - LEAD_S)
    return _timed(word, start, max(start, min(start + length, latest)))


def _moved_back(word: Word, before: float | None, activity: VoiceActivity, limits: GuardLimits) -> Word:
    if _is_near_speech(word, activity, limits):
        return word
    earliest = max(word.start - limits.farthest_drift_s, 0.0)
    earliest = earliest if before is None else max(earliest, before)
    heard = activity.last_heard(earliest, word.start, limits.heard)
    if heard is None or heard <= earliest:
        return word
    length = min(max(word.end - word.start, limits.shortest_word_s), USUAL_WORD_S)
    return _timed(word, max(earliest, heard - length), heard)


def _is_near_speech(word: Word, activity: VoiceActivity, limits: GuardLimits) -> bool:
    margin = limits.margin_s if word.end - word.start <= LONGEST_WORD_S else 0.0
    return activity.peak(word.start - margin, word.end + margin) >= limits.heard


def _timed(word: Word, start: float, end: float) -> Word:
    if (start, end) == (word.start, word.end):
        return word
    return word.model_copy(update={"start": start, "end": end})
