"""The speech engines and models of this machine, as lines and as JSON."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from voicenotes.model import Frozen
from voicenotes.outputs.wording import wrapped
from voicenotes.speech.hub_offer import megabytes

if TYPE_CHECKING:
    from collections.abc import Iterator

NO_MOONSHINE = "not on this machine: pip install 'voicenotes[moonshine]' brings it"


class ModelHere(Frozen):
    """A Whisper model's folder on this machine."""

    name: str
    folder: str
    bytes_on_disk: int
    problem: str | None


class EnginesHere(Frozen):
    """What there is to transcribe with, what "auto" takes and why, and where a model can be put."""

    auto_engine: str
    auto_model: str | None
    auto_why: str
    moonshine: bool
    gpu: bool
    threads: int
    models: tuple[ModelHere, ...]
    put_models_into: str
    can_be_fetched: tuple[str, ...]


def engines_here() -> EnginesHere:
    """Look for engines and models; nothing is loaded and nothing reached."""
    from voicenotes.speech.choose import auto_without_whisper, best_model_here
    from voicenotes.speech.moonshine_model import model_folder
    from voicenotes.speech.whisper_load import cpu_threads, has_gpu
    from voicenotes.speech.whisper_models import all_models_here, known_models, model_homes, size_of

    found = all_models_here()
    best = best_model_here()
    return EnginesHere(
        auto_engine="whisper" if best else auto_without_whisper(),
        auto_model=best,
        auto_why=_why(best, [model.name for model in found if model.problem is None], len(found)),
        moonshine=model_folder() is not None,
        gpu=has_gpu(),
        threads=cpu_threads(),
        models=tuple(
            ModelHere(
                name=model.name,
                folder=str(model.folder),
                bytes_on_disk=size_of(model.folder),
                problem=model.problem,
            )
            for model in found
        ),
        put_models_into=str(model_homes()[0]),
        can_be_fetched=tuple(known_models()),
    )


def engine_lines(here: EnginesHere) -> Iterator[str]:
    """The same as lines for a person."""
    chosen = f"whisper, model {here.auto_model}" if here.auto_model else here.auto_engine
    yield f"auto takes: {chosen} ({here.auto_why})"
    yield ""
    yield "embedded  comes with voicenotes, always ready; takes no model"
    ready = "its package is here, ready; takes no model" if here.moonshine else NO_MOONSHINE
    yield f"moonshine {ready}"
    where = "on the GPU, float16" if here.gpu else f"on the CPU, int8, {here.threads} threads"
    yield f"whisper   {where}; models on this machine: {len(here.models) or 'none'}"
    for model in here.models:
        state = f"can't be used: it {model.problem}" if model.problem else "complete"
        yield f"  {model.name}  {megabytes(model.bytes_on_disk)}, {state}"
        yield f"    {_short(model.folder)}"
    yield ""
    yield f"Put a model's folder into {_short(here.put_models_into)}, or fetch one while online:"
    yield from wrapped(
        f"voicenotes fetch NAME, with one of {', '.join(here.can_be_fetched)}", "    ", first="  "
    )


def _why(best: str | None, usable: list[str], count: int) -> str:
    if best is None and usable:
        return f"{', '.join(usable)} is too slow without a GPU: name it with --model to use it"
    if best is None:
        return "no Whisper model here can be used" if count else "no Whisper model is on this machine"
    return "the only model here" if len(usable) == 1 else "the best of the models here"


def _short(folder: str) -> str:
    """A path with the home folder as ~."""
    path = Path(folder)
    home = Path.home()
    return f"~/{path.relative_to(home).as_posix()}" if path.is_relative_to(home) else folder
