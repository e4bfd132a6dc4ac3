"""Opens a recording for decoding: only known containers and codings, and no claim that no recorder makes.

The format is found from the content, not from the name.  Only the containers of voice recorders are let
in: no playlists, which could make the decoder open other files or the network.  The libraries are told to
look into no coding but those listed here, so pictures and films beside the sound are never decoded.
"""

from __future__ import annotations

import ctypes
from contextlib import contextmanager
from typing import IO, TYPE_CHECKING, Any

from voicenotes.audio.claims import is_mp4_without_index
from voicenotes.audio.refusals import refusal
from voicenotes.errors import RecordingError
from voicenotes.links import no_file_because

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

CONTAINERS = "wav,w64,mov,mp4,m4a,3gp,aac,mp3,ogg,flac,amr,amrnb,amrwb,caf,aiff,matroska,webm,asf"
CODINGS = frozenset(
    (
        *("aac", "aac_latm", "alac", "flac", "opus", "libopus", "vorbis", "speex"),
        *("mp1", "mp1float", "mp2", "mp2float", "mp3", "mp3float", "ac3", "eac3", "dca"),
        *("amrnb", "amrwb", "libopencore_amrnb", "libopencore_amrwb", "gsm", "gsm_ms", "evrc", "qcelp"),
        *("g722", "g723_1", "g726", "g726le", "g729", "ilbc", "truespeech", "nellymoser", "qdm2"),
        *("wmav1", "wmav2", "wmapro", "wmalossless", "wmavoice"),
        *("adpcm_ima_wav", "adpcm_ima_qt", "adpcm_ms", "adpcm_yamaha", "adpcm_swf"),
        *("pcm_alaw", "pcm_mulaw", "pcm_u8", "pcm_s8", "pcm_s8_planar", "pcm_f16le", "pcm_f24le"),
        *(f"pcm_{kind}{bits}{end}" for kind in "su" for bits in (16, 24, 32) for end in ("le", "be")),
        *(f"pcm_{kind}{end}" for kind in ("f32", "f64", "s64") for end in ("le", "be")),
        *("pcm_s16le_planar", "pcm_s16be_planar", "pcm_s24le_planar", "pcm_s32le_planar"),
    )
)
# Telephone sound has 8 kHz and the best recorders 768 kHz; 22.2 surround sound has 24 channels.
LOWEST_RATE_HZ, HIGHEST_RATE_HZ = 4_000, 768_000
MOST_CHANNELS = 24
# The longest frames in use have 65,535 samples (FLAC); a piece of uncompressed sound may be longer.
MOST_FRAME_SAMPLES = 1_000_000
# A file is read once, some parts again after a jump; one that is read over and over leads in circles.
READ_AGAIN_FACTOR, READ_AGAIN_BYTES = 20, 100_000_000
AGAIN = "copy it again from the phone or recorder"


@contextmanager
def opened(path: Path) -> Iterator[IO[bytes]]:
    """The file, open for reading; RecordingError when it is missing, empty or may not be read."""
    name = path.name
    try:
        if reason := no_file_because(path, "recording"):
            raise RecordingError(f"{name}: {reason}")
        file = path.open("rb")
    except FileNotFoundError:
        raise RecordingError(f"{name}: no such file; check the name and the folder") from None
    except PermissionError:
        raise RecordingError(f"{name}: no permission to read it; change the file's permissions") from None
    except (OSError, ValueError) as error:
        raise RecordingError(f"{name}: can't be opened ({_reason(error)}); {AGAIN}") from None
    with file:
        if file.seek(0, 2) == 0:
            raise RecordingError(f"{name}: is empty (0 bytes); {AGAIN}")
        file.seek(0)
        yield file


def _reason(error: Exception) -> str:
    """The system's words for an error, on one line."""
    words = getattr(error, "strerror", None) or str(error) or type(error).__name__
    return " ".join(str(words).split())


class _Source:
    """What PyAV reads from: a seek out of the file is refused quietly, and reading in circles fails."""

    def __init__(self, file: IO[bytes]) -> None:
        self._file = file
        self.tell = file.tell
        self._left = READ_AGAIN_FACTOR * file.seek(0, 2) + READ_AGAIN_BYTES
        file.seek(0)

    def read(self, size: int) -> bytes:
        if self._left <= 0:
            raise OSError("its parts are to be read over and over")
        content = self._file.read(size)
        self._left -= len(content)
        return content

    def seek(self, offset: int, whence: int = 0) -> int:
        try:
            return self._file.seek(offset, whence)
        except (OSError, ValueError, OverflowError):
            return -1


def open_container(file: IO[bytes], name: str) -> Any:
    """The opened PyAV container; RecordingError when the content is no known audio format."""
    import av

    av.logging.set_level(None)  # the decoders' own chatter never reaches the screen
    try:
        if wrong := refusal(file):
            raise RecordingError(f"{name}: {wrong}")
        return av.open(
            _Source(file),
            options={"format_whitelist": CONTAINERS, "codec_whitelist": ",".join(sorted(CODINGS))},
            metadata_errors="replace",
        )
    except (av.error.FFmpegError, OSError, ValueError) as error:
        if isinstance(error, OSError) and not isinstance(error, av.error.FFmpegError):
            raise RecordingError(f"{name}: can't be read ({_reason(error)}); {AGAIN}") from None
        if is_mp4_without_index(file):
            raise RecordingError(
                f"{name}: breaks off before its index (moov), so nothing in it can be played; {AGAIN}"
            ) from None
        raise RecordingError(
            f"{name}: is not audio in a format known here, whatever its name says; "
            "save or export it as WAV, M4A, MP3, OGG or FLAC"
        ) from None


def audio_stream(container: Any, name: str) -> Any:
    """The audio stream to decode; RecordingError when there is none, or none that can be believed."""
    if not container.streams.audio:
        raise RecordingError(f"{name}: has no sound track in it; pick the voice recording instead")
    for stream in container.streams.audio:
        context = stream.codec_context
        if context is not None and context.name in CODINGS:
            _plain_order(context)
            _check_claims(context, name)
            context.options = {**context.options, "max_samples": str(MOST_FRAME_SAMPLES)}
            return stream
    raise RecordingError(f"{name}: its sound is in a coding not known here; export it as WAV or M4A")


def has_own_order(layout: Any) -> bool:
    """Whether the file names its channels in an order of its own, described as "3 channels (FL+FC+FR)".

    PyAV 18 frees such a layout twice, once with its frame or decoder: one found here is never freed.
    """
    if " channels (" not in layout.name and "ambisonic" not in layout.name:
        return False
    _never_freed(layout)
    return True


def _never_freed(layout: Any) -> None:
    ctypes.pythonapi.Py_IncRef(ctypes.py_object(layout))


def _plain_order(context: Any) -> None:
    """A standard layout, or channels only counted, in place of what the container says of the channels."""
    layout = context.layout
    if not layout.nb_channels:
        return
    known = not has_own_order(layout) and not layout.name.endswith(" channels")
    _never_freed(layout)  # one with the order of a standard layout may still be of the other kind
    context.layout = layout.name if known else f"{layout.nb_channels}C"


def _check_claims(context: Any, name: str) -> None:
    rate, channels = context.sample_rate, context.channels
    if rate and not LOWEST_RATE_HZ <= rate <= HIGHEST_RATE_HZ:
        raise RecordingError(f"{name}: claims a sample rate of {rate} Hz, which no recorder uses; {AGAIN}")
    if channels > MOST_CHANNELS:
        raise RecordingError(f"{name}: claims {channels} channels, which no recorder has; {AGAIN}")


def believable(frame: Any) -> bool:
    """Whether a decoded frame holds sound at a rate and with channels that a recorder can have."""
    rate_fits = LOWEST_RATE_HZ <= frame.sample_rate <= HIGHEST_RATE_HZ
    return bool(rate_fits and 0 < frame.layout.nb_channels <= MOST_CHANNELS)
