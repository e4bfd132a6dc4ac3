"""Watches a visit's folder: a recording that has arrived whole is processed with the others, again and again.

All that is known stands in the folder itself: the record, and the transcripts kept beside it. So watching can
end at any time, also in the middle of a recording, and go on later. The record is that of `process`.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from voicenotes.errors import BusyError, NoRoomError, VisitError
from voicenotes.files import shown_name, visit_folder
from voicenotes.listing import listed, recordings_in
from voicenotes.visit import load_record
from voicenotes.watching.arriving import Seen, look

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterator
    from pathlib import Path
    from threading import Event

    from voicenotes.files import Stamp
    from voicenotes.model import Record

    Process = Callable[[Collection[Path]], Record]
    Show = Callable[[Record | None, Record], None]
    Say = Callable[[str], None]


@dataclass(frozen=True)
class Pace:
    """How often to look where nothing is heard of the folder, when to try again, how long to let files rest.

    `look_s` and `retry_s` are seconds; `patience` multiplies how long a file must have been left alone.
    """

    look_s: float = 1.0
    retry_s: float = 10.0
    patience: float = 1.0


@dataclass
class _State:
    """What the watching knows: files as seen last, stamps when it last processed, the record, lines said."""

    record: Record | None
    seen: dict[Path, Seen] = field(default_factory=dict)
    done: dict[Path, Stamp] | None = None
    said: str = ""
    not_before: float = 0.0


def watch_visit(
    folder: str | Path,
    process: Process,
    show: Show,
    say: Say,
    stop: Event | None = None,
    pace: Pace | None = None,
) -> None:
    """Watch until `stop` is set, or until KeyboardInterrupt, which is let through.

    `process(arrived)` processes the visit as `process_visit` does, of its recordings only those that have
    arrived; `show(before, after)` gets each new record with the one before it, None at the first. `say(line)`
    gets what holds it up. Raises VisitError when the folder is gone, and what `process` raises, except when
    another process works on the visit or nothing can be written: these are said, and it tries again.
    """
    folder, pace = visit_folder(folder), pace or Pace()
    state = _State(record=_record_of(folder))
    if state.record:
        show(None, state.record)
    for _ in _looks(folder, stop, pace):
        _look_once(folder, state, process, show, say, pace)


def _looks(folder: Path, stop: Event | None, pace: Pace) -> Iterator[None]:
    """Once at the beginning, then whenever something happens in the folder, and every `look_s` seconds."""
    from watchfiles import watch

    yield
    try:
        for _ in watch(
            folder, watch_filter=None, debounce=400, step=50, stop_event=stop,
            rust_timeout=max(1, round(pace.look_s * 1000)), yield_on_timeout=True, recursive=False,
        ):  # fmt: skip
            yield
    except (OSError, RuntimeError) as error:
        raise VisitError(f"{folder}: can't be watched ({error}); is the folder still there?") from None


def _look_once(folder: Path, state: _State, process: Process, show: Show, say: Say, pace: Pace) -> None:
    now = time.monotonic()
    state.seen = look(recordings_in(folder).recordings, state.seen, now)
    waiting = [path for path, seen in state.seen.items() if not seen.rested(now, pace.patience)]
    ready = {path: seen.stamp for path, seen in state.seen.items() if path not in waiting}
    if now < state.not_before:
        return
    if ready == state.done or not ready:
        _say_once(state, say, _waiting_line(folder, state, waiting, ready))
        return
    try:
        record = process(tuple(ready))
    except BusyError as error:
        _say_once(state, say, f"{error}; watching goes on")
        state.not_before = time.monotonic() + pace.look_s
        return
    except NoRoomError as error:
        if not folder.is_dir():
            raise
        _say_once(state, say, f"{error}; watching goes on")
        state.not_before = time.monotonic() + pace.retry_s
        return
    before, state.record, state.done, state.said = state.record, record, ready, ""
    if record != before:
        show(before, record)


def _waiting_line(folder: Path, state: _State, waiting: Collection[Path], ready: Collection[Path]) -> str:
    if waiting:
        return f"Still arriving: {listed([shown_name(path) for path in waiting])}."
    if ready:
        return ""
    if state.record and state.record.recordings:
        return f"{folder}: its recordings are gone; the record is kept as it was until some are there again."
    return f"Waiting for the first recording in {folder}."


def _say_once(state: _State, say: Say, line: str) -> None:
    """Say a line unless it was the last one said."""
    if line and line != state.said:
        say(line)
    state.said = line


def _record_of(folder: Path) -> Record | None:
    """The visit's record; None where there is none, or none that can be used."""
    try:
        return load_record(folder)
    except VisitError:
        return None
