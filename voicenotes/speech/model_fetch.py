"""Fetches a Whisper model from the Hugging Face hub; the only thing that reaches out.

The size of what is missing and the free disk space are known before anything is fetched. Files come one by
one into a hidden folder beside the models, named after their hash; one that breaks off goes on from there
when the same is asked for again. Each is checked against the hub's size and hash (SHA-256, or for small files
the hub's git hash). When all are right the folder gets its name in one step, so a half-fetched model never
counts as one.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import logging
import os
import shutil
import socket
from pathlib import Path
from typing import TYPE_CHECKING, Any

from voicenotes.errors import EngineError
from voicenotes.speech.hub_offer import HubFile, Offer, file_hash_problem, megabytes, offer_of, short_name
from voicenotes.speech.model_file import folder_problem
from voicenotes.speech.whisper_load import one_line
from voicenotes.speech.whisper_models import model_homes

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    Progress = Callable[[str, float, float], None]
    Say = Callable[[str], None]

MANIFEST = "voicenotes-model.json"
STEP = 1 << 18  # bytes written at a time
ROOM_TO_SPARE = 50_000_000  # bytes left free on the disk


def fetch_model(
    name: str, progress: Progress | None = None, say: Say | None = None, endpoint: str | None = None
) -> Path:
    """Fetch a model by its name ("small") or repository; returns its folder, complete and checked.

    One that is here already is left as it is. `say` gets the size and the free space before anything is
    fetched; `progress` a file's name, the bytes done and the bytes in all. `endpoint` is another hub's
    address. Raises EngineError, one line, for whatever goes wrong; what was fetched stays for the next time.
    """
    short = short_name(name)
    home = model_homes()[0]
    folder = home / short
    if folder.is_dir() and folder_problem(folder) is None:
        return folder
    if folder.exists():
        raise EngineError(
            f"{folder} {folder_problem(folder) or 'is in the way'}: remove it, then fetch again."
        )
    with _client_set_up():
        offer = offer_of(name, endpoint)
    work = home / f".fetching-{short}"
    with _disk_errors_told(home), _client_set_up():
        work.mkdir(parents=True, exist_ok=True)
        with _alone_in(home, short):
            if folder.exists():  # another process was faster
                return folder
            work.mkdir(exist_ok=True)
            _clear_strangers(work, offer.files)
            _check_room(offer, work, home, say)
            _fetch_all(offer, work, progress, endpoint)
            _write_manifest(offer, work)
            if problem := folder_problem(work):
                raise EngineError(f"{offer.repository} {problem}: it is no model that can be used here.")
            work.rename(folder)
    return folder


def _clear_strangers(work: Path, files: Sequence[HubFile]) -> None:
    """Remove what another version of the model left behind."""
    ours = {file.name for file in files} | {file.part for file in files}
    for path in work.iterdir():
        if path.name not in ours:
            path.unlink()


def _check_room(offer: Offer, work: Path, home: Path, say: Say | None) -> None:
    whole = sum(file.size for file in offer.files)
    here = sum(path.stat().st_size for path in work.iterdir())
    free = shutil.disk_usage(home).free
    missing = max(0, whole - here)
    if say:
        rest = f", {megabytes(missing)} still to come" if here else ""
        say(f"Model {offer.name}: {megabytes(whole)}{rest}; {megabytes(free)} free in {home}.")
    if missing + ROOM_TO_SPARE > free:
        raise EngineError(
            f"Model {offer.name} needs {megabytes(missing + ROOM_TO_SPARE)} and only {megabytes(free)} are "
            f"free in {home}: make room, or name a folder on another disk with VOICENOTES_MODELS."
        )


def _fetch_all(offer: Offer, work: Path, progress: Progress | None, endpoint: str | None) -> None:
    whole = float(sum(file.size for file in offer.files))
    done = 0.0
    for file in sorted(offer.files, key=lambda each: each.size):
        if not (work / file.name).exists():
            _fetch(offer, file, work, _teller(progress, file.name, done, whole), endpoint)
        done += file.size
        if progress:
            progress(file.name, done, whole)


def _fetch(
    offer: Offer, file: HubFile, work: Path, tell: Callable[[float], None], endpoint: str | None
) -> None:
    """Fetch one file, going on where it broke off, check it, and give it its name."""
    from huggingface_hub import hf_hub_url
    from huggingface_hub.file_download import http_get
    from huggingface_hub.utils._headers import build_hf_headers

    part = work / file.part
    url = hf_hub_url(offer.repository, file.name, revision=offer.commit, endpoint=endpoint)
    headers = {**build_hf_headers(token=False), "Accept-Encoding": "identity"}
    with part.open("ab") as out:
        if out.tell() > file.size:
            out.truncate(0)
        here = out.tell()
        bar: Any = _Bar(here, tell)
        try:
            http_get(url, out, resume_size=here, headers=headers, expected_size=file.size, _tqdm_bar=bar)
            out.flush()
            os.fsync(out.fileno())
        except Exception as error:  # whatever the network and the hub's client raise
            if _is_of_the_disk(error):
                raise
            raise EngineError(
                f"{file.name} of {offer.repository} broke off at {megabytes(bar.done)} of "
                f"{megabytes(file.size)} ({one_line(error)}): fetch again, it goes on from there."
            ) from None
    if problem := file_hash_problem(part, file):
        part.unlink()
        raise EngineError(
            f"{file.name} of {offer.repository} {problem} after it was fetched and was "
            "thrown away: fetch again."
        )
    part.rename(work / file.name)


class _Bar:
    """Stands where the hub's client wants a progress bar, and tells how many bytes of a file are here."""

    def __init__(self, done: int, tell: Callable[[float], None]) -> None:
        self.done, self._tell = done, tell

    def update(self, count: int) -> None:
        """`count` bytes more are here; fewer when a file starts anew."""
        self.done += count
        self._tell(self.done)


def _write_manifest(offer: Offer, work: Path) -> None:
    """Keep what the model is and its hashes beside it, so that it can be verified later without a network."""
    files = {}
    for path in sorted(work.iterdir()):
        with path.open("rb") as content:
            files[path.name] = hashlib.file_digest(content, "sha256").hexdigest()
    about = {"name": offer.name, "repository": offer.repository, "commit": offer.commit, "sha256": files}
    (work / MANIFEST).write_text(json.dumps(about, indent=2) + "\n", encoding="utf-8")


@contextlib.contextmanager
def _alone_in(home: Path, name: str) -> Iterator[None]:
    """Keeps a second process from fetching the same model; the lock goes with the process that held it."""
    from filelock import FileLock, Timeout

    place = home / f".fetching-{name}.lock"
    try:
        with FileLock(place, timeout=0):
            yield
    except Timeout:
        raise EngineError(f"Model {name} is being fetched by another process: wait for it.") from None


@contextlib.contextmanager
def _disk_errors_told(home: Path) -> Iterator[None]:
    """Turns what the disk refuses into one line."""
    try:
        yield
    except OSError as error:
        reason = error.strerror or one_line(error)
        raise EngineError(
            f"{home}: can't be written ({reason}); make room or change its permissions, then fetch again: "
            "it goes on where it broke off."
        ) from None


@contextlib.contextmanager
def _client_set_up() -> Iterator[None]:
    """Makes the hub's client write small steps, and keeps it from logging what an error's line tells.

    It writes 10 MB at a time otherwise, and what it holds back is lost when the line breaks.
    """
    from huggingface_hub import constants

    logger = logging.getLogger("huggingface_hub")
    before = logger.level, constants.DOWNLOAD_CHUNK_SIZE
    logger.setLevel(logging.ERROR)
    constants.DOWNLOAD_CHUNK_SIZE = STEP
    try:
        yield
    finally:
        constants.DOWNLOAD_CHUNK_SIZE = before[1]
        logger.setLevel(before[0])


def _is_of_the_disk(error: Exception) -> bool:
    from huggingface_hub.errors import HfHubHTTPError

    network = (HfHubHTTPError, ConnectionError, TimeoutError, socket.gaierror)
    return isinstance(error, OSError) and error.errno is not None and not isinstance(error, network)


def _teller(progress: Progress | None, name: str, before: float, whole: float) -> Callable[[float], None]:
    def tell(done: float) -> None:
        if progress:
            progress(name, before + done, whole)

    return tell
