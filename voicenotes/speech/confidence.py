"""How sure the embedded engine is of each word."""

from __future__ import annotations

import math


def word_confidence(posterior: float, score_above_usual: float, frames: int) -> float:
    """How likely the word is right, 0 to 1.

    `posterior` is the share of the recogniser's lattice that has the word there; `score_above_usual` the
    acoustic score a frame less the stretch's mean (the recogniser's log units); `frames` its length.
    A logistic curve fitted to 879 right and wrong words of synthetic speech, clean and at 18 dB (area under
    the curve 0.82; 0.80 with the posterior alone).
    """
    strength = (
        3.2 + 0.99 * math.log(max(posterior, 1e-6)) + 0.13 * score_above_usual - 0.012 * min(frames, 60)
    )
    return round(min(1.0, max(0.0, 1.0 / (1.0 + math.exp(-strength)))), 3)
