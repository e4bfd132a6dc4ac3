"""Writes what is heard to the visit's folder as it comes, and cuts it into utterances.

Each start, and each ten minutes or so at a pause, begins a new file, named after date and time. What was
written is on the disk after half a second at the latest.
"""

from __future__ import annotations

import contextlib
import time
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING, Protocol

import numpy as np

from voicenotes.audio.growing_wav import GrowingWav, as_heard
from voicenotes.audio.quality import QualityMeter
from voicenotes.errors import NoRoomError
from voicenotes.model import SAMPLE_RATE_HZ
from voicenotes.speech.utterances import UtteranceCutter

if TYPE_CHECKING:
    from datetime import datetime
    from pathlib import Path

    from numpy.typing import NDArray

    from voicenotes.model import Quality
    from voicenotes.speech.utterances import Cut

SYNC_S = 0.4
LONG_ENOUGH_S = 600.0
TOO_LONG_S = 1200.0  # when nobody pauses
NAME = "%Y-%m-%d %H-%M-%S"


@dataclass(frozen=True)
class Closed:
    """A file that is whole: its length in seconds, how many cuts it has, and how well it can be heard."""

    file: Path
    seconds: float
    cuts: int
    quality: Quality


class Listener(Protocol):
    """What a recorder tells what it finds to."""

    def cut(self, file: Path, number: int, cut: Cut) -> None:
        """The next stretch of a file is there."""

    def on_trial(self, file: Path, number: int, cut: Cut) -> None:
        """This will be the next stretch, if nothing more is said at once."""

    def closed(self, closed: Closed) -> None:
        """A file is whole."""


class Recorder:
    """Takes blocks; NoRoomError when they can't be written. After that it begins a new file."""

    def __init__(self, folder: Path, listener: Listener) -> None:
        self._folder, self._listener = folder, listener
        self._wav: GrowingWav | None = None
        self._cutter = UtteranceCutter()
        self._meter = QualityMeter()
        self._number = 0
        self._synced = 0.0

    @property
    def is_speech(self) -> bool:
        """Whether somebody speaks just now."""
        return self._wav is not None and self._cutter.is_speech

    def take(self, block: NDArray[np.int16], ended: datetime, muted: bool = False) -> None:
        """Write a block that ended at this local time, as silence if `muted`, and tell what it brought."""
        if not block.size:
            return
        block = np.zeros_like(block) if muted else block
        try:
            if self._wav is None:
                self._begin(ended - timedelta(seconds=block.size / SAMPLE_RATE_HZ))
            assert self._wav
            self._wav.write(block)
            if time.monotonic() - self._synced > SYNC_S:
                self._wav.sync()
                self._synced = time.monotonic()
        except OSError as error:
            self._give_up()
            reason = error.strerror or type(error).__name__
            raise NoRoomError(
                f"{self._folder}: can't be written ({reason}); make room there. What was recorded is kept"
            ) from None
        heard = as_heard(block)
        self._meter.add(heard)
        cuts = self._cutter.add(heard)
        self._tell(cuts)
        file = self._wav.path
        if cuts and self._is_long(cuts[-1]):
            self.close()
        elif trial := self._cutter.on_trial():
            self._listener.on_trial(file, self._number, trial)

    def close(self) -> None:
        """End the file that is being written, if any."""
        wav, self._wav = self._wav, None
        if wav is None:
            return
        self._tell(self._cutter.finish(), wav)
        with contextlib.suppress(OSError):  # without its sizes it can be read as well
            wav.close()
        seconds = round(wav.samples / SAMPLE_RATE_HZ, 3)
        self._listener.closed(Closed(wav.path, seconds, self._number, self._meter.result()))

    def _begin(self, when: datetime) -> None:
        while True:
            try:
                self._wav = GrowingWav(self._folder / f"{when.strftime(NAME)}.wav")
                break
            except FileExistsError:
                when += timedelta(seconds=1)
        self._cutter, self._meter, self._number, self._synced = UtteranceCutter(), QualityMeter(), 0, 0.0

    def _give_up(self) -> None:
        """Leave the file as it is; what is in it can be read."""
        with contextlib.suppress(NoRoomError):
            self.close()

    def _is_long(self, cut: Cut) -> bool:
        assert self._wav
        seconds = self._wav.samples / SAMPLE_RATE_HZ
        return seconds >= TOO_LONG_S or (seconds >= LONG_ENOUGH_S and not self._cutter.is_speech)

    def _tell(self, cuts: list[Cut], wav: GrowingWav | None = None) -> None:
        file = wav or self._wav
        assert file
        for cut in cuts:
            self._listener.cut(file.path, self._number, cut)
            self._number += 1
