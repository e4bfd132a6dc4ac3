"""The limits of the guards, together so that they can be named in the key of kept transcripts."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class GuardLimits:
    """Limits against which words are held. Probabilities run from 0 to 1, times are seconds.

    The limits on log probability, no-speech probability and compression are Whisper's own (`transcribe.py`
    of openai-whisper: -1.0, 0.6, 2.4). Words a second: fast English speech has 5 to 6, from memory; the
    others are common practice, no source, and were tried with the sounds of `tests/test_guards.py`.
    """

    silent: float = 0.25  # below it nobody speaks
    heard: float = 0.35  # from it on somebody may be speaking
    surely_heard: float = 0.5  # Silero's usual limit
    margin_s: float = 0.25  # around a word, as times are rarely better
    improbable_word: float = 0.4
    improbable_log: float = -1.0
    no_speech: float = 0.6
    compression: float = 2.4
    words_per_second: float = 8.0
    shortest_word_s: float = 0.12
    farthest_drift_s: float = 10.0  # words were seen this far from where they were said
    doubted: float = 0.5  # what a doubtful word's confidence is multiplied by
