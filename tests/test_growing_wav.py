"""A WAV that can be read at any moment while it grows, and is the same sound for every reader."""

from __future__ import annotations

import struct
import wave
from pathlib import Path

import numpy as np
import pytest

from voicenotes.audio.container import read_label
from voicenotes.audio.decode import decode
from voicenotes.audio.growing_wav import HEADER_BYTES, GrowingWav, as_heard, read_span
from voicenotes.audio.rates import Resampled
from voicenotes.errors import RecordingError
from voicenotes.listening.sources import Playback, as_16_bits, level_dbfs

EVERY_VALUE = np.arange(-32768, 32768, dtype=np.int16)


def test_an_unfinished_file_is_read_whole_and_without_a_problem(tmp_path: Path) -> None:
    wav = GrowingWav(tmp_path / "a.wav")
    for piece in np.array_split(EVERY_VALUE, 7):
        wav.write(piece)
    decoded, label = decode(wav.path), read_label(wav.path)
    wav.close()
    assert decoded.problem is None
    assert np.array_equal(decoded.samples, as_heard(EVERY_VALUE))
    assert label.by_utterances
    assert read_label(wav.path).by_utterances


@pytest.mark.parametrize("lost", [1, 2, 3, 777])
def test_one_that_breaks_off_anywhere_keeps_all_before(tmp_path: Path, lost: int) -> None:
    wav = GrowingWav(tmp_path / "a.wav")
    wav.write(EVERY_VALUE)
    content = wav.path.read_bytes()[:-lost]
    wav.close()
    wav.path.write_bytes(content)
    whole = (len(content) - HEADER_BYTES) // 2
    decoded = decode(wav.path)
    assert decoded.problem is None
    assert np.array_equal(decoded.samples, as_heard(EVERY_VALUE[:whole]))


def test_a_finished_one_is_a_wav_as_python_itself_reads_it(tmp_path: Path) -> None:
    """Against the standard library's module `wave`, which believes the sizes in the header."""
    wav = GrowingWav(tmp_path / "a.wav")
    wav.write(EVERY_VALUE)
    wav.close()
    wav.close()
    with wave.open(str(wav.path)) as file:
        assert (file.getnchannels(), file.getsampwidth(), file.getframerate()) == (1, 2, 16_000)
        assert file.readframes(file.getnframes()) == EVERY_VALUE.astype("<i2").tobytes()
    (riff,) = struct.unpack_from("<I", wav.path.read_bytes(), 4)
    assert riff == wav.path.stat().st_size - 8
    assert decode(wav.path).problem is None


def test_a_span_is_what_the_decoder_gives(tmp_path: Path) -> None:
    wav = GrowingWav(tmp_path / "a.wav")
    wav.write(EVERY_VALUE)
    early = read_span(wav.path, 100, 5000)
    wav.close()
    assert np.array_equal(early, decode(wav.path).samples[100:5000])
    with pytest.raises(RecordingError, match="is shorter"):
        read_span(wav.path, 0, EVERY_VALUE.size + 1)
    with pytest.raises(RecordingError, match="can't be read"):
        read_span(tmp_path / "gone.wav", 0, 1)


def test_an_ordinary_wav_is_not_cut_into_utterances(tmp_path: Path) -> None:
    with wave.open(str(tmp_path / "memo.wav"), "wb") as file:
        file.setparams((1, 2, 16_000, 0, "NONE", ""))
        file.writeframes(bytes(32_000))
    assert not read_label(tmp_path / "memo.wav").by_utterances


def test_no_file_is_written_over(tmp_path: Path) -> None:
    (tmp_path / "a.wav").write_bytes(b"somebody's")
    with pytest.raises(FileExistsError):
        GrowingWav(tmp_path / "a.wav")
    assert (tmp_path / "a.wav").read_bytes() == b"somebody's"


def test_playing_a_recording_gives_its_samples_whatever_the_speed(tmp_path: Path) -> None:
    wav = GrowingWav(tmp_path / "a.wav")
    wav.write(EVERY_VALUE)
    wav.close()
    for speed in (0.0, 50.0):
        source = Playback([wav.path, wav.path], speed)
        began = source.now()
        blocks = list(source.blocks())
        assert np.array_equal(np.concatenate(blocks), np.concatenate([EVERY_VALUE, EVERY_VALUE]))
        assert (source.now() - began).total_seconds() == pytest.approx(2 * 65536 / 16_000, abs=1e-5)


def test_16_bits_stay_what_they_are() -> None:
    assert np.array_equal(as_16_bits(as_heard(EVERY_VALUE)), EVERY_VALUE)


@pytest.mark.parametrize(
    ("peak", "expected"),
    # a sine's RMS level is 3.01 dB below its peak (IEC 61606-1, digital audio: a full-scale sine)
    [(1.0, -3.01), (0.1, -23.01), (0.0, -90.0)],
)
def test_levels(peak: float, expected: float) -> None:
    sine = peak * np.sin(2 * np.pi * 1000 * np.arange(16_000) / 16_000)
    assert level_dbfs((sine * 32767).astype(np.int16)) == pytest.approx(expected, abs=0.02)


@pytest.mark.parametrize("rate", [48_000, 44_100, 8_000])
def test_other_rates_come_to_16_khz(rate: int) -> None:
    """A tone of 440 Hz is one of 440 Hz afterwards, as long as before."""
    at = np.arange(2 * rate) / rate
    tone = (8000 * np.sin(2 * np.pi * 440 * at)).astype(np.int16)
    resampled = Resampled(rate)
    out = np.concatenate([resampled(block) for block in np.array_split(tone, 37)])
    assert out.size / 16_000 == pytest.approx(2.0, abs=0.01)
    spectrum = np.abs(np.fft.rfft(out[:16_000] * np.hanning(16_000)))
    assert int(np.argmax(spectrum)) == 440
