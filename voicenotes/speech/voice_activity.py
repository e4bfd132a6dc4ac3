"""How probable it is that somebody speaks, from moment to moment.

Silero's voice detector (in faster-whisper's wheel, run by onnxruntime) gives a probability every 32 ms. It
is asked once a window; what it says decides which stretches a recogniser gets and is held against the words
that come back. Measured with four synthetic voices: nine tenths of the frames of speech stay above 0.5 down
to 0 dB of white or pink noise; hum, hiss, blows, tones and chords stay below 0.35 but for single frames.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from voicenotes.audio.pauses import Stretch
from voicenotes.model import SAMPLE_RATE_HZ

if TYPE_CHECKING:
    from numpy.typing import NDArray

FRAME_SAMPLES = 512
FRAME_S = FRAME_SAMPLES / SAMPLE_RATE_HZ
SPIKE_FRAMES = 3  # a rise shorter than this (96 ms) is no syllable
LOUDEST_PEAK, MOST_GAIN = 0.5, 30.0
BEGIN, STAY = 0.35, 0.2  # lower than Silero's usual 0.5 and 0.35: a remark that is never decoded is lost
SHORTEST_PAUSE_S = 0.5
PADDING_S = 0.4
LONGEST_S = 29.0


@dataclass(frozen=True)
class VoiceActivity:
    """The probability of speech in each frame of 32 ms, shape (frames,), and the samples' length."""

    levels: NDArray[np.float32]
    seconds: float

    def peak(self, start: float, end: float) -> float:
        """The highest probability between two times in seconds; 0 outside the recording."""
        part = self.levels[self._frames(start, end)]
        return float(part.max()) if part.size else 0.0

    def heard_s(self, start: float, end: float, level: float = BEGIN) -> float:
        """For how many seconds between two times the probability is at least `level`."""
        part = self.levels[self._frames(start, end)]
        return min(float((part >= level).sum()) * FRAME_S, max(0.0, end - start))

    def first_heard(self, start: float, end: float, level: float = BEGIN) -> float | None:
        """When speech is first heard between two times; None if it is not."""
        frames = self._frames(start, end)
        found = np.flatnonzero(self.levels[frames] >= level)
        return max(start, (frames.start + int(found[0])) * FRAME_S) if found.size else None

    def last_heard(self, start: float, end: float, level: float = BEGIN) -> float | None:
        """When speech is last heard between two times; None if it is not."""
        frames = self._frames(start, end)
        found = np.flatnonzero(self.levels[frames] >= level)
        return min(end, (frames.start + int(found[-1]) + 1) * FRAME_S) if found.size else None

    def _frames(self, start: float, end: float) -> slice:
        first = max(0, int(start / FRAME_S))
        return slice(first, max(first + 1, -int(-max(0.0, end) // FRAME_S)))


def voice_activity(samples: NDArray[np.float32]) -> VoiceActivity:
    """The voice activity of mono samples (float32 in -1..1, 16 kHz, shape (n,)).

    Quiet samples are made louder first (at most 30 times), as Silero hears nothing below some -70 dB.
    """
    from faster_whisper.vad import get_vad_model

    seconds = samples.size / SAMPLE_RATE_HZ
    peak = float(np.abs(samples).max()) if samples.size else 0.0
    if peak == 0.0:
        return VoiceActivity(np.zeros(-(-samples.size // FRAME_SAMPLES), dtype=np.float32), seconds)
    gain = max(1.0, min(MOST_GAIN, LOUDEST_PEAK / peak))
    padded = np.pad(samples * np.float32(gain), (0, -samples.size % FRAME_SAMPLES)).astype(np.float32)
    probabilities = np.asarray(get_vad_model()(padded), dtype=np.float32).ravel()
    return VoiceActivity(_without_spikes(probabilities), seconds)


def speech_stretches(activity: VoiceActivity) -> list[Stretch]:
    """Where somebody speaks, with the pauses around: in order, inside the samples, at most 29 s each.

    Speech begins at `BEGIN` and lasts while it stays above `STAY`; pauses shorter than 0.5 s are part of
    it. A longer stretch is cut in its second half, where speech is least probable.
    """
    above = activity.levels >= STAY
    edges = np.flatnonzero(np.diff(np.concatenate(([0], above.astype(np.int8), [0])))).reshape(-1, 2)
    runs = [(int(a), int(b)) for a, b in edges if (activity.levels[a:b] >= BEGIN).any()]
    joined: list[tuple[int, int]] = []
    for begin, end in runs:
        if joined and (begin - joined[-1][1]) * FRAME_S < SHORTEST_PAUSE_S:
            joined[-1] = (joined[-1][0], end)
        else:
            joined.append((begin, end))
    stretches = []
    for index, (begin, end) in enumerate(joined):
        left = (joined[index - 1][1] + begin) / 2 * FRAME_S if index else 0.0
        right = (end + joined[index + 1][0]) / 2 * FRAME_S if index + 1 < len(joined) else activity.seconds
        start_s, end_s = max(left, begin * FRAME_S - PADDING_S), min(right, end * FRAME_S + PADDING_S)
        stretches += _short(start_s, min(end_s, activity.seconds), activity)
    return stretches


def _short(start: float, end: float, activity: VoiceActivity) -> list[Stretch]:
    cut: list[Stretch] = []
    while end - start > LONGEST_S:
        first = int((start + LONGEST_S / 2) / FRAME_S)
        part = activity.levels[first : int((start + LONGEST_S) / FRAME_S)]
        middle = (first + int(part.argmin()) + 0.5) * FRAME_S
        cut.append(Stretch(start, middle))
        start = middle
    return [*cut, Stretch(start, end)]


def _without_spikes(probabilities: NDArray[np.float32]) -> NDArray[np.float32]:
    """Each frame's highest level that holds for `SPIKE_FRAMES` frames in a row around it."""
    if probabilities.size < SPIKE_FRAMES:
        return probabilities
    least = np.lib.stride_tricks.sliding_window_view(probabilities, SPIKE_FRAMES).min(axis=1)
    wide = np.pad(least, SPIKE_FRAMES - 1)
    levels: NDArray[np.float32] = np.lib.stride_tricks.sliding_window_view(wide, SPIKE_FRAMES).max(axis=1)
    return levels
