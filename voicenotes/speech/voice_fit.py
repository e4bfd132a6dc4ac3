"""Fits the embedded recogniser's ear to the voice in one recording.

Short and long vocal tracts shift the same vowel up or down in frequency. The recogniser's frequency axis is
stretched by a factor (vocal tract length normalisation, Lee and Rose 1996) and the factor is kept under which
a sample of the recording scores best. On four synthetic voices the score led in the direction of fewer wrong
words but went on too far, so the range is kept narrow.
"""

from __future__ import annotations

import math
from itertools import cycle
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Sequence

STEP = 0.06
SMALLEST, LARGEST = 0.88, 1.18
FIRST_MEANS = "40,3,-1"  # pocketsphinx's own
BYTES_PER_FRAME = 320  # 10 ms of 16-bit samples at 16 kHz


def fit_to_voice(decoder: Any, sample: Sequence[bytes]) -> float:
    """Set the decoder's frequency factor to suit the sample; returns the factor.

    `sample` is a few stretches of the recording as 16-bit PCM; with none the factor is 1. What the decoder
    remembers of earlier recordings is forgotten.
    """
    scores: dict[float, float] = {}
    means: dict[float, str] = {}

    def score(factor: float) -> float:
        if factor not in scores:
            _set_factor(decoder, factor)
            scores[factor] = sum(_log_score(decoder, pcm) for pcm in sample)
            means[factor] = decoder.get_cmn(True)
        return scores[factor]

    if not sample:
        _set_factor(decoder, 1.0)
        return 1.0
    best = 1.0
    for direction in (STEP, -STEP):
        while SMALLEST <= (following := round(best + direction, 2)) <= LARGEST:
            if score(following) <= score(best):
                break
            best = following
        if best != 1.0:
            break
    score(best)
    _set_factor(decoder, best)
    decoder.set_cmn(means[best])
    return best


def fit_afresh(decoder: Any, sample: Sequence[bytes]) -> tuple[float, str]:
    """The factor that suits the sample, and the means of the features there, for `start_afresh`."""
    forget(decoder)
    factor = fit_to_voice(decoder, sample)
    if not sample:
        return factor, FIRST_MEANS
    _set_factor(decoder, factor)
    for pcm in sample:
        _log_score(decoder, pcm)
    return factor, decoder.get_cmn(True)


def start_afresh(decoder: Any, factor: float, means: str) -> None:
    """Bring the decoder to this factor and these means, with nothing left of what it decoded before."""
    decoder.config["cmninit"] = means  # set_cmn alone counts only after the next utterance
    _set_factor(decoder, factor)


def forget(decoder: Any) -> None:
    """Let the next fit begin from the means that the acoustic model comes with."""
    decoder.config["cmninit"] = FIRST_MEANS


def _set_factor(decoder: Any, factor: float) -> None:
    decoder.config["warp_type"] = "inverse_linear"
    decoder.config["warp_params"] = _never_the_same_twice(factor)
    decoder.reinit_feat()


_SPELLINGS = cycle((".3f", ".4f"))


def _never_the_same_twice(factor: float) -> str:
    """The factor as text that differs from the last one.

    Pocketsphinx keeps one factor for all decoders of a process. Loading a decoder sets it to 1, and setting
    it to the same text as the time before is then passed over.
    """
    return format(factor, next(_SPELLINGS))


def _log_score(decoder: Any, pcm: bytes) -> float:
    """The acoustic log score a frame times the frames, so that longer stretches weigh more."""
    decoder.start_utt()
    decoder.process_raw(pcm, full_utt=True)
    decoder.end_utt()
    return sum(math.log(max(segment.ascore, 1e-300)) for segment in decoder.seg() or ())
