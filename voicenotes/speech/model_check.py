"""Verifies a Whisper model's folder: files, layout, hashes if known, tokenizer, a short decode."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from voicenotes.errors import EngineError
from voicenotes.speech.hub_offer import megabytes
from voicenotes.speech.model_fetch import MANIFEST
from voicenotes.speech.model_file import ModelFile, folder_problem, read_model_file
from voicenotes.speech.whisper import absent
from voicenotes.speech.whisper_load import load_model, one_line
from voicenotes.speech.whisper_models import find_model, size_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

DECODED_S = 1.0


@dataclass(frozen=True)
class ModelCheck:
    """One thing that was looked at: what it was, and what was found wrong with it (None: nothing)."""

    what: str
    problem: str | None = None


def check_model(name_or_folder: str, say: Callable[[str], None] | None = None) -> list[ModelCheck]:
    """Look at a model's folder from the cheapest to the dearest; the first fault ends it.

    `say` hears what is looked at before it is. Raises EngineError when there is no such folder.
    """
    given = Path(name_or_folder).expanduser()
    folder = given if given.is_dir() else find_model(name_or_folder)
    if folder is None:
        raise absent(name_or_folder)
    checks: list[ModelCheck] = []
    for check in _looks(folder):
        checks.append(check)
        if say:
            say(f"{check.what}: {check.problem or 'right'}")
        if check.problem:
            break
    return checks


def known_hashes(folder: Path) -> dict[str, str]:
    """SHA-256 of each file as it was when the model was fetched; empty where nobody noted them."""
    try:
        about = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
        return {str(name): str(digest) for name, digest in about["sha256"].items()}
    except (OSError, ValueError, KeyError, AttributeError, TypeError):
        return {}


def _looks(folder: Path) -> Iterator[ModelCheck]:
    problem = folder_problem(folder)
    yield ModelCheck("files", problem)
    try:
        layout = read_model_file(folder / "model.bin")
    except (ValueError, OSError) as error:
        yield ModelCheck("model.bin", f"{error}: copy or fetch it again")
        return
    yield ModelCheck(f"model.bin, {_described(layout)}, {megabytes(size_of(folder))} in all")
    yield ModelCheck("tokenizer and vocabulary", _tokenizer_problem(folder))
    hashes = known_hashes(folder)
    for name, digest in hashes.items():
        yield ModelCheck(f"hash of {name}", _hash_problem(folder / name, digest))
    yield ModelCheck(f"decoding {DECODED_S:g} s", _decoding_problem(folder, layout))


def _described(layout: ModelFile) -> str:
    size = f"{layout.size} size" if layout.size else "no usual size"
    return f"{size} ({layout.width} wide, {layout.layers} layers, {layout.mel_bands} mel bands)"


def _tokenizer_problem(folder: Path) -> str | None:
    from tokenizers import Tokenizer

    try:
        tokenizer = Tokenizer.from_file(str(folder / "tokenizer.json"))
    except Exception as error:  # tokenizers raises bare Exception
        return f"tokenizer.json can't be read ({one_line(error)}): copy or fetch it again"
    missing = [token for token in ("<|startoftranscript|>", "<|en|>") if tokenizer.token_to_id(token) is None]
    if missing and tokenizer.token_to_id("<|startoftranscript|>") is None:
        return f"tokenizer.json is not that of a Whisper model (it lacks {missing[0]})"
    return _vocabulary_problem(folder)


def _vocabulary_problem(folder: Path) -> str | None:
    path = folder / "vocabulary.json"
    if not path.is_file():
        return None
    try:
        tokens = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return "vocabulary.json can't be read: copy or fetch it again"
    return None if isinstance(tokens, list) and tokens else "vocabulary.json holds no list of tokens"


def _hash_problem(path: Path, digest: str) -> str | None:
    try:
        with path.open("rb") as content:
            same = hashlib.file_digest(content, "sha256").hexdigest() == digest
    except OSError as error:
        return f"{path.name} can't be read ({error.strerror})"
    return None if same else f"{path.name} is not as it was fetched: remove the folder and fetch it again"


def _decoding_problem(folder: Path, layout: ModelFile) -> str | None:
    """Decode a second of hiss; what comes out doesn't matter, that it comes does."""
    import numpy as np

    from voicenotes.model import SAMPLE_RATE_HZ
    from voicenotes.speech.whisper_decode import OPTIONS

    samples = np.random.default_rng(1).normal(0, 0.01, round(DECODED_S * SAMPLE_RATE_HZ)).astype(np.float32)
    try:
        loaded = load_model(folder)
        bands = loaded.model.feature_extractor.mel_filters.shape[0]
        if bands != layout.mel_bands:
            return f"preprocessor_config.json has {bands} mel bands, the model {layout.mel_bands}"
        segments, _info = loaded.model.transcribe(samples, **OPTIONS)
        for _ in segments:
            pass
    except EngineError as error:
        return str(error)
    except (RuntimeError, ValueError, MemoryError) as error:
        return f"it fails ({one_line(error)}): copy or fetch the model again"
    return None
