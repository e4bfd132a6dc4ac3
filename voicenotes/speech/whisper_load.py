"""Loads a Whisper model onto the GPU or the CPU."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, Any, NamedTuple

from voicenotes.errors import EngineError

if TYPE_CHECKING:
    from pathlib import Path

DEVICES = ("auto", "cpu", "cuda")
RANDOM_SEED = 1
# Pieces of 30 s decoded at a time. Each takes a beam of 5 with its cache of keys and values: with `small`
# some 33 MB a beam at full length, so 4 pieces stay below 0.7 GB of memory. Measured on two threads with a
# model of tiny size and 70 s of speech: 0.4 to 1.14, mostly 0.75, of the time of one by one, and as many
# errors. With 8 at a time and 8 threads faster-whisper's README has half the time.
BATCH_ON_CPU, BATCH_ON_GPU = 4, 8


class Loaded(NamedTuple):
    """A faster-whisper model, where it runs, and how many pieces it is given at a time."""

    model: Any
    device: str
    batch: int


def load_model(folder: Path, device: str = "auto") -> Loaded:
    """Load a model: float16 on a GPU, int8 on the CPU; "auto" falls back when the GPU doesn't work.

    Raises EngineError.
    """
    import ctranslate2
    import numpy as np
    from faster_whisper import WhisperModel

    ctranslate2.set_random_seed(RANDOM_SEED)  # nothing is drawn at random; this is for what might be
    try:
        if resolved_device(device) == "cuda":
            try:
                model = WhisperModel(str(folder), "cuda", compute_type="float16", local_files_only=True)
                # Missing CUDA libraries come to light only when something is computed.
                model.encode(np.zeros((model.feature_extractor.mel_filters.shape[0], 3000), dtype=np.float32))
                return Loaded(model, "cuda", BATCH_ON_GPU)
            except (RuntimeError, ValueError):
                if device == "cuda":
                    raise
        options = {"compute_type": "int8", "cpu_threads": cpu_threads(), "local_files_only": True}
        return Loaded(WhisperModel(str(folder), "cpu", **options), "cpu", BATCH_ON_CPU)
    except Exception as error:  # tokenizers raises bare Exception for a broken tokenizer.json
        raise EngineError(f"Whisper model in {folder} can't be loaded: {one_line(error)}") from error


def resolved_device(device: str) -> str:
    """Where a model asked onto `device` is tried first: "cuda" or "cpu"."""
    return "cuda" if device == "cuda" or (device == "auto" and has_gpu()) else "cpu"


def cpu_threads() -> int:
    """Threads for the CPU: up to four, or half of what the system counts (two per core), at most eight.

    One process with all of them beats several processes with fewer: the weights are read once for all, and
    held in memory once. `OMP_NUM_THREADS` says how many may be used where others share the machine.
    """
    count = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    asked = os.environ.get("OMP_NUM_THREADS", "")
    if asked.isdecimal() and int(asked):
        return min(count, int(asked))
    return min(count, max(4, min(8, count // 2)))


def has_gpu() -> bool:
    """Whether CTranslate2 sees a CUDA device."""
    import ctranslate2

    try:
        return bool(ctranslate2.get_cuda_device_count() > 0)
    except RuntimeError:  # a driver that CTranslate2 can't work with
        return False


def one_line(error: BaseException) -> str:
    """What an error says, in one line."""
    return " ".join(str(error).split()) or type(error).__name__
