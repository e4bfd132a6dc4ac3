"""Where in a recording somebody speaks: stretches between pauses, found by energy alone.

The noise of the place is estimated from the recording itself and may change over it, so a steady
compressor or coolant pump is no speech.  When in doubt a stretch is kept: the speech engine can
find it empty, but a remark that is cut away is lost.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from voicenotes.model import SAMPLE_RATE_HZ

if TYPE_CHECKING:
    from numpy.typing import NDArray

LOWEST_DBFS = -120.0
FRAME_SECONDS = 0.01
FRAME_SAMPLES = round(FRAME_SECONDS * SAMPLE_RATE_HZ)
SMOOTHING_SECONDS = 0.07
# Subtracting the mean of the 4 ms around it takes rumble below some 150 Hz out of a sample.
RUMBLE_SAMPLES = 65
DIGITAL_SILENCE_DBFS = -85.0
# The noise level is the quiet tenth of each half-overlapping window.
NOISE_WINDOW_SECONDS = 20.0
NOISE_PERCENTILE = 10.0
# Steady noise stays within this range, smoothed; speech ranges over 20 dB and more.
STEADY_RANGE_DB = 4.5
CHUNK_FRAMES = 6000


@dataclass(frozen=True)
class Stretch:
    """A stretch of speech, in seconds from the start of the samples."""

    start_s: float
    end_s: float


def level_dbfs(samples: NDArray[np.float32]) -> float:
    """RMS level in dB relative to a constant 1.0; LOWEST_DBFS for silence or no samples."""
    if samples.size == 0:
        return LOWEST_DBFS
    power = float(np.dot(samples, samples)) / samples.size
    return max(LOWEST_DBFS, 10.0 * float(np.log10(max(power, 1e-30))))


def is_silent(samples: NDArray[np.float32], limit_dbfs: float = -60.0) -> bool:
    """Whether even the loudest tenth of a second stays below `limit_dbfs`."""
    size = SAMPLE_RATE_HZ // 10
    return all(
        level_dbfs(samples[start : start + size]) < limit_dbfs for start in range(0, samples.size, size)
    )


def cut_at_pauses(
    samples: NDArray[np.float32],
    *,
    min_pause_s: float = 0.35,
    padding_s: float = 0.18,
    max_stretch_s: float = 25.0,
    min_speech_s: float = 0.1,
    min_rise_db: float = 6.0,
    max_rise_db: float = 12.0,
    lowest_speech_dbfs: float = -65.0,
) -> list[Stretch]:
    """Find the speech in mono 16 kHz samples (float32, shape (n,)).

    Speech begins where the level rises above the noise by 0.3 of the recording's range (between
    `min_rise_db` and `max_rise_db`), and lasts while it stays above half of that rise.  Gaps shorter
    than `min_pause_s` are closed, stretches with less than `min_speech_s` of sound dropped,
    `padding_s` added at both ends.  A stretch longer than `max_stretch_s` is cut where it is
    quietest.  Stretches are in order, inside the recording, and never overlap.
    """
    level = _frame_levels(samples)
    if level.size == 0:
        return []
    noise = _noise_levels(level)
    if noise is None:
        return []
    noise = np.maximum(noise, lowest_speech_dbfs - min_rise_db)
    rise = np.clip(0.3 * (np.percentile(level, 99.5) - noise), min_rise_db, max_rise_db)
    speech = _with_hysteresis(level, noise + rise, noise + 0.5 * rise)
    runs = _runs(speech)
    runs = _close_gaps(runs, round(min_pause_s / FRAME_SECONDS))
    loud = np.concatenate(([0], np.cumsum(speech)))
    runs = [(a, b) for a, b in runs if loud[b] - loud[a] >= round(min_speech_s / FRAME_SECONDS)]
    runs = _padded(runs, round(padding_s / FRAME_SECONDS), level.size)
    runs = _cut_long(runs, level, round(max_stretch_s / FRAME_SECONDS))
    length_s = samples.size / SAMPLE_RATE_HZ
    return [Stretch(a * FRAME_SECONDS, min(b * FRAME_SECONDS, length_s)) for a, b in runs]


def _frame_levels(samples: NDArray[np.float32]) -> NDArray[np.float64]:
    """Smoothed level in dBFS of each 10 ms frame, without low rumble."""
    count = -(-samples.size // FRAME_SAMPLES)
    power = np.zeros(count)
    half = RUMBLE_SAMPLES // 2
    for first in range(0, count, CHUNK_FRAMES):
        start = first * FRAME_SAMPLES
        end = min(samples.size, start + CHUNK_FRAMES * FRAME_SAMPLES)
        before, after = min(half, start), min(half, samples.size - end)
        piece = samples[start - before : end + after]
        sums = np.cumsum(np.pad(piece, (half - before + 1, half - after), mode="edge"), dtype=np.float64)
        rumble = (sums[RUMBLE_SAMPLES:] - sums[:-RUMBLE_SAMPLES]) / RUMBLE_SAMPLES
        clear = samples[start:end] - rumble
        frames = np.pad(clear, (0, -clear.size % FRAME_SAMPLES)).reshape(-1, FRAME_SAMPLES)
        power[first : first + len(frames)] = np.einsum("ij,ij->i", frames, frames) / FRAME_SAMPLES
    width = round(SMOOTHING_SECONDS / FRAME_SECONDS)
    ends = np.pad(power, (width // 2, width - 1 - width // 2), mode="edge") if count else power
    smooth = np.convolve(ends, np.full(width, 1 / width), mode="valid") if count else power
    return np.maximum(LOWEST_DBFS, 10.0 * np.log10(np.maximum(smooth, 1e-30)))


def _noise_levels(level: NDArray[np.float64]) -> NDArray[np.float64] | None:
    """The noise level at each frame in dBFS; None when all there is is silence or steady noise."""
    sounding = level > DIGITAL_SILENCE_DBFS
    if not sounding.any():
        return None
    first, last = np.flatnonzero(sounding)[[0, -1]]
    inside = level[first : last + 1]
    heard = inside[sounding[first : last + 1]]
    low, high = np.percentile(heard, [NOISE_PERCENTILE, 99.5])
    if high - low < STEADY_RANGE_DB:
        # One level only.  Steady sound that starts and stops out of digital silence was let through
        # by a noise gate, so it is no background; steady sound throughout is.
        gated = heard.size < 0.9 * inside.size
        return np.full(level.size, DIGITAL_SILENCE_DBFS) if gated else None
    window = round(NOISE_WINDOW_SECONDS / FRAME_SECONDS)
    centres, values = [], []
    for start in range(0, max(1, level.size - window // 2), window // 2):
        part = level[start : start + window]
        part = part[part > DIGITAL_SILENCE_DBFS]
        if part.size >= window // 10 or (part.size and level.size < window):
            centres.append(start + min(window, level.size - start) / 2)
            values.append(float(np.percentile(part, NOISE_PERCENTILE)))
    if not values:
        return np.full(level.size, low)
    noise: NDArray[np.float64] = np.interp(np.arange(level.size), centres, values)
    return noise


def _with_hysteresis(
    level: NDArray[np.float64], begin: NDArray[np.float64], stay: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Frames in a run above `stay` that somewhere rises above `begin`."""
    above = level > stay
    starts = above & ~np.concatenate(([False], above[:-1]))
    run = np.cumsum(starts)
    real = np.zeros(int(run[-1]) + 1, dtype=np.bool_)
    real[run[level > begin]] = True
    return above & real[run]


def _runs(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First frame and frame after the last of each run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], mask.astype(np.int8), [0]))))
    return [(int(a), int(b)) for a, b in edges.reshape(-1, 2)]


def _close_gaps(runs: list[tuple[int, int]], shortest: int) -> list[tuple[int, int]]:
    """Join runs whose gap is shorter than `shortest` frames."""
    joined: list[tuple[int, int]] = []
    for begin, end in runs:
        if joined and begin - joined[-1][1] < shortest:
            joined[-1] = (joined[-1][0], end)
        else:
            joined.append((begin, end))
    return joined


def _padded(runs: list[tuple[int, int]], padding: int, count: int) -> list[tuple[int, int]]:
    """Widen each run by `padding` frames, at most to the middle of the gap beside it."""
    wide = []
    for index, (begin, end) in enumerate(runs):
        left = (runs[index - 1][1] + begin) // 2 if index else 0
        right = (end + runs[index + 1][0]) // 2 if index + 1 < len(runs) else count
        wide.append((max(begin - padding, left), min(end + padding, right)))
    return wide


def _cut_long(runs: list[tuple[int, int]], level: NDArray[np.float64], longest: int) -> list[tuple[int, int]]:
    """Cut runs longer than `longest` frames at the quietest frame of the later half allowed."""
    short = []
    for begin, end in runs:
        while end - begin > longest:
            earliest = begin + max(1, longest // 2)
            cut = earliest + int(np.argmin(level[earliest : begin + longest + 1]))
            short.append((begin, cut))
            begin = cut
        short.append((begin, end))
    return short
