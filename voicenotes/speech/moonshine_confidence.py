"""How sure the Moonshine engine is of each word: the network's likelihoods, weighed with what else is known.

As in confidence.py the weights were fitted by tests/benchmarks/fit_confidence.py (`--engine moonshine`) on
words of several synthetic voices, clean and in noise.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from voicenotes.speech.confidence import logistic

if TYPE_CHECKING:
    from collections.abc import Sequence

    from voicenotes.speech.moonshine_search import SaidWord


@dataclass(frozen=True)
class SaidFeatures:
    """What is known of one word; logs are natural.

    `network`: log of its tokens' likelihoods; `weakest`: of its least likely token; `before`, `after`: the
    first of these of the words beside it (0 at an edge); `stretch`: its mean over the stretch's words;
    `language`: the language model's log; `known`: 1 if it is of the vocabulary, else 0; `letters`: of its
    spelling.
    """

    network: float
    weakest: float
    before: float
    after: float
    stretch: float
    language: float
    known: float
    letters: float


# a constant, then a weight for each field of SaidFeatures
WEIGHTS = (2.0, 0.5, 0.5, 0.0, 0.0, 0.5, 0.0, 0.0, 0.0)


def said_confidence(features: SaidFeatures) -> float:
    """How likely the word is right, 0 to 1."""
    return logistic(WEIGHTS, tuple(vars(features).values()))


def said_features(words: Sequence[SaidWord]) -> list[SaidFeatures]:
    """The features of each word of a stretch."""
    heard = [max(word.network, -20.0) for word in words]
    mean = sum(heard) / max(1, len(heard))
    return [
        SaidFeatures(
            network=heard[place],
            weakest=word.weakest,
            before=heard[place - 1] if place else 0.0,
            after=heard[place + 1] if place + 1 < len(heard) else 0.0,
            stretch=mean,
            language=word.language,
            known=float(word.known),
            letters=float(len(word.text)),
        )
        for place, word in enumerate(words)
    ]
