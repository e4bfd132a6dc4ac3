"""Stand-ins for a faster-whisper model that return segments as its known failures look, and sounds."""

from __future__ import annotations

import shutil
import subprocess
import tempfile
import wave
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from make_audio import noise
from numpy.typing import NDArray

Samples = NDArray[np.float32]
RATE = 16_000
SENTENCE = "the gib is loose and the spindle growls"


@lru_cache
def _spoken(sentence: str, voice: str) -> Samples:
    if shutil.which("flite") is None:
        pytest.skip("flite is not installed: it speaks the sentence these tests transcribe")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "sentence.wav"
        subprocess.run(["flite", "-voice", voice, "-t", sentence, "-o", str(path)], check=True)
        with wave.open(str(path)) as file:
            assert file.getframerate() == RATE
            pcm = np.frombuffer(file.readframes(file.getnframes()), dtype="<i2")
    return (pcm / 32768).astype(np.float32)


def spoken(sentence: str = SENTENCE, voice: str = "slt") -> Samples:
    """A sentence spoken by flite, some 2.5 s for `SENTENCE`; skips the test where flite is missing."""
    return _spoken(sentence, voice).copy()


def silence(seconds: float) -> Samples:
    return np.zeros(round(seconds * RATE), dtype=np.float32)


def hum(seconds: float) -> Samples:
    """Mains hum: 50 Hz with its harmonics."""
    times = np.arange(round(seconds * RATE)) / RATE
    return (0.1 * sum(np.sin(2 * np.pi * 50 * k * times) / k for k in range(1, 20))).astype(np.float32)


def blows(seconds: float) -> Samples:
    """A hammer on steel: two bursts of noise a second that die away."""
    samples = silence(seconds)
    burst = noise(0.25, 0.3, 0.0) * np.exp(-np.arange(RATE // 4) / 800).astype(np.float32)
    for start in range(0, samples.size - burst.size, RATE // 2):
        samples[start : start + burst.size] += burst
    return samples


def melody(seconds: float) -> Samples:
    """Tones of a radio far away: chords that die away, a new one each second."""
    times = np.arange(round(seconds * RATE)) / RATE
    notes = sum(np.sin(2 * np.pi * hertz * times) for hertz in (220.0, 277.2, 329.6, 440.0))
    return (0.08 * notes * np.exp(-3 * (times % 1.0))).astype(np.float32)


NOT_SPEECH: dict[str, Callable[[float], Samples]] = {
    "silence": silence,
    "hum": hum,
    "hiss": lambda seconds: noise(seconds, 0.05, 0.0),
    "a fan": lambda seconds: noise(seconds, 0.05, 0.5),
    "blows": blows,
    "tones": melody,
}


def word(text: str, start: float, end: float, probability: float = 0.9) -> SimpleNamespace:
    """A word as faster-whisper has it: with the space before it."""
    return SimpleNamespace(word=f" {text}", start=start, end=end, probability=probability)


def segment(
    words: Sequence[SimpleNamespace], log_probability: float = -0.3, no_speech: float = 0.05
) -> SimpleNamespace:
    """A segment with the fields of `faster_whisper.transcribe.Segment` that are read."""
    return SimpleNamespace(
        words=list(words), avg_logprob=log_probability, no_speech_prob=no_speech, seek=0,
        start=words[0].start if words else 0.0, end=words[-1].end if words else 0.0,
    )  # fmt: skip


def said(text: str, start: float, each: float = 0.3, probability: float = 0.9) -> list[SimpleNamespace]:
    """Words one after the other, `each` seconds long."""
    return [
        word(each_word, start + i * each, start + (i + 1) * each, probability)
        for i, each_word in enumerate(text.split())
    ]


@dataclass
class StandIn:
    """Returns what `answer` makes of the options; keeps what it was asked."""

    answer: Callable[[dict[str, Any]], list[SimpleNamespace]]
    asked: list[dict[str, Any]] = field(default_factory=list)
    lengths: list[float] = field(default_factory=list)

    class hf_tokenizer:  # noqa: N801
        @staticmethod
        def encode(text: str, add_special_tokens: bool) -> list[str]:
            return text.split()

    def transcribe(self, samples: Samples, **options: Any) -> tuple[Iterator[SimpleNamespace], None]:
        self.asked.append(options)
        self.lengths.append(len(samples) / RATE)
        return iter(self.answer(options)), None
