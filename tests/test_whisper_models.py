"""Whisper models on this machine: where they are looked for, which are unusable, how one is verified."""

from __future__ import annotations

import hashlib
import json
import re
import shutil
import struct
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import tiny_whisper
from whisper_stand_ins import Samples, spoken

from voicenotes.errors import EngineError
from voicenotes.speech import whisper_models
from voicenotes.speech.model_check import check_model
from voicenotes.speech.model_file import folder_problem, read_model_file
from voicenotes.speech.whisper import WhisperEngine
from voicenotes.speech.whisper_models import all_models_here, find_model, models_here


@pytest.fixture(scope="module")
def speech() -> Samples:
    return spoken()


def texts(engine: WhisperEngine, samples: Samples) -> tuple[str, ...]:
    return tuple(word.text for word in engine.transcribe(samples).words)


# --- unusable models --------------------------------------------------------------------------------------


def break_nothing_there(folder: Path) -> None:
    shutil.rmtree(folder)
    folder.mkdir()


def break_other_model(folder: Path) -> None:
    name = b"TransformerSpec\0"
    (folder / "model.bin").write_bytes(struct.pack("<IH", 6, len(name)) + name + bytes(100))


def break_pointer(folder: Path) -> None:
    (folder / "model.bin").write_text("version https://git-lfs.github.com/spec/v1\noid sha256:0\nsize 1\n")


def break_empty(folder: Path) -> None:
    (folder / "model.bin").write_bytes(b"")


def break_vocabulary(folder: Path) -> None:
    (folder / "vocabulary.json").unlink()


@pytest.mark.parametrize(
    ("damage", "says"),
    [
        (break_nothing_there, "no model.bin"),
        (break_other_model, "not a CTranslate2 Whisper model"),
        (break_pointer, "not a CTranslate2 Whisper model"),
        (break_empty, "can't be read"),
        (break_vocabulary, "lacks vocabulary"),
    ],
)
def test_an_unusable_folder(
    tiny_model: Path, tmp_path: Path, damage: Callable[[Path], None], says: str
) -> None:
    folder = shutil.copytree(tiny_model, tmp_path / "broken")
    assert folder_problem(folder) is None
    damage(folder)
    with pytest.raises(EngineError) as caught:
        WhisperEngine(str(folder))
    assert says in str(caught.value)
    assert str(folder) in str(caught.value)
    assert "\n" not in str(caught.value)


def damage_half_the_weights(folder: Path) -> None:
    content = (folder / "model.bin").read_bytes()
    (folder / "model.bin").write_bytes(content[: len(content) // 2])


def damage_weights_are_noise(folder: Path) -> None:
    content = (folder / "model.bin").read_bytes()
    noise = np.random.default_rng(1).bytes(len(content) - 18)
    (folder / "model.bin").write_bytes(content[:18] + noise)


def damage_tokenizer(folder: Path) -> None:
    (folder / "tokenizer.json").write_text("{")


def damage_mel_bands(folder: Path) -> None:
    (folder / "preprocessor_config.json").write_text('{"feature_size": 128}')


@pytest.mark.parametrize(
    "damage", [damage_half_the_weights, damage_weights_are_noise, damage_tokenizer, damage_mel_bands]
)
def test_damage_found_only_on_loading(
    tiny_model: Path, speech: Samples, tmp_path: Path, damage: Callable[[Path], None]
) -> None:
    folder = shutil.copytree(tiny_model, tmp_path / "damaged")
    damage(folder)
    engine = WhisperEngine(str(folder))  # cheap: the weights aren't read yet
    with pytest.raises(EngineError, match=r"^Whisper model .*damaged") as caught:
        engine.transcribe(speech)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("model", "says"),
    [
        ("smal", "Unknown Whisper model 'smal': give a model folder or one of tiny.en, tiny,"),
        ("", "Unknown Whisper model"),
        ("./nowhere", "There is no Whisper model in ./nowhere"),
    ],
)
def test_a_name_that_leads_nowhere(bare_machine: Path, model: str, says: str) -> None:
    with pytest.raises(EngineError) as caught:
        WhisperEngine(model)
    assert says in str(caught.value)


# --- finding models ---------------------------------------------------------------------------------------


def put_in_hub_cache(model: Path, hub: Path, repo: str) -> Path:
    """Lay a model out as huggingface_hub's cache does (huggingface.co/docs/hub: "Understand caching")."""
    home = hub / f"models--{repo.replace('/', '--')}"
    commit = "0123456789abcdef0123456789abcdef01234567"
    (home / "refs").mkdir(parents=True)
    (home / "refs" / "main").write_text(commit)
    return Path(shutil.copytree(model, home / "snapshots" / commit))


def test_homes_in_order(tiny_model: Path, bare_machine: Path, speech: Samples) -> None:
    assert find_model("tiny.en") is None
    cached = put_in_hub_cache(tiny_model, bare_machine.parent / "hub", "Systran/faster-whisper-tiny.en")
    assert find_model("tiny.en") == cached
    assert find_model("Systran/faster-whisper-tiny.en") == cached
    engine = WhisperEngine("tiny.en")
    assert engine.model == "tiny.en"
    assert texts(engine, speech) == tiny_whisper.WORDS_WITHOUT_HOTWORDS

    users = bare_machine.parent / "user-data" / "models" / "tiny.en"
    shutil.copytree(tiny_model, users)
    assert find_model("tiny.en") == users
    named = bare_machine / "faster-whisper-tiny.en"
    shutil.copytree(tiny_model, named)
    assert find_model("tiny.en") == named
    assert find_model(users) == users
    (named / "model.bin").unlink()
    assert find_model("tiny.en") == users


def test_a_half_finished_download_is_no_model(tiny_model: Path, bare_machine: Path) -> None:
    cached = put_in_hub_cache(tiny_model, bare_machine.parent / "hub", "Systran/faster-whisper-base")
    assert [model.name for model in models_here()] == ["base"]
    (cached / "model.bin").unlink()
    assert find_model("base") is None
    assert models_here() == []


def test_a_folder_of_the_same_name_in_the_way(
    bare_machine: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "small").mkdir()
    monkeypatch.chdir(tmp_path)
    assert find_model("small") is None


def test_better_models_come_first(tiny_model: Path, bare_machine: Path) -> None:
    names = ["tiny", "faster-whisper-medium", "large-v3", "small.en", "my own", "large-v3-turbo"]
    for name in names:
        shutil.copytree(tiny_model, bare_machine / name)
    (bare_machine / "notes.txt").write_text("not a model")
    (bare_machine / "unfinished").mkdir()
    assert [model.name for model in models_here()] == [
        "large-v3-turbo",
        "medium",
        "small.en",
        "tiny",
        "my own",
    ]
    assert [model.name for model in models_here(with_gpu=True)][:3] == [
        "large-v3-turbo",
        "large-v3",
        "medium",
    ]


def test_faster_whisper_knows_the_names_we_rank() -> None:
    from faster_whisper import available_models

    assert {*whisper_models.LARGE, *whisper_models.SMALLER} <= set(available_models())


def test_the_voice_detector_is_on_this_machine() -> None:
    from faster_whisper.utils import get_assets_path

    assert list(Path(get_assets_path()).glob("silero_vad*.onnx"))


def test_half_models_are_listed_with_what_they_lack(tiny_model: Path, bare_machine: Path) -> None:
    shutil.copytree(tiny_model, bare_machine / "base")
    (bare_machine / "base" / "tokenizer.json").unlink()
    (bare_machine / ".fetching-small").mkdir()
    [found] = all_models_here()
    assert (found.name, found.folder) == ("base", bare_machine / "base")
    assert "lacks tokenizer.json" in (found.problem or "")
    assert models_here() == []


# --- verifying ----------------------------------------------------------------------------------------------


def fault(folder: Path) -> str | None:
    return check_model(str(folder))[-1].problem


def test_a_good_folder(tiny_model: Path) -> None:
    heard: list[str] = []
    checks = check_model(str(tiny_model), heard.append)
    assert [check.problem for check in checks] == [None] * 4
    assert len(heard) == 4
    assert "64 wide, 1 layers, 80 mel bands" in heard[1]


def test_the_layout_is_read_to_the_last_byte(tiny_model: Path) -> None:
    layout = read_model_file(tiny_model / "model.bin")
    assert (layout.width, layout.layers, layout.mel_bands) == (tiny_whisper.DEPTH, 1, tiny_whisper.MELS)
    assert layout.bytes_told == (tiny_model / "model.bin").stat().st_size
    assert layout.size is None


def damage_one_byte_more(folder: Path) -> None:
    with (folder / "model.bin").open("ab") as file:
        file.write(b"x")


def damage_vocabulary(folder: Path) -> None:
    (folder / "vocabulary.json").write_text("{}")


def damage_other_tokenizer(folder: Path) -> None:
    from tokenizers import Tokenizer, models

    Tokenizer(models.BPE(vocab={"a": 0}, merges=[])).save(str(folder / "tokenizer.json"))


def damage_layout_version(folder: Path) -> None:
    content = (folder / "model.bin").read_bytes()
    (folder / "model.bin").write_bytes(struct.pack("<I", 70_000) + content[4:])


@pytest.mark.parametrize(
    ("damage", "says"),
    [
        (break_nothing_there, "no model.bin"),
        (break_pointer, "not a CTranslate2 Whisper model"),
        (break_vocabulary, "lacks vocabulary"),
        (damage_half_the_weights, "breaks off"),
        (damage_weights_are_noise, "damaged|breaks off"),
        (damage_one_byte_more, "where its contents have"),
        (damage_layout_version, "something else than a CTranslate2 model"),
        (damage_tokenizer, r"tokenizer\.json can't be read"),
        (damage_other_tokenizer, "not that of a Whisper model"),
        (damage_vocabulary, "no list of tokens"),
        (damage_mel_bands, "has 128 mel bands, the model 80"),
    ],
)
def test_a_fault_is_found(
    tiny_model: Path, tmp_path: Path, damage: Callable[[Path], None], says: str
) -> None:
    folder = shutil.copytree(tiny_model, tmp_path / "faulty")
    damage(folder)
    problem = fault(folder)
    assert problem
    assert re.search(says, problem)
    assert "\n" not in problem


def test_hashes_that_were_noted_are_compared(tiny_model: Path, tmp_path: Path) -> None:
    folder = shutil.copytree(tiny_model, tmp_path / "noted")
    hashes = {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in folder.iterdir()}
    (folder / "voicenotes-model.json").write_text(json.dumps({"sha256": hashes}))
    assert len(check_model(str(folder))) == 4 + len(hashes)
    assert fault(folder) is None
    content = bytearray((folder / "model.bin").read_bytes())
    content[-40] ^= 1  # in the last weights: nothing else would show it
    (folder / "model.bin").write_bytes(content)
    assert "is not as it was fetched" in (fault(folder) or "")


def test_verifying_a_name(tiny_model: Path, bare_machine: Path) -> None:
    shutil.copytree(tiny_model, bare_machine / "base.en")
    assert check_model("base.en")[-1].problem is None
    with pytest.raises(EngineError, match="voicenotes fetch small"):
        check_model("small")
