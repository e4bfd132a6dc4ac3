"""What the quality meter says of speech with known faults: flite voices, made worse in known ways."""

from __future__ import annotations

import io
import shutil
import subprocess
import wave
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from make_audio import RATE, low_pass, noise, speech_like, tone, windy, write_audio
from numpy.typing import NDArray
from scipy.signal import butter, sosfilt

from voicenotes.audio.decode import decode
from voicenotes.audio.quality import BLOCK_FRAMES, QualityMeter
from voicenotes.model import Quality

Samples = NDArray[np.float32]
SAID = (
    "the belt is worn but the guard is fine",
    "nobody has touched the oil here for a year",
    "that pump runs warm and it sounds rough",
    "six of the eight lamps light up",
    "the door sticks half way and then it gives",
)
VOICES = ("slt", "rms", "kal16", "awb")


def quality_of(samples: Samples) -> Quality:
    meter = QualityMeter()
    meter.add(samples.astype(np.float32))
    return meter.result()


@lru_cache
def spoken(voice: str = "slt") -> Samples:
    """Some fifteen seconds with pauses, peak 0.3, in a quiet room (noise 60 dB below full scale)."""
    if shutil.which("flite") is None:
        pytest.skip("flite isn't installed")
    pause = np.zeros(round(0.7 * RATE), np.float32)
    pieces = [pause]
    for sentence in SAID:
        made = subprocess.run(
            ["flite", "-voice", voice, "-t", sentence, "-o", "/dev/stdout"], capture_output=True, check=True
        ).stdout
        with wave.open(io.BytesIO(made)) as file:
            assert file.getframerate() == RATE
        pieces += [np.frombuffer(made[44:], "<i2").astype(np.float32) / 32768, pause]
    samples = np.concatenate(pieces)
    return (0.3 * samples / np.abs(samples).max() + noise(samples.size / RATE, 0.001, 0.5)).astype(np.float32)


def above_150_hz(samples: Samples) -> Samples:
    return np.asarray(sosfilt(butter(4, 150, "high", fs=RATE, output="sos"), samples))


def rms(samples: Samples) -> float:
    return float(np.sqrt(np.mean(np.square(samples))))


# --- numbers


def test_levels_of_a_known_voice() -> None:
    """Speech half of the time: its level is the RMS while it sounds."""
    samples = speech_like([(1.0, 2.0), (3.0, 4.0), (5.0, 6.0), (7.0, 8.0)], 8.5, level=0.3)
    samples = samples + noise(8.5, 0.001, 0.0)
    found = quality_of(samples)
    sounding = np.concatenate([samples[k * RATE : (k + 1) * RATE] for k in (1, 3, 5, 7)])
    assert found.level_dbfs == pytest.approx(20 * np.log10(rms(above_150_hz(sounding))), abs=1.0)
    assert found.peak_dbfs == pytest.approx(20 * np.log10(np.abs(samples).max()), abs=0.1)
    assert found.noise_dbfs == pytest.approx(-60.0, abs=1.0)
    assert found.speech_share == pytest.approx(4 / 8.5, abs=0.06)
    assert (found.clipped_share, found.doubt) == (0.0, None)


# Stated tolerance: 2.5 dB. Noise is scaled to the speech as the meter defines both: power above 150 Hz, and
# of the speech while somebody speaks.
@pytest.mark.parametrize("snr", [20, 10, 5, 0])
@pytest.mark.parametrize("slope", [0.0, 0.5], ids=["white", "pink"])
@pytest.mark.parametrize("voice", VOICES)
def test_estimated_signal_to_noise_of_known_mixes(voice: str, slope: float, snr: int) -> None:
    samples = spoken(voice)
    level = quality_of(samples).level_dbfs
    assert level is not None
    steady = noise(samples.size / RATE, 1.0, slope)[: samples.size]
    mixed = samples + steady / rms(above_150_hz(steady)) * 10 ** ((level - snr) / 20)
    assert quality_of(mixed).snr_db == pytest.approx(snr, abs=2.5)


@pytest.mark.parametrize("voice", VOICES)
def test_clean_speech_raises_no_doubt(voice: str) -> None:
    found = quality_of(spoken(voice))
    assert found.doubt is None
    assert found.clipped_share < 0.001
    assert found.snr_db is not None and found.snr_db > 25
    assert 0.6 < found.speech_share < 0.9


@pytest.mark.parametrize(
    ("codec", "name", "rate"),
    [
        ("pcm_s16le", "a.wav", 44_100),
        ("aac", "a.m4a", 44_100),
        ("libmp3lame", "a.mp3", 44_100),
        ("libopus", "a.opus", 48_000),
    ],
)
def test_clipping_is_found_after_gain_resampling_and_codecs(
    tmp_path: Path, codec: str, name: str, rate: int
) -> None:
    """Four times too loud, then turned down to a third of full scale, then coded: as much as was clipped."""
    voice = spoken() / np.abs(spoken()).max()
    times = np.arange(voice.size * rate // RATE) * RATE / rate
    clipped = np.clip(np.interp(times, np.arange(voice.size), voice) * 4, -1, 1).astype(np.float32)
    path = write_audio(tmp_path / name, codec, rate=rate, samples=clipped / 3)
    share = float(np.mean(np.abs(clipped) == 1.0))
    assert share > 0.1
    found = quality_of(decode(path).samples)
    assert 0.5 * share < found.clipped_share < 1.5 * share
    assert found.doubt is not None and found.doubt.startswith("too loud, ")


# --- doubts


def with_breaks(samples: Samples, breaks: int = 30) -> Samples:
    broken = samples.copy()
    for start in np.random.default_rng(1).integers(0, samples.size - 800, breaks):
        broken[start : start + 800] = 0.0
    return broken


def bursts(seconds: float) -> Samples:
    """Hammering: noise that dies away within a tenth of a second, twice a second."""
    times = np.arange(round(seconds * RATE)) / RATE
    strokes = np.exp(-40 * np.mod(times, 0.5))
    return (0.3 * strokes * noise(seconds, 1.0, 0.0)).astype(np.float32)


DOUBTS = [
    ("in a quiet room", lambda x: x, None),
    ("hum of a motor", lambda x: x + tone(x.size / RATE, RATE, 50.0, 0.3), None),
    ("a light wind", lambda x: windy(x, 0), None),
    ("a strong wind", lambda x: windy(x, 25), "wind over "),
    ("wind for a moment", lambda x: windy(x, 20, share=0.15), None),
    ("very loud", lambda x: np.clip(x * 10, -1, 1), "too loud, "),
    ("beside a machine", lambda x: x + noise(x.size / RATE, 0.04, 0.5), "the voice hardly stands out "),
    ("far away", lambda x: np.round(x * 0.01 * 32768) / 32768, "too quiet ("),
    ("in a pocket", lambda x: low_pass(x, 800), "muffled: "),
    ("as a telephone", lambda x: low_pass(x, 3400), None),
    ("with a bad link", with_breaks, "it breaks off inside words "),
    ("noise alone", lambda x: noise(30, 0.05, 0.5), "no voice can be told from the noise: "),
    ("a swelling pump", lambda x: noise(30, 0.05, 0.5) * (1 + tone(30, RATE, 1.5, 0.8)), "no voice "),
    ("hammering", lambda x: bursts(20) + noise(20, 0.003, 0.5), "no voice can be told from the noise: "),
    ("a quiet room, nobody there", lambda x: noise(30, 0.0005, 0.5), "nobody speaks: "),
    ("one second of silence", lambda x: np.zeros(RATE), "silence: "),
    ("nothing at all", lambda x: np.zeros(0), "silence: "),
]  # fmt: skip


@pytest.mark.parametrize(("why", "spoil", "doubt"), DOUBTS, ids=[case[0] for case in DOUBTS])
def test_doubts(why: str, spoil: object, doubt: str | None) -> None:
    found = quality_of(spoil(spoken())).doubt  # type: ignore[operator]
    assert (found is None) == (doubt is None), found
    if doubt and found:
        assert found.startswith(doubt)
        assert "\n" not in found and ": " in found  # the reason: what to do


def test_pauses_made_by_a_noise_gate_are_no_breaks() -> None:
    samples = spoken().copy()
    samples[np.abs(samples) < 0.004] = 0.0
    assert quality_of(samples).doubt is None


# --- how it is measured


def sound_with_everything(seconds: float) -> Samples:
    speech = speech_like([(1.0, 4.0), (5.0, 11.5), (13.0, 18.0), (22.0, 24.0)], 25.0)
    whole = np.tile(speech + noise(25.0, 0.01, 0.5), int(seconds // 25) + 1)[: round(seconds * RATE)]
    whole[3 * RATE : 6 * RATE] = np.clip(whole[3 * RATE : 6 * RATE] * 4, -0.4, 0.4)
    return np.asarray(with_breaks(whole), dtype=np.float32)


LONG = sound_with_everything(37.3)


@given(st.lists(st.integers(0, LONG.size), max_size=12))
@settings(max_examples=40, deadline=None)
def test_the_result_is_the_same_however_the_sound_is_cut(cuts: list[int]) -> None:
    meter = QualityMeter()
    for piece in np.split(LONG, sorted(cuts)):
        meter.add(piece)
        meter.result()  # asked in between, it changes nothing
    assert meter.result() == quality_of(LONG)
    assert meter.result().clipped_share > 0


@given(st.lists(st.floats(-1, 1, width=32), max_size=700))
@settings(max_examples=60, deadline=None)
def test_any_samples_give_a_result(values: list[float]) -> None:
    found = quality_of(np.array(values * 40, dtype=np.float32))
    assert found.peak_dbfs <= 0.0


def test_what_is_kept_stays_small_whatever_the_length() -> None:
    """After a second and after ten minutes: less than thirty seconds of measures and a second of samples."""
    meter = QualityMeter()
    most = 0
    for _ in range(60):
        meter.add(LONG[: 10 * RATE])
        most = max(most, len(meter._before) + len(meter._block))
        assert meter._rest.size < RATE and meter._tail.size < RATE
    assert most < 2 * BLOCK_FRAMES
    assert meter._rest.base is None and meter._tail.base is None
