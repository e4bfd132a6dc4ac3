"""Where the sound comes from that is listened to: a microphone, or recordings played as if they were one."""

from __future__ import annotations

import threading
import time
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Protocol

import numpy as np

from voicenotes.errors import RecordingError
from voicenotes.model import SAMPLE_RATE_HZ

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from numpy.typing import NDArray

BLOCK_SAMPLES = SAMPLE_RATE_HZ // 10


class Source(Protocol):
    """Sound in blocks, as it comes."""

    name: str
    """What to call it on the screen."""
    hears_the_room: bool
    """Whether it hears what this machine says aloud."""

    def blocks(self) -> Iterator[NDArray[np.int16]]:
        """Mono 16-bit samples at 16 kHz, shape (n,), until the source ends or is stopped.

        Raises MicrophoneError when it is there no more; asked again, it tries to begin anew.
        """
        ...

    def now(self) -> datetime:
        """Local time of the end of the last block."""
        ...

    def stop(self) -> None:
        """End the blocks soon; may be called from another thread, and again."""
        ...


class Playback:
    """Recordings of any format, one after the other, at real speed, faster, or as fast as they are taken.

    `speed` 1 is real time and 0 without waiting. Raises RecordingError for the first that isn't there, and
    from `blocks` for the first that can't be read. `begun` is when the first is taken to begin, by default
    now.
    """

    hears_the_room = False

    def __init__(self, paths: Sequence[Path], speed: float = 1.0, begun: datetime | None = None) -> None:
        for path in paths:
            if not path.exists():
                raise RecordingError(f"{path}: no such file; name a recording to listen to")
        self.name = ", ".join(path.name for path in paths)
        self._paths = paths
        self._speed = speed
        self._begun = begun or datetime.now()
        self._samples = 0
        self._stopped = threading.Event()

    def blocks(self) -> Iterator[NDArray[np.int16]]:
        """See Source."""
        from voicenotes.audio.decode import decode_blocks

        started = time.monotonic()
        for path in self._paths:
            for block in decode_blocks(path, BLOCK_SAMPLES / SAMPLE_RATE_HZ):
                if self._stopped.is_set():
                    return
                self._samples += block.size
                if self._speed:
                    due = started + self._samples / SAMPLE_RATE_HZ / self._speed
                    self._stopped.wait(max(0.0, due - time.monotonic()))
                yield as_16_bits(block)

    def now(self) -> datetime:
        """See Source: time goes as the sound does, however fast it is played."""
        return self._begun + timedelta(seconds=self._samples / SAMPLE_RATE_HZ)

    def stop(self) -> None:
        """See Source."""
        self._stopped.set()


def as_16_bits(samples: NDArray[np.float32]) -> NDArray[np.int16]:
    """Float samples in -1..1 as they are written to a file; those that came from 16 bits unchanged."""
    return np.clip(np.round(samples * 32768.0), -32768, 32767).astype(np.int16)


def level_dbfs(block: NDArray[np.int16]) -> float:
    """The RMS level of a block in dB relative to full scale, at least -90."""
    power = float(np.mean((block.astype(np.float64) / 32768.0) ** 2)) if block.size else 0.0
    return max(-90.0, 10.0 * float(np.log10(max(power, 1e-12))))
