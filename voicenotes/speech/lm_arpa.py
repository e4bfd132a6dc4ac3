"""A back-off trigram model as text in the ARPA format, and that as pocketsphinx's own."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from voicenotes.errors import EngineError

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

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


def write_binary(text: Path, binary: Path) -> None:
    """An ARPA file's model in pocketsphinx's own format, which loads in a twentieth of the time.

    Pocketsphinx tells the format by the name, which ends in ".bin". Raises EngineError when it fails, or
    when what it wrote can't be read again: a full disk it takes without a word.
    """
    try:
        from pocketsphinx import Config, LogMath, NGramModel
    except ImportError as error:
        raise EngineError("pocketsphinx is not installed: pip install pocketsphinx") from error
    config, logs = Config(lm=None, loglevel="FATAL"), LogMath()
    try:
        NGramModel(config, logs, str(text)).write(str(binary))
        NGramModel(config, logs, str(binary))
    except (RuntimeError, ValueError, SystemExit) as error:
        raise EngineError(f"can't write the language model {binary}: free some space on its disk") from error
