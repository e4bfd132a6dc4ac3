"""From 16 kHz to 48 kHz and back, in blocks: a low-pass filter of 97 weights (a sinc, Kaiser window).

Both ways pass up to 7.2 kHz within half a decibel and stop the images above 8.8 kHz. Each way delays the
sound by `DELAY` samples of 16 kHz.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

TIMES = 3
LENGTH = 97
DELAY = (LENGTH - 1) // 2 // TIMES
PASSED = 1.0 / TIMES  # half of the higher rate's band, of which a third is the lower rate's
KAISER_BETA = 6.0


def _low_pass() -> NDArray[np.float32]:
    at = np.arange(LENGTH) - (LENGTH - 1) / 2
    weights = PASSED * np.sinc(PASSED * at) * np.kaiser(LENGTH, KAISER_BETA)
    result: NDArray[np.float32] = (weights / weights.sum()).astype(np.float32)
    return result


class ToHigherRate:
    """Blocks at 16 kHz in, blocks of three times as many samples out."""

    def __init__(self) -> None:
        padded = np.append(TIMES * _low_pass(), np.zeros(-LENGTH % TIMES, np.float32))
        self._lanes = [padded[lane::TIMES] for lane in range(TIMES)]
        self._before = np.zeros(self._lanes[0].size - 1, np.float32)

    def __call__(self, block: NDArray[np.float32]) -> NDArray[np.float32]:
        """float32 of shape (n,) to shape (3 n,), contiguous; n at least 1."""
        joined = np.concatenate([self._before, block])
        self._before = joined[-self._before.size :]
        out = np.empty(TIMES * block.size, np.float32)
        for lane, weights in enumerate(self._lanes):
            out[lane::TIMES] = np.convolve(joined, weights, mode="valid")
        return out


class ToLowerRate:
    """Blocks at 48 kHz in, their length a multiple of three; blocks of a third of the samples out."""

    def __init__(self) -> None:
        self._filter = _low_pass()
        self._before = np.zeros(LENGTH - 1, np.float32)

    def __call__(self, block: NDArray[np.float32]) -> NDArray[np.float32]:
        """float32 of shape (3 n,) to shape (n,)."""
        joined = np.concatenate([self._before, block])
        self._before = joined[-self._before.size :]
        return np.convolve(joined, self._filter, mode="valid")[::TIMES]
