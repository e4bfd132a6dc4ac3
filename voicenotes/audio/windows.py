"""A recording of any length, a few minutes at a time: windows cut where it is quietest.

Only one window is in memory at a time. Where the cuts fall depends on the sound alone, so a recording
has the same windows whoever goes through it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from voicenotes.model import SAMPLE_RATE_HZ

if TYPE_CHECKING:
    from collections.abc import Generator

    from numpy.typing import NDArray

LONGEST_S, SHORTEST_S = 240.0, 180.0
QUIET_S = 0.5  # a cut stands in the middle of the quietest half second
STEP_SAMPLES = SAMPLE_RATE_HZ // 100


@dataclass(frozen=True)
class Window:
    """A piece of a recording: float32 mono 16 kHz, `start_s` seconds after the recording's start.

    Of a recording that is cut into utterances, `spoken` tells whether anybody speaks in it, and `voice` is
    the sound that its engine is to be fitted to, None for its own.
    """

    number: int
    start_s: float
    samples: NDArray[np.float32]
    is_last: bool
    spoken: bool = True
    voice: NDArray[np.float32] | None = None


def windows_of(
    blocks: Generator[NDArray[np.float32], None, str | None],
    longest_s: float = LONGEST_S,
    shortest_s: float = SHORTEST_S,
) -> Generator[Window, None, str | None]:
    """Blocks of any length regrouped into windows; they follow one another without a hole.

    Each is at most `longest_s` long and, but for the last, at least `shortest_s`. The generator's return
    value is that of `blocks`; what `blocks` raises passes through.
    """
    longest, shortest = round(longest_s * SAMPLE_RATE_HZ), round(shortest_s * SAMPLE_RATE_HZ)
    buffer = np.empty(longest, np.float32)
    filled = number = start = 0
    while True:
        try:
            block = next(blocks)
        except StopIteration as end:
            if filled or number == 0:
                yield Window(number, start / SAMPLE_RATE_HZ, buffer[:filled].copy(), True)
            return end.value if isinstance(end.value, str) else None
        while block.size:
            if filled == longest:  # more is coming, so this window is not the last
                cut = _quietest(buffer, shortest)
                yield Window(number, start / SAMPLE_RATE_HZ, buffer[:cut].copy(), False)
                buffer[: filled - cut] = buffer[cut:filled].copy()
                filled, number, start = filled - cut, number + 1, start + cut
            taken = min(block.size, longest - filled)
            buffer[filled : filled + taken] = block[:taken]
            filled += taken
            block = block[taken:]


def _quietest(samples: NDArray[np.float32], shortest: int) -> int:
    """Where to cut, between `shortest` and the end: the middle of the half second with the least energy."""
    tail = samples[shortest:]
    count = tail.size // STEP_SAMPLES
    width = round(QUIET_S * SAMPLE_RATE_HZ) // STEP_SAMPLES
    if count <= width:
        return samples.size
    steps = tail[: count * STEP_SAMPLES].reshape(count, STEP_SAMPLES).astype(np.float64)
    energy = np.concatenate(([0.0], np.cumsum(np.einsum("ij,ij->i", steps, steps))))
    quietest = int(np.argmin(energy[width:] - energy[:-width]))
    return shortest + (quietest + width // 2) * STEP_SAMPLES
