"""The embedded engine on real audio from the flite synthesiser: unseen sentences, noise, silence, caching."""

from __future__ import annotations

import io
import math
import multiprocessing
import re
import shutil
import subprocess
import wave
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from voicenotes.errors import EngineError
from voicenotes.model import Transcript
from voicenotes.speech.confidence import WEIGHTS, WordFeatures, word_confidence
from voicenotes.speech.embedded import (
    EmbeddedEngine,
    _loaded,
    as_pcm,
    compiled_folder,
    compiled_name,
)
from voicenotes.speech.engine import SAMPLE_RATE_HZ, SpeechMaterial
from voicenotes.speech.steady_noise import FLOOR_DB, without_steady_noise
from voicenotes.speech.voice_fit import FIRST_MEANS, start_afresh

pytestmark = pytest.mark.audio

PARTS = ("anchor winch", "deck hatch", "bilge pump", "steering cable", "engine mount", "fuel gauge")
STATES = ("is seized", "is fine", "leaks", "runs smooth", "is badly corroded", "works", "has come loose")
MATERIAL = SpeechMaterial(
    terms=PARTS,
    sentences=(
        *(f"the {part} {state}" for i, part in enumerate(PARTS) for state in STATES[i % 2 :: 2]),
        "bilge pump pressure is two point five bar",
        "wear on the anchor chain is three millimetres",
        "there are twelve volts at the battery",
    ),
    digest="boat-1",
)
# None of these is among the sentences above; half are everyday talk that no pack has.
UNSEEN = (
    "the deck hatch is badly corroded",
    "the fuel gauge works and the anchor winch runs smooth",
    "bilge pump pressure is three point two bar",
    "it was raining when i got here this morning",
    "i think the owner has gone to lunch",
    "the engine mount has come loose and the steering cable is fine",
)


def spoken(text: str, voice: str = "rms") -> NDArray[np.float32]:
    if shutil.which("flite") is None:
        pytest.skip("flite isn't installed")
    raw = subprocess.run(
        ["flite", "-voice", voice, "-t", text, "-o", "/dev/stdout"], capture_output=True, check=True
    ).stdout
    # a header written to a pipe has no length: the samples follow its 44 bytes
    with wave.open(io.BytesIO(raw)) as header:
        assert header.getframerate() == SAMPLE_RATE_HZ
    return np.frombuffer(raw[44:], "<i2").astype(np.float32) / 32768


def quiet(seconds: float) -> NDArray[np.float32]:
    return np.zeros(round(seconds * SAMPLE_RATE_HZ), np.float32)


def white_noise(count: int, level: float) -> NDArray[np.float32]:
    return np.random.default_rng(2).standard_normal(count, dtype=np.float32) * level


@pytest.fixture(scope="module")
def cache(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("cache")


@pytest.fixture(scope="module")
def engine(cache: Path) -> EmbeddedEngine:
    return EmbeddedEngine(MATERIAL, cache)


@pytest.fixture(scope="module")
def memo() -> NDArray[np.float32]:
    return np.concatenate([piece for text in UNSEEN for piece in (quiet(0.8), spoken(text))] + [quiet(0.8)])


@pytest.fixture(scope="module")
def transcript(engine: EmbeddedEngine, memo: NDArray[np.float32]) -> Transcript:
    return engine.transcribe(memo)


def test_unseen_sentences_of_both_kinds(transcript: Transcript) -> None:
    """Word error rate by jiwer; the language model has none of these sentences."""
    jiwer = pytest.importorskip("jiwer")
    assert not set(UNSEEN) & set(MATERIAL.sentences)
    assert jiwer.wer(" ".join(UNSEEN), transcript.text) <= 0.15


def test_noise_of_a_workshop(engine: EmbeddedEngine, memo: NDArray[np.float32]) -> None:
    """Steady noise 18 dB below the speech."""
    jiwer = pytest.importorskip("jiwer")
    speech = float(np.sqrt(np.mean(memo[np.abs(memo) > 0.01] ** 2)))
    noisy = memo + white_noise(memo.size, speech * 10 ** (-18 / 20))
    assert jiwer.wer(" ".join(UNSEEN), engine.transcribe(noisy).text) <= 0.40


def test_words_are_plain(transcript: Transcript) -> None:
    assert transcript.engine == "embedded"
    assert transcript.model == "en-us"
    for word in transcript.words:
        assert re.fullmatch(r"[a-z'][a-z'-]*", word.text), word


def test_words_lie_where_they_are_spoken(transcript: Transcript) -> None:
    """The first word of each sentence starts within 0.25 s of its first loud sample."""
    at = 0.0
    for text in UNSEEN[:3]:
        at += 0.8
        begins = at + int(np.argmax(np.abs(spoken(text)) > 0.01)) / SAMPLE_RATE_HZ
        nearest = min(abs(word.start - begins) for word in transcript.words)
        assert nearest < 0.25, text
        at += spoken(text).size / SAMPLE_RATE_HZ


def test_a_long_recording_keeps_its_times(engine: EmbeddedEngine, memo: NDArray[np.float32]) -> None:
    pause = quiet(6.0)
    samples = np.concatenate([pause, memo, pause, memo, pause, memo, pause, quiet(40.0)])
    seconds = samples.size / SAMPLE_RATE_HZ
    assert seconds > 100
    done: list[float] = []
    words = engine.transcribe(samples, done.append).words
    assert len(words) > 100
    assert all(word.start <= word.end for word in words)
    assert all(a.end <= b.start + 1e-6 for a, b in pairwise(words))
    assert 6.0 < words[0].start < words[-1].end < seconds - 40
    assert done == sorted(done) and done[-1] == pytest.approx(seconds)


@pytest.mark.parametrize(
    "samples",
    [quiet(0.0), quiet(0.01), quiet(5.0), white_noise(80_000, 0.02), white_noise(80_000, 0.0002)],
    ids=["nothing", "ten milliseconds", "silence", "loud noise", "faint noise"],
)
def test_where_nobody_speaks_there_are_no_words(engine: EmbeddedEngine, samples: NDArray[np.float32]) -> None:
    assert len(engine.transcribe(samples).words) <= 1


def test_a_quiet_recording_reads_like_a_loud_one(engine: EmbeddedEngine) -> None:
    samples = np.concatenate([quiet(0.5), spoken(UNSEEN[0]), quiet(0.5)])
    assert engine.transcribe(samples * 0.05).text == engine.transcribe(samples).text == UNSEEN[0]


def test_same_samples_same_transcript(
    engine: EmbeddedEngine, memo: NDArray[np.float32], transcript: Transcript
) -> None:
    assert engine.transcribe(memo) == transcript


def test_a_decoder_loaded_later_gets_the_same_frequency_factor(
    cache: Path, memo: NDArray[np.float32]
) -> None:
    """Pocketsphinx keeps the factor in one place for all decoders of a process."""
    pcm = as_pcm(memo)

    def words_at(factor: float) -> list[tuple[str, int]]:
        decoder = _loaded(compiled_folder(MATERIAL, cache))
        start_afresh(decoder, factor, FIRST_MEANS)
        decoder.start_utt()
        decoder.process_raw(pcm, full_utt=True)
        decoder.end_utt()
        return [(segment.word, segment.ascore) for segment in decoder.seg()]

    first, second, unfitted = words_at(0.88), words_at(0.88), words_at(1.0)
    assert first == second != unfitted


def test_confidence_tells_right_words_from_wrong_ones(
    engine: EmbeddedEngine, memo: NDArray[np.float32]
) -> None:
    """In noise that makes it err, the mean confidence of right words is above that of wrong ones."""
    jiwer = pytest.importorskip("jiwer")
    speech = float(np.sqrt(np.mean(memo[np.abs(memo) > 0.01] ** 2)))
    words = engine.transcribe(memo + white_noise(memo.size, speech * 10 ** (-12 / 20))).words
    output = jiwer.process_words(" ".join(UNSEEN), " ".join(word.text for word in words))
    right: set[int] = set()
    for chunk in output.alignments[0]:
        if chunk.type == "equal":
            right |= set(range(chunk.hyp_start_idx, chunk.hyp_end_idx))
    good = [word.confidence for i, word in enumerate(words) if i in right]
    bad = [word.confidence for i, word in enumerate(words) if i not in right]
    assert len(good) >= 5
    assert len(bad) >= 5
    assert np.mean(good) > np.mean(bad) + 0.05


def test_confidence_stays_in_range_and_follows_the_posterior() -> None:
    fields = len(WEIGHTS) - 1
    for extreme in (-1e6, 0.0, 1e6):
        for at in range(fields):
            values = [extreme if i == at else 0.0 for i in range(fields)]
            assert 0.0 <= word_confidence(WordFeatures(*values)) <= 1.0
    sure, unsure = (WordFeatures(math.log(p), 0, 0, math.log(p), 0, -30, 30, 6, -7) for p in (0.99, 0.01))
    assert word_confidence(sure) > word_confidence(unsure)


def test_the_compiled_model_is_kept(cache: Path, engine: EmbeddedEngine) -> None:
    engine.transcribe(quiet(0.1))
    folder = compiled_folder(MATERIAL, cache)
    before = (folder / "model.lm.bin").stat().st_mtime_ns
    assert compiled_folder(MATERIAL, cache) == folder
    assert (folder / "model.lm.bin").stat().st_mtime_ns == before
    assert [path.name for path in folder.parent.iterdir()] == [folder.name]


def test_another_digest_is_another_model() -> None:
    assert compiled_name(MATERIAL) != compiled_name(replace(MATERIAL, digest="boat-2"))
    without = replace(MATERIAL, digest="")
    assert compiled_name(without) != compiled_name(replace(without, terms=("mast",)))


def test_two_processes_may_compile_at_once(tmp_path: Path) -> None:
    context = multiprocessing.get_context("spawn")
    with context.Pool(2) as pool:
        folders = pool.starmap(compiled_folder, [(MATERIAL, tmp_path)] * 2)
    assert folders[0] == folders[1]
    assert sorted(path.name for path in folders[0].iterdir()) == ["model.lm.bin", "words.dict"]
    assert list((tmp_path / "embedded").iterdir()) == [folders[0]]


def test_a_damaged_cache_is_one_clear_error(tmp_path: Path) -> None:
    folder = tmp_path / "embedded" / compiled_name(MATERIAL)
    folder.mkdir(parents=True)
    (folder / "model.lm.bin").write_text("not a model", encoding="utf-8")
    (folder / "words.dict").write_text("the DH AH\n", encoding="utf-8")
    with pytest.raises(EngineError, match="delete that folder"):
        EmbeddedEngine(MATERIAL, tmp_path).transcribe(quiet(1.0))


def test_a_cache_that_is_a_file_is_one_clear_error(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("", encoding="utf-8")
    with pytest.raises(EngineError, match="can't write the speech cache"):
        EmbeddedEngine(MATERIAL, blocked).transcribe(quiet(1.0))


def test_nothing_is_logged(engine: EmbeddedEngine, capfd: pytest.CaptureFixture[str]) -> None:
    engine.transcribe(np.concatenate([quiet(0.4), spoken("hello there"), quiet(0.4)]))
    printed = capfd.readouterr()
    assert printed.out == printed.err == ""


def test_steady_noise_goes_down_and_speech_stays() -> None:
    speech = np.concatenate([quiet(1.0), spoken(UNSEEN[0]), quiet(1.0)])
    noise = white_noise(speech.size, 0.01)
    clean = without_steady_noise(speech + noise)
    assert clean.shape == speech.shape
    pause = slice(4000, 12000)
    assert float(np.std(clean[pause])) < 1.05 * 10 ** (FLOOR_DB / 20) * float(np.std(noise[pause]))
    before, after = float(np.std(noise)), float(np.std(clean - speech))
    assert after < before


def test_samples_at_any_level_become_sixteen_bits() -> None:
    for level in (0.0, 1e-5, 0.3, 1.0, 4.0):
        values = np.frombuffer(as_pcm(white_noise(1000, level)), "<i2")
        assert values.size == 1000
        assert np.abs(values.astype(np.int32)).max() < 32768
