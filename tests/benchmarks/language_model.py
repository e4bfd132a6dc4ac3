"""How well the embedded engine's language model foretells dictation that it has never seen.

    python tests/benchmarks/language_model.py [--sets FILE ...] [--pack NAME]

Prints the perplexity of the sets' sentences (those with digits are left out) for each part of the mixture
and for the mixture with its weights, how many words the vocabulary lacks, the weights that expectation
maximisation would choose, and what pruning costs. The weights in voicenotes/speech/language_model.py come
from here. Read perplexity beside speech.py: a tenth less of it is about a twentieth fewer word errors.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from speech_measures import normalised
from spoken_sets import labelled_sentences

from voicenotes.speech.language_model import (
    PRUNE_THRESHOLD,
    Part,
    everyday_english,
    mixed_model,
    model_parts,
)
from voicenotes.speech.lm_weights import mixture_weights, perplexity, word_logs
from voicenotes.vocabulary.load import load_pack
from voicenotes.vocabulary.material import speech_material

Floats = NDArray[np.float64]
SETS = Path(__file__).parents[1] / "evaluation"
NOT_LOOKED_INTO = ("frozen.yaml", "unseen_speakers.yaml")
THRESHOLDS = (0.0, PRUNE_THRESHOLD, 1e-7, 1e-6)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--pack", default="cnc_lathe")
    known = sorted(path for path in SETS.glob("*.yaml") if path.name not in NOT_LOOKED_INTO)
    parser.add_argument("--sets", type=Path, nargs="+", default=known)
    options = parser.parse_args()
    parts, words = model_parts(speech_material(load_pack(options.pack)), everyday_english())
    ids = {word: i for i, word in enumerate(words)}
    said = {
        path.name: [normalised(one.say) for one in labelled_sentences(path, None)[0]] for path in options.sets
    }
    lines = [line for some in said.values() for line in some]
    lacking = Counter(word for line in lines for word in line if word not in ids)
    count = sum(map(len, lines))
    print(f"{count} words; {len(words)} in the vocabulary, which lacks {100 * lacking.total() / count:.2f} %")

    weights = [part.weight for part in parts]
    logs = {name: _logs(parts, numbered(some, ids)) for name, some in said.items()}
    every = [np.concatenate([logs[name][i] for name in logs]) for i in range(len(parts))]
    print(f"{'set':28}" + "".join(f"{part.name:>10}" for part in parts) + f"{'mixture':>10}")
    for name, found in (*logs.items(), ("all", every)):
        alone = "".join(f"{perplexity(one):10.0f}" for one in found)
        print(f"{name:28}{alone}{perplexity(_mixed(found, weights)):10.1f}")
    best = mixture_weights(every)
    print("weights in use  " + "  ".join(f"{p.name} {p.weight:.2f}" for p in parts))
    shares = "  ".join(f"{part.name} {share:.2f}" for part, share in zip(parts, best, strict=True))
    print(f"by expectation maximisation  {shares}: perplexity {perplexity(_mixed(every, best)):.1f}")
    for threshold in THRESHOLDS:
        model = mixed_model(parts, weights, threshold)
        left = perplexity(word_logs(model, numbered(lines, ids), 0, 1))
        size = f"{len(model.bi_keys)} bigrams, {len(model.tri_keys)} trigrams"
        print(f"pruned at {threshold:g}: {size}, perplexity {left:.1f}")


def numbered(lines: Sequence[Sequence[str]], ids: dict[str, int]) -> list[list[int]]:
    """The words' ids; -1 for one that the vocabulary lacks."""
    return [[ids.get(word, -1) for word in line] for line in lines]


def _logs(parts: Sequence[Part], lines: list[list[int]]) -> list[Floats]:
    return [word_logs(part.model, lines, 0, 1) for part in parts]


def _mixed(logs: Sequence[Floats], weights: Sequence[float]) -> Floats:
    total = sum(weights)
    shares = sum(weight / total * np.exp(one) for weight, one in zip(weights, logs, strict=True))
    return np.log(np.asarray(shares))


if __name__ == "__main__":
    main()
