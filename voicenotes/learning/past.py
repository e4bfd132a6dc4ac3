"""Past visits: their records, corrections and transcripts, as they were kept; nothing is transcribed."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from voicenotes.corrections.apply import in_effect
from voicenotes.corrections.journal import read_corrections
from voicenotes.files import sha256_of, visit_folder
from voicenotes.hearing.kept import kept_words
from voicenotes.listing import is_transcript, listed, recordings_in
from voicenotes.visit import CACHE_FOLDER, load_record, read_ready

if TYPE_CHECKING:
    from collections.abc import Iterable

    from voicenotes.corrections.values import Correction
    from voicenotes.model import Record, RecordingEntry, Transcript


@dataclass(frozen=True)
class PastVisit:
    """A visit that was processed. `recordings` is empty where it can't be read again; `problem` says why.

    `corrections` are those in effect.
    """

    folder: Path
    record: Record
    corrections: tuple[Correction, ...]
    recordings: tuple[tuple[RecordingEntry, Transcript | None], ...] = ()
    problem: str | None = None

    @property
    def name(self) -> str:
        """What the visit is called: its folder's name."""
        return self.folder.resolve().name


def past_visits(folders: Iterable[str | Path]) -> list[PastVisit]:
    """The visits in some folders, each once. Raises VisitError for one without a record that can be used."""
    found: dict[Path, PastVisit] = {}
    for folder in folders:
        path = visit_folder(folder)
        found.setdefault(path.resolve(), _past(path))
    return list(found.values())


def _past(folder: Path) -> PastVisit:
    record = load_record(folder)
    corrections = in_effect(read_corrections(folder))
    recordings, lost = [], []
    ready: dict[str | None, Path] | None = None
    for entry in record.recordings:
        transcript: Transcript | None = None
        if entry.engine is not None and entry.sha256 is not None:
            transcript = kept_words(folder / CACHE_FOLDER, entry.sha256, entry.engine, entry.model)
            if transcript is None:
                if ready is None:
                    paths = [path for path in recordings_in(folder).recordings if is_transcript(path)]
                    ready = {sha256_of(path): path for path in paths}
                transcript = read_ready(ready[entry.sha256]).transcript if entry.sha256 in ready else None
        if transcript is None and entry.engine is not None:
            lost.append(entry.file)
        recordings.append((entry, transcript))
    if lost:
        problem = f"{folder}: the words of {listed(lost)} are no longer kept; process the visit again"
        return PastVisit(folder, record, corrections, problem=problem)
    return PastVisit(folder, record, corrections, tuple(recordings))
