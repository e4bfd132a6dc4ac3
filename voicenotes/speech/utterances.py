"""Cuts sound into utterances while it comes, and the same sound into the same utterances afterwards.

Silero's detector (`voice_activity.py`) is asked frame by frame, each in the state that the frames before
left, so the cuts depend on the sound alone and not on the pieces in which it came. An utterance begins where
speech does and ends after a pause; what lies between is silence that no engine hears. Together they follow
one another without a hole. Each utterance is transcribed alone, fitted to the voice of the first ones
(`VOICE_S`): so a recording that was listened to live is heard in the same way afterwards, whichever of its
pieces is heard first.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from voicenotes.audio.windows import Window
from voicenotes.model import SAMPLE_RATE_HZ
from voicenotes.speech.voice_activity import BEGIN, FRAME_SAMPLES, LOUDEST_PEAK, MOST_GAIN, SPIKE_FRAMES, STAY

if TYPE_CHECKING:
    from collections.abc import Generator

    from numpy.typing import NDArray

FRAMES_A_SECOND = SAMPLE_RATE_HZ / FRAME_SAMPLES
PAUSE_FRAMES = round(0.5 * FRAMES_A_SECOND)  # ends an utterance
AFTER_FRAMES = round(0.25 * FRAMES_A_SECOND)  # of the pause belong to it: then it may be heard on trial
LEAD_SAMPLES = round(0.4 * SAMPLE_RATE_HZ)
SHORTEST_SILENCE = SAMPLE_RATE_HZ
LONGEST_SILENCE = 10 * SAMPLE_RATE_HZ
LONGEST_SAMPLES = 25 * SAMPLE_RATE_HZ
VOICE_S = 6.0
# The gain follows the loudest of the last minute or so, at first as if that had been a quiet voice.
FIRST_PEAK, PEAK_KEPT = 0.05, 0.5 ** (1 / (30 * FRAMES_A_SECOND))
CONTEXT_SAMPLES = 64


class VoiceStream:
    """How probable speech is in each frame of 512 samples, as they come."""

    def __init__(self) -> None:
        from faster_whisper.vad import get_vad_model

        self._session: Any = get_vad_model().session
        self._state = np.zeros((1, 1, 128), np.float32), np.zeros((1, 1, 128), np.float32)
        self._before = np.zeros(CONTEXT_SAMPLES, np.float32)
        self._peak = FIRST_PEAK

    def level(self, frame: NDArray[np.float32]) -> float:
        """The probability in the next frame: float32, shape (512,)."""
        self._peak = max(self._peak * PEAK_KEPT, float(np.abs(frame).max()))
        gain = np.float32(max(1.0, min(MOST_GAIN, LOUDEST_PEAK / self._peak)))
        joined = np.concatenate([self._before, frame])
        given = {"input": (joined * gain)[None], "h": self._state[0], "c": self._state[1]}
        out, *state = self._session.run(None, given)
        self._state, self._before = (state[0], state[1]), joined[-CONTEXT_SAMPLES:]
        return float(np.ravel(out)[0])


@dataclass(frozen=True)
class Cut:
    """A stretch of a recording, from sample `first` to before `last`; `spoken` if somebody speaks in it.

    `voice` are the utterances, as pairs of first and last, that its engine is to be fitted to.
    """

    first: int
    last: int
    spoken: bool
    voice: tuple[tuple[int, int], ...] = ()


class UtteranceCutter:
    """Takes the samples of one recording as they come and tells the cuts; holds none of them."""

    def __init__(self) -> None:
        self._stream = VoiceStream()
        self._rest = np.zeros(0, np.float32)
        self._frame = self._start = self._run = self._last_voice = self._samples = 0
        self._levels: list[float] = []
        self._spoken = False
        self._voice: tuple[tuple[int, int], ...] = ()

    @property
    def is_speech(self) -> bool:
        """Whether somebody speaks just now."""
        return self._spoken

    def add(self, samples: NDArray[np.float32]) -> list[Cut]:
        """The cuts that the next samples bring: float32 mono 16 kHz, shape (n,)."""
        self._samples += samples.size
        joined = np.concatenate([self._rest, samples])
        whole = joined.size - joined.size % FRAME_SAMPLES
        self._rest = joined[whole:]
        cuts: list[Cut] = []
        for at in range(0, whole, FRAME_SAMPLES):
            self._next(self._stream.level(joined[at : at + FRAME_SAMPLES]), cuts)
            self._frame += 1
        return cuts

    def on_trial(self) -> Cut | None:
        """The utterance that will have been one, if the pause goes on: its samples are all there."""
        last = self._end_of_speech()
        if self._spoken and last <= self._frame * FRAME_SAMPLES:
            return Cut(self._start, last, True, self._voice)
        return None

    def finish(self) -> list[Cut]:
        """The last cut: what is left; none where nothing is."""
        cuts: list[Cut] = []
        if self._samples > self._start or not self._samples:
            self._cut(self._samples, self._spoken, cuts)
        return cuts

    def _end_of_speech(self) -> int:
        return (self._last_voice + 1 + AFTER_FRAMES) * FRAME_SAMPLES

    def _next(self, level: float, cuts: list[Cut]) -> None:
        now = (self._frame + 1) * FRAME_SAMPLES
        self._run = self._run + 1 if level >= BEGIN else 0
        self._levels.append(level)
        if not self._spoken:
            if self._run >= SPIKE_FRAMES:
                lead = (self._frame + 1 - SPIKE_FRAMES) * FRAME_SAMPLES - LEAD_SAMPLES
                if lead - self._start >= SHORTEST_SILENCE:
                    self._cut(lead, False, cuts)
                self._spoken, self._last_voice = True, self._frame
            elif now - self._start >= LONGEST_SILENCE:
                self._cut(now - SHORTEST_SILENCE, False, cuts)
            return
        if level >= STAY:
            self._last_voice = self._frame
        if self._frame - self._last_voice >= PAUSE_FRAMES:
            self._cut(self._end_of_speech(), True, cuts)
        elif now - self._start >= LONGEST_SAMPLES:  # where speech is least probable in its second half
            half = len(self._levels) // 2
            back = len(self._levels) - half - int(np.argmin(self._levels[half:]))
            self._cut(now - back * FRAME_SAMPLES, True, cuts)
            self._spoken = True

    def _cut(self, last: int, spoken: bool, cuts: list[Cut]) -> None:
        cuts.append(Cut(self._start, last, spoken, self._voice if spoken else ()))
        if spoken and sum(b - a for a, b in self._voice) < VOICE_S * SAMPLE_RATE_HZ:
            self._voice = (*self._voice, (self._start, last))
        kept = max(0, (self._frame + 1) - last // FRAME_SAMPLES)
        self._levels = self._levels[len(self._levels) - kept :] if kept else []
        self._start, self._spoken, self._run = last, False, 0


def utterance_windows(
    blocks: Generator[NDArray[np.float32], None, str | None],
) -> Generator[Window, None, str | None]:
    """A recording that was listened to, as windows: one a cut. Its return value is that of `blocks`."""
    cutter = UtteranceCutter()
    buffer, start, number = np.zeros(0, np.float32), 0, 0
    voice: dict[tuple[int, int], NDArray[np.float32]] = {}
    while True:
        try:
            block = next(blocks)
        except StopIteration as end:
            cuts, ended, problem = cutter.finish(), True, end.value
        else:
            buffer, ended, problem = np.concatenate([buffer, block]), False, None
            cuts = cutter.add(block)
        for place, cut in enumerate(cuts):
            samples = buffer[: cut.last - start]
            fitted = [voice[span] for span in cut.voice]
            is_last = ended and place == len(cuts) - 1
            yield Window(
                number, cut.first / SAMPLE_RATE_HZ, samples.copy(), is_last, cut.spoken,
                np.concatenate(fitted) if fitted else None,
            )  # fmt: skip
            if cut.spoken and sum(piece.size for piece in voice.values()) < VOICE_S * SAMPLE_RATE_HZ:
                voice[(cut.first, cut.last)] = samples.copy()
            buffer, start, number = buffer[cut.last - start :], cut.last, number + 1
        if ended:
            return problem if isinstance(problem, str) else None
