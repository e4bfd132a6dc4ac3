"""Back-off trigram models as arrays: estimating, mixing, pruning.

A model over a vocabulary of V word ids keeps its n-grams as sorted integer keys, h*V+w for the bigram
"h w" and (g*V+h)*V+w for the trigram "g h w", with natural-log probabilities and back-off weights, so that
looking up a million n-grams is one call. The three operations are the usual ones:

- `estimate`: interpolated modified Kneser-Ney (Chen and Goodman 1998), written as a back-off model;
- `mix`: linear interpolation of probabilities over the union of the n-grams, back-off weights made anew;
- `prune`: drops n-grams that change the model little, weighed by how often their history comes up
  (after Stolcke 1998, with the change of the back-off weight left out).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

SMALLEST = 1e-12


@dataclass(frozen=True)
class NgramModel:
    """A back-off trigram model; logs are natural, keys ascending. `size` is the number of word ids."""

    size: int
    uni: Floats
    uni_backoff: Floats
    bi_keys: Ints
    bi: Floats
    bi_backoff: Floats
    tri_keys: Ints
    tri: Floats


def sorted_model(
    size: int,
    unigrams: tuple[Floats, Floats],
    bigrams: tuple[Ints, Floats, Floats],
    trigrams: tuple[Ints, Floats],
) -> NgramModel:
    """A model from unsorted n-grams given as rows of word ids (shape n x 2 and n x 3)."""
    rows2, prob2, backoff2 = bigrams
    rows3, prob3 = trigrams
    keys2, keys3 = _keys(rows2, size), _keys(rows3, size)
    order2, order3 = np.argsort(keys2), np.argsort(keys3)
    return NgramModel(
        size,
        *unigrams,
        keys2[order2],
        prob2[order2],
        backoff2[order2],
        keys3[order3],
        prob3[order3],
    )


def bigram_logs(model: NgramModel, keys: Ints) -> Floats:
    """log P(w | h) of each bigram key, by back-off where the model lacks it."""
    found, at = _find(model.bi_keys, keys)
    history, word = keys // model.size, keys % model.size
    result: Floats = model.uni_backoff[history] + model.uni[word]
    result[found] = model.bi[at[found]]
    return result


def trigram_logs(model: NgramModel, keys: Ints) -> Floats:
    """log P(w | g h) of each trigram key, by back-off where the model lacks it."""
    size = model.size
    result = bigram_logs(model, keys % (size * size))
    in_bigrams, at2 = _find(model.bi_keys, keys // size)
    result[in_bigrams] += model.bi_backoff[at2[in_bigrams]]
    found, at = _find(model.tri_keys, keys)
    result[found] = model.tri[at[found]]
    return result


def with_backoff_weights(model: NgramModel) -> NgramModel:
    """The model with the back-off weights that make the probabilities after every history sum to 1.

    Unigrams must sum to 1 already. Where a history's explicit successors claim nearly everything, they are
    scaled down so that at least a thousandth is left for the others.
    """
    size = model.size
    histories = model.bi_keys // size
    lower = np.exp(model.uni[model.bi_keys % size])
    bi, weights = _back_off(histories, np.exp(model.bi), lower)
    uni_backoff = np.zeros(size)
    uni_backoff[np.unique(histories)] = weights
    with_bigrams = replace(model, uni_backoff=uni_backoff, bi=bi)

    histories = model.tri_keys // size
    lower = np.exp(bigram_logs(with_bigrams, model.tri_keys % (size * size)))
    tri, weights = _back_off(histories, np.exp(model.tri), lower)
    bi_backoff = np.zeros(len(model.bi_keys))
    owners, at = _find(model.bi_keys, np.unique(histories))
    if not owners.all():
        raise ValueError("a trigram's history is not among the bigrams")
    bi_backoff[at] = weights
    return replace(with_bigrams, bi_backoff=bi_backoff, tri=tri)


def renormalised(model: NgramModel) -> NgramModel:
    """The model with unigrams scaled to sum to 1 and back-off weights to match."""
    total = np.log(np.exp(model.uni).sum())
    floor = np.log(SMALLEST)
    uni = np.maximum(model.uni - total, floor)
    uni -= np.log(np.exp(uni).sum())
    return with_backoff_weights(replace(model, uni=uni))


def mix(parts: Sequence[tuple[NgramModel, float]]) -> NgramModel:
    """Linear interpolation: P(w | h) is the weighted mean of the parts' own P(w | h).

    The weights must be positive and sum to 1, all parts share the vocabulary. Exact for every n-gram that
    one of the parts has; others back off.
    """
    size = parts[0][0].size
    tri_keys = np.unique(np.concatenate([model.tri_keys for model, _ in parts]))
    suffixes = tri_keys % (size * size)
    bi_keys = np.unique(np.concatenate([*(model.bi_keys for model, _ in parts), tri_keys // size, suffixes]))
    uni = sum(weight * np.exp(model.uni) for model, weight in parts)
    bi = sum(weight * np.exp(bigram_logs(model, bi_keys)) for model, weight in parts)
    tri = sum(weight * np.exp(trigram_logs(model, tri_keys)) for model, weight in parts)
    return with_backoff_weights(
        NgramModel(
            size,
            np.log(np.asarray(uni)),
            np.zeros(size),
            bi_keys,
            np.log(np.asarray(bi)),
            np.zeros(len(bi_keys)),
            tri_keys,
            np.log(np.asarray(tri)),
        )
    )


def prune(model: NgramModel, threshold: float, frequency: Floats | None = None) -> NgramModel:
    """Without the n-grams whose P(h) P(w|h) |log P(w|h) - log P(w|shorter h)| is under `threshold`.

    `frequency` has the log probability of meeting each word id, which isn't what a Kneser-Ney unigram says:
    that one counts contexts, and never foretells the start mark (Chelba and others 2010). Without it the
    model's own unigrams must do.
    """
    size = model.size
    met = model.uni if frequency is None else frequency
    history, word = model.bi_keys // size, model.bi_keys % size
    backed = model.uni_backoff[history] + model.uni[word]
    bi_joint = met[history] + model.bi
    bi_worth = np.exp(bi_joint) * np.abs(model.bi - backed)

    prefixes, at = _find(model.bi_keys, model.tri_keys // size)
    shorter = bigram_logs(model, model.tri_keys % (size * size)) + model.bi_backoff[at]
    tri_worth = np.exp(bi_joint[at] + model.tri) * np.abs(model.tri - shorter)
    keep3 = prefixes & (tri_worth >= threshold)
    tri_keys = model.tri_keys[keep3]
    keep2 = bi_worth >= threshold
    keep2 |= np.isin(model.bi_keys, np.concatenate([tri_keys // size, tri_keys % (size * size)]))
    return with_backoff_weights(
        replace(
            model,
            bi_keys=model.bi_keys[keep2],
            bi=model.bi[keep2],
            bi_backoff=model.bi_backoff[keep2],
            tri_keys=tri_keys,
            tri=model.tri[keep3],
        )
    )


def estimate(sentences: Sequence[Sequence[int]], size: int, start: int, end: int) -> NgramModel:
    """Interpolated modified Kneser-Ney over sentences of word ids (without start and end marks).

    Words never seen share what the unigram discount leaves, evenly. The start mark is never predicted.
    """
    rows = _trigram_rows(sentences, start, end)
    padded = rows[:, 0] < 0  # the first word of a sentence has no trigram
    tri_keys, tri_counts = np.unique(_keys(rows[~padded], size), return_counts=True)
    first = _keys(rows[:, 1:], size)[padded]
    # below the top: in how many different left contexts; after the start mark, plain counts
    bi_keys, bi_counts = np.unique(tri_keys % (size * size), return_counts=True)
    first_keys, first_counts = np.unique(first, return_counts=True)
    bi_keys = np.concatenate([bi_keys, first_keys])
    bi_counts = np.concatenate([bi_counts, first_counts])
    order = np.argsort(bi_keys)
    bi_keys, bi_counts = bi_keys[order], bi_counts[order]
    uni_counts = np.bincount(bi_keys % size, minlength=size).astype(np.float64)

    discount = _discounts(uni_counts[uni_counts > 0])
    lowered = np.where(uni_counts > 0, uni_counts - discount(uni_counts), 0.0)
    total = max(uni_counts.sum(), 1.0)
    uni = lowered / total
    predicted = np.ones(size, dtype=bool)
    predicted[start] = False
    uni += np.where(predicted, (1.0 - uni.sum()) / predicted.sum(), 0.0)
    uni = np.maximum(uni, SMALLEST)
    bi, _ = _interpolate(bi_keys // size, bi_counts, uni[bi_keys % size])
    at = np.searchsorted(bi_keys, tri_keys % (size * size))
    tri, _ = _interpolate(tri_keys // size, tri_counts, bi[at])
    model = NgramModel(
        size,
        np.log(uni / uni.sum()),
        np.zeros(size),
        bi_keys,
        np.log(bi),
        np.zeros(len(bi_keys)),
        tri_keys,
        np.log(tri),
    )
    return with_backoff_weights(_with_history_bigrams(model))


def _keys(rows: Ints, size: int) -> Ints:
    keys = np.zeros(len(rows), dtype=np.int64)
    for column in range(rows.shape[1]):
        keys = keys * size + rows[:, column]
    return keys


def _find(keys: Ints, wanted: Ints) -> tuple[NDArray[np.bool_], Ints]:
    """Which of `wanted` are in the ascending `keys`, and where (0 for those that aren't)."""
    if not len(keys):
        return np.zeros(len(wanted), dtype=bool), np.zeros(len(wanted), dtype=np.int64)
    at = np.minimum(np.searchsorted(keys, wanted), len(keys) - 1)
    found = keys[at] == wanted
    return found, np.where(found, at, 0)


def _back_off(histories: Ints, probs: Floats, lower: Floats) -> tuple[Floats, Floats]:
    """Log probabilities (scaled down where needed) and, per distinct history, the log back-off weight."""
    if not len(histories):
        return np.zeros(0), np.zeros(0)
    starts = np.flatnonzero(np.r_[True, histories[1:] != histories[:-1]])
    counts = np.diff(np.r_[starts, len(histories)])
    claimed = np.add.reduceat(probs, starts)
    scale = np.minimum(1.0, 0.999 / claimed)
    left = 1.0 - claimed * scale
    lower_left = np.maximum(1.0 - np.add.reduceat(lower, starts), SMALLEST)
    return np.log(probs * np.repeat(scale, counts)), np.log(left / lower_left)


def _trigram_rows(sentences: Sequence[Sequence[int]], start: int, end: int) -> Ints:
    """Rows (g, h, w) for every word and end mark; g is -1 for a sentence's first word."""
    rows = []
    for sentence in sentences:
        marked = [-1, start, *sentence, end]
        rows += [marked[i : i + 3] for i in range(len(marked) - 2)]
    return np.array(rows, dtype=np.int64).reshape(-1, 3)


def _discounts(counts: Any) -> Any:
    """The modified Kneser-Ney discount of each count, from the counts of counts.

    Falls back to 0.5, 1.0, 1.4 when the text is too small or too regular to tell them.
    """
    n = [float((counts == k).sum()) for k in range(1, 5)]
    values = np.array([0.0, 0.5, 1.0, 1.4])
    if min(n) > 0:
        y = n[0] / (n[0] + 2 * n[1])
        told = [k + 1 - (k + 2) * y * n[k + 1] / n[k] for k in range(3)]
        values[1:] = [min(max(d, 0.1 * k), 0.95 * k) for k, d in enumerate(told, start=1)]
    return lambda c: values[np.minimum(c, 3).astype(np.int64)]


def _interpolate(histories: Ints, counts: Any, lower: Floats) -> tuple[Floats, Floats]:
    """Discounted relative frequencies plus each history's left-over share times the lower order."""
    if not len(histories):
        return np.zeros(0), np.zeros(0)
    discount = _discounts(counts)(counts)
    starts = np.flatnonzero(np.r_[True, histories[1:] != histories[:-1]])
    sizes = np.diff(np.r_[starts, len(histories)])
    totals = np.add.reduceat(counts.astype(np.float64), starts)
    left = np.add.reduceat(discount, starts) / totals
    share = np.repeat(left, sizes)
    return (counts - discount) / np.repeat(totals, sizes) + share * lower, left


def _with_history_bigrams(model: NgramModel) -> NgramModel:
    """The model with a bigram for every trigram's history, at its backed-off probability."""
    missing = np.setdiff1d(model.tri_keys // model.size, model.bi_keys)
    if not len(missing):
        return model
    keys = np.concatenate([model.bi_keys, missing])
    probs = np.concatenate([model.bi, bigram_logs(with_backoff_weights(_bigrams_only(model)), missing)])
    order = np.argsort(keys)
    return replace(model, bi_keys=keys[order], bi=probs[order], bi_backoff=np.zeros(len(keys)))


def _bigrams_only(model: NgramModel) -> NgramModel:
    return replace(model, tri_keys=np.zeros(0, dtype=np.int64), tri=np.zeros(0))
