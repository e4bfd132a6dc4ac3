"""Speech packed into pieces that fit a recogniser's window, and the way back to the recording's times."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from voicenotes.audio.pauses import Stretch
from voicenotes.model import SAMPLE_RATE_HZ
from voicenotes.speech.voice_activity import LONGEST_S

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray


@dataclass(frozen=True)
class Piece:
    """Stretches of a recording set one after the other, long pauses between them left out."""

    samples: NDArray[np.float32]
    stretches: tuple[Stretch, ...]

    @property
    def seconds(self) -> float:
        """The piece's own length."""
        return self.samples.size / SAMPLE_RATE_HZ

    def times(self, start: float, end: float) -> tuple[float, float]:
        """Start and end in the recording of what the piece has between two times of its own.

        Both lie in the stretch that holds the middle, as a word never spans a pause that was taken out.
        """
        middle = (start + end) / 2
        before = 0.0
        for stretch in self.stretches:
            length = stretch.end_s - stretch.start_s
            if middle < before + length or stretch is self.stretches[-1]:
                break
            before += length
        shift = stretch.start_s - before
        first = min(max(start + shift, stretch.start_s), stretch.end_s)
        return first, min(max(end + shift, first), stretch.end_s)


def packed(
    samples: NDArray[np.float32], stretches: Sequence[Stretch], longest_s: float = LONGEST_S
) -> list[Piece]:
    """The stretches (in order, none longer than `longest_s`) in as few pieces as they fill in order."""
    groups: list[list[Stretch]] = []
    length = 0.0
    for stretch in stretches:
        duration = stretch.end_s - stretch.start_s
        if not groups or length + duration > longest_s:
            groups.append([])
            length = 0.0
        groups[-1].append(stretch)
        length += duration
    return [Piece(_joined(samples, group), tuple(group)) for group in groups]


def _joined(samples: NDArray[np.float32], stretches: Sequence[Stretch]) -> NDArray[np.float32]:
    rate = SAMPLE_RATE_HZ
    parts = [samples[round(part.start_s * rate) : round(part.end_s * rate)] for part in stretches]
    return np.ascontiguousarray(np.concatenate(parts), dtype=np.float32)
