"""One visit of a backlog: how it is to be processed, and what became of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from voicenotes.errors import VoicenotesError

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from voicenotes.model import Record
    from voicenotes.vocabulary.schema import Pack

    Progress = Callable[[str, float, float], None]
    Say = Callable[[str], None]

NOT_REACHED = "not reached"
NOTHING_READ = "nothing could be read from any of its recordings; nothing was checked off"


@dataclass(frozen=True)
class Orders:
    """How every visit of a backlog is processed: what `process_visit` takes beside the folder."""

    pack: Pack
    engine: str = "auto"
    model: str | None = None
    download: bool = False


@dataclass(frozen=True)
class Outcome:
    """What became of one visit; `visit` is its folder as it was named.

    `failed` is the line that says why there is no record of use. `problems` and `doubts` are lines on its
    recordings, `said` what `process_visit` said on the way. Of the recordings, `unread` have a problem.
    """

    visit: str
    failed: str | None = None
    recordings: int = 0
    unread: int = 0
    seconds: float = 0.0
    defects: int = 0
    critical: int = 0
    gaps: int = 0
    problems: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()
    said: tuple[str, ...] = ()


def outcome_of(visit: str, record: Record, said: tuple[str, ...] = ()) -> Outcome:
    """A visit's outcome from its record."""
    from voicenotes.outputs.screen import problem_lines, unread

    problems = tuple(problem_lines(record))
    defects = [finding.severity for finding in record.checks if finding.outcome == "defect"]
    return Outcome(
        visit=visit,
        failed=NOTHING_READ if len(unread(record)) == len(record.recordings) else None,
        recordings=len(record.recordings),
        unread=len(problems),
        seconds=sum(entry.seconds for entry in record.recordings),
        defects=len(defects),
        critical=defects.count("critical"),
        gaps=len(record.gaps),
        problems=problems,
        doubts=tuple(
            f"{entry.file}: can't be trusted: {entry.quality.doubt}"
            for entry in record.recordings
            if entry.quality and entry.quality.doubt
        ),
        said=said,
    )


def failure(visit: str, error: VoicenotesError | str) -> Outcome:
    """The outcome of a visit that could not be processed; its line without the visit's own name."""
    return Outcome(visit=visit, failed=" ".join(str(error).removeprefix(f"{visit}: ").split()))


def process_one(
    visit: str,
    folder: Path,
    orders: Orders,
    progress: Progress | None = None,
    say: Say | None = None,
    processes: int | None = None,
    patience_s: float = 0.0,
) -> Outcome:
    """Process one visit, whatever comes of it; a foreseen error is an outcome. See `process_visit`."""
    from voicenotes.visit import process_visit

    try:
        record = process_visit(
            folder,
            orders.pack,
            orders.engine,
            orders.model,
            orders.download,
            progress,
            say,
            processes=processes,
            patience_s=patience_s,
        )
    except VoicenotesError as error:
        line = str(error).removeprefix(f"{folder}: ")
        return failure(visit, line)
    return outcome_of(visit, record)
