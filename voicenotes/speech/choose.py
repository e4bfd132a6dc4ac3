"""Which speech engine to use, and one line that says so."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from voicenotes.errors import EngineError
from voicenotes.speech.moonshine_model import model_folder

if TYPE_CHECKING:
    from collections.abc import Callable

    from voicenotes.speech.engine import SpeechEngine, SpeechMaterial

ENGINES = ("auto", "whisper", "moonshine", "embedded")
DEFAULT_MODEL = "small"


def choose_engine(
    name: str,
    material: SpeechMaterial,
    model: str | None = None,
    allow_download: bool = False,
    cache_dir: Path | None = None,
    progress: Callable[[str, float, float], None] | None = None,
    say: Callable[[str], None] | None = None,
) -> tuple[SpeechEngine, str]:
    """The engine, and one line for the user: which engine and model, and how to get a better one.

    "auto" takes the best Whisper model on this machine, else Moonshine where its package is installed, else
    the embedded engine; a model named with `model` is never passed over in silence. `cache_dir` is where the
    last two keep what they compile. With `allow_download` a Whisper model that is not here is fetched now,
    which `progress` (a file's name, bytes done, bytes in all) and `say` hear about; an engine itself never
    reaches out.
    Raises EngineError for an unknown engine, a model that can't be used, or a model for an engine that
    takes none.
    """
    if name not in ENGINES:
        raise EngineError(f"Unknown speech engine {name!r}: use one of {', '.join(ENGINES)}.")
    if name in ("embedded", "moonshine"):
        if model:
            raise EngineError(f"The {name} engine takes no model: drop {model!r}, or use --engine whisper.")
        make = _embedded if name == "embedded" else _moonshine
        return make(material, cache_dir), f"Speech engine: {name}."
    wanted = model or best_model_here()
    if wanted or name == "whisper" or allow_download:
        wanted = wanted or DEFAULT_MODEL
        if allow_download:
            _fetched(wanted, progress, say)
        return _whisper(wanted, material)
    name = auto_without_whisper()
    make = _embedded if name == "embedded" else _moonshine
    return make(material, cache_dir), _how_to_do_better(name)


def told_of(engine: SpeechEngine, material: SpeechMaterial) -> str:
    """A digest of what an engine is told of a pack, on which its kept transcripts depend: all the material,
    unless the engine says in `told` that it uses less of it."""
    told: str | None = getattr(engine, "told", None)
    return material.digest if told is None else told


def auto_without_whisper() -> str:
    """The engine that "auto" takes where there is no Whisper model."""
    return "embedded" if model_folder() is None else "moonshine"


def best_model_here() -> str | None:
    """The name of the Whisper model that "auto" takes, or None when there is none."""
    from voicenotes.speech.whisper_load import has_gpu
    from voicenotes.speech.whisper_models import models_here

    found = models_here(with_gpu=has_gpu())
    return found[0].name if found else None


def _whisper(model: str, material: SpeechMaterial) -> tuple[SpeechEngine, str]:
    from voicenotes.speech.whisper import WhisperEngine

    engine = WhisperEngine(model, material)
    return engine, f"Speech engine: whisper, model {engine.model}."


def _fetched(
    model: str, progress: Callable[[str, float, float], None] | None, say: Callable[[str], None] | None
) -> None:
    """Fetch a model that is not here and that the hub may have; any other is refused later."""
    from voicenotes.speech.model_fetch import fetch_model
    from voicenotes.speech.whisper_models import find_model, known_models

    if find_model(model) is None and model in (*known_models(), *known_models().values()):
        fetch_model(model, progress, say)


def _embedded(material: SpeechMaterial, cache_dir: Path | None) -> SpeechEngine:
    from voicenotes.speech.embedded import EmbeddedEngine

    return EmbeddedEngine(material, cache_dir=cache_dir)


def _moonshine(material: SpeechMaterial, cache_dir: Path | None) -> SpeechEngine:
    from voicenotes.speech.moonshine import MoonshineEngine

    return MoonshineEngine(material, cache_dir=cache_dir)


def _how_to_do_better(engine: str) -> str:
    from voicenotes.speech.whisper_models import model_homes

    return (
        f"Speech engine: {engine}, as no Whisper model is on this machine. For better transcripts put a "
        f"faster-whisper model folder into {model_homes()[0]}, or run `voicenotes fetch {DEFAULT_MODEL}` "
        "once while online."
    )
