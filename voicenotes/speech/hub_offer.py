"""What the Hugging Face hub has of a Whisper model: its files with sizes and hashes."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from voicenotes.errors import EngineError
from voicenotes.speech.whisper_load import one_line
from voicenotes.speech.whisper_models import known_models, model_homes

WANTED = ("config.json", "preprocessor_config.json", "model.bin", "tokenizer.json")
VOCABULARY = "vocabulary."
NAMES_A_HASH = 16


@dataclass(frozen=True)
class HubFile:
    """One file of a repository: its size in bytes and its hash, `sha256` or else git's `blob`."""

    name: str
    size: int
    sha256: str | None
    blob: str | None

    @property
    def part(self) -> str:
        """The name of the file while it is being fetched."""
        return f"{self.name}.{(self.sha256 or self.blob or 'unknown')[:NAMES_A_HASH]}.part"


@dataclass(frozen=True)
class Offer:
    """What the hub has of a model: repository, commit, and the files that a model needs."""

    name: str
    repository: str
    commit: str
    files: tuple[HubFile, ...]


def short_name(name: str) -> str:
    """The folder's name of a model: the known name, or the repository's last part; else EngineError."""
    repositories = {repository: short for short, repository in reversed(known_models().items())}
    if name in known_models():
        return name
    if name in repositories:
        return repositories[name]
    if name.count("/") == 1 and not name.startswith((".", "/", "~")):
        return name.rsplit("/", 1)[1]
    raise EngineError(f"Unknown Whisper model {name!r}: use one of {', '.join(known_models())}.")


def offer_of(name: str, endpoint: str | None = None) -> Offer:
    """What the hub has of a model given by its name or repository.

    Raises EngineError when the hub can't be reached, has no such model, or tells too little to check it.
    """
    from huggingface_hub import HfApi
    from huggingface_hub.errors import GatedRepoError, HfHubHTTPError, RepositoryNotFoundError

    repository = known_models().get(name, name)
    try:
        info = HfApi(endpoint=endpoint).model_info(repository, files_metadata=True, timeout=30, token=False)
    except (RepositoryNotFoundError, GatedRepoError):
        raise EngineError(
            f"The hub has no model {repository} that anybody may fetch: check the name."
        ) from None
    except HfHubHTTPError as error:
        raise EngineError(f"The hub answers for {repository}: {one_line(error)}; try again later.") from None
    except Exception as error:  # whatever the network and the hub's client raise
        raise EngineError(
            f"The hub can't be reached for {repository}: {one_line(error)}; connect to a network, or put a "
            f"model folder into {model_homes()[0]}."
        ) from None
    files = tuple(_hub_file(sibling) for sibling in info.siblings or () if _is_wanted(sibling.rfilename))
    names = {file.name for file in files}
    if "model.bin" not in names or "tokenizer.json" not in names:
        raise EngineError(f"{repository} is no faster-whisper model: it lacks model.bin or tokenizer.json.")
    return Offer(short_name(name), repository, info.sha or "main", files)


def _is_wanted(name: str) -> bool:
    return name in WANTED or (name.startswith(VOCABULARY) and "/" not in name and "\\" not in name)


def _hub_file(sibling: Any) -> HubFile:
    sha256 = sibling.lfs.sha256 if sibling.lfs else None
    if sibling.size is None or not (sha256 or sibling.blob_id):
        raise EngineError(f"The hub tells no size or hash of {sibling.rfilename}: it can't be checked.")
    return HubFile(sibling.rfilename, int(sibling.size), sha256, sibling.blob_id)


def file_hash_problem(path: Path, file: HubFile) -> str | None:
    """What is wrong with a fetched file, in a few words; None when its size and hash are the hub's."""
    size = path.stat().st_size
    if size != file.size:
        return f"has {size:,} bytes where the hub has {file.size:,}"
    with path.open("rb") as content:
        if file.sha256:
            return None if hashlib.file_digest(content, "sha256").hexdigest() == file.sha256 else "is damaged"
        if file.blob:
            digest = hashlib.sha1(b"blob %d\0" % size)
            while chunk := content.read(1 << 20):
                digest.update(chunk)
            return None if digest.hexdigest() == file.blob else "is damaged"
    return None


def megabytes(size: float) -> str:
    """A size as people read it: "75 MB", "1.6 GB" (a megabyte is a million bytes)."""
    if size >= 1e9:
        return f"{size / 1e9:.1f} GB"
    return f"{size / 1e6:.0f} MB" if size >= 1e7 else f"{size / 1e6:.1f} MB"
