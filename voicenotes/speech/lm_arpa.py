"""A back-off trigram model as text in the ARPA format."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from voicenotes.speech.lm_ngrams import NgramModel


def arpa_text(model: NgramModel, words: Sequence[str]) -> str:
    """The model in ARPA format, logarithms to base 10; `words` names the ids."""
    size, ten = model.size, 1.0 / np.log(10.0)
    names = np.array(words, dtype=object)
    h, w = model.bi_keys // size, model.bi_keys % size
    a, b, c = model.tri_keys // (size * size), model.tri_keys // size % size, model.tri_keys % size
    lines = ["\\data\\", f"ngram 1={size}", f"ngram 2={len(h)}", f"ngram 3={len(a)}", "", "\\1-grams:"]
    columns: list[tuple[Any, ...]]
    columns = list(zip(model.uni * ten, names, model.uni_backoff * ten, strict=True))
    lines += [f"{p:.4f} {x} {o:.4f}" for p, x, o in columns]
    lines += ["", "\\2-grams:"]
    columns = list(zip(model.bi * ten, names[h], names[w], model.bi_backoff * ten, strict=True))
    lines += [f"{p:.4f} {x} {y} {o:.4f}" for p, x, y, o in columns]
    lines += ["", "\\3-grams:"]
    columns = list(zip(model.tri * ten, names[a], names[b], names[c], strict=True))
    lines += [f"{p:.4f} {x} {y} {z}" for p, x, y, z in columns]
    return "\n".join([*lines, "", "\\end\\", ""])
