"""Noise of workshops, made by the script: the same seed gives the same samples.

  shop   mains hum with harmonics, a pump with its strokes, hiss of fans and air, clanks, bursts of an air gun
  hall   another workshop, to try what was tuned on the first: a motor whose pitch wanders, the rattle of a
         conveyor, an extractor's roar with resonances, a grinder that comes and goes, reversing beeps

`mixed` adds noise to speech at a signal-to-noise ratio: the power of the speech where somebody speaks (frames
of 20 ms less than 30 dB below its loudest) over the power of the noise throughout.
"""

from __future__ import annotations

import zlib

import numpy as np
from numpy.typing import NDArray

RATE = 16_000
FRAME = RATE // 50
ACTIVE_DB = 30.0
KINDS = ("shop", "hall")
Samples = NDArray[np.float64]


def mixed(speech: NDArray[np.float32], snr_db: float, kind: str, seed: int) -> NDArray[np.float32]:
    """Speech in noise at that ratio, turned down where it would clip; float32 in -1..1, the same length."""
    noise = workshop(kind, speech.size, seed)
    gain = active_rms(speech) / max(1e-12, float(np.sqrt(np.mean(noise**2)))) * 10 ** (-snr_db / 20)
    both = speech + gain * noise
    return (both / max(1.0, float(np.abs(both).max()) / 0.98)).astype(np.float32)


def active_rms(speech: NDArray[np.float32]) -> float:
    """Root mean square over the frames in which somebody speaks."""
    frames = speech[: speech.size // FRAME * FRAME].reshape(-1, FRAME).astype(np.float64)
    power = (frames**2).mean(axis=1)
    if power.size == 0 or power.max() <= 0:
        return 0.0
    return float(np.sqrt(power[power > power.max() * 10 ** (-ACTIVE_DB / 10)].mean()))


def workshop(kind: str, count: int, seed: int) -> Samples:
    """`count` samples of noise of that kind, RMS 1."""
    draw = np.random.default_rng([seed, zlib.crc32(kind.encode())])
    noise = {"shop": _shop, "hall": _hall}[kind](count, draw)
    return noise / max(1e-12, float(noise.std()))


def _shop(count: int, draw: np.random.Generator) -> Samples:
    time = np.arange(count) / RATE
    mains = draw.choice([50.0, 60.0])
    strokes = draw.uniform(3.0, 9.0)
    beat = 1 + 0.7 * np.sin(2 * np.pi * strokes * time + draw.uniform(0, 6))
    pump = _coloured(count, draw, 1.0, 150, 900) * beat
    pump += 0.5 * _harmonics(time, draw.uniform(90, 140), 6, draw) * beat
    parts = (
        (0.5, _harmonics(time, mains, 10, draw)),
        (0.6, pump),
        (0.7, _coloured(count, draw, 0.5, 60, 7500)),
        (0.35, _clanks(count, draw, every_s=draw.uniform(2, 5))),
        (0.35, _bursts(count, draw, every_s=draw.uniform(6, 12), low=1500, high=7500)),
    )
    return _sum(parts)


def _hall(count: int, draw: np.random.Generator) -> Samples:
    time = np.arange(count) / RATE
    wander = np.cumsum(_coloured(count, draw, 2.0, 0.05, 1.0))
    pitch = draw.uniform(180, 320) * (1 + 0.1 * wander / max(1e-9, float(np.abs(wander).max())))
    motor = sum(np.sin(2 * np.pi * k * np.cumsum(pitch) / RATE) / k**0.7 for k in range(1, 8))
    roar = _coloured(count, draw, 1.2, 80, 6000)
    for _ in range(3):
        centre = draw.uniform(300, 2500)
        roar = roar + 0.5 * _coloured(count, draw, 0.0, centre * 0.93, centre * 1.07)
    rattle = _clanks(count, draw, every_s=draw.uniform(0.12, 0.3), length_s=0.03)
    beeps = np.sin(2 * np.pi * draw.uniform(1000, 1400) * time) * (time % 1.0 < 0.4)
    beeps *= (time + draw.uniform(0, 20)) % 20 < 4
    parts = (
        (0.5, np.asarray(motor)),
        (0.8, roar),
        (0.4, rattle),
        (0.3, _bursts(count, draw, every_s=draw.uniform(5, 9), low=800, high=6000, length_s=2.0)),
        (0.15, beeps),
    )
    return _sum(parts)


def _sum(parts: tuple[tuple[float, Samples], ...]) -> Samples:
    total: Samples = np.zeros(parts[0][1].size)
    for weight, part in parts:
        total = total + weight * part / max(1e-12, float(part.std()))
    return total


def _harmonics(time: Samples, pitch: float, count: int, draw: np.random.Generator) -> Samples:
    total = np.zeros(time.size)
    for k in range(1, count + 1):
        total += draw.uniform(0.5, 1.5) * np.sin(2 * np.pi * pitch * k * time + draw.uniform(0, 6)) / k
    return total


def _coloured(count: int, draw: np.random.Generator, slope: float, low: float, high: float) -> Samples:
    """Noise whose power falls as frequency ** -(2 * slope), between two frequencies in Hz."""
    spectrum = np.fft.rfft(draw.standard_normal(count))
    hertz = np.fft.rfftfreq(count, 1 / RATE)
    shape = np.where((hertz >= low) & (hertz <= high), np.maximum(hertz, 1e-3) ** -slope, 0.0)
    noise = np.fft.irfft(spectrum * shape, count)
    return noise / max(1e-12, float(noise.std()))


def _clanks(count: int, draw: np.random.Generator, every_s: float, length_s: float = 0.25) -> Samples:
    """Blows on metal: a few ringing tones that die away, at random times."""
    total = np.zeros(count)
    size = round(length_s * RATE)
    time = np.arange(size) / RATE
    for _ in range(max(1, round(count / RATE / every_s))):
        at = int(draw.integers(0, max(1, count - size)))
        tones = sum(np.sin(2 * np.pi * draw.uniform(500, 5500) * time + draw.uniform(0, 6)) for _ in range(4))
        blow = np.asarray(tones) * np.exp(-time * draw.uniform(4, 9) / length_s) * draw.uniform(0.4, 1.0)
        total[at : at + size] += blow[: max(0, count - at)]
    return total


def _bursts(
    count: int, draw: np.random.Generator, every_s: float, low: float, high: float, length_s: float = 0.7
) -> Samples:
    """Stretches of noise that come and go with soft edges, at random times."""
    gate = np.zeros(count)
    for _ in range(max(1, round(count / RATE / every_s))):
        size = max(1, round(draw.uniform(0.4, 1.0) * length_s * RATE))
        at = int(draw.integers(0, max(1, count - size)))
        gate[at : at + size] = np.maximum(gate[at : at + size], np.hanning(size)[: max(0, count - at)] ** 0.3)
    return _coloured(count, draw, 0.0, low, high) * gate
