"""The whisper engine, run for real on a tiny model that `tiny_whisper` builds."""

from __future__ import annotations

import os
import shutil
import socket
import struct
import subprocess
import wave
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import tiny_whisper
from numpy.typing import NDArray

from voicenotes.errors import EngineError
from voicenotes.speech import whisper
from voicenotes.speech.bias import MAX_TERMS, MAX_TOKENS
from voicenotes.speech.engine import SpeechEngine, SpeechMaterial
from voicenotes.speech.whisper import WhisperEngine, find_model, folder_problem, models_here

Samples = NDArray[np.float32]
RATE = 16_000


@pytest.fixture(scope="module")
def speech() -> Samples:
    """A spoken sentence of two to three seconds, so that the voice detector hears speech."""
    return spoken()


def texts(engine: SpeechEngine, samples: Samples) -> tuple[str, ...]:
    return tuple(word.text for word in engine.transcribe(samples).words)


# --- what comes out ---------------------------------------------------------------------------------------


def test_words_times_and_confidences(tiny_model: Path, speech: Samples) -> None:
    transcript = WhisperEngine(str(tiny_model)).transcribe(speech)
    assert tuple(word.text for word in transcript.words) == tiny_whisper.WORDS_WITHOUT_HOTWORDS
    assert (transcript.engine, transcript.model) == ("whisper", "tiny-test")
    assert transcript.seconds == pytest.approx(len(speech) / RATE)
    for word, centre in zip(transcript.words, tiny_whisper.WORD_CENTRES, strict=True):
        assert 0 <= word.start < word.end <= transcript.seconds
        assert (word.start + word.end) / 2 == pytest.approx(centre, abs=0.15)
    assert [word.start for word in transcript.words] == sorted(word.start for word in transcript.words)
    *sure, growls = (word.confidence for word in transcript.words)
    assert min(sure) > 0.95
    assert growls == pytest.approx(tiny_whisper.expected_rival_confidence(False), abs=0.03)


def test_hotwords_reach_the_decoder(tiny_model: Path, speech: Samples) -> None:
    material = SpeechMaterial(terms=("drawbar", tiny_whisper.HOTWORD, "tailstock"))
    engine = WhisperEngine(str(tiny_model), material)
    assert texts(engine, speech) == tiny_whisper.WORDS_WITH_GIB_HINTED
    assert engine.hotwords == "drawbar, gib, tailstock"


def test_a_word_owed_to_hotwords_has_a_low_confidence(tiny_model: Path, speech: Samples) -> None:
    # faster_whisper/transcribe.py, find_alignment: probabilities are computed without the prompt.
    engine = WhisperEngine(str(tiny_model), SpeechMaterial(terms=(tiny_whisper.HOTWORD,)))
    confidence = {word.text: word.confidence for word in engine.transcribe(speech).words}
    assert confidence["gib"] < 0.05 < 0.95 < confidence["tailstock"]


def test_hotwords_stay_within_the_limits(tiny_model: Path, speech: Samples) -> None:
    from tokenizers import Tokenizer

    terms = ("gib", *(f"unlikely part number {i}" for i in range(300)), "jib")
    engine = WhisperEngine(str(tiny_model), SpeechMaterial(terms=terms))
    assert texts(engine, speech) == tiny_whisper.WORDS_WITH_GIB_HINTED
    tokenizer = Tokenizer.from_file(str(tiny_model / "tokenizer.json"))
    assert MAX_TOKENS // 2 < len(tokenizer.encode(" " + engine.hotwords).ids) <= MAX_TOKENS
    chosen = engine.hotwords.split(", ")
    assert len(chosen) <= MAX_TERMS
    assert set(chosen) <= set(terms)


def test_times_count_from_the_start_of_the_recording(tiny_model: Path, speech: Samples) -> None:
    # The voice detector cuts the silence out; the times must be those of the uncut recording.
    transcript = WhisperEngine(str(tiny_model)).transcribe(np.concatenate([silence(5), speech, silence(5)]))
    assert tuple(word.text for word in transcript.words) == tiny_whisper.WORDS_WITHOUT_HOTWORDS
    assert 4.5 <= transcript.words[0].start < transcript.words[-1].end <= 5.5 + len(speech) / RATE


def test_times_are_kept_within_the_recording() -> None:
    from faster_whisper.transcribe import Word as Heard

    heard = [Heard(-0.2, 0.3, " gib", 0.5), Heard(0.3, 0.3, " ", 0.9), Heard(2.9, 3.01, " loose,", 1.0000001)]
    words = whisper._words(SimpleNamespace(words=heard), seconds=3.0)
    assert [(word.text, word.start, word.end) for word in words] == [("gib", 0, 0.3), ("loose,", 2.9, 3.0)]
    assert [word.confidence for word in words] == [0.5, 1.0]


def test_a_long_recording_goes_window_by_window(tiny_model: Path, speech: Samples) -> None:
    repeats = 33 * RATE // len(speech) + 1
    samples = np.concatenate([speech] * repeats)
    done: list[float] = []
    transcript = WhisperEngine(str(tiny_model)).transcribe(samples, progress=done.append)
    assert tuple(word.text for word in transcript.words) == tiny_whisper.WORDS_WITHOUT_HOTWORDS * 2
    assert transcript.words[7].start >= 29
    assert len(done) == 3
    assert done == sorted(done)
    assert done[-1] == pytest.approx(transcript.seconds)


@pytest.mark.parametrize(
    "samples",
    [
        pytest.param(silence(0), id="empty"),
        pytest.param(silence(0.01), id="a hundredth of a second"),
        pytest.param(silence(3), id="silence"),
        pytest.param(np.random.default_rng(1).normal(0, 0.01, 3 * RATE).astype(np.float32), id="hiss"),
    ],
)
def test_no_words_where_nobody_speaks(tiny_model: Path, samples: Samples) -> None:
    # The tiny model writes its sentence over anything: only the voice detector keeps it from doing so.
    engine = WhisperEngine(str(tiny_model), SpeechMaterial(terms=("gib",)))
    transcript = engine.transcribe(samples)
    assert transcript.words == ()
    assert transcript.seconds == pytest.approx(len(samples) / RATE)


def test_the_settings_reach_the_recogniser(
    tiny_model: Path, speech: Samples, monkeypatch: pytest.MonkeyPatch
) -> None:
    from faster_whisper import WhisperModel

    real = WhisperModel.transcribe
    runs: list[tuple[Any, Any]] = []

    def watched(model: Any, *args: Any, **kwargs: Any) -> Any:
        segments, info = real(model, *args, **kwargs)
        runs.append((model, info))
        return segments, info

    monkeypatch.setattr(WhisperModel, "transcribe", watched)
    WhisperEngine(str(tiny_model), device="cpu").transcribe(speech)
    [(model, info)] = runs
    options = info.transcription_options
    assert info.language == "en"
    assert info.vad_options.min_silence_duration_ms == 500
    assert options.condition_on_previous_text is False
    assert options.hallucination_silence_threshold == 2.0
    assert options.hotwords is None
    assert model.model.compute_type.startswith("int8")


def test_twice_the_same(tiny_model: Path, speech: Samples) -> None:
    engine = WhisperEngine(str(tiny_model))
    assert engine.transcribe(speech) == engine.transcribe(speech)
    assert engine.transcribe(speech) == WhisperEngine(str(tiny_model)).transcribe(speech)


def test_an_error_in_progress_is_the_callers_own(tiny_model: Path, speech: Samples) -> None:
    def stop(_: float) -> None:
        raise ValueError("stop")

    with pytest.raises(ValueError, match=r"^stop$"):
        WhisperEngine(str(tiny_model)).transcribe(speech, progress=stop)


# --- devices ----------------------------------------------------------------------------------------------


def test_a_gpu_that_does_not_work_is_passed_over(
    tiny_model: Path, speech: Samples, monkeypatch: pytest.MonkeyPatch
) -> None:
    import ctranslate2

    monkeypatch.setattr(ctranslate2, "get_cuda_device_count", lambda: 1)
    assert texts(WhisperEngine(str(tiny_model)), speech) == tiny_whisper.WORDS_WITHOUT_HOTWORDS


@pytest.mark.skipif(whisper.has_gpu(), reason="this machine has a GPU")
def test_a_gpu_that_was_asked_for_is_not_passed_over(tiny_model: Path, speech: Samples) -> None:
    with pytest.raises(EngineError, match="can't be loaded"):
        WhisperEngine(str(tiny_model), device="cuda").transcribe(speech)


def test_unknown_device(tiny_model: Path) -> None:
    with pytest.raises(EngineError, match="use one of auto, cpu, cuda"):
        WhisperEngine(str(tiny_model), device="abacus")


@pytest.mark.parametrize(("cores", "threads"), [(1, 1), (2, 2), (4, 4), (8, 4), (12, 6), (64, 8)])
def test_threads(cores: int, threads: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "sched_getaffinity", lambda _: set(range(cores)), raising=False)
    assert whisper.cpu_threads() == threads


# --- no network -------------------------------------------------------------------------------------------


def test_a_run_reaches_no_network(tiny_model: Path, speech: Samples, reached: list[str]) -> None:
    assert texts(WhisperEngine(str(tiny_model)), speech)
    assert reached == []


def test_a_missing_model_is_not_looked_for_online(bare_machine: Path, reached: list[str]) -> None:
    with pytest.raises(EngineError, match=r"not on this machine.*--model small --download") as caught:
        WhisperEngine("small")
    assert str(bare_machine / "small") in str(caught.value)
    assert models_here() == []
    assert find_model("Systran/faster-whisper-small") is None
    assert reached == []


def test_a_download_happens_only_when_allowed(bare_machine: Path, reached: list[str]) -> None:
    engine = WhisperEngine("tiny.en", allow_download=True)
    assert reached == []
    with pytest.raises(EngineError, match=r"tiny\.en.* can't be downloaded") as caught:
        engine.transcribe(silence(1))
    assert "\n" not in str(caught.value)
    assert reached


def test_a_missing_tokenizer_is_refused_not_fetched(
    tiny_model: Path, tmp_path: Path, reached: list[str]
) -> None:
    folder = shutil.copytree(tiny_model, tmp_path / "no-tokenizer")
    (folder / "tokenizer.json").unlink()
    for allow_download in (False, True):
        with pytest.raises(EngineError, match=r"no-tokenizer lacks tokenizer\.json"):
            WhisperEngine(str(folder), allow_download=allow_download)
    assert reached == []


