"""Any part of any recording as sound for a browser, at the right second."""

from __future__ import annotations

import io
import wave
from pathlib import Path

import numpy as np
import pytest
from make_audio import RATE, write_audio

from voicenotes.audio.decode import decode
from voicenotes.audio.playing import samples_between, type_in_browsers, wav_bytes, wav_part
from voicenotes.errors import RecordingError

SECONDS = 40.0
# file, coding, rate of the coding, media type under which browsers play it (None: decoded for them)
FILES = [
    ("a.wav", "pcm_s16le", RATE, "audio/wav"),
    ("a.flac", "flac", RATE, "audio/flac"),
    ("a.ogg", "libopus", 48_000, "audio/ogg"),
    ("a.m4a", "aac", RATE, "audio/mp4"),
    ("a.mp3", "libmp3lame", RATE, None),  # a browser guesses where a second is
    ("a.aac", "aac", RATE, None),
    ("a.3gp", "libopencore_amrnb", 8_000, None),
    ("a.amr", "libopencore_amrnb", 8_000, None),
    ("a.aiff", "pcm_s16be", RATE, None),
    ("a.caf", "pcm_s16le", RATE, None),
]


def chirps() -> np.ndarray:
    """A tone whose pitch tells the second: 300 Hz at the start, 40 Hz more each second."""
    t = np.arange(int(SECONDS * RATE)) / RATE
    return (0.4 * np.sin(2 * np.pi * np.cumsum(300 + 40 * np.floor(t)) / RATE)).astype(np.float32)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("playing")


def written(folder: Path, name: str, coding: str, rate: int) -> Path:
    path = folder / name
    if not path.exists():
        try:
            write_audio(path, coding, rate=rate, samples=chirps() if rate == RATE else resampled(rate))
        except (ValueError, OSError) as error:
            pytest.skip(f"this FFmpeg writes no {coding}: {error}")
    return path


def resampled(rate: int) -> np.ndarray:
    t = np.arange(int(SECONDS * rate)) / rate
    return (0.4 * np.sin(2 * np.pi * np.cumsum(300 + 40 * np.floor(t)) / rate)).astype(np.float32)


def pitch(samples: np.ndarray) -> float:
    """The strongest frequency in Hz."""
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(samples.size)))
    return float(np.argmax(spectrum) * RATE / samples.size)


@pytest.mark.parametrize(("name", "coding", "rate", "kind"), FILES, ids=[row[0] for row in FILES])
def test_a_part_is_what_the_whole_has_there(
    folder: Path, name: str, coding: str, rate: int, kind: str | None
) -> None:
    path = written(folder, name, coding, rate)
    assert type_in_browsers(path) == kind
    whole = decode(path).samples
    for start in (0.0, 1.3, 7.25, 21.5, 38.0):
        first = int(start * RATE)
        part = samples_between(path, first, first + RATE // 2)
        expected = whole[first : first + RATE // 2]
        assert part.shape == (RATE // 2,)
        lags = np.correlate(part, expected, mode="same")
        assert abs(int(np.argmax(lags)) - RATE // 4) <= 0.002 * RATE, start
        if start % 1 == 0:
            assert pitch(part) == pytest.approx(300 + 40 * start, abs=5)


def test_a_wav_is_made_of_its_parts_whatever_their_size(folder: Path) -> None:
    path = written(folder, "a.flac", "flac", RATE)
    size = wav_bytes(SECONDS)
    whole = wav_part(path, SECONDS, 0, size)
    assert len(whole) == size
    with wave.open(io.BytesIO(whole)) as wav:
        assert (wav.getframerate(), wav.getnchannels(), wav.getsampwidth()) == (RATE, 1, 2)
        assert wav.getnframes() == SECONDS * RATE
    for first, many in (
        (0, 10),
        (10, 100),
        (43, 2),
        (44, 1),
        (45, 3),
        (99_999, 7),
        (size - 3, 100),
        (size, 9),
    ):
        assert wav_part(path, SECONDS, first, many) == whole[first : first + many]


def test_beyond_the_end_there_is_silence(folder: Path) -> None:
    path = written(folder, "a.wav", "pcm_s16le", RATE)
    assert not samples_between(path, int((SECONDS + 1) * RATE), int((SECONDS + 2) * RATE)).any()


def test_what_is_no_recording_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    path.write_text("#!/bin/sh")
    with pytest.raises(RecordingError):
        type_in_browsers(path)
    with pytest.raises(RecordingError):
        wav_part(path, 3.0, 0, 1000)
