"""Real human speech with its transcription, from packages of the registries.

`pocketsphinx`'s source distribution on PyPI (and Debian's pocketsphinx-testdata) has five sentences of a
LibriVox reading of "Sense and Sensibility" and five of playing cards. Debian's asterisk-core-sounds-en-g722
has announcements of telephone exchanges, with the list of their texts in asterisk-core-sounds-en; forty of
them are taken, evenly. Nothing is copied into the repository.
"""

from __future__ import annotations

import gzip
import re
import subprocess
import sys
import tarfile
import tempfile
from dataclasses import dataclass
from pathlib import Path

import av
import numpy as np
from numpy.typing import NDArray
from spoken_voices import cache_folder

from voicenotes.audio.decode import decode

DEBIAN = Path("/usr/share/pocketsphinx/test/data")
PROMPTS = Path("/usr/share/asterisk/sounds")
PROMPTS_LIST = Path("/usr/share/doc/asterisk-core-sounds-en/core-sounds-en.txt.gz")
FEWEST_WORDS, MOST_PROMPTS = 6, 40
SOURCE = "pocketsphinx==5.1.1"
SECONDS_TO_FETCH = 300


@dataclass(frozen=True)
class Clip:
    """What somebody said, in words, and the sound: float32, mono, 16 kHz."""

    name: str
    said: str
    samples: NDArray[np.float32]


def human_clips() -> list[Clip]:
    """All clips that are here, with a line for each package that can't be had."""
    return [*_readings(), *_announcements()]


def _announcements() -> list[Clip]:
    if not PROMPTS_LIST.is_file():
        print("no announcements: apt-get install asterisk-core-sounds-en-g722")
        return []
    places = {path.stem: path for path in sorted(PROMPTS.glob("en_US_f_*/*.g722"))}
    found = []
    for line in gzip.decompress(PROMPTS_LIST.read_bytes()).decode("utf-8").splitlines():
        name, _, said = line.partition(": ")
        is_plain = not re.search(r"[\d\[\]#*]", said) and len(said.split()) >= FEWEST_WORDS
        if is_plain and name in places:
            found.append((name, said))
    some = [found[at * len(found) // MOST_PROMPTS] for at in range(min(MOST_PROMPTS, len(found)))]
    return [Clip(name, said, _g722(places[name])) for name, said in some]


def _g722(path: Path) -> NDArray[np.float32]:
    to_float = av.AudioResampler(format="flt", layout="mono", rate=16_000)
    with av.open(str(path), format="g722") as sound:
        frames = [piece for frame in sound.decode(audio=0) for piece in to_float.resample(frame)]
    return np.concatenate([frame.to_ndarray()[0] for frame in (*frames, *to_float.resample(None))])


def _readings() -> list[Clip]:
    home = DEBIAN if DEBIAN.is_dir() else _from_pypi()
    if home is None:
        print(f"no readings: neither Debian's pocketsphinx-testdata nor PyPI's {SOURCE} can be had")
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
