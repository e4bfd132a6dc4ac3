"""Decodes the same pieces on the CPU in int8 and on a GPU in float16, one by one and batched.

The model is that of `tests/tiny_whisper.py`, 448 deep and with as many layers as a real one has (6: base,
12: small, 24: medium); what it writes is known. Deeper ones come out wrong in int8: these weights are all or
nothing, which real ones are not. Each line says whether the words are those, how far the times are off those
of the first line, and the time taken as a share of the first line's. Needs no recordings and no network.

    python tests/benchmarks/whisper_device.py
    python tests/benchmarks/whisper_device.py --layers 12 --pieces 16 --batches 1,4,8
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

sys.path[:0] = [str(Path(__file__).parents[2]), str(Path(__file__).parents[1])]
# ruff: noqa: E402

import tiny_whisper

from voicenotes.audio.pauses import Stretch
from voicenotes.model import SAMPLE_RATE_HZ
from voicenotes.speech.guard_limits import GuardLimits
from voicenotes.speech.passage import Passage
from voicenotes.speech.pieces import Piece, packed
from voicenotes.speech.voice_activity import FRAME_S, VoiceActivity
from voicenotes.speech.whisper_decode import decode
from voicenotes.speech.whisper_load import Loaded, cpu_threads, has_gpu, load_model

DEPTH = 448
PIECE_S = 2.8  # the model's sentence ends at 2.6 s


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--layers", type=int, default=6)
    parser.add_argument("--pieces", type=int, default=8)
    parser.add_argument("--batches", default="1,4,8", help="pieces at a time, each on its own line")
    given = parser.parse_args()
    batches = [int(batch) for batch in given.batches.split(",")]
    print(f"{given.layers} layers, {given.pieces} pieces, {cpu_threads()} threads")
    if not has_gpu():
        print("no CUDA device is seen: CPU only")
    with tempfile.TemporaryDirectory() as folder:
        model = tiny_whisper.build(Path(folder) / "model", DEPTH, given.layers)
        first: tuple[float, np.ndarray] | None = None
        for device in ["cpu", *(["cuda"] if has_gpu() else [])]:
            loaded = load_model(model, device)
            for batch in batches:
                words, times, seconds = decoded(loaded._replace(batch=batch), given.pieces)
                first = first or (seconds, times)
                right = words == tiny_whisper.WORDS_WITHOUT_HOTWORDS * given.pieces
                same = times.shape == first[1].shape and times.size
                apart = float(np.abs(times - first[1]).max()) if same else float("nan")
                print(
                    f"{device:4} {loaded.model.model.compute_type:12} {batch} at a time: "
                    f"words {'equal' if right else 'DIFFERENT'}, times at most {apart:.2f} s off, "
                    f"{seconds / first[0]:.2f} of the first line's time"
                )


def decoded(loaded: Loaded, count: int) -> tuple[tuple[str, ...], np.ndarray, float]:
    """The words, their starts (shape (words,)) and the seconds taken, the faster of two runs."""
    samples = np.random.default_rng(1).normal(0, 0.05, round(count * PIECE_S * SAMPLE_RATE_HZ))
    stretches = [Stretch(i * PIECE_S, (i + 1) * PIECE_S) for i in range(count)]
    pieces: list[Piece] = packed(samples.astype(np.float32), stretches, PIECE_S)
    spoken = np.ones(int(count * PIECE_S / FRAME_S) + 1, dtype=np.float32)
    activity = VoiceActivity(spoken, count * PIECE_S)
    took, passages = float("inf"), []
    for _ in range(2):
        begin = time.perf_counter()
        found = list(decode(loaded, pieces, "", activity, GuardLimits()))
        took = min(took, time.perf_counter() - begin)
        passages: list[Passage] = [passage for _, some in found for passage in some]
    words = [word for passage in passages for word in passage.words]
    return tuple(word.text for word in words), np.array([word.start for word in words]), took


if __name__ == "__main__":
    main()
