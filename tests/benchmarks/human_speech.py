"""Real human speech with its transcription, from packages of the registries.

`pocketsphinx`'s source distribution on PyPI (and Debian's pocketsphinx-testdata) has five sentences of a
LibriVox reading of "Sense and Sensibility" and five of playing cards. Nothing is copied into the repository.
"""

from __future__ import annotations

import re
import subprocess
import sys
import tarfile
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from spoken_voices import cache_folder

from voicenotes.audio.decode import decode

DEBIAN = Path("/usr/share/pocketsphinx/test/data")
SOURCE = "pocketsphinx==5.1.1"
SECONDS_TO_FETCH = 300


@dataclass(frozen=True)
class Clip:
    """What somebody said, in words, and the sound: float32, mono, 16 kHz."""

    name: str
    said: str
    samples: NDArray[np.float32]


def human_clips() -> list[Clip]:
    """All clips; none, with a line that says so, where the packages can't be had."""
    home = DEBIAN if DEBIAN.is_dir() else _from_pypi()
    if home is None:
        print(f"no human speech: neither Debian's pocketsphinx-testdata nor PyPI's {SOURCE} can be had")
        return []
    clips = []
    for folder, listing in (("librivox", "transcription"), ("cards", "cards.transcription")):
        for line in (home / folder / listing).read_text(encoding="utf-8").splitlines():
            found = re.fullmatch(r"<s> (.+?)\s+</s> \((.+)\)\s*", line)
            if found:
                sound = home / folder / f"{found[2]}.wav"
                clips.append(Clip(found[2], found[1], decode(sound).samples))
    return clips


def _from_pypi() -> Path | None:
    kept = cache_folder() / "human"
    data = kept / "pocketsphinx-5.1.1" / "test" / "data"
    if not data.is_dir():
        kept.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory() as folder:
            command = [sys.executable, "-m", "pip", "download", "-q", "--no-deps", "--no-binary", ":all:"]
            try:
                subprocess.run(
                    [*command, "-d", folder, SOURCE],
                    check=True,
                    capture_output=True,
                    timeout=SECONDS_TO_FETCH,
                )
            except (OSError, subprocess.SubprocessError):
                return None
            for archive in Path(folder).glob("*.tar.gz"):
                with tarfile.open(archive) as tar:
                    tar.extractall(kept, filter="data")
    return data if data.is_dir() else None
