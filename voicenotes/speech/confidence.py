"""How sure the embedded engine is of each word: what tells a right word from a wrong one, and by how much.

The recogniser's own posterior is a weak witness: it says how the word stands against what else was in the
lattice, not whether the truth was in it. So it is weighed together with what else is known once a stretch is
decoded, in a logistic curve. Its weights were fitted by tests/benchmarks/fit_confidence.py on words of
several synthetic voices, clean and in noise. The script prints them, and how often words of each confidence
are right in voices and texts that it did not fit on.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Sequence

LEAST_POSTERIOR = 1e-4
MOST_FRAMES = 60
SCORE_UNIT = 1024  # pocketsphinx keeps the scores of its segments divided by 2 to the power of 10


@dataclass(frozen=True)
class WordFeatures:
    """What is known of one word of the recogniser's answer; logs are natural.

    `posterior`: log of its share of the lattice; `before`, `after`: the same of the words beside it (0 at
    an edge); `stretch`: its mean over the stretch's words; `acoustic`: acoustic score a frame less the
    stretch's mean, in the recogniser's units; `language`: the language model's weighted log; `frames`: its
    length, 10 ms each; `letters`: of its spelling; `level`: acoustic score a frame of the whole stretch.
    """

    posterior: float
    before: float
    after: float
    stretch: float
    acoustic: float
    language: float
    frames: float
    letters: float
    level: float


# a constant, then a weight for each field of WordFeatures
WEIGHTS = (3.642, 0.9193, -0.02185, 0.08867, 0.6811, 0.1892, 0.02717, -0.02373, 0.2672, 0.1461)


def word_confidence(features: WordFeatures) -> float:
    """How likely the word is right, 0 to 1."""
    return logistic(WEIGHTS, values(features))


def logistic(weights: Sequence[float], values: Sequence[float]) -> float:
    """The logistic curve with these weights, the constant first: 0 to 1, to three places."""
    constant, *others = weights
    strength = constant + sum(w * x for w, x in zip(others, values, strict=True))
    return round(1.0 / (1.0 + math.exp(-max(-30.0, min(30.0, strength)))), 3)


def values(features: WordFeatures) -> tuple[float, ...]:
    """The features in the order of their weights."""
    return tuple(vars(features).values())


def is_word(text: str) -> bool:
    """Whether the recogniser means a word, not silence, noise or a mark: <sil>, [NOISE], <s>."""
    return bool(text) and (text[0].isalnum() or text[0] == "'")


def features_of(segments: Sequence[Any]) -> list[WordFeatures]:
    """The features of each of pocketsphinx's segments of one stretch, silences too."""
    frames = [max(1, int(one.end_frame) - int(one.start_frame) + 1) for one in segments]
    scores = [_log(one.ascore, 1e-300) / length for one, length in zip(segments, frames, strict=True)]
    usual = sum(scores) / max(1, len(scores))
    posteriors = [_log(one.prob, LEAST_POSTERIOR) for one in segments]
    spoken = [i for i, one in enumerate(segments) if is_word(one.word)]
    stretch = sum(posteriors[i] for i in spoken) / max(1, len(spoken))
    place = {at: order for order, at in enumerate(spoken)}
    found = []
    for i, one in enumerate(segments):
        order = place.get(i)
        before = posteriors[spoken[order - 1]] if order else 0.0
        after = posteriors[spoken[order + 1]] if order is not None and order + 1 < len(spoken) else 0.0
        found.append(
            WordFeatures(
                posterior=posteriors[i],
                before=before,
                after=after,
                stretch=stretch,
                acoustic=scores[i] - usual,
                language=SCORE_UNIT * _log(one.lscore, 1e-30),
                frames=float(min(frames[i], MOST_FRAMES)),
                letters=float(len(one.word.partition("(")[0])),
                level=usual,
            )
        )
    return found


def _log(share: float, least: float) -> float:
    return math.log(max(float(share), least))
