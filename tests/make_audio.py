"""Makes audio files and sounds for tests, with the encoders inside PyAV."""

from __future__ import annotations

import io
import struct
from pathlib import Path

import av
import numpy as np
from numpy.typing import NDArray

RATE = 16_000


def tone(seconds: float, rate: int, hertz: float = 440.0, level: float = 0.5) -> NDArray[np.float32]:
    """A sine of peak `level`, shape (n,)."""
    times = np.arange(round(seconds * rate)) / rate
    return (level * np.sin(2 * np.pi * hertz * times)).astype(np.float32)


def write_audio(
    path: Path,
    codec: str,
    *,
    rate: int,
    layout: str = "mono",
    seconds: float = 3.0,
    container: str | None = None,
    sample_format: str | None = None,
    options: dict[str, str] | None = None,
    samples: NDArray[np.float32] | None = None,
    metadata: dict[str, str] | None = None,
) -> Path:
    """Write a 440 Hz tone (or mono `samples`) on every channel with the given coding and tags."""
    mono = tone(seconds, rate) if samples is None else samples
    planes = np.tile(mono, (len(av.AudioLayout(layout).channels), 1))
    frame = av.AudioFrame.from_ndarray(planes, format="fltp", layout=layout)
    frame.sample_rate, frame.pts = rate, 0
    with av.open(str(path), "w", format=container, options=options or {}) as out:
        stream = out.add_stream(codec, rate=rate)
        stream.layout = layout
        out.metadata.update(metadata or {})
        if sample_format:
            stream.format = sample_format
        if codec == "wmav2":
            stream.bit_rate = 96_000
        if codec == "vorbis":
            stream.codec_context.options = {"strict": "experimental"}
        if layout.startswith("ambisonic"):
            stream.codec_context.options = {"mapping_family": "2"}  # RFC 8486
        converter = av.AudioResampler(format=stream.codec_context.format, layout=layout, rate=rate)
        for piece in [*converter.resample(frame), *converter.resample(None)]:
            out.mux(stream.encode(piece))
        out.mux(stream.encode(None))
    return path


def write_picture(path: Path, container: str, codec: str, frames: int = 1) -> Path:
    """Write a grey picture, or a video of it without sound."""
    with av.open(str(path), "w", format=container) as out:
        stream = out.add_stream(codec, rate=10)
        stream.width, stream.height = 64, 48
        stream.pix_fmt = "rgb24" if codec == "png" else "yuv420p"
        for _ in range(frames):
            grey = np.full((48, 64, 3), 128, dtype=np.uint8)
            out.mux(stream.encode(av.VideoFrame.from_ndarray(grey, format="rgb24")))
        out.mux(stream.encode(None))
    return path


def keep_part(path: Path, share: float) -> Path:
    """Cut a file short, as a copy that broke off."""
    content = path.read_bytes()
    path.write_bytes(content[: round(len(content) * share)])
    return path


def set_wav_size(path: Path, size: int) -> Path:
    """Overwrite the size in a WAV file's data chunk."""
    content = bytearray(path.read_bytes())
    at = content.index(b"data") + 4
    content[at : at + 4] = struct.pack("<I", size)
    path.write_bytes(content)
    return path


def wav_bytes(seconds: float = 0.5) -> bytes:
    """A small WAV as bytes, made by hand from its header's definition."""
    body = (tone(seconds, RATE) * 32767).astype("<i2").tobytes()
    head = io.BytesIO()
    head.write(struct.pack("<4sI4s", b"RIFF", 36 + len(body), b"WAVE"))
    head.write(struct.pack("<4sIHHIIHH", b"fmt ", 16, 1, 1, RATE, 2 * RATE, 2, 16))
    head.write(struct.pack("<4sI", b"data", len(body)))
    return head.getvalue() + body


def speech_like(places: list[tuple[float, float]], seconds: float, level: float = 0.3) -> NDArray[np.float32]:
    """Voiced bursts at `places`: 120 Hz with harmonics and vibrato, four syllables a second."""
    samples = np.zeros(round(seconds * RATE), dtype=np.float32)
    for begin, end in places:
        times = np.arange(round((end - begin) * RATE)) / RATE
        syllables = 0.6 + 0.4 * np.cos(2 * np.pi * 4 * times)
        voice = sum(np.sin(2 * np.pi * 120 * k * times + 2 * k * np.sin(9 * times)) / k for k in range(1, 25))
        first = round(begin * RATE)
        samples[first : first + times.size] += (level / 2 * syllables * voice).astype(np.float32)
    return samples


def noise(seconds: float, rms: float, slope: float, seed: int = 7) -> NDArray[np.float32]:
    """Steady noise whose amplitude falls with frequency to the power `slope` (0 white, 0.5 pink)."""
    count = round(seconds * RATE)
    spectrum = np.fft.rfft(np.random.default_rng(seed).standard_normal(count))
    order = np.maximum(1, np.arange(spectrum.size))
    shaped = np.fft.irfft(spectrum / order**slope, count)
    return (rms * shaped / np.std(shaped)).astype(np.float32)


def low_pass(samples: NDArray[np.float32], hertz: float) -> NDArray[np.float32]:
    """Samples through a low-pass of 24 dB an octave, as cloth over a microphone."""
    spectrum = np.fft.rfft(samples)
    ratio = np.fft.rfftfreq(samples.size, 1 / RATE) / hertz
    return np.fft.irfft(spectrum / np.sqrt(1 + ratio**8), samples.size).astype(np.float32)


def windy(
    samples: NDArray[np.float32], above_db: float, seed: int = 5, share: float = 0.7
) -> NDArray[np.float32]:
    """Gusts over `share` of the time: noise falling 12 dB an octave, its RMS so far above the samples'."""
    draw = np.random.default_rng(seed)
    hertz = np.fft.rfftfreq(samples.size, 1 / RATE)
    noise = np.fft.irfft(
        np.fft.rfft(draw.standard_normal(samples.size)) / np.maximum(hertz, 20) ** 2, samples.size
    )
    steps = np.convolve(draw.random(samples.size // 8000 + 3) < share, [0.25, 0.5, 0.25], mode="same")
    gusts = np.interp(np.arange(samples.size) / 8000, np.arange(steps.size), steps) ** 2
    wind = noise / noise.std() * gusts * np.std(samples) * 10 ** (above_db / 20)
    mixed = samples + wind
    return (mixed / max(1.0, float(np.abs(mixed).max()))).astype(np.float32)
