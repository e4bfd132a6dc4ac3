"""What is measured of each second of sound before anything is decided: levels in bands, voicing, clipping.

All of it is plain arithmetic on one second (float32 mono, 16 kHz) and the few samples before it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from voicenotes.model import SAMPLE_RATE_HZ

if TYPE_CHECKING:
    from numpy.typing import NDArray

CHUNK_SAMPLES = SAMPLE_RATE_HZ
HOP_SAMPLES = 320
FRAME_SECONDS = HOP_SAMPLES / SAMPLE_RATE_HZ
WINDOW_SAMPLES = 640
SPECTRUM_SAMPLES = 1280
# Bands in Hz. Wind and rumble lie below RUMBLE; a voice begins at 80 Hz (f0 of low voices) and its strongest
# formant below 1 kHz. BODY and EDGE are compared to find speech that has lost its consonants.
RUMBLE = (20.0, 100.0)
VOICE = (150.0, 8000.0)
BODY = (300.0, 1000.0)
EDGE = (1500.0, 3500.0)
PITCH = (80.0, 400.0)
TINY = 1e-15
# Clipped samples heap up at one height. Within a second, samples above TOP of its peak belong to clipped runs
# if there are more of them than between MIDDLE and TOP of it. Unclipped speech has a third as many (median on
# flite voices), a clipped wave more, also after a gain, resampling or a lossy codec. Only runs of some length
# count, and only in seconds whose peak is loud enough to be told from the steps of the samples. The crests of
# hum heap up as well: seconds in which it has more than HUM of the voice's power are left out.
TOP, MIDDLE = 0.80, 0.65
PILE_RATIO = 1.0
SHORTEST_RUN = 3
FEWEST_RUNS = 6
LOWEST_CLIPPED_PEAK = 0.02
HUM = 0.5
# Digital silence: less than half a step of 16 bits. Less than SHORTEST_DROPOUT of it occurs in speech; more
# than LONGEST_DROPOUT is a pause that a recorder's noise gate made.
ZERO = 0.5 / 32768
SHORTEST_DROPOUT, LONGEST_DROPOUT = SAMPLE_RATE_HZ // 100, SAMPLE_RATE_HZ * 3 // 10
EDGE_SAMPLES = SAMPLE_RATE_HZ // 200


@dataclass(frozen=True)
class Frames:
    """Measures of consecutive frames of 20 ms, arrays of shape (n,); powers relative to full scale squared.

    `voice`, `rumble`, `body` and `edge` are the powers in the bands of those names; `voicing` is how periodic
    the frame is at a voice's pitch (autocorrelation, 0..1).
    """

    voice: NDArray[np.float64]
    rumble: NDArray[np.float64]
    body: NDArray[np.float64]
    edge: NDArray[np.float64]
    voicing: NDArray[np.float64]

    def __add__(self, other: Frames) -> Frames:
        pairs = zip(vars(self).values(), vars(other).values(), strict=True)
        return Frames(*(np.concatenate(pair) for pair in pairs))

    def __len__(self) -> int:
        return int(self.voice.size)


NO_FRAMES = Frames(*(np.zeros(0) for _ in range(5)))


def frames_of(samples: NDArray[np.float32], before: NDArray[np.float32]) -> Frames:
    """The frames of a piece of sound; `before` are the WINDOW - HOP samples in front of it."""
    joined = np.concatenate([before, samples]).astype(np.float64)
    pieces = np.lib.stride_tricks.sliding_window_view(joined, WINDOW_SAMPLES)[::HOP_SAMPLES]
    window, decay, bands = _tables()
    power = (
        np.abs(np.fft.rfft((pieces - pieces.mean(axis=1, keepdims=True)) * window, SPECTRUM_SAMPLES, axis=1))
        ** 2
    )
    voice, rumble, body, edge = (power @ bands).T
    spectrum = power * (bands[:, 0] > 0)
    first, last = (round(SAMPLE_RATE_HZ / hertz) for hertz in reversed(PITCH))
    alike = np.fft.irfft(spectrum, axis=1)[:, : last + 1]
    voicing = (alike[:, first:] / decay[first : last + 1]).max(axis=1) / np.maximum(alike[:, 0], TINY)
    return Frames(voice, rumble, body, edge, np.clip(voicing, 0.0, 1.0))


@lru_cache
def _tables() -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """The window, its own autocorrelation, and the weights of the four bands, shape (bins, 4)."""
    window = np.hanning(WINDOW_SAMPLES + 1)[:-1]
    own = np.correlate(window, window, "full")[WINDOW_SAMPLES - 1 :]
    hertz = np.fft.rfftfreq(SPECTRUM_SAMPLES, 1 / SAMPLE_RATE_HZ)
    scale = 2.0 / (SPECTRUM_SAMPLES * float((window**2).sum()))
    inside = [(hertz >= low) & (hertz < high) for low, high in (VOICE, RUMBLE, BODY, EDGE)]
    return window, own / own[0], scale * np.array(inside, dtype=np.float64).T


def clipped_samples(samples: NDArray[np.float32]) -> int:
    """How many samples of a second or less belong to clipped runs."""
    size = np.abs(samples)
    peak = float(size.max(initial=0.0))
    if peak < LOWEST_CLIPPED_PEAK:
        return 0
    top = size >= TOP * peak
    high = int(np.count_nonzero(top))
    if high <= PILE_RATIO * np.count_nonzero(size >= MIDDLE * peak) - PILE_RATIO * high:
        return 0
    begins, ends = runs_of(top)
    long = ends - begins >= SHORTEST_RUN
    return int((ends - begins)[long].sum()) if np.count_nonzero(long) >= FEWEST_RUNS else 0


def dropouts(samples: NDArray[np.float32], loud: float) -> int:
    """How often sound as loud as `loud` (RMS) breaks off into digital silence and comes back at once."""
    begins, ends = runs_of(np.abs(samples) < ZERO)
    length = ends - begins
    found = 0
    for begin, end in zip(
        *(edge[(length >= SHORTEST_DROPOUT) & (length <= LONGEST_DROPOUT)] for edge in (begins, ends)),
        strict=True,
    ):
        around = samples[max(0, begin - EDGE_SAMPLES) : begin], samples[end : end + EDGE_SAMPLES]
        found += all(side.size and float(np.sqrt(np.mean(np.square(side)))) > loud for side in around)
    return found


def runs_of(mask: NDArray[np.bool_]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """First place and place after the last of each run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], mask.astype(np.int8), [0]))))
    return edges[::2], edges[1::2]
