"""The embedded engine's language model: the pack's own phrases mixed with everyday English.

A technician talks trade in set phrases and everything else in ordinary English, in one breath. So three
trigram models are estimated over one vocabulary and mixed by probability:

    pack       the pack's sentences                    modified Kneser-Ney
    everyday   vocab/english/everyday.txt              modified Kneser-Ney
    general    the model that comes with pocketsphinx  cut down to the vocabulary, renormalised

The weights and the pruning threshold are first choices: a few others, tried on seventeen held-out sentences
of both kinds, came out within a word or two in a hundred (tests/benchmarks/speech.py measures).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from voicenotes.errors import EngineError
from voicenotes.vocabulary.homes import SHARED_LANGUAGE, listed_lines, vocab_home

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from voicenotes.speech.engine import SpeechMaterial
    from voicenotes.speech.lm_ngrams import NgramModel

START, END = "<s>", "</s>"
PACK_WEIGHT, EVERYDAY_WEIGHT, GENERAL_WEIGHT = 0.75, 0.15, 0.10
GENERAL_VOCABULARY = 8_000
PRUNE_THRESHOLD = 3e-8


@dataclass(frozen=True)
class EverydayEnglish:
    """Ordinary English beside the pack: sentences as words, and single words, most frequent first.

    `general` is the path of a binary trigram model of general English, or None to do without.
    """

    sentences: tuple[tuple[str, ...], ...] = ()
    words: tuple[str, ...] = ()
    general: Path | None = None


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
    from voicenotes.speech.lm_bundled import read_bundled_model
    from voicenotes.speech.lm_ngrams import estimate, mix, prune, renormalised

    pack = [tuple(line.lower().split()) for line in (*material.sentences, *material.terms)]
    pack = [sentence for sentence in pack if sentence]
    if not pack and not everyday.sentences:
        raise EngineError("the pack has no sentences to learn a language model from: add some to it")
    words = _vocabulary([*pack, *everyday.sentences], everyday.words[:GENERAL_VOCABULARY])
    ids = {word: i for i, word in enumerate(words)}
    parts = []
    if pack:
        parts.append((estimate(_numbered(pack, ids), len(words), 0, 1), PACK_WEIGHT))
    if everyday.sentences:
        parts.append((estimate(_numbered(everyday.sentences, ids), len(words), 0, 1), EVERYDAY_WEIGHT))
    if everyday.general is not None:
        parts.append((renormalised(read_bundled_model(everyday.general, ids)), GENERAL_WEIGHT))
    total = sum(weight for _, weight in parts)
    mixed = mix([(model, weight / total) for model, weight in parts])
    return LanguageModel(prune(mixed, PRUNE_THRESHOLD), words)


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
