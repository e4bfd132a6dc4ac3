"""Recording file -> mono samples at 16 kHz, with the decoders inside PyAV (no ffmpeg program).

The format is found from the content, not from the name.  Only the containers of voice recorders are
let in: no playlists, which could make the decoder open other files or the network.
"""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

import numpy as np

from voicenotes.audio.claims import claimed_seconds, is_mp4_without_index, ogg_cut_off
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
CONTAINERS = "wav,w64,mov,mp4,m4a,3gp,aac,mp3,ogg,flac,amr,amrnb,amrwb,caf,aiff,matroska,webm,asf"
# A claim is a promise only to the nearest packet or so; less missing than this goes unremarked.
MISSING_LIMIT_SECONDS = 0.5
LOW_FREQUENCY_CHANNEL = "LFE"


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
    with _opened(path) as file:
        container = _container(file, path.name)
        with container:
            stream = _audio_stream(container, path.name)
            claim = _claimed_seconds(file, container, stream)
            damage = _Damage()
            total = 0
            for block in _in_blocks(_mono_pieces(container, stream, damage), block_samples):
                total += block.size
                yield block
        if total == 0:
            raise RecordingError(f"{path.name}: no sound in it can be read; {_AGAIN}")
        cut_off = container.format.name == "ogg" and ogg_cut_off(file)
    return _problem(total / SAMPLE_RATE_HZ, claim, damage, cut_off)


_AGAIN = "copy it again from the phone or recorder"


@dataclass
class _Damage:
    """Counts the packets that the decoder refused; `at_end` when the last one is among them."""

    packets: int = 0
    at_end: bool = False


def _problem(seconds: float, claim: float | None, damage: _Damage, cut_off: bool) -> str | None:
    """One line on what is missing of a recording that could be read in part; None if nothing is."""
    if claim is not None and claim - seconds > MISSING_LIMIT_SECONDS:
        return f"ends early: container says {claim:.1f} s, only {seconds:.1f} s can be read; {_AGAIN}"
    if cut_off or (damage.at_end and damage.packets == 1):
        return f"ends early: it breaks off after {seconds:.1f} s; {_AGAIN}"
    if damage.packets:
        places = "1 damaged piece was" if damage.packets == 1 else f"{damage.packets} damaged pieces were"
        return f"{places} left out, {seconds:.1f} s can be read; {_AGAIN}"
    return None


@contextmanager
def _opened(path: Path) -> Iterator[IO[bytes]]:
    """The file, open for reading; RecordingError when it is missing, empty or may not be read."""
    name = path.name
    try:
        if path.is_dir():
            raise RecordingError(f"{name}: is a folder, not a recording; name a file in it")
        if path.exists() and not path.is_file():
            raise RecordingError(f"{name}: is not an ordinary file; save the recording as a file first")
        file = path.open("rb")
    except FileNotFoundError:
        raise RecordingError(f"{name}: no such file; check the name and the folder") from None
    except PermissionError:
        raise RecordingError(f"{name}: no permission to read it; change the file's permissions") from None
    except (OSError, ValueError) as error:
        raise RecordingError(f"{name}: can't be opened ({_reason(error)}); {_AGAIN}") from None
    with file:
        if file.seek(0, 2) == 0:
            raise RecordingError(f"{name}: is empty (0 bytes); {_AGAIN}")
        file.seek(0)
        yield file


def _reason(error: Exception) -> str:
    """The system's words for an error, on one line."""
    words = getattr(error, "strerror", None) or str(error) or type(error).__name__
    return " ".join(str(words).split())


class _Source:
    """What PyAV reads from: a seek out of the file is refused quietly, without a traceback."""

    def __init__(self, file: IO[bytes]) -> None:
        self.read, self.tell, self._seek = file.read, file.tell, file.seek

    def seek(self, offset: int, whence: int = 0) -> int:
        try:
            return self._seek(offset, whence)
        except (OSError, ValueError, OverflowError):
            return -1


def _container(file: IO[bytes], name: str) -> Any:
    """The opened PyAV container; RecordingError when the content is no known audio format."""
    import av

    av.logging.set_level(None)  # the decoders' own chatter never reaches the screen
    try:
        return av.open(_Source(file), options={"format_whitelist": CONTAINERS}, metadata_errors="replace")
    except (av.error.FFmpegError, OSError, ValueError) as error:
        if isinstance(error, OSError) and not isinstance(error, av.error.FFmpegError):
            raise RecordingError(f"{name}: can't be read ({_reason(error)}); {_AGAIN}") from None
        if is_mp4_without_index(file):
            raise RecordingError(
                f"{name}: breaks off before its index (moov), so nothing in it can be played; {_AGAIN}"
            ) from None
        raise RecordingError(
            f"{name}: is not audio in a format known here, whatever its name says; "
            "save or export it as WAV, M4A, MP3, OGG or FLAC"
        ) from None


def _audio_stream(container: Any, name: str) -> Any:
    """The audio stream to decode; RecordingError when there is none or no decoder for it."""
    if not container.streams.audio:
        raise RecordingError(f"{name}: has no sound track in it; pick the voice recording instead")
    for stream in container.streams.audio:
        if stream.codec_context is not None:
            return stream
    raise RecordingError(f"{name}: its sound is in a coding not known here; export it as WAV or M4A")


def _claimed_seconds(file: IO[bytes], container: Any, stream: Any) -> float | None:
    """`claimed_seconds`, leaving the file's position as the decoder expects it."""
    position = file.tell()
    try:
        return claimed_seconds(file, container.format.name, container, stream)
    except (OSError, OverflowError):  # a damaged size points out of the file
        return None
    finally:
        file.seek(position)


def _mono_pieces(container: Any, stream: Any, damage: _Damage) -> Iterator[NDArray[np.float32]]:
    """Decode packet by packet, resample to 16 kHz and mix to mono; pieces of any length."""
    import av

    resampler: Any = None
    shape = None
    try:
        for frame in _frames(container, stream, damage):
            frame_shape = (frame.format.name, frame.layout.name, frame.sample_rate)
            if frame_shape != shape:  # also in mid-file: chained streams may change
                if resampler is not None:
                    yield from (_mono(piece) for piece in resampler.resample(None))
                resampler = av.AudioResampler(format="fltp", layout=frame.layout, rate=SAMPLE_RATE_HZ)
                shape = frame_shape
            frame.pts = None
            yield from (_mono(piece) for piece in resampler.resample(frame))
        if resampler is not None:
            yield from (_mono(piece) for piece in resampler.resample(None))  # what the filter still holds
    except av.error.FFmpegError:  # a damaged header can ask for the impossible
        damage.packets += 1
        damage.at_end = True


def _frames(container: Any, stream: Any, damage: _Damage) -> Iterator[Any]:
    """Audio frames in order; packets that can't be decoded are counted and left out."""
    import av

    packets = container.demux(stream)
    while True:
        try:
            packet = next(packets)
        except StopIteration:
            return
        except (av.error.FFmpegError, OSError):  # the container itself ends in rubbish, or the disk fails
            damage.packets += 1
            damage.at_end = True
            return
        try:
            frames = packet.decode()
        except av.error.FFmpegError:
            damage.packets += 1
            damage.at_end = True
            continue
        if packet.size:  # the last packet is an empty one that flushes the decoder
            damage.at_end = False
        yield from (frame for frame in frames if frame.samples and frame.sample_rate)


def _mono(frame: Any) -> NDArray[np.float32]:
    """The mean of a planar float frame's channels, without a low-frequency one, within -1..1."""
    planes: NDArray[np.float32] = frame.to_ndarray()
    names = [channel.name for channel in frame.layout.channels]
    if len(names) == len(planes) > 1 and LOW_FREQUENCY_CHANNEL in names:
        planes = np.delete(planes, names.index(LOW_FREQUENCY_CHANNEL), axis=0)
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
