"""Recording file -> mono samples at 16 kHz, with the decoders inside PyAV (no ffmpeg program).

What a file may be and may claim stands in `opening.py`.  Here the work is bounded: a recording is decoded
to LONGEST_SECONDS and no further, and one that gives packets without sound, or changes its kind of sound
again and again, is left.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

import numpy as np

from voicenotes.audio.claims import claimed_seconds, ogg_cut_off
from voicenotes.audio.opening import (
    AGAIN,
    audio_stream,
    believable,
    has_own_order,
    never_freed,
    open_container,
    opened,
)
from voicenotes.errors import RecordingError
from voicenotes.model import SAMPLE_RATE_HZ

if TYPE_CHECKING:
    from collections.abc import Generator, Iterator

    from numpy.typing import NDArray

AUDIO_SUFFIXES = frozenset(
    (
        *(".wav", ".wave", ".m4a", ".m4b", ".mp4", ".aac", ".mp3", ".ogg", ".oga", ".opus", ".flac"),
        *(".amr", ".awb", ".3gp", ".3gpp", ".3ga", ".caf", ".aif", ".aiff", ".aifc", ".webm", ".mka", ".wma"),
    )
)
# A claim is a promise only to the nearest packet or so; less missing than this goes unremarked.
MISSING_LIMIT_SECONDS = 0.5
LOW_FREQUENCY_CHANNEL = "LFE"
# The longest recording that is believed: a day.  A few kilobytes can claim to be months of silence.
LONGEST_SECONDS = 24 * 3600.0
# What may come one after another without any sound in it: far more than any damage that leaves a recording.
MOST_SILENT_PACKETS, MOST_SILENT_BYTES = 100_000, 256_000_000
# Changes of rate or channels in one recording; each costs a new resampling filter.
MOST_CHANGES = 1_000


@dataclass(frozen=True)
class Decoded:
    """The samples of one recording.

    `samples` is float32 of shape (n,), mono, 16 kHz, within -1..1; `seconds` is n / 16000;
    `problem` is None, or one line saying what of the recording is missing.
    """

    samples: NDArray[np.float32]
    seconds: float
    problem: str | None = None


def looks_like_audio(path: str | Path) -> bool:
    """Whether the name is one of a recording: a suffix of AUDIO_SUFFIXES, and not a hidden file.

    Hidden names include the `._memo.m4a` twins that some file systems leave beside a copied file.
    """
    name = Path(path).name
    return not name.startswith(".") and Path(name).suffix.lower() in AUDIO_SUFFIXES


def decode(path: str | Path) -> Decoded:
    """Decode a whole recording.  Raises RecordingError when nothing of it can be read."""
    blocks = decode_blocks(path)
    buffer = bytearray()  # grows in place, so a long recording is in memory once
    while True:
        try:
            block = next(blocks)
        except StopIteration as end:
            problem: str | None = end.value
            break
        buffer += block.data
    samples = np.frombuffer(buffer, dtype=np.float32)
    return Decoded(samples, samples.size / SAMPLE_RATE_HZ, problem)


def decode_blocks(
    path: str | Path, block_seconds: float = 30.0
) -> Generator[NDArray[np.float32], None, str | None]:
    """Yield the recording as mono 16 kHz blocks of `block_seconds` (the last one is shorter).

    Memory stays at about one block whatever the length.  The generator's return value is the
    `problem` of Decoded.  Raises RecordingError, at the first block, when nothing can be read.
    """
    path = Path(path)
    block_samples = max(1, round(block_seconds * SAMPLE_RATE_HZ))
    with opened(path) as file:
        container = open_container(file, path.name)
        with container:
            stream = audio_stream(container, path.name)
            claim = _claimed_seconds(file, container, stream)
            damage = Damage()
            total = 0
            for block in _in_blocks(mono_pieces(frames_of(container, stream, damage), damage), block_samples):
                total += block.size
                yield block
                if total >= LONGEST_SECONDS * SAMPLE_RATE_HZ:
                    return _too_long()
        if total == 0:
            raise RecordingError(f"{path.name}: no sound in it can be read; {AGAIN}")
        cut_off = container.format.name == "ogg" and ogg_cut_off(file)
    return _problem(total / SAMPLE_RATE_HZ, claim, damage, cut_off)


def _too_long() -> str:
    hours = f"{LONGEST_SECONDS / 3600:g} h"
    return f"is longer than {hours}: only the first {hours} were read; cut it into shorter recordings"


@dataclass
class Damage:
    """Counts the packets that the decoder refused; `at_end` when the last one is among them.

    `endless` says why the rest was left: it went on without sound, or with ever new kinds of it.
    """

    packets: int = 0
    at_end: bool = False
    endless: str | None = None


def _problem(seconds: float, claim: float | None, damage: Damage, cut_off: bool) -> str | None:
    """One line on what is missing of a recording that could be read in part; None if nothing is."""
    if claim is not None and claim > LONGEST_SECONDS:
        longer = f"claims to be longer than {LONGEST_SECONDS / 3600:g} h"
        return f"{longer}, which is not believed; {seconds:.1f} s can be read; {AGAIN}"
    if damage.endless:
        return f"{damage.endless} after {seconds:.1f} s, so the rest was left; {AGAIN}"
    if claim is not None and claim - seconds > MISSING_LIMIT_SECONDS:
        return f"ends early: container says {claim:.1f} s, only {seconds:.1f} s can be read; {AGAIN}"
    if cut_off or (damage.at_end and damage.packets == 1):
        return f"ends early: it breaks off after {seconds:.1f} s; {AGAIN}"
    if damage.packets:
        places = "1 damaged piece was" if damage.packets == 1 else f"{damage.packets} damaged pieces were"
        return f"{places} left out, {seconds:.1f} s can be read; {AGAIN}"
    return None


def _claimed_seconds(file: IO[bytes], container: Any, stream: Any) -> float | None:
    """`claimed_seconds`, leaving the file's position as the decoder expects it."""
    position = file.tell()
    try:
        return claimed_seconds(file, container.format.name, container, stream)
    except (OSError, OverflowError):  # a damaged size points out of the file
        return None
    finally:
        file.seek(position)


def mono_pieces(frames: Iterator[Any], damage: Damage) -> Iterator[NDArray[np.float32]]:
    """Frames resampled to 16 kHz and mixed to mono; pieces of any length."""
    import av

    resampler: Any = None
    shape = None
    changes = 0
    try:
        for frame in frames:
            frame_shape = (frame.format.name, frame.layout.name, frame.sample_rate)
            if frame_shape != shape:  # also in mid-file: chained streams may change
                changes += 1
                if changes > MOST_CHANGES:
                    damage.endless = "changes its rate or channels again and again"
                    break
                if resampler is not None:
                    yield from (_mono(piece) for piece in resampler.resample(None))
                # interleaved: PyAV 18 reads past the end of a planar frame of more than eight channels
                resampler = av.AudioResampler(format="flt", layout=frame.layout, rate=SAMPLE_RATE_HZ)
                shape = frame_shape
            frame.pts = None
            yield from (_mono(piece) for piece in resampler.resample(frame))
        if resampler is not None:
            yield from (_mono(piece) for piece in resampler.resample(None))  # what the filter still holds
    except av.error.FFmpegError:  # a damaged header can ask for the impossible
        damage.packets += 1
        damage.at_end = True


def frames_of(container: Any, stream: Any, damage: Damage) -> Iterator[Any]:
    """Audio frames in order; packets that can't be decoded are counted and left out."""
    import av

    packets = container.demux(stream)
    silent_packets = silent_bytes = 0
    while True:
        if silent_packets > MOST_SILENT_PACKETS or silent_bytes > MOST_SILENT_BYTES:
            damage.endless = "goes on without any sound"
            return
        try:
            packet = next(packets)
        except StopIteration:
            return
        except (av.error.FFmpegError, OSError):  # the container itself ends in rubbish, or the disk fails
            damage.packets += 1
            damage.at_end = True
            return
        silent_packets += 1
        silent_bytes += packet.size
        try:
            frames = packet.decode()
        except av.error.FFmpegError:
            damage.packets += 1
            damage.at_end = True
            continue
        if packet.size:  # the last packet is an empty one that flushes the decoder
            damage.at_end = False
        for frame in frames:
            if has_own_order(frame.layout):
                never_freed(frame.layout)
                damage.endless = "has channels in an order that is not known here"
                return
            if frame.samples and not believable(frame):
                damage.packets += 1
            elif frame.samples:
                silent_packets = silent_bytes = 0
                yield frame


def _mono(frame: Any) -> NDArray[np.float32]:
    """The mean of an interleaved float frame's channels, without a low-frequency one, within -1..1."""
    names = [channel.name for channel in frame.layout.channels]
    planes: NDArray[np.float32] = frame.to_ndarray().reshape(-1, frame.layout.nb_channels).T
    if len(names) == len(planes) > 1 and LOW_FREQUENCY_CHANNEL in names:
        planes = np.delete(planes, names.index(LOW_FREQUENCY_CHANNEL), axis=0)
    with np.errstate(over="ignore", invalid="ignore"):  # floating-point files hold what they like
        mono = planes.mean(axis=0, dtype=np.float32)
    cleaned: NDArray[np.float32] = np.clip(np.nan_to_num(mono, posinf=1.0, neginf=-1.0), -1.0, 1.0)
    return cleaned


def _in_blocks(pieces: Iterator[NDArray[np.float32]], block_samples: int) -> Iterator[NDArray[np.float32]]:
    """Regroup pieces of any length into blocks of `block_samples`; the last block holds the rest."""
    block = np.empty(block_samples, dtype=np.float32)
    filled = 0
    for piece in pieces:
        while piece.size:
            taken = min(piece.size, block_samples - filled)
            block[filled : filled + taken] = piece[:taken]
            filled += taken
            piece = piece[taken:]
            if filled == block_samples:
                yield block
                block = np.empty(block_samples, dtype=np.float32)
                filled = 0
    if filled:
        yield block[:filled]
