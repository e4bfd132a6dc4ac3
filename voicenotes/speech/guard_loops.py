"""Loops: a recogniser that writes the same words over and over (faster-whisper issues 40, 465, 716).

A technician does say things twice, and digits stand in rows. So a repeat counts as a loop only when no voice
could have kept its pace, when too little speech is heard for it, or when several words come back so often
that the text shrinks like none that is spoken. The first round always stays: what comes after says no more.
"""

from __future__ import annotations

import zlib
from typing import TYPE_CHECKING

from voicenotes.speech.passage import bare

if TYPE_CHECKING:
    from collections.abc import Sequence

    from voicenotes.model import Word
    from voicenotes.speech.guard_limits import GuardLimits
    from voicenotes.speech.voice_activity import VoiceActivity

LONGEST_ROUND = 24  # words that come back together
FEWEST_WORDS_REPEATED = 6  # after the first round
FEWEST_ROUNDS = 3
ROUNDS_OF_A_LOOP = 5  # of three words and more, whatever the pace


def repeats(words: Sequence[Word], activity: VoiceActivity, limits: GuardLimits) -> dict[int, str]:
    """The indices of words that only repeat what stands before them in a loop, each with the reason."""
    spoken = [bare(word.text) for word in words]
    reasons: dict[int, str] = {}
    start = 0
    while start < len(spoken):
        size, end = _longest_run(spoken, start)
        if size and (why := _reason(words[start:end], size, activity, limits)):
            reasons |= dict.fromkeys(range(start + size, end), why)
            start = end
        else:
            start += 1
    return reasons


def compression_ratio(text: str) -> float:
    """How many times smaller zlib makes the text; spoken English of a few sentences stays below 2."""
    content = text.encode()
    return len(content) / len(zlib.compress(content)) if content else 0.0


def _longest_run(spoken: Sequence[str], start: int) -> tuple[int, int]:
    """The shortest round that repeats for long enough from `start` on, and where it ends; else (0, start)."""
    for size in range(1, min(LONGEST_ROUND, (len(spoken) - start) // FEWEST_ROUNDS) + 1):
        end = start + size
        while end < len(spoken) and spoken[end] == spoken[end - size]:
            end += 1
        repeated = end - start - size
        if repeated >= max(FEWEST_WORDS_REPEATED, (FEWEST_ROUNDS - 1) * size):
            return size, end
    return 0, start


def _reason(run: Sequence[Word], size: int, activity: VoiceActivity, limits: GuardLimits) -> str | None:
    rounds = len(run) // size
    said = f"the same {size} words" if size > 1 else "the same word"
    again = run[size:]
    took = max(word.end for word in again) - again[0].start
    if took < len(again) / limits.words_per_second:
        return f"{said} {rounds} times, faster than anybody speaks"
    heard = sum(activity.heard_s(word.start, word.end, limits.heard) for word in again)
    spread = activity.heard_s(again[0].start, again[-1].end, limits.heard)
    if min(took, max(heard, spread)) < len(again) / limits.words_per_second:
        return f"{said} {rounds} times, where too little is heard for it"
    text = " ".join(word.text for word in run)
    if size >= 3 and rounds >= ROUNDS_OF_A_LOOP and compression_ratio(text) > limits.compression:
        return f"{said} {rounds} times"
    return None
