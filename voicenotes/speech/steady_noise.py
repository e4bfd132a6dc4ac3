"""Takes steady noise (fans, pumps, hum) out of a stretch of speech before it is recognised.

A Wiener filter on short spectra with the decision-directed estimate of the signal-to-noise ratio (Ephraim
and Malah 1984). What the noise sounds like is learnt from the quietest frames around the stretch. The filter
never takes away more than `FLOOR_DB`, so that a wrong estimate muffles speech but doesn't delete it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

WINDOW, HOP = 512, 128
QUIETEST_SHARE = 0.15
SMOOTHING = 0.96
LOWEST_RATIO = 10**-2.5
FLOOR_DB = -6.0


def without_steady_noise(
    samples: NDArray[np.float32], surroundings: NDArray[np.float32] | None = None
) -> NDArray[np.float32]:
    """The same number of samples with steady noise turned down (float32 mono, 16 kHz).

    `surroundings` is a longer piece of the recording around the stretch, pauses included; without it the
    stretch itself must do. Samples shorter than a window come back as they are.
    """
    around = samples if surroundings is None else surroundings
    if samples.size < WINDOW or around.size < WINDOW:
        return samples
    window = np.sqrt(np.hanning(WINDOW + 1)[:-1])
    noise = _noise_spectrum(around, window)
    padded = np.pad(samples, (WINDOW, WINDOW + (-samples.size) % HOP)).astype(np.float64)
    spectra = np.fft.rfft(_frames(padded) * window, axis=1)
    gains = _gains(np.abs(spectra) ** 2 / noise)
    pieces = np.fft.irfft(spectra * gains, axis=1) * window
    out = np.zeros(padded.size)
    overlap = WINDOW // HOP
    for lane in range(overlap):
        joined = pieces[lane::overlap].reshape(-1)
        out[lane * HOP : lane * HOP + joined.size] += joined
    out /= float((window**2).sum()) / HOP
    return out[WINDOW : WINDOW + samples.size].astype(np.float32)


def _frames(samples: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.lib.stride_tricks.sliding_window_view(samples, WINDOW)[::HOP]


def _noise_spectrum(around: NDArray[np.float32], window: NDArray[np.float64]) -> NDArray[np.float64]:
    """Mean power spectrum of the quietest frames that aren't digital silence."""
    power = np.abs(np.fft.rfft(_frames(around.astype(np.float64)) * window, axis=1)) ** 2
    energy = power.sum(axis=1)
    heard = np.flatnonzero(energy > 1e-9)
    quiet = heard[np.argsort(energy[heard], kind="stable")][: max(8, int(QUIETEST_SHARE * heard.size))]
    spectrum = power[quiet].mean(axis=0) if quiet.size else np.zeros(power.shape[1])
    result: NDArray[np.float64] = spectrum + 1e-12
    return result


def _gains(ratios: NDArray[np.float64]) -> NDArray[np.float64]:
    """The filter for each frame from its power relative to the noise, both of shape (frames, bins)."""
    floor = 10 ** (FLOOR_DB / 20)
    gains = np.empty_like(ratios)
    before = np.ones(ratios.shape[1])
    for at, ratio in enumerate(ratios):
        prior = SMOOTHING * before + (1 - SMOOTHING) * np.maximum(ratio - 1, 0)
        prior = np.maximum(prior, LOWEST_RATIO)
        gain = prior / (1 + prior)
        before = gain**2 * ratio
        gains[at] = np.maximum(gain, floor)
    return gains
