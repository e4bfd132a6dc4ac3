"""The whisper engine, run for real on a tiny model that `tiny_whisper` builds, and on stand-ins that fail."""

from __future__ import annotations

import os
import pickle
import shutil
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import tiny_whisper
from whisper_stand_ins import (
    NOT_SPEECH,
    RATE,
    SENTENCE,
    Samples,
    StandIn,
    said,
    segment,
    silence,
    spoken,
    word,
)

from voicenotes.audio.pauses import Stretch
from voicenotes.errors import EngineError
from voicenotes.model import Transcript
from voicenotes.speech import whisper_load
from voicenotes.speech.bias import MAX_TERMS, MAX_TOKENS
from voicenotes.speech.choose import told_of
from voicenotes.speech.engine import SpeechEngine, SpeechMaterial
from voicenotes.speech.guard_limits import GuardLimits
from voicenotes.speech.pieces import packed
from voicenotes.speech.voice_activity import LONGEST_S, speech_stretches, voice_activity
from voicenotes.speech.whisper import WhisperEngine
from voicenotes.speech.whisper_decode import RECIPES, decode
from voicenotes.speech.whisper_load import Loaded
from voicenotes.speech.whisper_models import find_model, models_here
from voicenotes.vocabulary.homes import everyday_words


@pytest.fixture(scope="module")
def speech() -> Samples:
    """A spoken sentence of two to three seconds, so that the voice detector hears speech."""
    return spoken()


def texts(engine: SpeechEngine, samples: Samples) -> tuple[str, ...]:
    return tuple(word.text for word in engine.transcribe(samples).words)


def stood_in(tiny_model: Path, stand_in: StandIn, hinted: bool = True, batch: int = 1) -> WhisperEngine:
    """An engine that has loaded a stand-in in place of its model."""
    engine = WhisperEngine(str(tiny_model))
    engine._loaded = Loaded(stand_in, "cpu", batch)
    engine.hotwords = "gib, spindle" if hinted else ""
    return engine


# --- what comes out ---------------------------------------------------------------------------------------


def test_words_times_and_confidences(tiny_model: Path, speech: Samples) -> None:
    transcript = WhisperEngine(str(tiny_model)).transcribe(speech)
    assert tuple(word.text for word in transcript.words) == tiny_whisper.WORDS_WITHOUT_HOTWORDS
    assert (transcript.engine, transcript.model) == ("whisper", "tiny-test")
    assert transcript.seconds == pytest.approx(len(speech) / RATE)
    for each, centre in zip(transcript.words, tiny_whisper.WORD_CENTRES, strict=True):
        assert 0 <= each.start < each.end <= transcript.seconds
        assert (each.start + each.end) / 2 == pytest.approx(centre, abs=0.2)
    assert [word.start for word in transcript.words] == sorted(word.start for word in transcript.words)
    *sure, growls = (word.confidence for word in transcript.words)
    assert min(sure) > 0.95
    assert growls == pytest.approx(tiny_whisper.expected_rival_confidence(False), abs=0.03)


def test_hotwords_reach_the_decoder(tiny_model: Path, speech: Samples) -> None:
    material = SpeechMaterial(terms=("drawbar", tiny_whisper.HOTWORD, "tailstock"))
    engine = WhisperEngine(str(tiny_model), material)
    assert texts(engine, speech) == tiny_whisper.WORDS_WITH_GIB_HINTED
    assert engine.hotwords == "drawbar, gib, tailstock"


@pytest.mark.parametrize(
    ("terms", "other", "same"),
    [
        (("drawbar", "gib"), ("drawbar", "gib"), True),
        (("drawbar", "gib"), ("drawbar", "gib", "bar"), False),  # one hotword more
        (("drawbar", "gib"), ("drawbar", "gib", "drawbar"), True),  # none more
        (tuple(f"gib {word}" for word in "abcdefgh" * 9), tuple(f"gib {w}" for w in "abcdefgh" * 9), True),
    ],
)
def test_kept_transcripts_depend_on_the_hotwords_alone(
    tiny_model: Path, terms: tuple[str, ...], other: tuple[str, ...], same: bool
) -> None:
    one, two = SpeechMaterial(terms=terms, digest="1"), SpeechMaterial(terms=other, digest="2")
    told = [told_of(WhisperEngine(str(tiny_model), material), material) for material in (one, two)]
    assert (told[0] == told[1]) is same
    assert not {"1", "2"} & set(told)


def test_what_it_is_told_beyond_the_room_for_hotwords_changes_nothing(tiny_model: Path) -> None:
    few = tuple(f"spindle {'a' * number}" for number in range(1, 90))
    more = (*few, "spindle drain cock that is far too long")
    one, two = (WhisperEngine(str(tiny_model), SpeechMaterial(terms=terms)).told for terms in (few, more))
    assert one == two


def test_a_broken_tokenizer_is_one_clear_line(tiny_model: Path, tmp_path: Path) -> None:
    broken = shutil.copytree(tiny_model, tmp_path / "broken")
    engine = WhisperEngine(str(broken))
    (broken / "tokenizer.json").write_text("{")
    with pytest.raises(EngineError, match=r"tokenizer\.json can't be read: "):
        _ = engine.told


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
    # Silence is cut out before decoding; the times must be those of the uncut recording.
    samples = np.concatenate([silence(5), speech, silence(5), speech, silence(3)])
    transcript = WhisperEngine(str(tiny_model)).transcribe(samples)
    # Both sentences are one piece; the tiny model writes its sentence once for it.
    assert tuple(word.text for word in transcript.words) == tiny_whisper.WORDS_WITHOUT_HOTWORDS
    assert 4.9 <= transcript.words[0].start < transcript.words[-1].end <= 5.5 + len(speech) / RATE


@pytest.mark.parametrize("sound", NOT_SPEECH)
@pytest.mark.parametrize("seconds", [0.01, 3, 40])
def test_no_words_where_nobody_speaks(tiny_model: Path, sound: str, seconds: float) -> None:
    # The tiny model writes its sentence over anything: only the voice detector keeps it from doing so.
    engine = WhisperEngine(str(tiny_model), SpeechMaterial(terms=("gib",)))
    samples = NOT_SPEECH[sound](seconds)
    transcript = engine.transcribe(samples)
    assert (transcript.words, transcript.left_out) == ((), ())
    assert transcript.seconds == pytest.approx(len(samples) / RATE)


def test_an_empty_recording(tiny_model: Path) -> None:
    assert WhisperEngine(str(tiny_model)).transcribe(silence(0)) == Transcript(
        engine="whisper", model="tiny-test"
    )


def test_an_error_in_progress_is_the_callers_own(tiny_model: Path, speech: Samples) -> None:
    def stop(_: float) -> None:
        raise ValueError("stop")

    with pytest.raises(ValueError, match=r"^stop$"):
        WhisperEngine(str(tiny_model)).transcribe(speech, progress=stop)


# --- the same whatever came before --------------------------------------------------------------------------


@pytest.mark.parametrize("batch", [1, 4])
def test_twice_the_same(
    tiny_model: Path, speech: Samples, batch: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(whisper_load, "BATCH_ON_CPU", batch)
    engine = WhisperEngine(str(tiny_model))
    first = engine.transcribe(speech)
    engine.transcribe(np.concatenate([speech, silence(2)] * 9))  # several pieces
    assert engine.transcribe(speech) == first
    assert WhisperEngine(str(tiny_model)).transcribe(speech) == first


def test_an_engine_goes_to_another_process_before_it_has_loaded(tiny_model: Path, speech: Samples) -> None:
    engine = WhisperEngine(str(tiny_model), SpeechMaterial(terms=("gib",)))
    other = pickle.loads(pickle.dumps(engine))
    assert other.settings == engine.settings
    assert other.transcribe(speech) == engine.transcribe(speech)
    assert engine.processes is False


def test_settings_name_all_that_shapes_the_words(
    tiny_model: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import shutil

    from voicenotes.speech import whisper, whisper_decode

    usual = WhisperEngine(str(tiny_model)).settings
    assert WhisperEngine(str(tiny_model), device="cpu").settings == usual
    same = shutil.copytree(tiny_model, tmp_path / "copy")
    assert WhisperEngine(str(same)).settings == usual
    with (same / "model.bin").open("ab") as file:
        file.write(b"other weights")
    assert WhisperEngine(str(same)).settings != usual
    assert WhisperEngine(str(tiny_model), device="cuda").settings != usual
    monkeypatch.setitem(whisper_decode.OPTIONS, "beam_size", 1)
    assert WhisperEngine(str(tiny_model)).settings != usual
    monkeypatch.undo()
    monkeypatch.setattr(whisper_load, "BATCH_ON_CPU", 9)
    assert WhisperEngine(str(tiny_model)).settings != usual
    monkeypatch.undo()
    monkeypatch.setattr(whisper, "version", lambda name: "99")
    assert WhisperEngine(str(tiny_model)).settings != usual


# --- pieces -------------------------------------------------------------------------------------------------


def test_long_talk_is_cut_into_pieces(tiny_model: Path, speech: Samples) -> None:
    samples = np.concatenate([speech, silence(0.2)] * 25)  # over a minute without a pause
    done: list[float] = []
    transcript = WhisperEngine(str(tiny_model)).transcribe(samples, progress=done.append)
    pieces = packed(samples, speech_stretches(voice_activity(samples)))
    assert len(pieces) >= 3
    assert all(piece.seconds <= LONGEST_S for piece in pieces)
    assert sum(piece.seconds for piece in pieces) == pytest.approx(transcript.seconds, abs=1.0)
    # The tiny model writes one sentence a piece, at its beginning.
    assert tuple(word.text for word in transcript.words) == tiny_whisper.WORDS_WITHOUT_HOTWORDS * len(pieces)
    firsts = [word.start for word in transcript.words if word.text == "the"]
    assert firsts == pytest.approx([piece.stretches[0].start_s for piece in pieces], abs=0.6)
    assert done == sorted(done)
    assert len(done) == len(pieces) + 1
    assert done[-1] == pytest.approx(transcript.seconds)


def test_a_piece_knows_the_recordings_times() -> None:
    samples = np.zeros(60 * RATE, dtype=np.float32)
    first, second, third = (Stretch(2.0, 6.0), Stretch(20.0, 25.0), Stretch(30.0, 55.0))
    one, two = packed(samples, [first, second, third])
    assert (one.stretches, two.stretches) == ((first, second), (third,))
    assert (one.seconds, two.seconds) == (9.0, 25.0)
    for inner, outer in [
        ((0.0, 1.0), (2.0, 3.0)),
        ((3.5, 4.4), (5.5, 6.0)),  # its middle lies before the cut
        ((3.9, 4.6), (20.0, 20.6)),  # and here behind it
        ((-0.5, 0.2), (2.0, 2.2)),
        ((8.5, 99.0), (24.5, 25.0)),
    ]:
        assert one.times(*inner) == pytest.approx(outer)
    assert two.times(1.0, 2.0) == (31.0, 32.0)


# --- decoding again -----------------------------------------------------------------------------------------


def good(_: dict[str, Any]) -> list[SimpleNamespace]:
    return [segment(said(SENTENCE, 0.1, 0.28))]


def test_what_is_right_is_decoded_once(tiny_model: Path, speech: Samples) -> None:
    stand_in = StandIn(good)
    assert texts(stood_in(tiny_model, stand_in), speech) == tuple(SENTENCE.split())
    [options] = stand_in.asked
    assert options["hotwords"] == "gib, spindle"
    assert options["temperature"] == [0.0]
    assert options["language"] == "en"
    assert options["condition_on_previous_text"] is False
    assert options["vad_filter"] is False
    # What faster-whisper would drop without a word is left to the guards.
    assert options["no_speech_threshold"] is None
    assert options["hallucination_silence_threshold"] is None


@pytest.mark.parametrize(
    ("bad", "name"),
    [
        ([segment(said("gib, spindle, " * 30, 0.1, 0.03))], "a loop of hotwords (issues 853, 1356)"),
        ([segment(said("it is something else", 0.1, 0.5), log_probability=-1.4)], "improbable"),
        ([segment(said("the", 0.1, 0.2))], "only the first word of a sentence (issue 485)"),
        ([], "nothing"),
    ],
)
def test_a_failure_is_decoded_again_without_hotwords(
    tiny_model: Path, speech: Samples, bad: list[SimpleNamespace], name: str
) -> None:
    stand_in = StandIn(lambda options: bad if options["hotwords"] else good(options))
    assert texts(stood_in(tiny_model, stand_in), speech) == tuple(SENTENCE.split()), name
    assert [options["hotwords"] for options in stand_in.asked] == ["gib, spindle", None]


def test_a_loop_that_stays_is_cut_down_by_the_guards(tiny_model: Path, speech: Samples) -> None:
    stand_in = StandIn(lambda _: [segment(said("the gib is loose " * 25, 0.1, 0.023))])
    transcript = stood_in(tiny_model, stand_in).transcribe(speech)
    assert len(stand_in.asked) == len(RECIPES)
    assert [
        dict(recipe.settings).items() <= asked.items()
        for recipe, asked in zip(RECIPES, stand_in.asked, strict=True)
    ]
    assert transcript.text == "the gib is loose"
    [left_out] = transcript.left_out
    assert left_out.text == " ".join(["the gib is loose"] * 24)


def test_the_best_of_bad_attempts_counts(tiny_model: Path, speech: Samples) -> None:
    attempts = iter([
        [segment(said("spindle gib " * 40, 0.1, 0.02), log_probability=-0.1)],
        [segment(said("the gib is something", 0.1, 0.55), log_probability=-1.8)],
        [segment(said("the gib is loose and", 0.1, 0.45), log_probability=-1.1)],
        [segment(said("for give is lose and", 0.1, 0.45), log_probability=-1.5)],
    ])  # fmt: skip
    assert texts(stood_in(tiny_model, StandIn(lambda _: next(attempts))), speech) == (
        "the", "gib", "is", "loose", "and",
    )  # fmt: skip


def test_without_hotwords_that_way_is_not_gone_twice(tiny_model: Path, speech: Samples) -> None:
    stand_in = StandIn(lambda _: [segment(said(SENTENCE, 0.1, 0.28), log_probability=-1.4)])
    transcript = stood_in(tiny_model, stand_in, hinted=False).transcribe(speech)
    assert len(stand_in.asked) == len(RECIPES) - 1
    assert transcript.text == SENTENCE  # improbable, but speech is heard: kept
    assert transcript.left_out == ()


def test_what_is_left_out_is_kept_in_the_transcript(tiny_model: Path, speech: Samples) -> None:
    # Issue 1356 and arXiv 2501.11378: a phrase in the pause after a sentence.
    samples = np.concatenate([speech, silence(0.45), silence(4)])
    written = [
        segment(said(SENTENCE + ".", 0.1, 0.28)),
        segment([word("Thank", 2.7, 2.75), word("you.", 2.75, 2.85)]),
    ]
    transcript = stood_in(tiny_model, StandIn(lambda _: written)).transcribe(samples)
    assert transcript.text == SENTENCE + "."
    assert [out.text for out in transcript.left_out] == ["Thank you."]
    assert Transcript.model_validate_json(transcript.model_dump_json()) == transcript


def test_a_failing_recogniser_is_one_line(tiny_model: Path, speech: Samples) -> None:
    def fail(_: dict[str, Any]) -> list[SimpleNamespace]:
        raise RuntimeError("CUDA failed\nwith error out of memory")

    with pytest.raises(
        EngineError, match=r"^Whisper model tiny-test failed: CUDA failed with error out of memory$"
    ):
        stood_in(tiny_model, StandIn(fail)).transcribe(speech)


# --- several pieces at a time -------------------------------------------------------------------------------


def test_batched_and_plain_agree(tiny_model: Path, speech: Samples, monkeypatch: pytest.MonkeyPatch) -> None:
    samples = np.concatenate([np.concatenate([speech, silence(2)]) for _ in range(6)])
    activity = voice_activity(samples)
    pieces = packed(samples, speech_stretches(activity), longest_s=4.0)
    assert len(pieces) == 6
    model = whisper_load.load_model(tiny_model, "cpu").model
    plain = list(decode(Loaded(model, "cpu", 1), pieces, "", activity, GuardLimits()))

    def alone(*_: object, **__: object) -> None:
        raise AssertionError("decoded alone, though nothing was wrong")

    monkeypatch.setattr(model, "transcribe", alone)
    batched = list(decode(Loaded(model, "cpu", 4), pieces, "", activity, GuardLimits()))
    for (piece, one), (same, other) in zip(plain, batched, strict=True):
        assert piece is same
        assert [passage.text for passage in one] == [passage.text for passage in other]
        starts = [[word.start for passage in each for word in passage.words] for each in (one, other)]
        assert len(starts[0]) == 7
        assert starts[0] == pytest.approx(starts[1], abs=0.05)


class Batched:
    """In place of faster-whisper's pipeline: each piece gets what `pieces` has for it."""

    pieces: tuple[list[SimpleNamespace], ...] = ()
    asked: tuple[dict[str, Any], ...] = ()

    def __init__(self, model: StandIn) -> None:
        pass

    def transcribe(self, samples: Samples, clip_timestamps: list[dict[str, float]], **options: Any) -> Any:
        Batched.asked += ({"clips": clip_timestamps, "seconds": len(samples) / RATE, **options},)
        found = []
        for clip, written in zip(clip_timestamps, Batched.pieces, strict=True):
            for each in written:
                at = clip["start"]
                words = [word(w.word.strip(), w.start + at, w.end + at, w.probability) for w in each.words]
                moved = segment(words, each.avg_logprob, each.no_speech_prob)
                moved.seek = int(at * 100)
                found.append(moved)
        return iter(found), None


def test_a_bad_piece_of_a_batch_is_decoded_alone(
    tiny_model: Path, speech: Samples, monkeypatch: pytest.MonkeyPatch
) -> None:
    import faster_whisper

    # Three pieces: right; only its first words (issues 485, 1179); a loop.
    long = np.concatenate([speech, speech, speech, speech, speech, speech])
    samples = np.concatenate([long, silence(15), long, silence(15), long])
    pieces = packed(samples, speech_stretches(voice_activity(samples)))
    assert len(pieces) == 3
    monkeypatch.setattr(faster_whisper, "BatchedInferencePipeline", Batched)
    talk = ["start", *everyday_words()[300:355]]  # 56 different words
    each = (pieces[0].seconds - 0.6) / len(talk)
    different = [segment(said(" ".join(talk), 0.2, each))]
    short, loop = [segment(said(SENTENCE, 0.1, 0.3))], [segment(said("it is " * 80, 0.1, 0.05))]
    monkeypatch.setattr(Batched, "pieces", (different, short, loop))
    monkeypatch.setattr(Batched, "asked", ())
    stand_in = StandIn(lambda _: different)
    transcript = stood_in(tiny_model, stand_in, batch=4).transcribe(samples)
    [asked] = Batched.asked
    starts = [0.0, pieces[0].seconds, pieces[0].seconds + pieces[1].seconds]
    assert [clip["start"] for clip in asked["clips"]] == pytest.approx(starts)
    assert asked["seconds"] == pytest.approx(sum(piece.seconds for piece in pieces))
    assert stand_in.lengths == pytest.approx([pieces[1].seconds, pieces[2].seconds])
    heard = [w.start for w in transcript.words if w.text == "start"]
    begins = [piece.stretches[0].start_s for piece in pieces]
    assert [at - heard[0] for at in heard] == pytest.approx([at - begins[0] for at in begins], abs=0.3)


# --- devices ----------------------------------------------------------------------------------------------


def test_a_gpu_that_does_not_work_is_passed_over(
    tiny_model: Path, speech: Samples, monkeypatch: pytest.MonkeyPatch
) -> None:
    import ctranslate2

    monkeypatch.setattr(ctranslate2, "get_cuda_device_count", lambda: 1)
    assert texts(WhisperEngine(str(tiny_model)), speech) == tiny_whisper.WORDS_WITHOUT_HOTWORDS


@pytest.mark.skipif(whisper_load.has_gpu(), reason="this machine has a GPU")
def test_a_gpu_that_was_asked_for_is_not_passed_over(tiny_model: Path, speech: Samples) -> None:
    with pytest.raises(EngineError, match="can't be loaded"):
        WhisperEngine(str(tiny_model), device="cuda").transcribe(speech)


def test_unknown_device(tiny_model: Path) -> None:
    with pytest.raises(EngineError, match="use one of auto, cpu, cuda"):
        WhisperEngine(str(tiny_model), device="abacus")


def test_the_cpu_computes_in_int8(tiny_model: Path) -> None:
    assert whisper_load.load_model(tiny_model, "cpu").model.model.compute_type.startswith("int8")


@pytest.mark.parametrize(("cores", "threads"), [(1, 1), (2, 2), (4, 4), (8, 4), (12, 6), (64, 8)])
def test_threads(cores: int, threads: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("OMP_NUM_THREADS", raising=False)
    monkeypatch.setattr(os, "sched_getaffinity", lambda _: set(range(cores)), raising=False)
    assert whisper_load.cpu_threads() == threads


# --- no network -------------------------------------------------------------------------------------------


def test_a_run_reaches_no_network(tiny_model: Path, speech: Samples, reached: list[str]) -> None:
    assert texts(WhisperEngine(str(tiny_model)), speech)
    assert reached == []


def test_a_missing_model_is_not_looked_for_online(bare_machine: Path, reached: list[str]) -> None:
    with pytest.raises(EngineError, match=r"not on this machine.*voicenotes fetch small") as caught:
        WhisperEngine("small")
    assert str(bare_machine / "small") in str(caught.value)
    assert models_here() == []
    assert find_model("Systran/faster-whisper-small") is None
    assert reached == []


def test_a_missing_tokenizer_is_refused_not_fetched(
    tiny_model: Path, tmp_path: Path, reached: list[str]
) -> None:
    import shutil

    folder = shutil.copytree(tiny_model, tmp_path / "no-tokenizer")
    (folder / "tokenizer.json").unlink()
    with pytest.raises(EngineError, match=r"no-tokenizer lacks tokenizer\.json"):
        WhisperEngine(str(folder))
    assert reached == []
