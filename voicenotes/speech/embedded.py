"""The embedded engine: pocketsphinx with a model compiled from the pack, all on this machine.

The language model and the dictionary are compiled from the pack's material at first use and kept in a cache
folder named after the material's digest. Recordings are freed of noise, cut at pauses, and each stretch is
decoded alone, so memory stays bounded by the recording itself.
"""

from __future__ import annotations

import hashlib
import shutil
import tempfile
from contextlib import contextmanager
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from voicenotes.errors import EngineError
from voicenotes.model import Transcript, Word
from voicenotes.speech.confidence import WordFeatures, features_of, is_word, word_confidence
from voicenotes.speech.engine import SAMPLE_RATE_HZ, SpeechMaterial
from voicenotes.speech.voice_fit import fit_afresh, fit_to_voice, forget, start_afresh

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    import numpy as np
    from numpy.typing import NDArray

    from voicenotes.audio.pauses import Stretch

COMPILED_FORMAT = 7  # raise it when the compiled files change for the same material
SETTINGS_FORMAT = 5  # raise it when the same compiled files give other words: kept transcripts end then
FRAMES_PER_SECOND = 100
LANGUAGE_MODEL, DICTIONARY = "model.lm.bin", "words.dict"  # pocketsphinx tells the format by the name
# A strong language model drops words in noise: chosen at 10 dB, a little better without noise too.
LANGUAGE_WEIGHT, LANGUAGE_WEIGHT_AGAIN = 6.5, 7.0  # in the first and in the second pass
PAUSE_LIKELIHOOD, WORD_LIKELIHOOD = 0.02, 0.3
MOST_STATES, MOST_WORDS = 4000, 12  # active in one frame: keeps noise from slowing the search
VOICE_SAMPLE_S = 6.0
DITHER = 2.0 / 32768.0
LOUDEST_PEAK = 0.5
MOST_GAIN = 30.0


class EmbeddedEngine:
    """Pocketsphinx over the pack's own words mixed with everyday English.

    `material` comes from the pack; `cache_dir` defaults to the user's cache folder. The model is compiled
    or loaded at the first `transcribe`, which raises EngineError when that fails.
    """

    name: str = "embedded"
    model: str | None = "en-us"
    processes: bool = True

    def __init__(self, material: SpeechMaterial, cache_dir: Path | None = None) -> None:
        self._material = material
        self._cache_dir = cache_dir
        self._decoder: Any = None
        self._fit: tuple[str, float, str] | None = None  # what it is fitted to, and what was found there

    @cached_property  # asked for with every recording, and the same throughout
    def settings(self) -> str:
        """A digest of recogniser, noise filter, settings and everyday English; see SpeechEngine."""
        from importlib.metadata import version

        from voicenotes.speech.noise_net import noise_filter

        recogniser = f"pocketsphinx {version('pocketsphinx')}"
        shaping = (recogniser, noise_filter(), compiled_name(self._material), SETTINGS_FORMAT)
        return hashlib.sha256(repr(shaping).encode()).hexdigest()[:16]

    def transcribe(
        self, samples: NDArray[np.float32], progress: Callable[[float], None] | None = None
    ) -> Transcript:
        """Transcribe mono samples (float32 in -1..1, 16 kHz); see SpeechEngine."""
        words = tuple(word for word, _ in self.words_with_features(samples, progress))
        seconds = samples.size / SAMPLE_RATE_HZ
        return Transcript(words=words, engine=self.name, model=self.model, seconds=seconds)

    def transcribe_utterance(
        self, samples: NDArray[np.float32], voice: NDArray[np.float32] | None
    ) -> Transcript:
        """Transcribe one utterance with the recogniser fitted to `voice`, earlier sound of the same speaker.

        Quicker than `transcribe`, which fits itself to what it is given: the fit is kept until another
        `voice` comes. The same two give the same words, whatever was transcribed before. With None it is
        fitted to the utterance itself; without samples it is only fitted.
        """
        from voicenotes.audio.pauses import cut_at_pauses
        from voicenotes.speech.noise_net import make_ready, without_noise

        if voice is None:
            heard = self.transcribe(samples)
            make_ready()
            return heard
        if self._decoder is None:
            self._decoder = _loaded(compiled_folder(self._material, self._cache_dir))
        with _failures_told():
            factor, means = self._fitted_to(voice)
            speech = without_noise(samples)
            words: list[Word] = []
            if samples.size:
                start_afresh(self._decoder, factor, means)
                for stretch in cut_at_pauses(speech):
                    words += (word for word, _ in _decoded(self._decoder, _pcm(speech, stretch), stretch))
        make_ready()
        return Transcript(
            words=tuple(words), engine=self.name, model=self.model, seconds=samples.size / SAMPLE_RATE_HZ
        )

    def _fitted_to(self, voice: NDArray[np.float32]) -> tuple[float, str]:
        """The frequency factor that suits this sound, and the means of its features to start each from."""
        from voicenotes.audio.pauses import cut_at_pauses
        from voicenotes.speech.noise_net import without_noise

        mark = hashlib.sha256(voice.tobytes()).hexdigest()
        if self._fit is None or self._fit[0] != mark:
            speech = without_noise(voice)
            stretches = _sample_of(cut_at_pauses(speech))
            self._fit = mark, *fit_afresh(self._decoder, [_pcm(speech, stretch) for stretch in stretches])
        return self._fit[1:]

    def words_with_features(
        self, samples: NDArray[np.float32], progress: Callable[[float], None] | None = None
    ) -> list[tuple[Word, WordFeatures]]:
        """The same words, each with what its confidence was made from."""
        from voicenotes.audio.pauses import cut_at_pauses
        from voicenotes.speech.noise_net import without_noise

        if self._decoder is None:
            self._decoder = _loaded(compiled_folder(self._material, self._cache_dir))
        speech = without_noise(samples)
        stretches = cut_at_pauses(speech)
        with _failures_told():
            forget(self._decoder)
            fit_to_voice(self._decoder, [_pcm(speech, stretch) for stretch in _sample_of(stretches)])
            words: list[tuple[Word, WordFeatures]] = []
            for stretch in stretches:
                words += _decoded(self._decoder, _pcm(speech, stretch), stretch)
                if progress is not None:
                    progress(stretch.end_s)
        if progress is not None:
            progress(samples.size / SAMPLE_RATE_HZ)
        return words


def compiled_folder(material: SpeechMaterial, cache_dir: Path | None = None) -> Path:
    """The folder with the compiled `words.dict` and `model.lm.bin`, compiling them when they aren't there.

    Two processes may compile at once: each works in a folder of its own, the first to finish keeps its work.
    Raises EngineError when the material can't be compiled or the folder can't be written.
    """
    import platformdirs

    root = (cache_dir or Path(platformdirs.user_cache_dir("voicenotes"))) / "embedded"
    folder = root / compiled_name(material)
    if (folder / LANGUAGE_MODEL).is_file() and (folder / DICTIONARY).is_file():
        return folder
    try:
        root.mkdir(parents=True, exist_ok=True)
        work = Path(tempfile.mkdtemp(prefix=".compiling-", dir=root))
    except OSError as error:
        raise EngineError(f"can't write the speech cache {root}: {error.strerror}") from error
    try:
        _compile(material, work)
        _keep(work, folder)
    finally:
        shutil.rmtree(work, ignore_errors=True)
    return folder


def compiled_name(material: SpeechMaterial) -> str:
    """The cache folder's name: changes with the material, the everyday English and the format."""
    from voicenotes.speech.language_model import everyday_english
    from voicenotes.vocabulary.pronunciation import english_sounds_text

    everyday = everyday_english()
    content = hashlib.sha256(repr((COMPILED_FORMAT, everyday.sentences, everyday.words)).encode())
    content.update(repr(english_sounds_text()).encode())
    digest = material.digest or repr(
        (material.terms, material.sentences, material.talk, material.pronunciations)
    )
    content.update(digest.encode())
    return content.hexdigest()[:32]


def _compile(material: SpeechMaterial, folder: Path) -> None:
    from voicenotes.speech.dictionary_file import write_dictionary
    from voicenotes.speech.language_model import everyday_english, write_language_model
    from voicenotes.speech.lm_arpa import write_binary

    text = folder / "model.lm"
    words = write_language_model(material, everyday_english(), text)
    write_binary(text, folder / LANGUAGE_MODEL)
    text.unlink()
    write_dictionary(words, material.pronunciations, folder / DICTIONARY)


def _keep(work: Path, folder: Path) -> None:
    try:
        if folder.exists() and not (folder / DICTIONARY).is_file():
            shutil.rmtree(folder, ignore_errors=True)
        work.replace(folder)  # os.rename: atomic
    except OSError as error:
        if not (folder / DICTIONARY).is_file():  # nobody else got there first
            raise EngineError(f"can't write the speech cache {folder}: {error.strerror}") from error


def _loaded(folder: Path) -> Any:
    from voicenotes.speech.noise_net import WIENER, noise_filter

    try:
        import pocketsphinx
    except ImportError as error:
        raise EngineError("pocketsphinx is not installed: pip install pocketsphinx") from error
    try:
        config = pocketsphinx.Config(
            hmm=pocketsphinx.get_model_path("en-us/en-us"),
            lm=str(folder / LANGUAGE_MODEL),
            dict=str(folder / DICTIONARY),
            lw=LANGUAGE_WEIGHT,
            fwdflatlw=LANGUAGE_WEIGHT_AGAIN,
            silprob=PAUSE_LIKELIHOOD,
            wip=WORD_LIKELIHOOD,
            maxhmmpf=MOST_STATES,
            maxwpf=MOST_WORDS,
            loglevel="FATAL",
        )
        decoder = pocketsphinx.Decoder(config)
        # Its own filter, which the acoustic model asks for, only takes speech away after the network.
        decoder.config["remove_noise"] = noise_filter() == WIENER
        decoder.reinit_feat()
        return decoder
    except (RuntimeError, ValueError, SystemExit) as error:
        raise EngineError(f"pocketsphinx can't load {folder}: delete that folder and try again") from error


@contextmanager
def _failures_told() -> Iterator[None]:
    """Pocketsphinx's own ways of giving up, as EngineError."""
    try:
        yield
    except (RuntimeError, ValueError, KeyError, SystemExit) as error:
        raise EngineError(f"pocketsphinx failed on this recording: {error}; try another engine") from error


def _sample_of(stretches: list[Stretch]) -> list[Stretch]:
    """Stretches to fit the voice on: the longest ones first, until there is enough to go by."""
    chosen: list[Stretch] = []
    for stretch in sorted(stretches, key=lambda s: (s.start_s - s.end_s, s.start_s)):
        if sum(s.end_s - s.start_s for s in chosen) >= VOICE_SAMPLE_S:
            break
        chosen.append(stretch)
    return chosen


def _pcm(speech: NDArray[np.float32], stretch: Stretch) -> bytes:
    """One stretch as 16-bit samples."""
    return as_pcm(speech[round(stretch.start_s * SAMPLE_RATE_HZ) : round(stretch.end_s * SAMPLE_RATE_HZ)])


def _decoded(decoder: Any, pcm: bytes, stretch: Stretch) -> Iterator[tuple[Word, WordFeatures]]:
    """The words of one stretch, their times on the recording's clock."""
    decoder.start_utt()
    decoder.process_raw(pcm, full_utt=True)
    decoder.end_utt()
    segments = list(decoder.seg() or ()) if decoder.hyp() is not None else []
    for segment, features in zip(segments, features_of(segments), strict=True):
        if not is_word(segment.word):
            continue
        start = min(stretch.end_s, stretch.start_s + segment.start_frame / FRAMES_PER_SECOND)
        end = min(stretch.end_s, stretch.start_s + (segment.end_frame + 1) / FRAMES_PER_SECOND)
        yield (
            Word(
                text=segment.word.partition("(")[0].lower(),
                start=round(start, 3),
                end=round(end, 3),
                confidence=word_confidence(features),
            ),
            features,
        )


def as_pcm(samples: NDArray[np.float32]) -> bytes:
    """16-bit samples at a fair level; a trace of noise keeps digital silence from upsetting the front end."""
    import numpy as np

    peak = float(np.abs(samples).max(initial=0.0))
    gain = min(MOST_GAIN, LOUDEST_PEAK / peak) if peak > 0 else 1.0
    trace = np.random.default_rng(1).standard_normal(samples.size, dtype=np.float32) * DITHER
    return (np.clip(samples * gain + trace, -1.0, 1.0) * 32767.0).astype("<i2").tobytes()
