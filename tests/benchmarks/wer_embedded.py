"""Word error rate of the embedded engine on synthetic dictation, per voice and noise level.

    python tests/benchmarks/wer_embedded.py [TEXTFILE] [--pack cnc_lathe] [--voices slt,rms] [--snr clean,18]

TEXTFILE has one sentence a line (numbers as words, no punctuation); without it a short list below is used.
Every five sentences become one recording with pauses between them, rendered by flite (kal, kal16, awb, rms,
slt) or, for the voice `hts`, by festival. Noise is hum with harmonics and pinkish hiss at so many dB below
the speech. The model is compiled from the pack and everyday English only, never from the sentences:
sentences that the pack or everyday.txt has word for word are left out and counted.
"""

from __future__ import annotations

import argparse
import re
import subprocess
import tempfile
import time
import wave
from pathlib import Path

import jiwer
import numpy as np
from numpy.typing import NDArray

from voicenotes.speech.embedded import EmbeddedEngine
from voicenotes.speech.engine import SpeechMaterial
from voicenotes.speech.language_model import everyday_english
from voicenotes.vocabulary.load import load_pack
from voicenotes.vocabulary.material import speech_material

RATE = 16_000
SENTENCES_A_RECORDING = 5
PAUSE_S = 0.7

SENTENCES = """\
right i've parked up and it's chucking it down so i'm going straight inside
the seller has gone off to find the key so i'll make a start
spindle growls above two thousand and it gets hot at the front
runout at the nose is two tenths so i'm happy with that
backlash on z is about fifteen microns
way covers are dented near the chuck but the wipers are all right
someone has a radio going so you may hear music behind me
hydraulic pressure sits at thirty five bar and the gauge is steady
there's no tailstock on this one
turret clunks when it clamps at station seven
he offered me a biscuit and told me all about his holiday
coolant concentration is six percent
door interlock has been bypassed with a bit of wire
power on hours are twenty two thousand four hundred
i couldn't get the cabinet open because the handle is broken
ball screws are quiet and the rapids are smooth
let me just find somewhere to put this cup down
supply voltage is four hundred and five on all three phases
the conveyor trips after a minute going forward
that's me finished in here i'm going back out to the car
"""


def main() -> None:
    options = _options()
    text = options.textfile.read_text(encoding="utf-8") if options.textfile else SENTENCES
    material = speech_material(load_pack(options.pack))
    sentences, known = _unknown_sentences(text, material)
    print(f"{len(sentences)} sentences, {known} left out because the model was made from them")
    engine = EmbeddedEngine(material)
    started = time.perf_counter()
    engine.transcribe(np.zeros(RATE, np.float32))
    print(f"model ready in {time.perf_counter() - started:.1f} s")
    for voice in options.voices.split(","):
        spoken = [_spoken(sentence, voice) for sentence in sentences]
        for level in options.snr.split(","):
            print(_row(engine, sentences, spoken, voice, level), flush=True)


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("textfile", nargs="?", type=Path)
    parser.add_argument("--pack", default="cnc_lathe")
    parser.add_argument("--voices", default="slt,rms,kal16,hts")
    parser.add_argument("--snr", default="clean,20,15")
    return parser.parse_args()


def _normalised(line: str) -> str:
    return " ".join(re.sub(r"[^a-z' ]", " ", line.lower()).split())


def _unknown_sentences(text: str, material: SpeechMaterial) -> tuple[list[str], int]:
    lines = [line for line in map(_normalised, text.splitlines()) if line]
    seen = set(material.sentences) | {" ".join(words) for words in everyday_english().sentences}
    fresh = [line for line in lines if line not in seen]
    return fresh, len(lines) - len(fresh)


def _row(
    engine: EmbeddedEngine, sentences: list[str], spoken: list[NDArray[np.float32]], voice: str, level: str
) -> str:
    references, heard = [], []
    seconds, started = 0.0, time.perf_counter()
    for first in range(0, len(sentences), SENTENCES_A_RECORDING):
        part = slice(first, first + SENTENCES_A_RECORDING)
        samples = _recording(spoken[part], level, seed=first)
        seconds += samples.size / RATE
        references.append(" ".join(sentences[part]))
        heard.append(_normalised(engine.transcribe(samples).text))
    taken = (time.perf_counter() - started) / seconds
    rate = jiwer.wer(references, heard)
    return f"{voice:8} {level:>6}  WER {100 * rate:5.1f} %   {taken:.2f} of real time"


def _spoken(sentence: str, voice: str) -> NDArray[np.float32]:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "said.wav"
        if voice == "hts":
            command = [
                "text2wave",
                "-eval",
                "(voice_cmu_us_slt_arctic_hts)",
                "-F",
                str(RATE),
                "-o",
                str(path),
            ]
            subprocess.run(command, input=sentence, text=True, check=True, capture_output=True)
        else:
            subprocess.run(["flite", "-voice", voice, "-t", sentence, "-o", str(path)], check=True)
        with wave.open(str(path)) as file:
            rate, raw = file.getframerate(), file.readframes(file.getnframes())
    samples = np.frombuffer(raw, "<i2").astype(np.float32) / 32768
    if rate == RATE:
        return samples
    times = np.arange(int(samples.size * RATE / rate)) / RATE
    return np.interp(times, np.arange(samples.size) / rate, samples).astype(np.float32)


def _recording(spoken: list[NDArray[np.float32]], level: str, seed: int) -> NDArray[np.float32]:
    pause = np.zeros(round(PAUSE_S * RATE), np.float32)
    samples = np.concatenate([pause, *(piece for said in spoken for piece in (said, pause))])
    if level == "clean":
        return samples
    speech = float(np.sqrt(np.mean(samples[np.abs(samples) > 0.01] ** 2)))
    noise = _workshop_noise(samples.size, seed) * speech * 10 ** (-float(level) / 20)
    mixed = samples + noise
    return (mixed / max(1.0, float(np.abs(mixed).max()))).astype(np.float32)


def _workshop_noise(count: int, seed: int) -> NDArray[np.float64]:
    """Hum at 50 Hz and its harmonics plus hiss falling 3 dB an octave, RMS 1."""
    draw = np.random.default_rng(seed)
    spectrum = np.fft.rfft(draw.standard_normal(count))
    hiss = np.fft.irfft(spectrum / np.sqrt(np.maximum(np.fft.rfftfreq(count, 1 / RATE), 20.0)), count)
    times = np.arange(count) / RATE
    hum = np.zeros(count)
    for k in range(1, 8):
        hum += np.sin(2 * np.pi * 50 * k * times + draw.uniform(0, 6)) / k
    noise: NDArray[np.float64] = 0.85 * hiss / hiss.std() + 0.5 * hum / hum.std()
    return noise / noise.std()


if __name__ == "__main__":
    main()
