"""What spoils recognition, beside what the meter says of it: where the limits of audio/doubts.py are from.

    python tests/benchmarks/quality_limits.py [--voices slt,rms] [--only noise,clip]

The sentences are labelled ones, the voices and the noise those of speech.py. Each line is one way of
spoiling the recordings: word error rate of the embedded engine, then the meter's own numbers and the first
recording's doubt.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import jiwer
import numpy as np
from numpy.typing import NDArray
from speech_measures import normalised
from spoken_sets import labelled_sentences, recordings
from spoken_voices import RATE

from voicenotes.audio.quality import QualityMeter
from voicenotes.speech.embedded import EmbeddedEngine
from voicenotes.vocabulary.labels import LabelledSentence
from voicenotes.vocabulary.load import load_pack
from voicenotes.vocabulary.material import speech_material

sys.path.append(str(Path(__file__).parents[1]))
from make_audio import low_pass, windy

Samples = NDArray[np.float32]
# Room and microphone noise that is always there, in dB below the speech.
QUIET_ROOM_DB = "35"
SET = Path(__file__).parents[1] / "evaluation" / "four_voices.yaml"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--voices", default="slt,rms")
    parser.add_argument("--only", default="noise,clip,level,muffled,wind")
    options = parser.parse_args()
    engine = EmbeddedEngine(speech_material(load_pack("cnc_lathe")))
    labels, _ = labelled_sentences(SET, 30)
    for voice in options.voices.split(","):
        for name, spoil, snr in conditions(options.only.split(",")):
            print(f"{voice:6} {name:16} {_row(engine, labels, voice, snr, spoil)}", flush=True)


def conditions(kinds: list[str]) -> Iterator[tuple[str, Callable[[Samples], Samples], str]]:
    """Name, what is done to the samples, and the noise before that in dB below the speech."""
    yield "as it is", lambda x: x, QUIET_ROOM_DB
    if "noise" in kinds:
        for snr in ("20", "15", "10", "7", "5", "3", "0"):
            yield f"noise {snr} dB", lambda x: x, snr
    if "clip" in kinds:
        for gain in (2.0, 4.0, 8.0, 16.0, 32.0):
            yield (
                f"clipped {gain:.0f}x",
                lambda x, g=gain: np.clip(x / np.abs(x).max() * g, -1, 1),
                QUIET_ROOM_DB,
            )
    if "level" in kinds:
        for down in (20, 30, 40, 50):
            yield f"{down} dB quieter", lambda x, d=down: _sixteen_bits(x * 10 ** (-d / 20)), QUIET_ROOM_DB
    if "muffled" in kinds:
        for hertz in (3400, 2000, 1500, 1000, 700):
            yield f"up to {hertz} Hz", lambda x, f=hertz: low_pass(x, f), QUIET_ROOM_DB
    if "wind" in kinds:
        for level in (0, 10, 20, 30):
            yield f"wind {level} dB above", lambda x, w=level: windy(x, w), QUIET_ROOM_DB


def _row(
    engine: EmbeddedEngine,
    labels: list[LabelledSentence],
    voice: str,
    snr: str,
    spoil: Callable[[Samples], Samples],
) -> str:
    heard, references, said, used = [], [], [], 0.0
    for recording in recordings(labels, voice, snr, "shop", seed=0):
        samples = spoil(recording.samples).astype(np.float32)
        meter = QualityMeter()
        started = time.perf_counter()
        meter.add(samples)
        said.append(meter.result())
        used += (time.perf_counter() - started) / (samples.size / RATE)
        references.append(" ".join(word for label in recording.labels for word in normalised(label.say)))
        heard.append(" ".join(normalised(engine.transcribe(samples).text)))
    rate = 100 * jiwer.wer(references, heard)
    levels = f"{_mean([q.level_dbfs for q in said]):6.1f} dBFS  SNR {_mean([q.snr_db for q in said]):5.1f} dB"
    shares = f"clipped {_mean([q.clipped_share / max(q.speech_share, 0.01) for q in said]):.3f} of speech"
    return f"WER {rate:5.1f} %  {levels}  {shares}  {1e3 * used / len(said):.1f} ms a second  {said[0].doubt}"


def _mean(values: list[float | None]) -> float:
    known = [value for value in values if value is not None]
    return float(np.mean(known)) if known else float("nan")


def _sixteen_bits(samples: Samples) -> Samples:
    return np.round(samples * 32768) / 32768


if __name__ == "__main__":
    main()
