"""Moonshine's English model from the package moonshine-voice, run by onnxruntime step by step.

Only the package's files are used, none of its code: an encoder that turns samples into frames of 24 ms, and a
decoder that says, for each of some unfinished texts, how likely every token is as its next one. The layout of
their inputs is that of Hugging Face's export (transformers, modeling_moonshine.py). The model: Jeffries and
others 2024, arXiv 2410.15608; the English one is under the MIT licence.
"""

from __future__ import annotations

from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, version
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any

from voicenotes.errors import EngineError

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float32]

PACKAGE, MODEL = "moonshine-voice", "tiny-en"
ENCODER, DECODER, TOKENS = "encoder_model.ort", "decoder_model_merged.ort", "tokenizer.bin"
BEGIN, END = 1, 2  # tokens
MARK = "\u2581"  # what a token that begins a word begins with


@dataclass(frozen=True)
class Network:
    """The two sessions, how the decoder's memory is named, and how each token is written."""

    encoder: Any
    decoder: Any
    own: tuple[str, ...]  # memory of the text so far: grows with each token
    shared: tuple[str, ...]  # memory of the sound
    outputs: tuple[str, ...]
    empty: tuple[int, int, int]  # the shape of one text's memory without tokens, heads first
    pieces: tuple[str, ...]  # a word's first piece begins with a space; "" for what is no text


@dataclass(frozen=True)
class Step:
    """Some unfinished texts of one sound: `logits` of their next tokens, shape (texts, tokens)."""

    logits: Floats
    own: dict[str, Floats]
    shared: dict[str, Floats]  # of one text
    frames: Floats
    mask: NDArray[np.int64]


def model_folder() -> Path | None:
    """The model's folder in the installed package; None where there is no package, or one without it."""
    spec = find_spec(PACKAGE.replace("-", "_"))
    for place in (spec.submodule_search_locations or ()) if spec else ():
        folder = Path(place) / "assets" / MODEL
        if all((folder / name).is_file() for name in (ENCODER, DECODER, TOKENS)):
            return folder
    return None


def model_stamp(folder: Path) -> str:
    """Package, version and sizes of the files: goes into the fingerprint of kept transcripts."""
    try:
        number = version(PACKAGE)
    except PackageNotFoundError:
        number = ""
    return repr((PACKAGE, number, [(folder / name).stat().st_size for name in (ENCODER, DECODER, TOKENS)]))


def load_network(folder: Path) -> Network:
    """Load the model's files; one thread, so that the same samples give the same numbers.

    Raises EngineError when they aren't what this module knows.
    """
    import onnxruntime

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = options.inter_op_num_threads = 1
    options.log_severity_level = 4
    try:
        encoder, decoder = (
            onnxruntime.InferenceSession(str(folder / name), options, providers=["CPUExecutionProvider"])
            for name in (ENCODER, DECODER)
        )
        pieces = _pieces((folder / TOKENS).read_bytes())
        shapes = {each.name: each.shape for each in decoder.get_inputs()}
        memory = [name for name in shapes if name.startswith("past_key_values.")]
        _, heads, _, width = shapes[memory[0]]
        outputs = tuple(each.name for each in decoder.get_outputs())
        tokens = decoder.get_outputs()[0].shape[-1]
    except Exception as error:  # the library's errors have no common class of their own
        raise EngineError(f"the model in {folder} can't be loaded: reinstall {PACKAGE}") from error
    if tokens != len(pieces):
        raise EngineError(
            f"the model in {folder} has {tokens} tokens and a list of {len(pieces)}: reinstall {PACKAGE}"
        )
    return Network(
        encoder=encoder,
        decoder=decoder,
        own=tuple(name for name in memory if ".decoder." in name),
        shared=tuple(name for name in memory if ".encoder." in name),
        outputs=outputs,
        empty=(int(heads), 0, int(width)),
        pieces=pieces,
    )


def first_step(network: Network, samples: Floats) -> Step:
    """The sound of mono samples (float32, 16 kHz, shape (n,), half a second at least) and no text yet."""
    import numpy as np

    given = np.ascontiguousarray(samples[None], np.float32)
    mask = np.ones(given.shape, np.int64)
    [frames] = network.encoder.run(None, {"input_values": given, "attention_mask": mask})
    nothing = np.zeros((1, *network.empty), np.float32)
    empty = dict.fromkeys((*network.own, *network.shared), nothing)
    return _ran(
        network, Step(np.empty((1, 0), np.float32), empty, empty, frames, mask), [BEGIN], is_first=True
    )


def next_step(network: Network, step: Step, texts: Sequence[int], tokens: Sequence[int]) -> Step:
    """The step in which each of `texts` (rows of `step`, any of them, also twice) has one token more."""
    own = {name: memory[list(texts)] for name, memory in step.own.items()}
    return _ran(network, Step(step.logits, own, step.shared, step.frames, step.mask), tokens)


def _ran(network: Network, step: Step, tokens: Sequence[int], is_first: bool = False) -> Step:
    import numpy as np

    count = len(tokens)
    found = dict(
        zip(
            network.outputs,
            network.decoder.run(
                None,
                {
                    "input_ids": np.array(tokens, np.int64)[:, None],
                    "encoder_hidden_states": np.repeat(step.frames, count, axis=0),
                    "encoder_attention_mask": np.repeat(step.mask, count, axis=0),
                    "use_cache_branch": np.array([not is_first]),
                    **{name: step.own[name] for name in network.own},
                    **{name: np.repeat(step.shared[name], count, axis=0) for name in network.shared},
                },
            ),
            strict=True,
        )
    )
    own = {name: found[_present(name)] for name in network.own}
    shared = {name: found[_present(name)] for name in network.shared} if is_first else step.shared
    return Step(found["logits"][:, -1], own, shared, step.frames, step.mask)


def _present(name: str) -> str:
    return name.replace("past_key_values", "present")


def _pieces(content: bytes) -> tuple[str, ...]:
    """How each token is written: the list has each one's length (7 bits a byte, lowest first) and bytes."""
    found: list[str] = []
    at = 0
    while at < len(content):
        length = content[at]
        at += 1
        if length >= 128:
            length += 128 * (content[at] - 1)
            at += 1
        found.append(_text(content[at : at + length]))
        at += length
    return tuple(found)


def _text(piece: bytes) -> str:
    try:
        return piece.decode("utf-8").replace(MARK, " ")
    except UnicodeDecodeError:  # part of a letter of another alphabet
        return ""
