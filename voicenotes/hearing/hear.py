"""From audio files to transcripts, in several processes, each kept so that it is made only once."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from voicenotes.errors import EngineError, NoRoomError, VisitError
from voicenotes.files import sha256_of, shown_name, stamp_of
from voicenotes.hearing.kept import (
    Ear,
    Heard,
    drop_finished_pieces,
    keep,
    keep_piece,
    recall,
    recall_pieces,
)
from voicenotes.hearing.messages import Answer, At, Ended, Failed, Looked, Piece, Task, place_of
from voicenotes.hearing.pool import Pool, processes_for
from voicenotes.hearing.recording import CHANGED, GONE, State, is_untouched, outcome

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence
    from pathlib import Path

    Progress = Callable[[str, float, float], None]
    Say = Callable[[str], None]

# A long recording is shared out; each process decodes it all, so not over too many.
SHARED_FROM_S = 480.0
MOST_PARTS = 4


def hear_all(
    ear: Ear,
    paths: Sequence[Path],
    progress: Progress | None = None,
    say: Say | None = None,
    processes: int | None = None,
) -> dict[Path, Heard]:
    """Transcribe recordings, or take what is kept of them; one bad recording doesn't stop the others.

    `progress` is called with a file name, the seconds done of all that must be transcribed, and their
    sum; `say` gets a line when anything must be transcribed, and one if transcripts can't be kept.
    `processes` is by default what the engine and the machine allow; an engine that works with threads takes
    so many threads of one process. 0 does all in this process.
    Raises EngineError when the engine fails and nothing could be transcribed, and NoRoomError as soon as
    nothing more can be kept: what comes then would be lost.
    """
    drop_finished_pieces(ear.cache)
    heard, waiting = _known(ear, paths)
    if not waiting:
        return heard
    if say:
        say(_how_many(len(waiting), len(heard)))
    number = processes_for(ear.engine) if processes is None else processes
    if number and not ear.engine.processes:
        number = 1
    run = _Run(ear, progress, say)
    with Pool(ear.engine, number, threads=processes) as pool:
        heard |= run.hear(pool, waiting, number)
        again = [path for path in waiting if _may_be_whole_now(path, heard[path])]
        if again:
            known, waiting = _known(ear, again)
            heard |= known | run.hear(pool, waiting, number)
    if run.engine_failures and not any(found.transcript for found in heard.values()):
        raise EngineError(run.engine_failures[0])
    return heard


def _may_be_whole_now(path: Path, heard: Heard) -> bool:
    """Whether a recording that was touched while it was read is to be heard once more."""
    return heard.problem == CHANGED or (heard.problem == GONE and stamp_of(path) is not None)


def _known(ear: Ear, paths: Iterable[Path]) -> tuple[dict[Path, Heard], dict[Path, State]]:
    """What is kept, and the recordings that must be transcribed."""
    heard: dict[Path, Heard] = {}
    waiting: dict[Path, State] = {}
    for path in paths:
        stamp = stamp_of(path)
        sha256 = sha256_of(path)
        kept = recall(ear, sha256) if sha256 else None
        if kept and stamp == stamp_of(path):
            heard[path] = kept
        else:
            waiting[path] = State(path, sha256, stamp)
    return heard, waiting


class _Run:
    """One run over the recordings that must be transcribed."""

    def __init__(self, ear: Ear, progress: Progress | None, say: Say | None) -> None:
        self._ear, self._progress, self._say = ear, progress, say
        self.engine_failures: list[str] = []
        self._said_so = False

    def hear(self, pool: Pool, waiting: dict[Path, State], processes: int) -> dict[Path, Heard]:
        """Transcribe them; recordings of the same content only once."""
        first: dict[str, State] = {}
        for state in waiting.values():
            if state.sha256:
                first.setdefault(state.sha256, state)
        twins = {id(state) for state in waiting.values() if state.sha256 and first[state.sha256] is not state}
        states = {place_of(path): s for path, s in waiting.items() if id(s) not in twins}
        self._look(pool, states)
        for state in states.values():
            if state.sha256:
                state.pieces = recall_pieces(self._ear, state.sha256)
        tasks = _shared_out(states, processes)
        heard: dict[Path, Heard] = {}

        def take(task: Task, answer: Answer) -> None:
            state = states[task.place]
            self._take(state, task, answer)
            self._tell(state, states)
            if state.is_over and state.path not in heard:
                heard[state.path] = self._result(state)

        pool.do(tasks, take)
        for path, state in waiting.items():
            if id(state) in twins and state.sha256:
                heard[path] = heard[first[state.sha256].path]
        return heard

    def _look(self, pool: Pool, states: dict[str, State]) -> None:
        """How long the recordings are by their own word: for the progress, and for sharing them out."""
        if not self._progress and len(states) == 1 and not pool.is_shared:
            return

        def take(task: Task, answer: Answer) -> None:
            if isinstance(answer, Looked):
                states[task.place].seconds = answer.seconds or 0.0

        pool.do([Task(place=place, look=True) for place in states], take)

    def _take(self, state: State, task: Task, answer: Answer) -> None:
        if isinstance(answer, At):
            state.done[task.part] = answer.seconds
        elif isinstance(answer, Piece):
            state.pieces[answer.number] = answer
            if not (answer.is_last and answer.number == 0) and stamp_of(state.path) == state.stamp:
                self._keeping(lambda sha256: keep_piece(self._ear, sha256, answer), state)
        elif isinstance(answer, Ended):
            state.ended.append(answer)
            state.seconds = answer.seconds
        elif isinstance(answer, Failed):
            state.failed.append(answer)
            if answer.where == "engine":
                self.engine_failures.append(answer.line)

    def _result(self, state: State) -> Heard:
        """What became of a recording now that its last task is over; kept, unless something went wrong."""
        heard = outcome(state)
        if not state.failed and is_untouched(state):
            self._keeping(lambda sha256: keep(self._ear, sha256, heard), state)
        state.pieces = {}
        return heard

    def _keeping(self, keeping: Callable[[str], None], state: State) -> None:
        """Keep something; where that can't be done say so once, and go on.

        With a full disk there is no going on: what is made now could not be written in the end either.
        """
        if not state.sha256:
            return
        try:
            keeping(state.sha256)
        except NoRoomError:
            raise
        except VisitError as error:
            if self._say and not self._said_so:
                self._say(f"Transcripts can't be kept for the next time: {error}")
            self._said_so = True

    def _tell(self, state: State, states: dict[str, State]) -> None:
        if self._progress:
            done = sum(_seconds_done(each) for each in states.values())
            total = sum(max(each.seconds, _seconds_done(each)) for each in states.values())
            self._progress(shown_name(state.path), done, total)


def _seconds_done(state: State) -> float:
    return state.seconds if state.is_over else sum(state.done.values())


def _shared_out(states: dict[str, State], processes: int) -> list[Task]:
    """The tasks, longest first; a recording that would keep others waiting is shared out."""
    fair = sum(state.seconds for state in states.values()) / max(1, processes)
    tasks: list[tuple[float, Task]] = []
    for place, state in states.items():
        wanted = math.ceil(state.seconds / max(fair / 2, SHARED_FROM_S / 2)) if fair else 1
        if processes > 1 and state.seconds >= SHARED_FROM_S and state.seconds > fair / 2:
            state.parts = max(1, min(wanted, processes, MOST_PARTS))
        share = state.seconds / state.parts
        known = tuple(state.pieces)
        tasks += [
            (share, Task(place=place, part=i, parts=state.parts, known=known)) for i in range(state.parts)
        ]
    return [task for _, task in sorted(tasks, key=lambda each: -each[0])]


def _how_many(waiting: int, kept: int) -> str:
    recordings = "1 recording" if waiting == 1 else f"{waiting} recordings"
    there = f", {kept} done before" if kept else ""
    return f"Transcribing {recordings}{there}."
