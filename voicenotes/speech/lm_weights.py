"""How well trigram models foretell a text, and the weights of their best mixture.

Weights of a linear mixture are found by expectation maximisation on text that none of the models was made
from (deleted interpolation: Jelinek and Mercer 1980, from memory): each model's new weight is the mean share
that it has in the mixture's probability of a word. Every step raises the likelihood until it stands still.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from voicenotes.speech.lm_ngrams import bigram_logs, trigram_logs

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from voicenotes.speech.lm_ngrams import NgramModel

    Floats = NDArray[np.float64]

MOST_STEPS = 200
STANDS_STILL = 1e-5


def word_logs(model: NgramModel, sentences: Sequence[Sequence[int]], start: int, end: int) -> Floats:
    """Natural log P of every word and every end mark of the sentences, in order.

    A word whose id is negative is not in the vocabulary: it gets no probability of its own, and words
    behind it are foretold without it.
    """
    size = model.size
    keys3: list[int] = []
    keys2: list[int] = []
    keys1: list[int] = []
    order: list[tuple[int, int]] = []  # which list, and where in it
    for sentence in sentences:
        marked = [start, *sentence, end]
        for at in range(1, len(marked)):
            word, before = marked[at], marked[max(0, at - 2) : at]
            if word < 0:
                continue
            if len(before) == 2 and min(before) >= 0:
                order.append((2, len(keys3)))
                keys3.append((before[0] * size + before[1]) * size + word)
            elif before[-1] >= 0:
                order.append((1, len(keys2)))
                keys2.append(before[-1] * size + word)
            else:
                order.append((0, len(keys1)))
                keys1.append(word)
    found = (
        model.uni[np.array(keys1, dtype=np.int64)],
        bigram_logs(model, np.array(keys2, dtype=np.int64)),
        trigram_logs(model, np.array(keys3, dtype=np.int64)),
    )
    return np.array([found[which][at] for which, at in order])


def perplexity(logs: Floats) -> float:
    """exp of the mean negative log probability: of how many equally likely words each one is chosen."""
    return float(np.exp(-logs.mean()))


def mixture_weights(logs: Sequence[Floats]) -> tuple[float, ...]:
    """The weights under which the mixture gives the text its highest probability; they sum to 1.

    `logs` has one array a model: the natural log probability of each word of the same held-out text.
    """
    probabilities = np.exp(np.stack(logs))
    weights = np.full(len(logs), 1.0 / len(logs))
    for _ in range(MOST_STEPS):
        shares = weights[:, None] * probabilities
        following = (shares / shares.sum(axis=0)).mean(axis=1)
        moved = float(np.abs(following - weights).max())
        weights = following
        if moved < STANDS_STILL:
            break
    return tuple(float(weight) for weight in weights)
