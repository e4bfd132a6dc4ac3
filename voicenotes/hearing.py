"""From audio files to transcripts, each kept beside the visit so that it is made only once.

A kept transcript is found by the recording's content, the engine and its model, the pack's words and
the version of voicenotes; when any of these changes, the recording is transcribed anew.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pydantic import ValidationError

import voicenotes
from voicenotes.errors import EngineError, RecordingError
from voicenotes.files import sha256_of, shown_name, write_atomically
from voicenotes.model import Frozen, Transcript

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from voicenotes.speech.engine import SpeechEngine

    Progress = Callable[[str, float, float], None]

CACHE_FOLDER = ".voicenotes"


class Heard(Frozen):
    """What became of one recording: its transcript if it could be read, and what is wrong with it."""

    transcript: Transcript | None = None
    seconds: float = 0.0
    problem: str | None = None


class Kept(Frozen):
    """A kept transcript as its file holds it; the first five fields say what it was made from."""

    sha256: str
    engine: str
    model: str | None
    material: str
    voicenotes: str
    heard: Heard


@dataclass(frozen=True)
class Ear:
    """An engine, the fingerprint of what it was told about the pack, and where transcripts are kept."""

    engine: SpeechEngine
    material: str
    cache: Path

    def place(self, sha256: str) -> Path:
        """The file that keeps the transcript of the recording with this hash."""
        made_from = "\n".join(
            (self.engine.name, self.engine.model or "", self.material, voicenotes.__version__)
        )
        mark = hashlib.sha256(made_from.encode()).hexdigest()
        return self.cache / f"{sha256[:32]}-{mark[:12]}.json"


def hear_all(
    ear: Ear,
    paths: Sequence[Path],
    progress: Progress | None = None,
    say: Callable[[str], None] | None = None,
) -> dict[Path, Heard]:
    """Transcribe recordings, or take what is kept of them; one bad recording doesn't stop the others.

    `progress` is called with a file name, the seconds done of all that must be transcribed, and their
    sum; `say` gets a line when anything must be transcribed. Raises EngineError when the engine fails and
    nothing could be transcribed, VisitError when the transcripts can't be kept.
    """
    hashes = {path: sha256_of(path) for path in paths}
    heard = {path: kept for path in paths if (kept := _recall(ear, hashes[path]))}
    waiting = [path for path in paths if path not in heard]
    if waiting and say:
        say(_how_many(len(waiting), len(heard)))
    lengths = _lengths(waiting) if progress else {}
    done, failures = 0.0, []
    for path in waiting:
        tell = _teller(progress, shown_name(path), done, sum(lengths.values()))
        tell(0.0)
        try:
            heard[path] = _hear(ear, path, tell)
            _keep(ear, hashes[path], heard[path])
        except EngineError as error:
            failures.append(error)
            heard[path] = Heard(problem=f"could not be transcribed: {error}")
        lengths[path] = heard[path].seconds or lengths.get(path, 0.0)
        done += lengths[path]
    if failures and not any(found.transcript for found in heard.values()):
        raise failures[0]
    return heard


def _hear(ear: Ear, path: Path, tell: Callable[[float], None]) -> Heard:
    """Decode and transcribe one recording; what can't be read becomes its problem."""
    from voicenotes.audio.decode import decode

    try:
        decoded = decode(path)
        transcript = ear.engine.transcribe(decoded.samples, tell)
    except RecordingError as error:
        return Heard(problem=without_name(error, path))
    except MemoryError:
        return Heard(problem="is too long for this machine's memory; cut it into shorter recordings")
    return Heard(transcript=transcript, seconds=round(decoded.seconds, 3), problem=decoded.problem)


def without_name(error: RecordingError, path: Path) -> str:
    """The error's line without the file name before it, which the record has in a field of its own."""
    return str(error).removeprefix(f"{path.name}: ")


def _recall(ear: Ear, sha256: str | None) -> Heard | None:
    """The kept transcript of a recording; None when there is none, or none that can be used."""
    if sha256 is None:
        return None
    try:
        kept = Kept.model_validate_json(ear.place(sha256).read_bytes())
    except (OSError, ValidationError):
        return None
    made_from = (kept.sha256, kept.engine, kept.model, kept.material, kept.voicenotes)
    wanted = (sha256, ear.engine.name, ear.engine.model, ear.material, voicenotes.__version__)
    return kept.heard if made_from == wanted else None


def _keep(ear: Ear, sha256: str | None, heard: Heard) -> None:
    if sha256 is None or heard.transcript is None:
        return
    kept = Kept(
        sha256=sha256, engine=ear.engine.name, model=ear.engine.model, material=ear.material,
        voicenotes=voicenotes.__version__, heard=heard,
    )  # fmt: skip
    write_atomically(ear.place(sha256), kept.model_dump_json())


def _lengths(paths: Sequence[Path]) -> dict[Path, float]:
    """The recordings' lengths in seconds as their containers claim them, 0 where they don't."""
    from voicenotes.audio.container import read_label

    return {path: read_label(path).seconds or 0.0 for path in paths}


def _teller(progress: Progress | None, name: str, done: float, total: float) -> Callable[[float], None]:
    def tell(seconds: float) -> None:
        if progress:
            progress(name, done + seconds, max(total, done + seconds))

    return tell


def _how_many(waiting: int, kept: int) -> str:
    recordings = "1 recording" if waiting == 1 else f"{waiting} recordings"
    there = f", {kept} done before" if kept else ""
    return f"Transcribing {recordings}{there}."
