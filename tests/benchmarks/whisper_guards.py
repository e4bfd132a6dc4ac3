"""What a real Whisper model invents over silence and machine noise, what the guards leave of it, and whether
speech survives them.

First each sound is decoded whole, as if the voice detector had let it through: what was written, its log
probability and no-speech probability, and the words that the guards keep (there should be none). Then twelve
sentences with pauses, in three voices at several levels: word errors one by one and batched, what was left
out, and times. The sentences were written for this script and are in no pack. Needs a model and flite.

    python tests/benchmarks/whisper_guards.py small
    python tests/benchmarks/whisper_guards.py FOLDER --voices slt --snr clean,10
"""

from __future__ import annotations

import argparse
import re
import sys
import time
from pathlib import Path

import jiwer
import numpy as np

sys.path[:0] = [str(Path(__file__).parents[2]), str(Path(__file__).parents[1])]
# ruff: noqa: E402

from make_audio import noise
from whisper_stand_ins import NOT_SPEECH, RATE, Samples, silence, spoken

from voicenotes.audio.pauses import Stretch
from voicenotes.speech.guard_limits import GuardLimits
from voicenotes.speech.guards import guarded
from voicenotes.speech.pieces import packed
from voicenotes.speech.voice_activity import voice_activity
from voicenotes.speech.whisper import WhisperEngine
from voicenotes.speech.whisper_decode import decode
from voicenotes.speech.whisper_load import Loaded

HOTWORDS = "spindle, turret, tailstock, gib, way covers, chuck, coolant pump"
SENTENCES = (
    "the spindle growls at two thousand rpm",
    "way covers on the left are dented but the wipers are fine",
    "backlash in x is two thou",
    "no leaks at the hydraulic unit",
    "the chuck jaws are worn and the key is missing",
    "I did not get to the coolant pump",
    "the seller says the bearings were done last year",
    "turret indexes smoothly and there is no play",
    "thank you that is all for the front",
    "okay so the tailstock quill moves freely",
    "battery was replaced in march",
    "the door switch works but the lamp flickers",
)
PAUSES_S = (0.4, 1.0, 3.0, 8.0)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("model", help="name or folder")
    parser.add_argument("--voices", default="slt,rms,awb")
    parser.add_argument("--snr", default="clean,quiet,20,10,5,0", help="dB; quiet is -50 dB without noise")
    given = parser.parse_args()
    engine = WhisperEngine(given.model)
    loaded = engine._load()
    for sound in NOT_SPEECH:
        for seconds in (5, 20):
            print(f"{sound:8} {seconds:2} s  {invented(loaded, NOT_SPEECH[sound](seconds))}")
    for voice in given.voices.split(","):
        for snr in given.snr.split(","):
            print(f"{voice:5} {snr:>5}  {survived(engine, loaded, visit(voice, snr))}", flush=True)


def invented(loaded: Loaded, samples: Samples) -> str:
    """What is written over a sound that is no speech, and what the guards keep of it."""
    activity = voice_activity(samples)
    pieces = packed(samples, [Stretch(0.0, len(samples) / RATE)])
    found = [p for _, some in decode(loaded, pieces, HOTWORDS, activity, GuardLimits()) for p in some]
    told = guarded(found, activity)
    kept = " ".join(word.text for word in told.words)
    marks = ", ".join(f"{p.log_probability:.2f}/{p.no_speech:.2f}" for p in found)
    return f"wrote {' '.join(p.text for p in found)!r} ({marks}), kept {kept!r}"


def survived(engine: WhisperEngine, loaded: Loaded, samples: Samples) -> str:
    """Word errors one by one and batched, the ratio of their times, and what was left out."""
    lines, took = [], []
    for batch in (1, 4):
        engine._loaded = loaded._replace(batch=batch)
        begin = time.perf_counter()
        told = engine.transcribe(samples)
        took.append(time.perf_counter() - begin)
        wrong = jiwer.wer(plain(" ".join(SENTENCES)), plain(told.text))
        out = [f"{part.text!r}: {part.why}" for part in told.left_out]
        lines.append(f"errors {wrong:.3f}" + (f", left out {'; '.join(out)}" if out else ""))
    return f"one by one {lines[0]} | batched {lines[1]} | time {took[1] / took[0]:.2f}"


def visit(voice: str, snr: str) -> Samples:
    """The sentences one after the other with pauses of 0.4 to 8 s, in pink noise."""
    said = [spoken(sentence, voice) for sentence in SENTENCES]
    parts = [silence(2)]
    for index, sentence in enumerate(said):
        parts += [sentence, silence(PAUSES_S[index % len(PAUSES_S)])]
    samples = np.concatenate(parts)
    if snr == "quiet":
        return samples * np.float32(10 ** (-50 / 20))
    if snr == "clean":
        return samples
    level = float(np.std(np.concatenate(said))) / 10 ** (float(snr) / 20)
    return samples + noise(len(samples) / RATE, level, 0.5)[: len(samples)]


def plain(text: str) -> str:
    return " ".join(re.sub(r"[^a-z0-9' ]", " ", text.lower()).split())


if __name__ == "__main__":
    main()
