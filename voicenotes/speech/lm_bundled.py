"""The everyday-English language model that comes with pocketsphinx, read as arrays.

Pocketsphinx can ask that model for one probability at a time but can't list its n-grams, and mixing needs
the list. The file is small (27 MB) and its layout plain: a header, 16-bit tables of probabilities and
back-off weights, unigrams as structs, then bigrams and trigrams as packed bits in a reversed trie (predicted
word first, then the word before it, then the one before that). Source of the layout: pocketsphinx,
src/lm/ngram_model_trie.c, lm_trie.c, lm_trie_quant.c. A test compares what is read here with
`NGramModel.prob`.
"""

from __future__ import annotations

import struct
from typing import TYPE_CHECKING, Any

import numpy as np

from voicenotes.errors import EngineError
from voicenotes.speech.lm_ngrams import NgramModel, sorted_model

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

MAGIC = b"Trie Language Model"
LOG_STEP = float(np.log(1.0001))  # the file keeps logarithms to base 1.0001
TABLE_SIZE = 1 << 16
UNIGRAM = np.dtype([("prob", "<f4"), ("backoff", "<f4"), ("next", "<u4")])


def bundled_model_path() -> Path:
    """The path of en-us.lm.bin inside the installed pocketsphinx; EngineError when it isn't there."""
    from pathlib import Path

    try:
        import pocketsphinx
    except ImportError as error:
        raise EngineError("pocketsphinx is not installed: pip install pocketsphinx") from error
    path = Path(pocketsphinx.get_model_path("en-us/en-us.lm.bin"))
    if not path.is_file():
        raise EngineError(f"pocketsphinx came without its English model {path}: reinstall pocketsphinx")
    return path


def read_bundled_words(path: Path) -> list[tuple[str, float]]:
    """Every word of the model with its natural-log probability, most likely first."""
    words, unigrams, *_ = _read_parts(path)
    logs = unigrams["prob"][:-1].astype(np.float64) * LOG_STEP
    order = np.argsort(-logs, kind="stable")
    return [(words[i], float(logs[i])) for i in order]


def read_bundled_model(path: Path, vocabulary: dict[str, int]) -> NgramModel:
    """The part of the model whose words are all in `vocabulary` (word -> id), with its own probabilities.

    The result isn't normalised over the smaller vocabulary: `lm_ngrams.renormalised` does that.
    Raises EngineError when the file has another layout.
    """
    words, unigrams, bigrams, trigrams = _read_parts(path)
    size = len(vocabulary)
    own_id = np.array([vocabulary.get(word, -1) for word in words], dtype=np.int64)
    log_uni = np.full(size, -np.inf)
    bow_uni = np.zeros(size)
    known = own_id >= 0
    log_uni[own_id[known]] = unigrams["prob"][:-1][known] * LOG_STEP
    bow_uni[own_id[known]] = unigrams["backoff"][:-1][known] * LOG_STEP

    # bigram i stands under the unigram whose range next[u]..next[u+1] holds i; likewise trigrams
    last = np.repeat(np.arange(len(words)), np.diff(unigrams["next"].astype(np.int64)))
    w2 = own_id[last]
    w1 = own_id[bigrams["word"]]
    keep2 = (w1 >= 0) & (w2 >= 0)
    parent = np.repeat(np.arange(len(last)), np.diff(bigrams["next"]))
    v3, v2, v1 = w2[parent], w1[parent], own_id[trigrams["word"]]
    keep3 = (v1 >= 0) & (v2 >= 0) & (v3 >= 0)
    return sorted_model(
        size,
        (log_uni, bow_uni),
        (np.stack([w1, w2], 1)[keep2], bigrams["prob"][keep2], bigrams["backoff"][keep2]),
        (np.stack([v1, v2, v3], 1)[keep3], trigrams["prob"][keep3]),
    )


def _read_parts(path: Path) -> tuple[list[str], Any, dict[str, Any], dict[str, Any]]:
    data = path.read_bytes()
    try:
        return _parse(data)
    except (ValueError, IndexError, struct.error) as error:
        raise EngineError(f"{path} isn't the trigram model this version can read: {error}") from error


def _parse(data: bytes) -> tuple[list[str], Any, dict[str, Any], dict[str, Any]]:
    if not data.startswith(MAGIC) or data[len(MAGIC)] != 3:
        raise ValueError("not a trigram trie")
    at = len(MAGIC) + 1
    n_uni, n_bi, n_tri = struct.unpack_from("<3I", data, at)
    at += 12 + 4  # the counts and the kind of quantisation
    tables = np.frombuffer(data, "<f4", 3 * TABLE_SIZE, at).astype(np.float64) * LOG_STEP
    bi_prob, bi_backoff, tri_prob = tables.reshape(3, TABLE_SIZE)
    at += 3 * TABLE_SIZE * 4
    unigrams = np.frombuffer(data, UNIGRAM, n_uni + 1, at)
    at += UNIGRAM.itemsize * (n_uni + 1)

    word_bits, next_bits = n_uni.bit_length(), n_tri.bit_length()
    width = word_bits + 32 + next_bits
    block = _block_bytes(n_bi, width)
    memory = np.frombuffer(data, np.uint8, block, at)
    at += block
    used = int(unigrams["next"][-1])  # the header's count can be a few too high
    rows = np.arange(used + 1, dtype=np.int64) * width
    bigrams = {
        "word": _bits(memory, rows[:-1], word_bits),
        "backoff": bi_backoff[_bits(memory, rows[:-1] + word_bits, 16)],
        "prob": bi_prob[_bits(memory, rows[:-1] + word_bits + 16, 16)],
        "next": _bits(memory, rows + word_bits + 32, next_bits),
    }
    width = word_bits + 16
    block = _block_bytes(n_tri, width)
    memory = np.frombuffer(data, np.uint8, block, at)
    at += block
    rows = np.arange(int(bigrams["next"][-1]), dtype=np.int64) * width
    trigrams = {
        "word": _bits(memory, rows, word_bits),
        "prob": tri_prob[_bits(memory, rows + word_bits, 16)],
    }
    (length,) = struct.unpack_from("<I", data, at)
    words = data[at + 4 : at + 4 + length].decode("utf-8").split("\0")[:n_uni]
    if len(words) != n_uni or used > n_bi or int(bigrams["next"][-1]) > n_tri:
        raise ValueError("its counts don't agree with its contents")
    return words, unigrams, bigrams, trigrams


def _block_bytes(entries: int, width: int) -> int:
    return ((1 + entries) * width + 7) // 8 + 8


def _bits(memory: NDArray[np.uint8], offsets: NDArray[np.int64], length: int) -> NDArray[np.int64]:
    """The `length` bits (at most 25) that start at each bit offset, little-endian."""
    first = offsets >> 3
    value = np.zeros(len(offsets), dtype=np.int64)
    for byte in range(4):
        value |= memory[first + byte].astype(np.int64) << (8 * byte)
    mask: int = (1 << length) - 1
    result: NDArray[np.int64] = (value >> (offsets & 7)) & mask
    return result
