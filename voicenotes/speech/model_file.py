"""What a Whisper model's folder must hold, and the layout of its `model.bin`, read without the weights."""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import TYPE_CHECKING, BinaryIO

if TYPE_CHECKING:
    from pathlib import Path

SPEC = "WhisperSpec"
MOST_NAMES = 100_000
# The width of the encoder and its layers, as openai-whisper's model card lists them.
SIZES = {(384, 4): "tiny", (512, 6): "base", (768, 12): "small", (1024, 24): "medium", (1280, 32): "large"}


@dataclass(frozen=True)
class ModelFile:
    """The layout of a `model.bin`: encoder width and layers, mel bands, and the bytes that it should have."""

    width: int
    layers: int
    mel_bands: int
    bytes_told: int

    @property
    def size(self) -> str | None:
        """The usual name of a model of this width and depth: "small"; None for another one."""
        return SIZES.get((self.width, self.layers))


def folder_problem(folder: Path) -> str | None:
    """Why a folder can't be used as a Whisper model, in a few words; None when it looks complete.

    Reads the first bytes of `model.bin` only; `read_model_file` looks at all of its layout.
    """
    if not (folder / "model.bin").is_file():
        return "is not a CTranslate2 Whisper model (no model.bin)"
    try:
        with (folder / "model.bin").open("rb") as file:
            _version, length = struct.unpack("<IH", file.read(6))
            spec = file.read(min(length, 64)).rstrip(b"\0")
    except (OSError, struct.error):
        return "has a model.bin that can't be read"
    if spec != SPEC.encode():
        return "is not a CTranslate2 Whisper model (model.bin holds something else)"
    if not (folder / "tokenizer.json").is_file():
        return "lacks tokenizer.json (it is not fetched: copy it from where the model came from)"
    if not any(folder.glob("vocabulary.*")):
        return "lacks vocabulary.json"
    return None


def read_model_file(path: Path) -> ModelFile:
    """The layout of a `model.bin`, from the names and shapes in it; the weights are passed over.

    Raises ValueError, in a few words, when it is no Whisper model, breaks off, or is longer than its
    contents. Source: `ModelSpec._serialize` in ctranslate2/specs/model_spec.py, version 6 of the layout.
    """
    length = path.stat().st_size
    shapes: dict[str, tuple[int, ...]] = {}
    with path.open("rb") as file:
        try:
            version = _number(file, "<I")
            if not 2 <= version <= 100:
                raise ValueError("holds something else than a CTranslate2 model")
            if _text(file) != SPEC:
                raise ValueError("is not a Whisper model")
            _revision, count = _number(file, "<I"), _number(file, "<I")
            for _ in range(_checked(count)):
                name = _text(file)
                shapes[name] = tuple(_number(file, "<I") for _ in range(_number(file, "<B")))
                if version >= 4:
                    _type, size = _number(file, "<B"), _number(file, "<I")
                else:
                    raise ValueError("has an older layout: convert the model again")
                if file.seek(size, 1) > length:
                    raise ValueError(f"breaks off: has {length:,} bytes, more are missing")
            for _ in range(_checked(_number(file, "<I"))):
                _text(file), _text(file)
            told = file.tell()
        except (struct.error, UnicodeDecodeError):
            raise ValueError("breaks off, or is damaged") from None
    if told != length:
        raise ValueError(f"has {length:,} bytes where its contents have {told:,}")
    first = shapes.get("encoder/conv1/weight", ())
    layers = {name.split("/")[1] for name in shapes if name.startswith("encoder/layer_")}
    if len(first) != 3 or not layers:
        raise ValueError("lacks weights of the encoder")
    return ModelFile(first[0], len(layers - {"layer_norm"}), first[1], told)


def _number(file: BinaryIO, form: str) -> int:
    return int(struct.unpack(form, file.read(struct.calcsize(form)))[0])


def _text(file: BinaryIO) -> str:
    length = _number(file, "<H")
    content = file.read(length)
    if len(content) != length:
        raise struct.error
    return content.rstrip(b"\0").decode("utf-8")


def _checked(count: int) -> int:
    if count > MOST_NAMES:
        raise ValueError("is damaged: it claims far too many weights")
    return count
