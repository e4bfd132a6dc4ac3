"""Where Whisper models are on this machine, and which is best; never uses the network."""

from __future__ import annotations

import os
from pathlib import Path
from typing import NamedTuple

from voicenotes.speech.model_file import folder_problem

MODELS_VARIABLE = "VOICENOTES_MODELS"
LARGE = ("large-v3-turbo", "turbo", "large-v3")
SMALLER = ("medium.en", "medium", "small.en", "small", "base.en", "base", "tiny.en", "tiny")
ONLY_WITH_GPU = "large-v3"


class FoundModel(NamedTuple):
    """A folder on this machine that holds a Whisper model, or what is left of one."""

    name: str
    folder: Path
    problem: str | None = None


def known_models() -> dict[str, str]:
    """The names that faster-whisper knows, each with its repository on the Hugging Face hub."""
    from faster_whisper.utils import _MODELS

    return dict(_MODELS)


def model_homes() -> tuple[Path, ...]:
    """The folders that may hold model folders, first the one to put a model into.

    `$VOICENOTES_MODELS` when it is set, then `models` in the user's data folder.
    """
    import platformdirs

    usual = platformdirs.user_data_path("voicenotes", appauthor=False) / "models"
    given = os.environ.get(MODELS_VARIABLE)
    return (Path(given).expanduser(), usual) if given else (usual,)


def find_model(name_or_folder: str | Path) -> Path | None:
    """Where a model is on this machine, or None.

    Looks at: a folder given by its path; `<name>` or `faster-whisper-<name>` in each of `model_homes()`;
    the Hugging Face cache. The first usable folder wins. When there is only an unusable one, that one is
    returned, and `folder_problem` tells what it lacks; half-finished downloads in the cache count as absent.
    """
    given = Path(name_or_folder).expanduser()
    if given.is_dir() and (is_path(name_or_folder) or (given / "model.bin").is_file()):
        return given
    if isinstance(name_or_folder, Path) or given.is_absolute() or not name_or_folder.strip():
        return None
    if name_or_folder.startswith("."):
        return None
    spellings = (name_or_folder, f"faster-whisper-{name_or_folder}")
    folders = [home / name for home in model_homes() for name in spellings if (home / name).is_dir()]
    usable = [folder for folder in folders if folder_problem(folder) is None]
    return next(iter(usable), None) or _in_hub_cache(name_or_folder) or next(iter(folders), None)


def models_here(with_gpu: bool = False) -> list[FoundModel]:
    """The usable models on this machine, better ones first; folders with names of their own come last.

    Without a GPU `large-v3` is left out, so that it is used only when asked for by name: faster-whisper's
    README gives 1 min 42 s for 13 min of audio with `small` (8 threads, int8). Scaled by parameters, `medium`
    and `large-v3-turbo` take about as long as the talk on a laptop with half that speed, `large-v3` two to
    three times as long. That is an estimate, not a measurement.
    """
    return [
        model
        for model in all_models_here()
        if model.problem is None and (with_gpu or model.name != ONLY_WITH_GPU)
    ]


def all_models_here() -> list[FoundModel]:
    """Every model folder on this machine, usable or not, in the order of `models_here`."""
    names = [*LARGE, *SMALLER]
    own = [entry for home in model_homes() if home.is_dir() for entry in home.iterdir()]
    folders = [entry.name for entry in own if entry.is_dir() and not entry.name.startswith(".")]
    names += sorted(set(known_models()) - set(names))
    ranked = {*names, "large", "large-v1", "large-v2"}
    names += sorted({name for name in folders if name.removeprefix("faster-whisper-") not in ranked})
    found: list[FoundModel] = []
    for name in names:
        folder = find_model(name)
        if folder and folder not in [model.folder for model in found]:
            found.append(FoundModel(name, folder, folder_problem(folder)))
    return found


def size_of(folder: Path) -> int:
    """The bytes that a folder's files take, links followed."""
    return sum(path.stat().st_size for path in folder.iterdir() if path.is_file())


def is_path(given: str | Path) -> bool:
    """Whether what was given can only be a path, not a model's name."""
    return isinstance(given, Path) or given.startswith((".", "~")) or "/" in given or "\\" in given


def _in_hub_cache(name: str) -> Path | None:
    """A complete snapshot in the Hugging Face cache; a half-finished download doesn't count."""
    from faster_whisper import download_model

    try:
        folder = Path(download_model(name, local_files_only=True))
    except (ValueError, OSError):  # unknown name; not in the cache
        return None
    return folder if folder_problem(folder) is None else None
