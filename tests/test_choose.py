"""Which engine is chosen, and what the user is told."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from voicenotes.errors import EngineError
from voicenotes.speech.choose import auto_without_whisper, choose_engine
from voicenotes.speech.engine import SpeechMaterial

MATERIAL = SpeechMaterial(
    terms=("gib", "spindle"),
    sentences=("the gib is loose", "the spindle growls"),
    pronunciations={"gib": ("JH IH B",)},
    digest="test",
)


@pytest.fixture
def models(bare_machine: Path) -> Path:
    """A machine without models; returns the folder that $VOICENOTES_MODELS names."""
    return bare_machine


def test_auto_without_a_model(models: Path, tmp_path: Path) -> None:
    engine, line = choose_engine("auto", MATERIAL, cache_dir=tmp_path / "cache")
    assert engine.name == auto_without_whisper()
    assert line.startswith(f"Speech engine: {engine.name}, as no Whisper model is on this machine.")
    assert "\n" not in line
    assert str(models) in line
    assert "`voicenotes fetch small`" in line


@pytest.mark.parametrize("name", ["auto", "whisper"])
def test_the_better_model_is_taken(models: Path, tiny_model: Path, name: str) -> None:
    shutil.copytree(tiny_model, models / "tiny.en")
    engine, line = choose_engine(name, MATERIAL)
    assert (engine.name, engine.model) == ("whisper", "tiny.en")
    assert line == "Speech engine: whisper, model tiny.en."
    shutil.copytree(tiny_model, models / "base.en")
    assert choose_engine(name, MATERIAL)[0].model == "base.en"


def test_auto_passes_over_an_unusable_model(models: Path, tiny_model: Path, tmp_path: Path) -> None:
    shutil.copytree(tiny_model, models / "small.en")
    (models / "small.en" / "tokenizer.json").unlink()
    assert choose_engine("auto", MATERIAL, cache_dir=tmp_path)[0].name == auto_without_whisper()
    shutil.copytree(tiny_model, models / "tiny")
    assert choose_engine("auto", MATERIAL)[0].model == "tiny"


def test_embedded_on_request_though_a_model_is_here(models: Path, tiny_model: Path, tmp_path: Path) -> None:
    shutil.copytree(tiny_model, models / "tiny.en")
    engine, line = choose_engine("embedded", MATERIAL, cache_dir=tmp_path)
    assert engine.name == "embedded"
    assert line == "Speech engine: embedded."


@pytest.mark.parametrize("name", ["auto", "whisper"])
def test_a_named_model_is_used(models: Path, tiny_model: Path, name: str) -> None:
    shutil.copytree(tiny_model, models / "base.en")
    engine, line = choose_engine(name, MATERIAL, model=str(tiny_model))
    assert engine.model == "tiny-test"
    assert "tiny-test" in line


@pytest.mark.parametrize("name", ["auto", "whisper"])
def test_a_named_model_is_never_passed_over(models: Path, tiny_model: Path, name: str) -> None:
    shutil.copytree(tiny_model, models / "base.en")
    with pytest.raises(EngineError, match="'medium' is not on this machine"):
        choose_engine(name, MATERIAL, model="medium")


def test_whisper_without_any_model(models: Path) -> None:
    with pytest.raises(EngineError, match="'small' is not on this machine"):
        choose_engine("whisper", MATERIAL)


@pytest.mark.parametrize("name", ["auto", "whisper"])
def test_a_download_that_is_allowed_and_fails(models: Path, name: str, reached: list[str]) -> None:
    # test_model_fetch.py has those that succeed.
    with pytest.raises(EngineError, match="The hub can't be reached for Systran/faster-whisper-small"):
        choose_engine(name, MATERIAL, allow_download=True)
    assert reached


def test_nothing_is_downloaded_that_is_here(models: Path, tiny_model: Path, reached: list[str]) -> None:
    shutil.copytree(tiny_model, models / "base.en")
    assert choose_engine("auto", MATERIAL, allow_download=True)[0].model == "base.en"
    assert choose_engine("whisper", MATERIAL, model=str(tiny_model), allow_download=True)[0].model
    with pytest.raises(EngineError, match="Unknown Whisper model 'smal'"):
        choose_engine("whisper", MATERIAL, model="smal", allow_download=True)
    assert reached == []


def test_unknown_engine() -> None:
    with pytest.raises(EngineError, match="'wisper': use one of auto, whisper, moonshine, embedded"):
        choose_engine("wisper", MATERIAL)


@pytest.mark.parametrize("name", ["embedded", "moonshine"])
def test_other_engines_take_no_model(name: str) -> None:
    with pytest.raises(EngineError, match=f"The {name} engine takes no model"):
        choose_engine(name, MATERIAL, model="small")
