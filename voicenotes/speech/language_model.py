"""The embedded engine's language model: the pack's own phrases mixed with everyday English.

A technician talks trade in set phrases and everything else in ordinary English, in one breath. So three
trigram models are estimated over one vocabulary and mixed by probability:

    pack       all sentences of the pack's material    modified Kneser-Ney
    talk       those composed as people talk, and      modified Kneser-Ney
               vocab/english/everyday.txt
    general    the model that comes with pocketsphinx  cut down to the vocabulary, renormalised

What people composed stands in two of them: in the first among many drawn sentences, which knows every term in
every carrier, in the second alone with its true counts, which Kneser-Ney's discounts need.

The weights are those under which held-out dictation is likeliest (`lm_weights.mixture_weights`); they and the
pruning threshold were chosen with tests/benchmarks/language_model.py.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from typing import TYPE_CHECKING

from voicenotes.errors import EngineError
from voicenotes.vocabulary.expand import morphology
from voicenotes.vocabulary.homes import SHARED_LANGUAGE, listed_lines, vocab_home

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    import numpy as np
    from numpy.typing import NDArray

    from voicenotes.speech.engine import SpeechMaterial
    from voicenotes.speech.lm_ngrams import NgramModel

    Floats = NDArray[np.float64]

START, END = "<s>", "</s>"
PACK_WEIGHT, TALK_WEIGHT, GENERAL_WEIGHT = 0.22, 0.69, 0.09
GENERAL_VOCABULARY = 8_000
PRUNE_THRESHOLD = 1e-8
RUN_TOGETHER = 0.3  # so many of a source's sentences again, each with another one behind it
SEED = 5
UNSEEN = 0.5  # how often a word that no sentence has is taken to have been met


@dataclass(frozen=True)
class EverydayEnglish:
    """Ordinary English beside the pack: sentences as words, and single words, most frequent first.

    `general` is the path of a binary trigram model of general English, or None to do without.
    """

    sentences: tuple[tuple[str, ...], ...] = ()
    words: tuple[str, ...] = ()
    general: Path | None = None


@dataclass(frozen=True)
class Part:
    """One of the models that are mixed: how likely each word id is to be met, its weight before scaling."""

    name: str
    model: NgramModel
    frequency: Floats
    weight: float


@dataclass(frozen=True)
class LanguageModel:
    """A trigram model and the words its ids stand for; ids 0 and 1 are <s> and </s>."""

    model: NgramModel
    words: tuple[str, ...]


def everyday_english() -> EverydayEnglish:
    """The everyday English that comes with voicenotes and with pocketsphinx; EngineError when missing."""
    from voicenotes.speech.lm_bundled import bundled_model_path

    home = vocab_home() / SHARED_LANGUAGE
    try:
        sentences = listed_lines(home / "everyday.txt")
        words = listed_lines(home / "everyday_words.txt")
    except OSError as error:
        raise EngineError(f"everyday English is missing ({error}): install voicenotes again") from error
    return EverydayEnglish(
        sentences=tuple(tuple(line.split()) for line in sentences),
        words=tuple(words),
        general=bundled_model_path(),
    )


def build_language_model(material: SpeechMaterial, everyday: EverydayEnglish) -> LanguageModel:
    """Estimate, mix and prune. Raises EngineError when there is no sentence at all to learn from."""
    parts, words = model_parts(material, everyday)
    return LanguageModel(mixed_model(parts, [part.weight for part in parts], PRUNE_THRESHOLD), words)


def model_parts(
    material: SpeechMaterial, everyday: EverydayEnglish
) -> tuple[tuple[Part, ...], tuple[str, ...]]:
    """The models to mix, over one vocabulary, and its words by id. EngineError when there is no sentence."""
    from voicenotes.speech.lm_bundled import read_bundled_model
    from voicenotes.speech.lm_ngrams import estimate, renormalised

    pack = [tuple(line.lower().split()) for line in (*material.sentences, *material.terms)]
    pack = [sentence for sentence in pack if sentence]
    if not pack and not everyday.sentences:
        raise EngineError("the pack has no sentences to learn a language model from: add some to it")
    ordinary = [_one_spelling(sentence) for sentence in everyday.sentences]
    talk = [tuple(line.lower().split()) for line in material.talk] + ordinary
    frequent = [word for word in everyday.words[:GENERAL_VOCABULARY] if _one_spelling([word]) == (word,)]
    words = _vocabulary([*pack, *talk], frequent)
    ids = {word: i for i, word in enumerate(words)}
    draw = random.Random(SEED)
    sources = (
        ("pack", [*pack, *_run_together(draw, pack, pack)], PACK_WEIGHT),
        ("talk", [*talk, *_run_together(draw, talk, talk)], TALK_WEIGHT),
    )
    parts = []
    for name, sentences, weight in sources:
        if sentences:
            numbered = _numbered(sentences, ids)
            model = estimate(numbered, len(words), 0, 1)
            parts.append(Part(name, model, _frequency(numbered, len(words)), weight))
    if everyday.general is not None:
        model = renormalised(read_bundled_model(everyday.general, ids))
        parts.append(Part("general", model, _met(model), GENERAL_WEIGHT))
    return tuple(parts), words


def _one_spelling(words: Sequence[str]) -> tuple[str, ...]:
    """The words spelt as the pack's material is: "that's" for "thats", "all right" for "alright"."""
    prefer = morphology().spelling
    return tuple(part for word in words for part in prefer.get(word, word).split())


def _run_together(
    draw: random.Random, first: Sequence[Sequence[str]], second: Sequence[Sequence[str]]
) -> list[tuple[str, ...]]:
    """Pairs of sentences said without a pause, as people in a hurry do, and as the recogniser hears them."""
    if not first or not second:
        return []
    count = round(RUN_TOGETHER * min(len(first), len(second)))
    pairs = zip(draw.choices(first, k=count), draw.choices(second, k=count), strict=True)
    return [(*one, *other) for one, other in pairs]


def mixed_model(parts: Sequence[Part], weights: Sequence[float], threshold: float) -> NgramModel:
    """The parts mixed with these weights, scaled to sum to 1, and pruned."""
    import numpy as np

    from voicenotes.speech.lm_ngrams import mix, prune

    total = sum(weights)
    shares = [weight / total for weight in weights]
    frequency = np.sum([share * part.frequency for part, share in zip(parts, shares, strict=True)], axis=0)
    mixed = mix([(part.model, share) for part, share in zip(parts, shares, strict=True)])
    return prune(mixed, threshold, np.log(frequency))


def _frequency(sentences: Sequence[Sequence[int]], size: int) -> Floats:
    """The share of each word id among the words of the sentences, their marks included."""
    import numpy as np

    spoken = np.array([word for sentence in sentences for word in (0, *sentence, 1)], dtype=np.int64)
    counts = np.bincount(spoken, minlength=size) + UNSEEN
    shares: Floats = counts / counts.sum()
    return shares


def _met(model: NgramModel) -> Floats:
    """The same from a model's unigrams; the start mark is met as often as the end mark."""
    import numpy as np

    shares = np.exp(model.uni)
    shares[0] = shares[1]
    result: Floats = shares / shares.sum()
    return result


def write_language_model(material: SpeechMaterial, everyday: EverydayEnglish, path: Path) -> tuple[str, ...]:
    """Write the mixed model to `path` in ARPA format; returns its words without <s> and </s>.

    Raises EngineError when there is nothing to learn from or the file can't be written.
    """
    from voicenotes.speech.lm_arpa import arpa_text

    built = build_language_model(material, everyday)
    try:
        path.write_text(arpa_text(built.model, built.words), encoding="utf-8")
    except OSError as error:
        raise EngineError(f"can't write the language model {path}: {error.strerror}") from error
    return built.words[2:]


def _vocabulary(sentences: Sequence[Sequence[str]], frequent: Sequence[str]) -> tuple[str, ...]:
    spoken = {word for sentence in sentences for word in sentence} | set(frequent)
    return (START, END, *sorted(spoken - {START, END}))


def _numbered(sentences: Sequence[Sequence[str]], ids: dict[str, int]) -> list[list[int]]:
    return [[ids[word] for word in sentence] for sentence in sentences]
