"""What voicenotes says aloud: short answers by the machine's speech synthesiser, and tones.

The synthesiser is a program of the system: espeak-ng where it is, else espeak, flite, or macOS's say. A
library between would hide the samples and when they sound, which must be known: while it speaks, the
recording is written as silence, so that it never hears its own voice, live or afterwards. pyttsx3, the best
kept of these libraries, plays by itself and prints on the screen. Tones are no voice to the detector of
`speech/utterances.py`, so nothing is muted for them; they sound only while nobody speaks.
"""

from __future__ import annotations

import io
import queue
import shutil
import subprocess
import sys
import tempfile
import threading
import time
import wave
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

Tone = Literal["understood", "not understood", "defect", "marked"]
TONE_RATE_HZ = 16_000
# Two notes up for understood, two down for not, one twice for a defect; hertz and seconds. The detector takes
# notes that are lower or longer than these for a voice.
TONES: dict[Tone, tuple[tuple[float, float], ...]] = {
    "understood": ((660.0, 0.07), (880.0, 0.09)),
    "not understood": ((1175.0, 0.08), (880.0, 0.10)),
    "defect": ((523.0, 0.10), (0.0, 0.05), (523.0, 0.10)),
    "marked": ((880.0, 0.07), (0.0, 0.04), (880.0, 0.07), (0.0, 0.04), (880.0, 0.07)),
}
LOUDNESS = 0.25
ECHO_S = 0.4  # how long a room and the sound system's buffers go on after the last sample
SYNTHESIS_LIMIT_S = 10.0


class Aloud:
    """Says lines and sounds tones, one after the other, in a thread of its own.

    `play(samples, rate)` returns when they have sounded. One that fails makes it silent from then on;
    `problem` says why, as it does when there is no synthesiser.
    """

    def __init__(self, play: Callable[[NDArray[np.int16], int], None] | None = None) -> None:
        self._play = play or played
        self._waiting: queue.SimpleQueue[str | tuple[Tone] | None] = queue.SimpleQueue()
        self._speaking = threading.Event()
        self._quiet_from = 0.0
        self.problem: str | None = None
        if synthesiser() is None:
            self.problem = "nothing can be said aloud: install espeak-ng; tones sound all the same"
        self._thread = threading.Thread(target=self._run, name="aloud", daemon=True)
        self._thread.start()

    @property
    def is_speaking(self) -> bool:
        """Whether its voice sounds now, or may still echo."""
        return self._speaking.is_set() or time.monotonic() < self._quiet_from

    def say(self, line: str) -> None:
        """Say a line when those before it are said; from now on it counts as speaking."""
        if synthesiser() is not None:
            self._speaking.set()
            self._waiting.put(line)

    def tone(self, tone: Tone) -> None:
        """Sound a tone."""
        self._waiting.put((tone,))

    def end(self, wait_s: float = 10.0) -> None:
        """Let it finish."""
        self._waiting.put(None)
        self._thread.join(wait_s)

    def _run(self) -> None:
        while (thing := self._waiting.get()) is not None:
            try:
                if isinstance(thing, str):
                    self._play(*spoken(thing))
                else:
                    self._play(tone_samples(thing[0]), TONE_RATE_HZ)
            except Exception as error:  # whatever a sound system says: silence is no reason to stop listening
                self.problem = f"nothing can be said aloud ({' '.join(str(error).split())})"
            finally:
                if isinstance(thing, str) and self._waiting.empty():
                    self._quiet_from = time.monotonic() + ECHO_S
                    self._speaking.clear()


class Silent:
    """Says nothing."""

    problem: str | None = None
    is_speaking = False

    def say(self, line: str) -> None:
        """Nothing."""

    def tone(self, tone: Tone) -> None:
        """Nothing."""

    def end(self, wait_s: float = 0.0) -> None:
        """Nothing."""


def tone_samples(tone: Tone) -> NDArray[np.int16]:
    """A tone, 16-bit at TONE_RATE_HZ, each note faded in and out over 5 ms."""
    notes = []
    for hertz, seconds in TONES[tone]:
        at = np.arange(round(seconds * TONE_RATE_HZ)) / TONE_RATE_HZ
        fade = np.minimum(1.0, np.minimum(at, seconds - at) / 0.005)
        notes.append(LOUDNESS * np.sin(2 * np.pi * hertz * at) * fade)
    return (np.concatenate(notes) * 32767).astype(np.int16)


def synthesiser() -> str | None:
    """The program that speaks; None where there is none."""
    names = ("say",) if sys.platform == "darwin" else ("espeak-ng", "espeak", "flite")
    return next((name for name in names if shutil.which(name)), None)


def spoken(line: str) -> tuple[NDArray[np.int16], int]:
    """A line as 16-bit samples, and their rate in Hz. OSError or CalledProcessError when it can't be
    spoken."""
    program = synthesiser()
    if program is None:
        raise FileNotFoundError("no speech synthesiser is on this machine")
    if program.startswith("espeak"):
        words = [program, "--stdout", "-s", "165", "-v", "en", "--", line]
        return _samples(
            subprocess.run(words, capture_output=True, check=True, timeout=SYNTHESIS_LIMIT_S).stdout
        )
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "line.wav"
        if program == "say":
            words = [program, "-o", str(file), "--data-format=LEI16@22050", "--", line]
        else:
            words = [program, "-t", line, "-o", str(file)]
        subprocess.run(words, capture_output=True, check=True, timeout=SYNTHESIS_LIMIT_S)
        return _samples(file.read_bytes())


def _samples(content: bytes) -> tuple[NDArray[np.int16], int]:
    with wave.open(io.BytesIO(content)) as file:
        return np.frombuffer(file.readframes(file.getnframes()), "<i2"), file.getframerate()


def played(samples: NDArray[np.int16], rate: int) -> None:
    """Play mono samples on the system's own loudspeaker, and return when they have sounded."""
    import sounddevice

    sound: Any = sounddevice
    with sound.OutputStream(samplerate=rate, channels=1, dtype="int16") as stream:
        stream.write(np.ascontiguousarray(samples)[:, None])
        latency = float(stream.latency)
        stream.stop()
    time.sleep(min(latency, 0.5))
