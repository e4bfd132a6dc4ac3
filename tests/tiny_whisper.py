"""Builds a tiny but real CTranslate2 Whisper model whose every word, time and confidence is known.

One encoder layer, one decoder layer, 64 dimensions, an English-only vocabulary of about 1,900 tokens, under
2 MB on disk. faster-whisper loads and decodes it like any other model; nothing in it is replaced or faked.
The weights are laid out by hand instead of trained:

* Each token of the chain below owns one dimension of the embedding. The output matrix maps it to the token
  that follows, so the decoder always writes the chain, whatever prompt stands before it.
* The encoder passes on a sinusoid code of each 20 ms frame. The decoder's cross-attention asks, at each
  token, for the code of the frame where the next word stands, so word alignment finds planned times.
* The decoder's self-attention looks for the token " gib" in the prompt. It writes "jib" unless it finds it:
  so a transcript shows whether hotwords have reached the decoder.
* After " turret" both " growls" and " howls" are open, so " growls" has a confidence well below 1.
"""

from __future__ import annotations

import itertools
import json
import math
from pathlib import Path

import ctranslate2.specs
import numpy as np
from numpy.typing import NDArray
from tokenizers import Tokenizer, decoders, models, pre_tokenizers

DEPTH = 64
FRAMES = 1500  # 20 ms each: the 30 s window of Whisper
POSITIONS = 448
MELS = 80
GAIN = 2.0
UNWANTED_BIAS = -6.0

START, NO_TIMES, END = "<|startoftranscript|>", "<|notimestamps|>", "<|endoftext|>"
SPECIALS = (END, START, "<|en|>", "<|translate|>", "<|transcribe|>", "<|startoflm|>", "<|startofprev|>",
            "<|nospeech|>", NO_TIMES)  # fmt: skip
FIRST_TIME, LAST_TIME = "<|0.00|>", "<|2.60|>"

# Each piece and the second at which the decoder looks for it.
PIECES = {
    "Ġthe": 0.3, "Ġjib": 0.6, "Ġis": 0.9, "Ġloose": 1.2, ",": 1.4,
    "Ġtail": 1.6, "stock": 1.8, "Ġturret": 2.1, "Ġgrowls": 2.4,
}  # fmt: skip
WORDS_WITHOUT_HOTWORDS = ("the", "jib", "is", "loose,", "tailstock", "turret", "growls")
WORDS_WITH_GIB_HINTED = ("the", "gib", "is", "loose,", "tailstock", "turret", "growls")
WORD_CENTRES = (0.3, 0.6, 0.9, 1.2, 1.7, 2.1, 2.4)
HOTWORD = "gib"

# Output weights, as parts of GAIN.
RIVAL, HINT_AFTER_THE, HINT_ANYWHERE = 0.9, 0.7, 0.6


def hot(count: int, depth: int = DEPTH) -> float:
    """The value that layer normalisation gives each of `count` ones among `depth` - `count` zeros."""
    mean = count / depth
    return (1 - mean) / math.sqrt(mean - mean * mean)


def expected_rival_confidence(hotword_seen: bool) -> float:
    """The probability of " growls" against " howls", worked out from the weights."""
    margin = GAIN * (1 - RIVAL) * hot(2 if hotword_seen else 1)
    return 1 / (1 + math.exp(-margin))


def build(folder: Path, depth: int = DEPTH, layers: int = 1) -> Path:
    """Write the model into `folder` (made if need be) and return the folder.

    A greater `depth` and more `layers` (all but the first idle) give a model that writes the same and works
    as hard as a real one: 512 and 6 are those of Whisper's base size.
    """
    folder.mkdir(parents=True, exist_ok=True)
    tokenizer = _tokenizer()
    tokenizer.save(str(folder / "tokenizer.json"))
    numbers = tokenizer.get_vocab()
    tokens = sorted(numbers, key=lambda token: numbers[token])
    tokens += [f"<|{step * 0.02:.2f}|>" for step in range(1501)]

    spec = ctranslate2.specs.WhisperSpec(layers, 1, layers, 1)
    _fill_encoder(spec.encoder, depth)
    _fill_decoder(spec.decoder, tokens, depth)
    spec.register_vocabulary(tokens)
    spec.config.suppress_ids = []
    spec.config.suppress_ids_begin = [tokens.index("Ġ"), tokens.index(END)]
    spec.config.lang_ids = []
    spec.config.alignment_heads = [(0, 0)]
    spec.validate()
    spec.save(str(folder))
    preprocessor = {"feature_size": MELS, "sampling_rate": 16000, "hop_length": 160, "chunk_length": 30}
    (folder / "preprocessor_config.json").write_text(json.dumps({**preprocessor, "n_fft": 400}))
    return folder


def _tokenizer() -> Tokenizer:
    """Byte-level BPE whose merges build each piece of the chain from its left end."""
    vocab = {byte: i for i, byte in enumerate(sorted(pre_tokenizers.ByteLevel.alphabet()))}
    merges = []
    for piece in (*PIECES, "Ġgib", "Ġhowls"):
        for cut in range(1, len(piece)):
            pair = (piece[:cut], piece[cut])
            if pair not in merges:
                merges.append(pair)
                vocab.setdefault(piece[: cut + 1], len(vocab))
    tokenizer = Tokenizer(models.BPE(vocab=vocab, merges=merges))
    tokenizer.pre_tokenizer = pre_tokenizers.ByteLevel(add_prefix_space=False)
    tokenizer.decoder = decoders.ByteLevel()
    tokenizer.add_special_tokens(list(SPECIALS))
    spoken = "".join(PIECES).replace("Ġ", " ")
    assert tokenizer.encode(spoken).tokens == list(PIECES)
    return tokenizer


def _frame_code(frames: NDArray[np.float64], depth: int) -> NDArray[np.float32]:
    """Codes, shape (len(frames), depth), whose products fall off with the distance between frames."""
    angles = np.outer(frames, np.linspace(0.002, 0.05, depth // 4) * 2 * np.pi)
    cos, sin = np.cos(angles), np.sin(angles)
    return np.concatenate([cos, sin, -cos, -sin], axis=1).astype(np.float32)


def _zeros(*shape: int) -> NDArray[np.float32]:
    return np.zeros(shape, dtype=np.float32)


def _fill_norm(norm, depth: int) -> None:  # type: ignore[no-untyped-def]
    norm.gamma = np.ones(depth, dtype=np.float32)
    norm.beta = _zeros(depth)


def _fill_linear(linear, weight: NDArray[np.float32], bias: NDArray[np.float32] | None = None) -> None:  # type: ignore[no-untyped-def]
    linear.weight = weight
    linear.bias = _zeros(weight.shape[0]) if bias is None else bias


def _fill_idle_parts(layer, depth) -> None:  # type: ignore[no-untyped-def]
    """Zero feed-forward: the layer passes on what it is given."""
    _fill_norm(layer.ffn.layer_norm, depth)
    _fill_linear(layer.ffn.linear_0, _zeros(4 * depth, depth))
    _fill_linear(layer.ffn.linear_1, _zeros(depth, 4 * depth))


def _fill_encoder(encoder, depth: int) -> None:  # type: ignore[no-untyped-def]
    encoder.conv1.weight, encoder.conv1.bias = _zeros(depth, MELS, 3), _zeros(depth)
    encoder.conv2.weight, encoder.conv2.bias = _zeros(depth, depth, 3), _zeros(depth)
    encoder.position_encodings.encodings = _frame_code(np.arange(FRAMES, dtype=np.float64), depth)
    _fill_norm(encoder.layer_norm, depth)
    for layer in encoder.layer:
        _fill_idle_parts(layer, depth)
        _fill_norm(layer.self_attention.layer_norm, depth)
        _fill_linear(layer.self_attention.linear[0], _zeros(3 * depth, depth))
        _fill_linear(layer.self_attention.linear[1], _zeros(depth, depth))


def _fill_decoder(decoder, tokens: list[str], depth: int) -> None:  # type: ignore[no-untyped-def]
    number = {token: i for i, token in enumerate(tokens)}
    # Dimension 0 says "the hotword stands in the prompt"; the rest belong to tokens.
    owners = [START, FIRST_TIME, *PIECES, "Ġgib", "Ġhowls", LAST_TIME]
    dimension = {token: 1 + i for i, token in enumerate(owners)}
    dimension[NO_TIMES] = dimension[FIRST_TIME]  # alignment starts from it in place of a time
    embeddings = _zeros(len(tokens), depth)
    for token, column in dimension.items():
        embeddings[number[token], column] = 1
    decoder.embeddings.weight = embeddings
    decoder.position_encodings.encodings = _zeros(POSITIONS, depth)
    decoder.scale_embeddings = False
    _fill_norm(decoder.layer_norm, depth)

    chain = [START, FIRST_TIME, *PIECES, LAST_TIME, END]
    follows = dict(itertools.pairwise(chain))
    follows |= {"Ġgib": follows["Ġjib"], "Ġhowls": follows["Ġgrowls"]}
    output = _zeros(len(tokens), depth)
    wanted = _zeros(len(tokens)) + np.float32(UNWANTED_BIAS)
    for token, following in follows.items():
        output[number[following], dimension[token]] = GAIN
        wanted[number[following]] = 0
    wanted[number["Ġgib"]] = wanted[number["Ġhowls"]] = 0
    output[number["Ġhowls"], dimension["Ġturret"]] = GAIN * RIVAL
    output[number["Ġgib"], dimension["Ġthe"]] = GAIN * HINT_AFTER_THE
    output[number["Ġgib"], 0] = GAIN * HINT_ANYWHERE
    _fill_linear(decoder.projection, output, wanted)

    layer = decoder.layer[0]
    _fill_idle_parts(layer, depth)
    _fill_norm(layer.self_attention.layer_norm, depth)
    look, look_bias = _zeros(3 * depth, depth), _zeros(3 * depth)
    look_bias[0] = 20.0  # the query is the same everywhere
    look[depth, dimension["Ġgib"]] = 1.0  # the key is high at the hotword alone
    look[2 * depth, dimension["Ġgib"]] = 1 / hot(1, depth)  # and its value is 1
    _fill_linear(layer.self_attention.linear[0], look, look_bias)
    _fill_linear(layer.self_attention.linear[1], np.eye(depth, dtype=np.float32))

    _fill_norm(layer.attention.layer_norm, depth)
    ask = _zeros(depth, depth)
    for token, following in follows.items():
        if following in PIECES:
            centre = np.array([PIECES[following] * 50])
            ask[:, dimension[token]] = _frame_code(centre, depth)[0] * 2 / hot(1, depth)
    keys_and_values = np.concatenate([np.eye(depth, dtype=np.float32), _zeros(depth, depth)])
    _fill_linear(layer.attention.linear[0], ask)
    _fill_linear(layer.attention.linear[1], keys_and_values)
    _fill_linear(layer.attention.linear[2], _zeros(depth, depth))

    for layer in decoder.layer[1:]:
        _fill_idle_parts(layer, depth)
        for attention in (layer.self_attention, layer.attention):
            _fill_norm(attention.layer_norm, depth)
        _fill_linear(layer.self_attention.linear[0], _zeros(3 * depth, depth))
        _fill_linear(layer.self_attention.linear[1], _zeros(depth, depth))
        _fill_linear(layer.attention.linear[0], _zeros(depth, depth))
        _fill_linear(layer.attention.linear[1], _zeros(2 * depth, depth))
        _fill_linear(layer.attention.linear[2], _zeros(depth, depth))
