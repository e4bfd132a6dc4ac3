"""The story of a visit: list its recordings, hear them, read them, write the record.

Recordings are read in the order in which they were made, which `times/order.py` finds out from their
containers, names and files. So a copy of a visit whose files got other times may give another record, where
nothing but the files tells the time.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

from pydantic import ValidationError

from voicenotes.changes import change_lines, changes_since, remember_hashes
from voicenotes.errors import RecordingError, VisitError, without_name
from voicenotes.files import (
    RECORD_FILE,
    check_writable,
    remove_left_overs,
    sha256_of,
    shown_name,
    stamp_of,
    visit_folder,
    write_atomically,
)
from voicenotes.hearing.hear import hear_all
from voicenotes.hearing.kept import Ear, Heard
from voicenotes.hearing.recording import CHANGED
from voicenotes.listing import is_transcript, listed, recordings_in
from voicenotes.lock import visit_lock
from voicenotes.model import SCHEMA_VERSION, Record, RecordingEntry
from voicenotes.times.order import clue_of, in_order

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Sequence

    from voicenotes.hearing.hear import Progress
    from voicenotes.model import Transcript
    from voicenotes.times.order import Placed
    from voicenotes.vocabulary.schema import Pack

CACHE_FOLDER = ".voicenotes"
NO_SPEECH = "no speech found in it; listen to it, and say again what matters"


def process_visit(
    folder: str | Path,
    pack: str | Path | Pack = "cnc_lathe",
    engine: str = "auto",
    model: str | None = None,
    download: bool = False,
    progress: Progress | None = None,
    say: Callable[[str], None] | None = None,
    processes: int | None = None,
    patience_s: float = 0.0,
    only: Collection[Path] | None = None,
) -> Record:
    """Read all recordings of a visit and write `record.json` into its folder.

    `pack` is a shipped pack's name, a folder, or a loaded Pack; `engine` is auto, whisper or embedded;
    `model` a Whisper model's name or folder, which may be fetched only with `download`.
    `progress(file, seconds_done, seconds_in_all)` follows the transcribing; `say(line)` gets what the
    user should know. A recording that can't be read stays in the record with its `problem`.
    `processes` transcribe at the same time: by default as many as engine and machine allow; an engine that
    works with threads takes so many threads. With 0 all is done in this process. When another process is
    at work on the visit, this one waits `patience_s` for its end.
    With `only`, the other recordings are left out, as they are still arriving, and nothing is said of what
    came meanwhile.
    Raises VisitError, PackError, or EngineError.
    """
    folder = visit_folder(folder)
    loaded = _loaded(pack)
    listing = _recordings(folder, say)
    paths = [path for path in listing if only is None or path in only]
    stamps = {path: stamp_of(path) for path in paths}
    check_writable(folder)
    home = home_of(folder)
    with visit_lock(folder, home, patience_s):
        remove_left_overs(folder, home)
        heard = {path: read_ready(path) for path in paths if is_transcript(path)}
        audio = [path for path in paths if path not in heard]
        if audio:
            from voicenotes.findings.read import ready_to_read

            ear, line = ear_of(home, loaded, engine, model, download, progress, say)
            with ready_to_read(loaded):
                heard |= hear_all(ear, audio, progress, _after(line, say), processes)
        _say_what_is_gone(folder, listing, heard, say)
        record = _read(in_visit_order({path: heard[path] for path in paths}, say), loaded)
        write_atomically(folder / RECORD_FILE, record_text(record))
        remember_hashes(home, stamps, {path: found.sha256 for path, found in heard.items()})
    if say and only is None:
        for line in what_changed(folder, record):
            say(line)
    return record


def what_changed(folder: str | Path, record: Record) -> list[str]:
    """Lines on the recordings that came, changed or went since a visit's record was written; mostly none."""
    folder = Path(folder).expanduser()
    try:
        return change_lines(changes_since(record, folder, folder / CACHE_FOLDER), folder)
    except VisitError:  # the folder can't be looked into any more
        return []


def home_of(folder: Path) -> Path:
    """The visit's folder for what is no recording and no result: kept transcripts and the lock."""
    home = folder / CACHE_FOLDER
    if home.is_symlink():
        raise VisitError(f"{home}: is a link, and nothing is written through links; remove it")
    try:
        home.mkdir(exist_ok=True)
    except OSError as error:
        raise VisitError(f"{home}: can't be made a folder ({error.strerror}); remove what is there") from None
    return home


def _say_what_is_gone(
    folder: Path, listing: Sequence[Path], heard: dict[Path, Heard], say: Callable[[str], None] | None
) -> None:
    """Name the recordings that the last record had and the folder has no more."""
    if say is None:
        return
    try:
        before = load_record(folder).recordings
    except VisitError:
        return
    here = {shown_name(path) for path in listing}
    contents = {found.sha256 for found in heard.values()}
    gone = [entry.file for entry in before if entry.file not in here and entry.sha256 not in contents]
    if gone:
        say(f"No longer in the folder, so not in the record either: {listed(gone)}.")


def record_text(record: Record) -> str:
    """The record as `record.json` holds it: JSON with an indent of two, a line break at the end."""
    return json.dumps(record.model_dump(mode="json"), indent=2, ensure_ascii=False) + "\n"


def load_record(folder: str | Path) -> Record:
    """The record of a visit that was processed. Raises VisitError when there is none or it can't be used."""
    path = visit_folder(folder) / RECORD_FILE
    again = f"process the visit again: voicenotes process {folder}"
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise VisitError(
            f"{folder}: has no {RECORD_FILE} yet; process the visit first: voicenotes process {folder}"
        ) from None
    except OSError as error:
        raise VisitError(f"{path}: can't be read ({error.strerror}); change its permissions") from None
    except ValueError as error:
        raise VisitError(f"{path}: is not JSON ({error}); {again}") from None
    version = data.get("schema_version") if isinstance(data, dict) else None
    if isinstance(version, int) and version > SCHEMA_VERSION:
        raise VisitError(f"{path}: was written by a newer voicenotes; update voicenotes to read it")
    try:
        return Record.model_validate(data)
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"]) or "the whole file"
        raise VisitError(f"{path}: is not a findings record ({where}: {first['msg']}); {again}") from None


def ready_recordings(folder: str | Path) -> list[tuple[RecordingEntry, Transcript | None]]:
    """The recordings of a visit of ready-made transcripts; nothing is transcribed and nothing written.

    One that can't be read has its problem and no transcript. Raises VisitError when there are none, or
    when a recording has no transcript yet.
    """
    folder = visit_folder(folder)
    paths = _recordings(folder, None)
    unheard = [path for path in paths if not is_transcript(path)]
    if unheard:
        raise VisitError(
            f"{folder}: has no {RECORD_FILE}, and no transcript of {_names(unheard)}; "
            f"process the visit first: voicenotes process {folder}"
        )
    heard = {path: read_ready(path) for path in paths}
    return in_visit_order(heard, None)


def _loaded(pack: str | Path | Pack) -> Pack:
    from voicenotes.vocabulary.load import load_pack

    return load_pack(pack) if isinstance(pack, (str, Path)) else pack


def _recordings(folder: Path, say: Callable[[str], None] | None) -> list[Path]:
    """The visit's recordings in natural order of their names; VisitError when there are none."""
    found = recordings_in(folder)
    if not found.recordings:
        others = len(found.others)
        what = f"none of its {others} files is a recording by its name" if others else "no recordings"
        raise VisitError(
            f"{folder}: {what}; put the voice memos (.m4a, .wav, .mp3 and the like) or transcripts "
            "(.txt, .srt, .vtt, .json) into this folder itself"
        )
    if say and found.replaced:
        say(f"A transcript of the same name is read in place of: {_names(found.replaced)}.")
    if say and found.others:
        say(f"Left alone, no recordings by their names: {_names(found.others)}.")
    return list(found.recordings)


def _names(paths: Sequence[Path]) -> str:
    return listed([shown_name(path) for path in paths])


def read_ready(path: Path) -> Heard:
    """A ready-made transcript as it stands; once more when it was changed in the meantime."""
    for _ in range(2):
        sha256 = sha256_of(path)
        heard = _read_once(path, sha256)
        if sha256_of(path) == sha256:
            return heard
    return Heard(problem=CHANGED)


def _read_once(path: Path, sha256: str | None) -> Heard:
    from voicenotes.speech.transcript_files import read_transcript

    try:
        transcript = read_transcript(path)
    except RecordingError as error:
        return Heard(problem=without_name(error, path.name), sha256=sha256)
    return Heard(transcript=transcript, seconds=round(transcript.seconds, 3), sha256=sha256)


def ear_of(
    home: Path,
    pack: Pack,
    engine: str,
    model: str | None,
    download: bool,
    progress: Progress | None,
    say: Callable[[str], None] | None,
) -> tuple[Ear, str]:
    """The chosen engine, and the line that tells the user which. Nothing heavy is loaded yet."""
    from voicenotes.speech import choose
    from voicenotes.vocabulary.kept_material import kept_speech_material

    material = kept_speech_material(pack)
    chosen, line = choose.choose_engine(
        engine, material, model=model, allow_download=download, progress=progress, say=say
    )
    return Ear(chosen, choose.told_of(chosen, material), home), line


def _after(line: str, say: Callable[[str], None] | None) -> Callable[[str], None] | None:
    """Says `line` before the first thing that is said."""
    if say is None:
        return None

    def both(text: str) -> None:
        say(line)
        say(text)

    return both


def in_visit_order(
    heard: dict[Path, Heard], say: Callable[[str], None] | None
) -> list[tuple[RecordingEntry, Transcript | None]]:
    """The recordings in the order in which they were made; `say` gets a line on times that can't be right."""
    clues = [
        clue_of(path, 0.0 if is_transcript(path) else found.seconds, found.created_at)
        for path, found in heard.items()
    ]
    found = in_order(clues)
    if say and found.note:
        say(found.note)
    return [
        (_entry(placed, heard[placed.path]), heard[placed.path].transcript) for placed in found.recordings
    ]


def _entry(placed: Placed, heard: Heard) -> RecordingEntry:
    transcript = heard.transcript
    words = len(transcript.words) if transcript else 0
    problem = heard.problem
    if transcript and not words:
        problem = f"{problem}; {NO_SPEECH}" if problem else NO_SPEECH
    return RecordingEntry(
        file=shown_name(placed.path),
        sha256=heard.sha256,
        seconds=heard.seconds,
        recorded_at=placed.recorded_at,
        recorded_at_from=placed.recorded_at_from,
        engine=transcript.engine if transcript else None,
        model=transcript.model if transcript else None,
        words=words,
        problem=problem,
        quality=heard.quality,
    )


def _read(recordings: Sequence[tuple[RecordingEntry, Transcript | None]], pack: Pack) -> Record:
    from voicenotes.findings.read import read_transcripts

    return read_transcripts(recordings, pack)
