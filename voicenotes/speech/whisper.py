"""Whisper on this machine, through faster-whisper.

Nothing here reaches the network. Only folders that already hold every file are opened; a missing
`tokenizer.json` is refused, because faster-whisper would fetch it. `model_fetch` is what fetches models, when
it is asked to. A window of samples goes this way:

    voice_activity -> speech_stretches -> packed into pieces -> decode -> guarded -> transcript
"""

from __future__ import annotations

import hashlib
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING

from voicenotes.errors import EngineError
from voicenotes.model import Transcript
from voicenotes.speech import whisper_load
from voicenotes.speech.bias import choose_hotwords
from voicenotes.speech.engine import SAMPLE_RATE_HZ, SpeechMaterial
from voicenotes.speech.guard_limits import GuardLimits
from voicenotes.speech.model_file import folder_problem
from voicenotes.speech.whisper_models import find_model, is_path, known_models, model_homes

if TYPE_CHECKING:
    from collections.abc import Callable, Sized

    import numpy as np
    from numpy.typing import NDArray

    from voicenotes.speech.passage import Passage

WAY_OF_WORKING = 1  # raise it when the same settings give other transcripts


class WhisperEngine:
    """Transcribes English with a Whisper model; satisfies `SpeechEngine`.

    The constructor is cheap: it finds the model and looks at its folder, nothing more; the engine can be
    pickled until the first `transcribe` loads the model. The same samples give the same words in any order:
    nothing is drawn at random and nothing is carried over.

    A word's confidence is its probability as faster-whisper reports it, without the hotwords: a term heard
    only thanks to them comes with a low confidence. The guards halve it where they doubt.
    """

    name = "whisper"
    processes = False  # CTranslate2 uses all cores by itself

    def __init__(
        self, model: str = "small", material: SpeechMaterial | None = None, device: str = "auto"
    ) -> None:
        """`model`: a name that faster-whisper knows, or a folder. `device`: "auto", "cpu" or "cuda".

        Raises EngineError when the model is not on this machine or its folder is unusable.
        """
        if device not in whisper_load.DEVICES:
            raise EngineError(f"Unknown device {device!r}: use one of {', '.join(whisper_load.DEVICES)}.")
        folder = find_model(model)
        if folder is None:
            raise absent(model)
        if problem := folder_problem(folder):
            raise EngineError(f"{folder} {problem}.")
        self._folder = folder
        self._terms = material.terms if material else ()
        self._device = device
        self._limits = GuardLimits()
        self._loaded: whisper_load.Loaded | None = None
        self.hotwords = ""  # the terms named to the model as likely words; filled when it is loaded
        given = Path(model).expanduser()
        self.model: str | None = given.absolute().name if given == folder else model

    @property
    def settings(self) -> str:
        """A digest of libraries, model files, device, options and guards; see SpeechEngine."""
        return settings_digest(self._folder, self._device, self._limits)

    @property
    def told(self) -> str:
        """A digest of what it is told of a pack: its hotwords alone; see `told_of` of choose.py.

        Needs the model's tokenizer, not the model. Raises EngineError when that can't be read.
        """
        from tokenizers import Tokenizer

        try:
            tokenizer = Tokenizer.from_file(str(self._folder / "tokenizer.json"))
        except Exception as error:  # the library raises nothing more special
            raise EngineError(
                f"{self._folder / 'tokenizer.json'} can't be read: {whisper_load.one_line(error)}"
            ) from error
        return hashlib.sha256(self._choose(tokenizer.encode).encode()).hexdigest()[:16]

    def _choose(self, encode: Callable[..., Sized]) -> str:
        return choose_hotwords(self._terms, lambda text: len(encode(text, add_special_tokens=False)))

    def transcribe(
        self, samples: NDArray[np.float32], progress: Callable[[float], None] | None = None
    ) -> Transcript:
        """Transcribe mono samples (float32 in -1..1, 16 kHz); words in order, none where nobody speaks.

        What was written and not said, as far as can be told, is in `left_out`. `progress` is called with
        the seconds of audio done so far. Raises EngineError.
        """
        from voicenotes.speech.guards import guarded
        from voicenotes.speech.pieces import packed
        from voicenotes.speech.voice_activity import speech_stretches, voice_activity
        from voicenotes.speech.whisper_decode import decode

        loaded = self._load()
        seconds = len(samples) / SAMPLE_RATE_HZ
        activity = voice_activity(samples)
        pieces = packed(samples, speech_stretches(activity))
        passages: list[Passage] = []
        decoded = decode(loaded, pieces, self.hotwords, activity, self._limits)
        while True:
            try:
                step = next(decoded, None)
            except (RuntimeError, ValueError, MemoryError) as error:
                raise EngineError(
                    f"Whisper model {self.model} failed: {whisper_load.one_line(error)}"
                ) from error
            if step is None:
                break
            piece, found = step
            passages += found
            if progress:
                progress(min(piece.stretches[-1].end_s, seconds))
        if progress:
            progress(seconds)
        words, left_out = guarded(passages, activity, self._limits)
        return Transcript(words=words, engine=self.name, model=self.model, seconds=seconds, left_out=left_out)

    def _load(self) -> whisper_load.Loaded:
        if self._loaded is None:
            loaded = whisper_load.load_model(self._folder, self._device)
            self.hotwords = self._choose(loaded.model.hf_tokenizer.encode)
            self._loaded = loaded
        return self._loaded


def settings_digest(folder: Path, device: str, limits: GuardLimits) -> str:
    """A short digest of all that shapes transcripts: libraries, model files, device, options, guards."""
    from voicenotes.speech.guards import guards_digest
    from voicenotes.speech.whisper_decode import OPTIONS, RECIPES, UNREAD_S

    files = sorted((path.name, path.stat().st_size) for path in folder.iterdir() if path.is_file())
    libraries = [version(name) for name in ("faster-whisper", "ctranslate2")]
    decoding = (OPTIONS, RECIPES, UNREAD_S, guards_digest(limits))
    where = whisper_load.resolved_device(device)
    batch = whisper_load.BATCH_ON_CPU if where == "cpu" else whisper_load.BATCH_ON_GPU
    content = repr((WAY_OF_WORKING, libraries, files, where, batch, decoding))
    return hashlib.sha256(content.encode()).hexdigest()[:16]


def absent(model: str) -> EngineError:
    """The error for a model that is not on this machine: what to do about it."""
    if is_path(model) and model not in known_models().values():
        return EngineError(f"There is no Whisper model in {model}: name a folder that holds one.")
    if model not in known_models() and model not in known_models().values():
        names = ", ".join(known_models())
        return EngineError(f"Unknown Whisper model {model!r}: give a model folder or one of {names}.")
    return EngineError(
        f"Whisper model {model!r} is not on this machine: put it there as {model_homes()[0] / model}, "
        f"or run `voicenotes fetch {model}` once while online."
    )
