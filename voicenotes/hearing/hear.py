"""From audio files to transcripts, in several processes, each kept so that it is made only once."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from voicenotes.errors import EngineError, VisitError
from voicenotes.files import sha256_of, shown_name
from voicenotes.hearing.kept import Ear, Heard, keep, keep_piece, recall, recall_pieces
from voicenotes.hearing.messages import Answer, At, Ended, Failed, Looked, Piece, Task, place_of
from voicenotes.hearing.pool import Pool, processes_for
from voicenotes.model import Transcript

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence
    from pathlib import Path

    Progress = Callable[[str, float, float], None]
    Say = Callable[[str], None]

# A long recording is shared out; each process decodes it all, so not over too many.
SHARED_FROM_S = 480.0
MOST_PARTS = 4
CHANGED = (
    "was being changed while it was read, so nothing of it was used; wait until its copy is whole, "
    "then process the visit again"
)
GONE = "was taken away while it was read; what was heard of it is in the record: put the file back"


@dataclass
class _State:
    """What is known so far of one recording that must be transcribed; `done` is seconds by part."""

    path: Path
    sha256: str | None
    stamp: tuple[int, int] | None
    seconds: float = 0.0
    pieces: dict[int, Piece] = field(default_factory=dict)
    parts: int = 1
    done: dict[int, float] = field(default_factory=dict)
    ended: list[Ended] = field(default_factory=list)
    failed: list[Failed] = field(default_factory=list)

    @property
    def is_over(self) -> bool:
        return len(self.ended) + len(self.failed) == self.parts


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
    `processes` is by default what the engine and the machine allow; 0 does all in this process.
    Raises EngineError when the engine fails and nothing could be transcribed.
    """
    heard, waiting = _known(ear, paths)
    if not waiting:
        return heard
    if say:
        say(_how_many(len(waiting), len(heard)))
    number = processes_for(ear.engine) if processes is None else processes
    run = _Run(ear, progress, say)
    with Pool(ear.engine, number) as pool:
        heard |= run.hear(pool, waiting, number)
        changed = [path for path in waiting if heard[path].problem == CHANGED]
        if changed:  # by now its copy may be whole
            again, waiting = _known(ear, changed)
            heard |= again | run.hear(pool, waiting, number)
    if run.engine_failures and not any(found.transcript for found in heard.values()):
        raise EngineError(run.engine_failures[0])
    return heard


def _known(ear: Ear, paths: Iterable[Path]) -> tuple[dict[Path, Heard], dict[Path, _State]]:
    """What is kept, and the recordings that must be transcribed."""
    heard: dict[Path, Heard] = {}
    waiting: dict[Path, _State] = {}
    for path in paths:
        stamp = _stamp(path)
        sha256 = sha256_of(path)
        kept = recall(ear, sha256) if sha256 else None
        if kept and stamp == _stamp(path):
            heard[path] = kept
        else:
            waiting[path] = _State(path, sha256, stamp)
    return heard, waiting


class _Run:
    """One run over the recordings that must be transcribed."""

    def __init__(self, ear: Ear, progress: Progress | None, say: Say | None) -> None:
        self._ear, self._progress, self._say = ear, progress, say
        self.engine_failures: list[str] = []
        self._can_keep = True

    def hear(self, pool: Pool, waiting: dict[Path, _State], processes: int) -> dict[Path, Heard]:
        """Transcribe them; recordings of the same content only once."""
        first: dict[str, _State] = {}
        for state in waiting.values():
            if state.sha256:
                first.setdefault(state.sha256, state)
        twins = {id(state) for state in waiting.values() if state.sha256 and first[state.sha256] is not state}
        states = {place_of(path): s for path, s in waiting.items() if id(s) not in twins}
        self._look(pool, states)
        tasks = _shared_out(states, processes)
        for task in tasks:
            self._known_pieces(states[task.place])
        tasks = [task.model_copy(update={"known": tuple(states[task.place].pieces)}) for task in tasks]
        heard: dict[Path, Heard] = {}
        for task, answer in pool.answers(tasks):
            state = states[task.place]
            self._take(state, task, answer)
            self._tell(state, states)
            if state.is_over and state.path not in heard:
                heard[state.path] = self._result(state)
        for path, state in waiting.items():
            if id(state) in twins and state.sha256:
                heard[path] = heard[first[state.sha256].path]
        return heard

    def _look(self, pool: Pool, states: dict[str, _State]) -> None:
        """How long the recordings are by their own word: for the progress, and for sharing them out."""
        if not self._progress and len(states) == 1 and not pool.is_shared:
            return
        for task, answer in pool.answers([Task(place=place, look=True) for place in states]):
            if isinstance(answer, Looked):
                states[task.place].seconds = answer.seconds or 0.0

    def _known_pieces(self, state: _State) -> None:
        if state.sha256 and not state.pieces:
            state.pieces = recall_pieces(self._ear, state.sha256)

    def _take(self, state: _State, task: Task, answer: Answer) -> None:
        if isinstance(answer, At):
            state.done[task.part] = answer.seconds
        elif isinstance(answer, Piece):
            state.pieces[answer.number] = answer
            if not (answer.is_last and answer.number == 0) and not _changed(state):
                self._keeping(lambda sha256: keep_piece(self._ear, sha256, answer), state)
        elif isinstance(answer, Ended):
            state.ended.append(answer)
            state.seconds = answer.seconds
        elif isinstance(answer, Failed):
            state.failed.append(answer)
            if answer.where == "engine":
                self.engine_failures.append(answer.line)

    def _result(self, state: _State) -> Heard:
        """What became of a recording now that its last task is over."""
        if state.failed:
            return self._broken_off(state)
        changed = _changed(state)
        if changed == CHANGED:
            return Heard(problem=CHANGED)
        end = state.ended[0]
        heard = Heard(
            transcript=_joined(state.pieces, end.seconds),
            seconds=end.seconds,
            problem=changed or end.problem,
            created_at=end.created_at,
            quality=next((ended.quality for ended in state.ended if ended.quality), None),
        )
        if not changed:
            self._keeping(lambda sha256: keep(self._ear, sha256, heard), state)
        return heard

    def _broken_off(self, state: _State) -> Heard:
        """What was heard of a recording before something went wrong."""
        failed = state.failed[0]
        line = f"could not be transcribed: {failed.line}" if failed.where == "engine" else failed.line
        if not state.pieces:
            return Heard(problem=line)
        transcript = _joined(state.pieces, 0.0)
        return Heard(
            transcript=transcript, seconds=transcript.seconds, problem=f"was read only in part: {line}"
        )

    def _keeping(self, keeping: Callable[[str], None], state: _State) -> None:
        """Keep something; where that can't be done say so once, and go on."""
        if not state.sha256 or not self._can_keep:
            return
        try:
            keeping(state.sha256)
        except VisitError as error:
            self._can_keep = False
            if self._say:
                self._say(f"Transcripts can't be kept for the next time: {error}")

    def _tell(self, state: _State, states: dict[str, _State]) -> None:
        if self._progress:
            done = sum(_seconds_done(each) for each in states.values())
            total = sum(max(each.seconds, _seconds_done(each)) for each in states.values())
            self._progress(shown_name(state.path), done, total)


def _seconds_done(state: _State) -> float:
    return state.seconds if state.is_over else sum(state.done.values())


def _shared_out(states: dict[str, _State], processes: int) -> list[Task]:
    """The tasks, longest first; a recording that would keep others waiting is shared out."""
    fair = sum(state.seconds for state in states.values()) / max(1, processes)
    tasks: list[tuple[float, Task]] = []
    for place, state in states.items():
        wanted = math.ceil(state.seconds / max(fair / 2, SHARED_FROM_S / 2)) if fair else 1
        if processes > 1 and state.seconds >= SHARED_FROM_S and state.seconds > fair / 2:
            state.parts = max(1, min(wanted, processes, MOST_PARTS))
        share = state.seconds / state.parts
        tasks += [(share, Task(place=place, part=i, parts=state.parts)) for i in range(state.parts)]
    return [task for _, task in sorted(tasks, key=lambda each: -each[0])]


def _joined(pieces: dict[int, Piece], seconds: float) -> Transcript:
    """The transcript of a whole recording from those of its windows."""
    parts = [pieces[number].transcript for number in sorted(pieces)]
    words = tuple(word for part in parts for word in part.words)
    length = seconds or max((word.end for word in words), default=0.0)
    left_out = tuple(left for part in parts for left in part.left_out)
    return parts[0].model_copy(update={"words": words, "left_out": left_out, "seconds": length})


def _stamp(path: Path) -> tuple[int, int] | None:
    """Size and time of change of a file; None when it is not there."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_size, found.st_mtime_ns


def _changed(state: _State) -> str | None:
    """What happened to the file while it was read; None if nothing did."""
    stamp = _stamp(state.path)
    if stamp == state.stamp:
        return None
    return GONE if stamp is None else CHANGED


def _how_many(waiting: int, kept: int) -> str:
    recordings = "1 recording" if waiting == 1 else f"{waiting} recordings"
    there = f", {kept} done before" if kept else ""
    return f"Transcribing {recordings}{there}."
