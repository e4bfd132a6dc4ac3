"""Spoken commands measured: how many are missed, and how many invented in dictation without any.

    python tests/benchmarks/commands.py                   # flite voices, clean and at 20 dB
    python tests/benchmarks/commands.py --dictation 400   # so many lines of dictation a voice and level
    python tests/benchmarks/commands.py --engine moonshine --voices heart,joe

Each phrase of each command is said with each wake phrase of two words, alone; then lines of the example
dictation are said, and some that contain a command's words without being one. Every utterance goes to the
engine as it does when it is listened to; the embedded one is fitted to three lines of dictation.
"""

from __future__ import annotations

import argparse
import random
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from spoken_voices import spoken

from voicenotes import load_pack
from voicenotes.language.spoken_commands import meaning_of
from voicenotes.speech.choose import choose_engine
from voicenotes.speech.embedded import EmbeddedEngine
from voicenotes.speech.engine import SpeechEngine
from voicenotes.vocabulary.expand import plain_phrases
from voicenotes.vocabulary.material import speech_material

RATE = 16_000
ROOT = Path(__file__).parent.parent.parent
NEAR = (
    "the notebook is in the van",
    "my notebook says what is open here",
    "somebody scratched that and left a mark",
    "there's a mark on this one",
    "what is open here is the door",
    "what's missing here is the cover",
    "take that back cover off",
    "stop listening to the pump for a moment",
)


def heard(engine: SpeechEngine, said: str, voice: str, snr_db: float, fit: NDArray[np.float32]) -> list[str]:
    """The words that the engine hears of a line."""
    samples = noisy(spoken(said, voice), snr_db)
    if isinstance(engine, EmbeddedEngine):
        found = engine.transcribe_utterance(samples, fit)
    else:
        found = engine.transcribe(samples)
    return [word.text.lower().strip(".,!?") for word in found.words]


def noisy(samples: NDArray[np.float32], snr_db: float) -> NDArray[np.float32]:
    """White noise so many dB below the speech, and silence around it."""
    level = float(np.sqrt(np.mean(samples**2)))
    wide = np.pad(samples, (RATE * 2 // 5, RATE // 4))
    noise = np.random.default_rng(0).standard_normal(wide.size).astype(np.float32)
    result: NDArray[np.float32] = wide + noise * np.float32(level * 10 ** (-snr_db / 20))
    return result


def main() -> None:
    """Measure as the options say."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    options.add_argument("--engine", default="embedded")
    options.add_argument("--voices", default="slt,rms,awb,kal16")
    options.add_argument("--dictation", type=int, default=150, help="lines for each voice and level")
    options.add_argument("--show", action="store_true", help="print each command that is missed or invented")
    chosen = options.parse_args()
    pack = load_pack("cnc_lathe")
    engine, _ = choose_engine(chosen.engine, speech_material(pack))
    files = sorted((ROOT / "vocab/cnc_lathe/dictation").glob("*.txt"))
    lines = [line for file in files for line in file.read_text(encoding="utf-8").splitlines() if line.strip()]
    asked = [
        (command.does, f"{wake}, {said}")
        for command in pack.commands.commands
        for said in plain_phrases(command.phrases)
        for wake in plain_phrases(pack.commands.wake)
        if " " in wake
    ]
    for voice in chosen.voices.split(","):
        for level, snr_db in (("clean", 60.0), ("20 dB", 20.0)):
            draw = random.Random(f"{voice} {level}")
            fit = noisy(np.concatenate([spoken(line, voice) for line in draw.sample(lines, 3)]), snr_db)
            missed = 0
            for does, said in asked:
                words = heard(engine, said, voice, snr_db, fit)
                if meaning_of(words, pack.commands) != does:
                    missed += 1
                    if chosen.show:
                        print(f"  missed: {said} -> {' '.join(words)}")
            invented, seconds = 0, 0.0
            for line in [*NEAR, *draw.sample(lines, chosen.dictation)]:
                words = heard(engine, line, voice, snr_db, fit)
                seconds += spoken(line, voice).size / RATE
                if meaning_of(words, pack.commands):
                    invented += 1
                    print(f"  invented: {line} -> {' '.join(words)}")
            print(
                f"{voice:8} {level:6} {missed:3} of {len(asked)} missed ({100 * missed / len(asked):.1f} %), "
                f"{invented} invented in {seconds / 60:.1f} min ({3600 * invented / seconds:.1f} an hour)",
                flush=True,
            )


if __name__ == "__main__":
    main()
