"""When each word of a stretch was said: pocketsphinx's acoustic model held against words that are known.

For recognisers that write words and don't say when. The words are looked up in the pack's dictionary; others
are sounded out by the pronouncing rules.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from voicenotes.errors import EngineError
from voicenotes.speech.engine import SAMPLE_RATE_HZ

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    import numpy as np
    from numpy.typing import NDArray

FRAMES_PER_SECOND = 100
Times = list[tuple[float, float]]


@dataclass(frozen=True)
class Aligner:
    """Pocketsphinx with a dictionary and no language model."""

    decoder: Any


def load_aligner(dictionary: Path) -> Aligner:
    """Raises EngineError when pocketsphinx can't load the dictionary."""
    try:
        import pocketsphinx

        config = pocketsphinx.Config(
            hmm=pocketsphinx.get_model_path("en-us/en-us"), dict=str(dictionary), lm=None, loglevel="FATAL"
        )
        return Aligner(pocketsphinx.Decoder(config))
    except ImportError as error:
        raise EngineError("pocketsphinx is not installed: pip install pocketsphinx") from error
    except (RuntimeError, ValueError, SystemExit) as error:
        raise EngineError(f"pocketsphinx can't load {dictionary}: delete its folder and try again") from error


def times_of(aligner: Aligner, samples: NDArray[np.float32], words: Sequence[str]) -> Times:
    """Start and end of each word in seconds from the first of the mono samples (float32, 16 kHz).

    `words` are in lower case, without punctuation. Where the sound can't be held against them they are
    spread over it by their letters.
    """
    seconds = samples.size / SAMPLE_RATE_HZ
    if not words:
        return []
    if not all(_is_sounded(aligner, word) for word in words):
        return _spread(words, seconds)
    found = _aligned(aligner, samples, words)
    if len(found) != len(words):
        return _spread(words, seconds)
    return [(min(start, seconds), min(end, seconds)) for start, end in found]


def _aligned(aligner: Aligner, samples: NDArray[np.float32], words: Sequence[str]) -> Times:
    from voicenotes.speech.confidence import is_word
    from voicenotes.speech.embedded import as_pcm
    from voicenotes.speech.voice_fit import FIRST_MEANS, start_afresh

    decoder = aligner.decoder
    try:
        start_afresh(decoder, 1.0, FIRST_MEANS)
        decoder.set_align_text(" ".join(words))
        decoder.start_utt()
        decoder.process_raw(as_pcm(samples), full_utt=True)
        decoder.end_utt()
        segments = list(decoder.seg() or ()) if decoder.hyp() is not None else []
    except (RuntimeError, ValueError, SystemExit):
        return []
    return [
        (segment.start_frame / FRAMES_PER_SECOND, (segment.end_frame + 1) / FRAMES_PER_SECOND)
        for segment in segments
        if is_word(segment.word)
    ]


def _is_sounded(aligner: Aligner, word: str) -> bool:
    """Whether the dictionary has the word, which is put in when it can be sounded out."""
    from voicenotes.vocabulary.pronunciation import english_sounds, in_dictionary, pronunciations

    if aligner.decoder.lookup_word(word) is not None:
        return True
    sounds = pronunciations(word, {}, in_dictionary, english_sounds())
    if not sounds:
        return False
    try:
        aligner.decoder.add_word(word, sounds[0], True)
    except (RuntimeError, ValueError):
        return False
    return True


def _spread(words: Sequence[str], seconds: float) -> Times:
    letters = [len(word) + 1 for word in words]
    edges = [0.0]
    for count in letters:
        edges.append(edges[-1] + seconds * count / sum(letters))
    return list(pairwise(edges))
