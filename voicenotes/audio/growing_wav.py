"""A WAV file that can be read whole at any moment while it grows, and says that it was cut into utterances.

16-bit mono at 16 kHz. Its header is written first, with the sizes left open (0), which readers take for "to
the end of the file"; closing fills them in. So a file that nobody closed, after a crash or a flat battery, is
a recording like any other. The INFO chunk names what made it (ISFT): by that, later processing knows that it
is to be cut into utterances as it was when it was recorded (`speech/utterances.py`).

Source: RIFF/WAVE, Multimedia Programming Interface and Data Specifications 1.0, INFO list chunk.
"""

from __future__ import annotations

import os
import struct
from typing import TYPE_CHECKING

import numpy as np

from voicenotes.errors import RecordingError
from voicenotes.model import SAMPLE_RATE_HZ

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

MADE_BY = "voicenotes listen, utterances 1"  # raise the number when other cuts are made of the same sound
SAMPLE_BYTES = 2
_OPEN = 0


def _header(data_bytes: int) -> bytes:
    made_by = MADE_BY.encode() + b"\0" * (2 - len(MADE_BY) % 2)
    info = b"INFO" + struct.pack("<4sI", b"ISFT", len(made_by)) + made_by
    fmt = struct.pack("<HHIIHH", 1, 1, SAMPLE_RATE_HZ, SAMPLE_RATE_HZ * SAMPLE_BYTES, SAMPLE_BYTES, 16)
    chunks = b"".join(
        struct.pack("<4sI", kind, len(body)) + body for kind, body in ((b"fmt ", fmt), (b"LIST", info))
    )
    whole = 4 + len(chunks) + 8 + data_bytes if data_bytes else _OPEN
    return struct.pack("<4sI4s", b"RIFF", whole, b"WAVE") + chunks + struct.pack("<4sI", b"data", data_bytes)


HEADER_BYTES = len(_header(0))


class GrowingWav:
    """The file under `path`, new; FileExistsError when there is one. OSError when it can't be written."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.samples = 0
        self._file = path.open("xb", buffering=0)
        self._put(_header(_OPEN))
        self.sync()

    def write(self, samples: NDArray[np.int16]) -> None:
        """Add samples, int16 of shape (n,). OSError when there is no room; what went in before stays."""
        self._put(samples.astype("<i2").tobytes())
        self.samples += samples.size

    def sync(self) -> None:
        """Bring all that was written to the disk itself."""
        os.fsync(self._file.fileno())

    def close(self) -> None:
        """Fill in the sizes; a second call does nothing."""
        if self._file.closed:
            return
        try:
            self._file.seek(0)
            self._put(_header(self.samples * SAMPLE_BYTES))
            self.sync()
        finally:
            self._file.close()

    def _put(self, content: bytes) -> None:
        view = memoryview(content)
        while view:
            view = view[self._file.write(view) :]


def as_heard(samples: NDArray[np.int16]) -> NDArray[np.float32]:
    """16-bit samples as the decoder gives them: float32 in -1..1."""
    return samples.astype(np.float32) / np.float32(32768)


def read_span(path: Path, first: int, last: int) -> NDArray[np.float32]:
    """The samples from `first` to before `last` of a growing file, as the decoder gives them.

    Raises RecordingError when they can't be read, or are not all there.
    """
    try:
        with path.open("rb") as file:
            file.seek(HEADER_BYTES + first * SAMPLE_BYTES)
            content = file.read((last - first) * SAMPLE_BYTES)
    except OSError as error:
        raise RecordingError(f"{path.name}: can't be read ({error.strerror}); put it back") from None
    if len(content) < (last - first) * SAMPLE_BYTES:
        raise RecordingError(f"{path.name}: is shorter than what was recorded; put back the whole file")
    return as_heard(np.frombuffer(content, dtype="<i2"))


def made_by_listening(tag: str | None) -> bool:
    """Whether a container's word on what made it is that of a recording cut into utterances."""
    return tag == MADE_BY
