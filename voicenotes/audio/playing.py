"""A recording for a player: whether a browser plays it as it is, and any part of it as samples.

Times are those of the transcripts: seconds of decoded sound from the first sample on.
"""

from __future__ import annotations

import struct
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from voicenotes.audio.decode import Damage, decode_blocks, frames_of, mono_pieces
from voicenotes.audio.opening import audio_stream, open_container, opened
from voicenotes.model import SAMPLE_RATE_HZ

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

WAV_HEADER_BYTES, SAMPLE_BYTES = 44, 2
# Decoded before the part that is wanted, and thrown away: decoders and filters need to settle.
RUN_UP_S = 1.0
# Containers and codings that all common browsers play, and in which they find a second exactly. MP3 and bare
# AAC are left out: browsers guess places in them by the bit rate.
_PLAYED: tuple[tuple[str, frozenset[str], str], ...] = (
    ("wav", frozenset(("pcm_s16le", "pcm_u8", "pcm_s24le", "pcm_f32le")), "audio/wav"),
    ("flac", frozenset(("flac",)), "audio/flac"),
    ("ogg", frozenset(("opus", "vorbis")), "audio/ogg"),
    ("mov,mp4,m4a,3gp,3g2,mj2", frozenset(("aac",)), "audio/mp4"),
    ("matroska,webm", frozenset(("opus", "vorbis")), "audio/webm"),
)


def type_in_browsers(path: Path) -> str | None:
    """The media type under which browsers play the file as it is; None where it has to be decoded for them.

    Raises RecordingError when it can't be opened as sound.
    """
    with opened(path) as file, open_container(file, path.name) as container:
        coding = audio_stream(container, path.name).codec_context.name
        for name, codings, kind in _PLAYED:
            if container.format.name == name and coding in codings:
                return kind
    return None


def wav_bytes(seconds: float) -> int:
    """The size of a recording of this length as WAV, 16 bit mono at 16 kHz."""
    return WAV_HEADER_BYTES + SAMPLE_BYTES * round(seconds * SAMPLE_RATE_HZ)


def wav_part(path: Path, seconds: float, first: int, size: int) -> bytes:
    """Bytes `first` to `first + size` of the recording as such a WAV of `seconds`; only that part is decoded.

    Beyond the recording's end there is silence. Raises RecordingError when it can't be read.
    """
    whole = wav_bytes(seconds)
    last = min(first + size, whole)
    head = _wav_header(whole)[first:last] if first < WAV_HEADER_BYTES else b""
    start, end = max(first, WAV_HEADER_BYTES) - WAV_HEADER_BYTES, last - WAV_HEADER_BYTES
    if end <= start:
        return head
    from_sample, to_sample = start // SAMPLE_BYTES, -(-end // SAMPLE_BYTES)
    samples = samples_between(path, from_sample, to_sample)
    sound = (np.clip(samples, -1.0, 1.0) * 32767).astype("<i2").tobytes()
    offset = start - from_sample * SAMPLE_BYTES
    return head + sound[offset : offset + end - start]


def _wav_header(size: int) -> bytes:
    """RIFF header of a WAV file of `size` bytes; sizes that don't fit are given as the largest that do."""
    most = 0xFFFFFFFF
    return struct.pack(
        "<4sI4s4sIHHIIHH4sI", b"RIFF", min(size - 8, most), b"WAVE", b"fmt ", 16, 1, 1, SAMPLE_RATE_HZ,
        SAMPLE_RATE_HZ * SAMPLE_BYTES, SAMPLE_BYTES, 8 * SAMPLE_BYTES, b"data",
        min(size - WAV_HEADER_BYTES, most),
    )  # fmt: skip


def samples_between(path: Path, first: int, end: int) -> NDArray[np.float32]:
    """Samples `first` to `end` of a recording, 16 kHz, shape (end - first,); silence beyond its end."""
    wanted = np.zeros(max(0, end - first), dtype=np.float32)
    for at, piece in _pieces_from(path, first):
        low, high = max(at, first), min(at + piece.size, end)
        if low < high:
            wanted[low - first : high - first] = piece[low - at : high - at]
        if at + piece.size >= end:
            break
    return wanted


def _pieces_from(path: Path, first: int) -> Iterator[tuple[int, NDArray[np.float32]]]:
    """Pieces of sound from before sample `first` on, each with the number of its first sample."""
    run_up = int(RUN_UP_S * SAMPLE_RATE_HZ)
    if first > 2 * run_up:
        with opened(path) as file, open_container(file, path.name) as container:
            there = _jump(container, audio_stream(container, path.name), (first - run_up) / SAMPLE_RATE_HZ)
            if there is not None:
                number = round(there[0] * SAMPLE_RATE_HZ)
                for piece in mono_pieces(there[1], Damage()):
                    yield number, piece
                    number += piece.size
                return
    number = 0
    for block in decode_blocks(path, block_seconds=5.0):
        yield number, block
        number += block.size


def _jump(container: Any, stream: Any, seconds: float) -> tuple[float, Iterator[Any]] | None:
    """Frames from a little before a time on, and the time of the first; None where it can't be told."""
    import av

    try:
        zero = next((frame.pts for frame in frames_of(container, stream, Damage())), None)
        if zero is None or stream.time_base is None:
            return None
        container.seek(zero + int(seconds / stream.time_base), stream=stream)
        frames = frames_of(container, stream, Damage())
        frame = next(frames, None)
        if frame is None or frame.pts is None:
            return None
        begin = float((frame.pts - zero) * stream.time_base)
    except (av.error.FFmpegError, OSError, ValueError, OverflowError):
        return None
    return (begin, chain((frame,), frames)) if 0 <= begin <= seconds + RUN_UP_S / 2 else None
