"""Whisper on this machine, through faster-whisper.

Nothing here reaches the network while it processes. Only folders that already hold every file are opened;
a missing `tokenizer.json` is refused, because faster-whisper would fetch it. A model is downloaded only with
`allow_download=True`, and only when it is not here. The voice detector (Silero) comes in faster-whisper's
wheel.
"""

from __future__ import annotations

import os
import struct
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from voicenotes.errors import EngineError
from voicenotes.model import Transcript, Word
from voicenotes.speech.bias import choose_hotwords
from voicenotes.speech.engine import SAMPLE_RATE_HZ, SpeechMaterial

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    import numpy as np
    from numpy.typing import NDArray

MODELS_VARIABLE = "VOICENOTES_MODELS"
LARGE = ("large-v3-turbo", "turbo", "large-v3")
SMALLER = ("medium.en", "medium", "small.en", "small", "base.en", "base", "tiny.en", "tiny")
DEVICES = ("auto", "cpu", "cuda")
MIN_SILENCE_MS = 500
HALLUCINATION_SILENCE_S = 2.0
RANDOM_SEED = 1


class FoundModel(NamedTuple):
    """A usable Whisper model on this machine."""

    name: str
    folder: Path


def model_homes() -> tuple[Path, ...]:
    """The folders that may hold model folders, first the one to put a model into.

    `$VOICENOTES_MODELS` when it is set, then `models` in the user's data folder.
    """
    import platformdirs

    usual = platformdirs.user_data_path("voicenotes", appauthor=False) / "models"
    given = os.environ.get(MODELS_VARIABLE)
    return (Path(given).expanduser(), usual) if given else (usual,)


def find_model(name_or_folder: str | Path) -> Path | None:
    """Where a model is on this machine, or None; never uses the network.

    Looks at: a folder given by its path; `<name>` or `faster-whisper-<name>` in each of `model_homes()`;
    the Hugging Face cache. The first usable folder wins. When there is only an unusable one, that one is
    returned, and `folder_problem` tells what it lacks; half-finished downloads in the cache count as absent.
    """
    given = Path(name_or_folder).expanduser()
    if given.is_dir() and (_is_path(name_or_folder) or (given / "model.bin").is_file()):
        return given
    if isinstance(name_or_folder, Path) or given.is_absolute() or not name_or_folder.strip():
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
    names = [name for name in (*LARGE, *SMALLER) if with_gpu or name != "large-v3"]
    own = (entry for home in model_homes() if home.is_dir() for entry in home.iterdir())
    known = {*LARGE, *SMALLER, "large", "large-v1", "large-v2"}
    names += sorted({entry.name for entry in own if entry.name.removeprefix("faster-whisper-") not in known})
    found: list[FoundModel] = []
    for name in names:
        folder = find_model(name)
        if folder and folder_problem(folder) is None and folder not in [model.folder for model in found]:
            found.append(FoundModel(name, folder))
    return found


def folder_problem(folder: Path) -> str | None:
    """Why a folder can't be used as a Whisper model, in a few words; None when it looks complete.

    Reads the first bytes of `model.bin` only; its layout is that of CTranslate2's `ModelSpec.save`.
    """
    if not (folder / "model.bin").is_file():
        return "is not a CTranslate2 Whisper model (no model.bin)"
    try:
        with (folder / "model.bin").open("rb") as file:
            _version, length = struct.unpack("<IH", file.read(6))
            spec = file.read(min(length, 64)).rstrip(b"\0")
    except (OSError, struct.error):
        return "has a model.bin that can't be read"
    if spec != b"WhisperSpec":
        return "is not a CTranslate2 Whisper model (model.bin holds something else)"
    if not (folder / "tokenizer.json").is_file():
        return "lacks tokenizer.json (it is not fetched: copy it from where the model came from)"
    if not any(folder.glob("vocabulary.*")):
        return "lacks vocabulary.json"
    return None


class WhisperEngine:
    """Transcribes English with a Whisper model; satisfies `SpeechEngine`.

    The constructor is cheap: it finds the model and looks at its folder, nothing more. The first `transcribe`
    loads it (and downloads it, when `allow_download` is set and it is not here).

    A word's confidence is its probability as faster-whisper reports it, without the hotwords: a term heard
    only thanks to them comes with a low confidence.
    When a stretch comes out repetitive or improbable, faster-whisper tries again with random sampling; the
    seed is fixed at loading, so the same recordings in the same order in a fresh process give the same words.
    """

    name = "whisper"
    processes = False  # CTranslate2 uses all cores by itself

    def __init__(
        self,
        model: str = "small",
        material: SpeechMaterial | None = None,
        allow_download: bool = False,
        device: str = "auto",
    ) -> None:
        """`model`: a name that faster-whisper knows, or a folder. `device`: "auto", "cpu" or "cuda".

        Raises EngineError when the model is not on this machine (unless it may be downloaded) or its folder
        is unusable.
        """
        if device not in DEVICES:
            raise EngineError(f"Unknown device {device!r}: use one of {', '.join(DEVICES)}.")
        self._wanted = model
        self._terms = material.terms if material else ()
        self._device = device
        self._loaded: Any = None
        self.hotwords = ""  # the terms named to the model as likely words; filled when it is loaded
        self._folder = find_model(model)
        given = Path(model).expanduser()
        self.model: str | None = given.absolute().name if given == self._folder else model
        if self._folder:
            _refuse_unusable(self._folder)
        else:
            _refuse_absent(model, allow_download)

    @property
    def settings(self) -> str:
        """The versions and options that shape its transcripts; see SpeechEngine."""
        from importlib.metadata import version

        return f"faster-whisper {version('faster-whisper')}, ctranslate2 {version('ctranslate2')}, options 1"

    def transcribe(
        self, samples: NDArray[np.float32], progress: Callable[[float], None] | None = None
    ) -> Transcript:
        """Transcribe mono samples (float32 in -1..1, 16 kHz); words in order, none where nobody speaks.

        `progress` is called with the seconds of audio done so far. Raises EngineError.
        """
        seconds = len(samples) / SAMPLE_RATE_HZ
        self._load()
        words: list[Word] = []
        for segment in self._segments(samples) if len(samples) else ():
            words += _words(segment, seconds)
            if progress:
                progress(min(float(segment.end), seconds))
        if progress:
            progress(seconds)
        return Transcript(words=tuple(words), engine=self.name, model=self.model, seconds=seconds)

    def _segments(self, samples: NDArray[np.float32]) -> Iterator[Any]:
        import numpy as np

        try:
            segments, _info = self._loaded.transcribe(
                np.ascontiguousarray(samples, dtype=np.float32),
                language="en",
                vad_filter=True,
                vad_parameters={"min_silence_duration_ms": MIN_SILENCE_MS},
                word_timestamps=True,
                condition_on_previous_text=False,
                hallucination_silence_threshold=HALLUCINATION_SILENCE_S,
                hotwords=self.hotwords or None,
            )
            yield from segments
        except (RuntimeError, ValueError, MemoryError) as error:
            raise EngineError(f"Whisper model {self.model} failed: {_one_line(error)}") from error

    def _load(self) -> None:
        if self._loaded is not None:
            return
        if self._folder is None:
            self._folder = _download(self._wanted)
            _refuse_unusable(self._folder)
        model = _open(self._folder, self._device)
        encode = model.hf_tokenizer.encode
        self.hotwords = choose_hotwords(self._terms, lambda text: len(encode(text, add_special_tokens=False)))
        self._loaded = model


def cpu_threads() -> int:
    """Threads for the CPU: up to four, or half of what the system counts (two per core), at most eight."""
    count = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return min(count, max(4, min(8, count // 2)))


def has_gpu() -> bool:
    """Whether CTranslate2 sees a CUDA device."""
    import ctranslate2

    try:
        return bool(ctranslate2.get_cuda_device_count() > 0)
    except RuntimeError:  # a driver that CTranslate2 can't work with
        return False


def _open(folder: Path, device: str) -> Any:
    """Load the model: float16 on a GPU, int8 on the CPU; "auto" falls back when the GPU doesn't work."""
    import ctranslate2
    import numpy as np
    from faster_whisper import WhisperModel

    ctranslate2.set_random_seed(RANDOM_SEED)
    try:
        if device == "cuda" or (device == "auto" and has_gpu()):
            try:
                model = WhisperModel(str(folder), "cuda", compute_type="float16", local_files_only=True)
                # Missing CUDA libraries come to light only when something is computed.
                model.encode(np.zeros((model.feature_extractor.mel_filters.shape[0], 3000), dtype=np.float32))
                return model
            except (RuntimeError, ValueError):
                if device == "cuda":
                    raise
        options = {"compute_type": "int8", "cpu_threads": cpu_threads(), "local_files_only": True}
        return WhisperModel(str(folder), "cpu", **options)
    except Exception as error:  # tokenizers raises bare Exception for a broken tokenizer.json
        raise EngineError(f"Whisper model in {folder} can't be loaded: {_one_line(error)}") from error


def _words(segment: Any, seconds: float) -> list[Word]:
    """The words of a faster-whisper segment, their times kept within the recording."""
    words = []
    for word in segment.words or ():
        if text := word.word.strip():
            start = min(max(float(word.start), 0.0), seconds)
            end = min(max(float(word.end), start), seconds)
            confidence = min(max(float(word.probability), 0.0), 1.0)
            words.append(Word(text=text, start=start, end=end, confidence=confidence))
    return words


def _in_hub_cache(name: str) -> Path | None:
    """A complete snapshot in the Hugging Face cache; a half-finished download doesn't count."""
    from faster_whisper import download_model

    try:
        folder = Path(download_model(name, local_files_only=True))
    except (ValueError, OSError):  # unknown name; not in the cache
        return None
    return folder if folder_problem(folder) is None else None


def _download(name: str) -> Path:
    from faster_whisper import download_model

    try:
        return Path(download_model(name))
    except Exception as error:  # whatever the network, the disk or the hub's client raise
        raise EngineError(f"Whisper model {name!r} can't be downloaded: {_one_line(error)}") from error


def _is_path(given: str | Path) -> bool:
    return isinstance(given, Path) or given.startswith((".", "~")) or "/" in given or "\\" in given


def _refuse_unusable(folder: Path) -> None:
    if problem := folder_problem(folder):
        raise EngineError(f"{folder} {problem}.")


def _refuse_absent(model: str, allow_download: bool) -> None:
    from faster_whisper import available_models

    if _is_path(model):
        raise EngineError(f"There is no Whisper model in {model}: name a folder that holds one.")
    if model not in available_models():
        names = ", ".join(available_models())
        raise EngineError(f"Unknown Whisper model {model!r}: give a model folder or one of {names}.")
    if not allow_download:
        raise EngineError(
            f"Whisper model {model!r} is not on this machine: put it there as {model_homes()[0] / model}, "
            f"or run once with `--engine whisper --model {model} --download` while online."
        )


def _one_line(error: BaseException) -> str:
    return " ".join(str(error).split()) or type(error).__name__
