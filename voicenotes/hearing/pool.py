"""Runs tasks in several processes at once and hands out their answers as they come.

A process that dies is replaced, and its task tried once more; one that falls silent for too long is ended.
When the visit's own process dies, however suddenly, they all go with it: they end when nobody writes to
them any more.
"""

from __future__ import annotations

import base64
import contextlib
import functools
import os
import pickle
import queue
import signal
import subprocess
import sys
import threading
from collections import deque
from pathlib import Path
from typing import TYPE_CHECKING

from pydantic import ValidationError

import voicenotes
from voicenotes.hearing.messages import ANSWERS, Answer, At, Ended, Failed, Looked, Piece, Task
from voicenotes.hearing.work import work

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from typing import BinaryIO, Literal

    from voicenotes.speech.engine import SpeechEngine

MOST_PROCESSES = 16
# Silence that is still taken for work: decoding a window takes a second or so; a large Whisper model on a
# slow machine may take minutes to load and to get through half a minute of talk.
DECODING_LIMIT_S = 120.0
ENGINE_LIMIT_S = 1200.0
ENDING_LIMIT_S = 10.0  # from the last word of a process to its end
TRIES = 2


def processes_for(engine: SpeechEngine) -> int:
    """How many processes to use on this machine: one a core, or one if the engine uses all cores itself."""
    if not engine.processes:
        return 1
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return min(cores, MOST_PROCESSES)


class Pool:
    """A few processes with an engine each; use it as a context, they end with it.

    With no processes the tasks are done in this one, one after the other. `threads` are those of an engine
    that works with threads; by default what the machine allows.
    """

    def __init__(self, engine: SpeechEngine, processes: int, threads: int | None = None) -> None:
        self._engine = engine
        self._crews = [_Crew(engine, threads) for _ in range(processes)]

    @property
    def is_shared(self) -> bool:
        """Whether there are several processes."""
        return len(self._crews) > 1

    def __enter__(self) -> Pool:
        return self

    def __exit__(self, *_: object) -> None:
        for crew in self._crews:
            crew.end()

    def do(self, tasks: Sequence[Task], take: Callable[[Task, Answer], None]) -> None:
        """Do all tasks; each answer goes to `take` as it comes, the last to a task Looked, Ended or Failed.

        What `take` raises ends the work and passes through.
        """
        if not self._crews:
            for task in tasks:
                work(self._engine, task, functools.partial(take, task))
            return
        waiting = deque(tasks)
        came: queue.Queue[tuple[Task, Answer] | BaseException | None] = queue.Queue()
        busy = 0
        for crew in self._crews[: len(tasks)]:
            threading.Thread(target=crew.work_off, args=(waiting, came), daemon=True).start()
            busy += 1
        try:
            while busy:
                answer = came.get()
                if answer is None:
                    busy -= 1
                elif isinstance(answer, BaseException):
                    raise answer
                else:
                    take(*answer)
        finally:
            waiting.clear()


class _Crew:
    """Looks after one process at a time and feeds it tasks."""

    def __init__(self, engine: SpeechEngine, threads: int | None) -> None:
        self._engine, self._threads = engine, threads
        self._child: _Child | None = None
        self._ended = False
        self._lock = threading.Lock()

    def work_off(
        self, waiting: deque[Task], came: queue.Queue[tuple[Task, Answer] | BaseException | None]
    ) -> None:
        """Do tasks until none is waiting; then None comes."""
        try:
            while not self._ended:
                try:
                    task = waiting.popleft()
                except IndexError:
                    break
                for answer in self._do(task):
                    came.put((task, answer))
        except BaseException as error:
            came.put(error)
        finally:
            came.put(None)

    def end(self) -> None:
        """End the process; whoever waits for it notices."""
        with self._lock:
            self._ended = True
            if self._child:
                self._child.kill()

    def _do(self, task: Task) -> Iterator[Answer]:
        """The answers to one task; when the process breaks, another one tries the rest of it again."""
        for left in reversed(range(TRIES)):
            try:
                child = self._started()
                if child is None:
                    return
                for answer in child.answers(task):
                    if isinstance(answer, Piece):
                        task = task.model_copy(update={"known": (*task.known, answer.number)})
                    yield answer
                return
            except _BrokenError as broken:
                self._let_go()
                if not left or broken.is_final:
                    yield Failed(where=broken.where, line=broken.line)
                    return

    def _let_go(self) -> None:
        child, self._child = self._child, None
        if child:
            child.kill()

    def _started(self) -> _Child | None:
        with self._lock:
            if self._child is None and not self._ended:
                self._child = _Child(self._engine, self._threads)
            return None if self._ended else self._child


class _BrokenError(Exception):
    """A process died or fell silent; `line` says so, `is_final` that trying again is of no use."""

    def __init__(
        self, line: str, is_final: bool = False, where: Literal["recording", "engine"] = "recording"
    ) -> None:
        super().__init__(line)
        self.line, self.is_final, self.where = line, is_final, where


class _Child:
    """A process of `hearing.work`, a thread that listens to it, and one that writes to it.

    Nobody waits for the writing: a process that never reads is noticed by its silence.
    """

    def __init__(self, engine: SpeechEngine, threads: int | None) -> None:
        wrapped = base64.b64encode(pickle.dumps(engine))
        try:
            self._process = subprocess.Popen(
                # -P: nothing is imported from the current folder, which may be the visit's
                [sys.executable, "-P", "-m", "voicenotes.hearing.work"],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                env=_environment(engine, threads),
            )
        except OSError as error:
            reason = error.strerror or type(error).__name__
            line = f"no process can be started for it ({reason}); close other programs, then process again"
            raise _BrokenError(line, where="engine") from None
        self._limit = ENGINE_LIMIT_S
        self._lines: queue.Queue[bytes] = queue.Queue()
        self._said: queue.Queue[bytes | None] = queue.Queue()
        assert self._process.stdin and self._process.stdout
        for target, stream, lines in (
            (_listen, self._process.stdout, self._lines),
            (_speak, self._process.stdin, self._said),
        ):
            threading.Thread(target=target, args=(stream, lines), daemon=True).start()
        self._said.put(wrapped)

    def answers(self, task: Task) -> Iterator[Answer]:
        """Give it a task; its answers to the last one. Raises _BrokenError when one fails to come."""
        self._said.put(task.model_dump_json().encode())
        while True:
            answer = self._answer()
            yield answer
            if isinstance(answer, (Looked, Ended, Failed)):
                return

    def _answer(self) -> Answer:
        try:
            line = self._lines.get(timeout=self._limit)
        except queue.Empty:
            silent = f"gave no sign for {self._limit:.0f} s and was given up; {_ANOTHER}"
            raise _BrokenError(silent, is_final=True) from None
        if not line.endswith(b"\n"):  # there is no more, or it ended in the middle of a line
            raise _BrokenError(f"could not be read: {self._end()}; {_ANOTHER}")
        try:
            answer = ANSWERS.validate_json(line)
        except ValidationError:
            raise _BrokenError(f"could not be read: what read it answered nonsense; {_ANOTHER}") from None
        if isinstance(answer, At):
            self._limit = ENGINE_LIMIT_S if answer.busy else DECODING_LIMIT_S
        return answer

    def kill(self) -> None:
        """End the process; both threads end with it, and close what they hold."""
        with contextlib.suppress(OSError):
            self._process.kill()
        self._process.wait()
        self._said.put(None)

    def _end(self) -> str:
        try:
            code = self._process.wait(ENDING_LIMIT_S)
        except subprocess.TimeoutExpired:
            return "the process that read it answers no more"
        if code >= 0:
            return f"the process that read it ended with code {code}"
        with contextlib.suppress(ValueError):
            return f"the process that read it was ended by {signal.Signals(-code).name}"
        return f"the process that read it was ended by signal {-code}"


_ANOTHER = "listen to it, and save it again in another format"


def _listen(source: BinaryIO, lines: queue.Queue[bytes]) -> None:
    """Pass lines on; an empty one says that there are no more."""
    with source:
        while line := source.readline():
            lines.put(line)
    lines.put(b"")


def _speak(target: BinaryIO, lines: queue.Queue[bytes | None]) -> None:
    """Write lines until None comes; what a dead process doesn't take is lost, its silence tells."""
    with contextlib.suppress(OSError), target:
        while (line := lines.get()) is not None:
            target.write(line + b"\n")
            target.flush()


def _environment(engine: SpeechEngine, threads: int | None) -> dict[str, str]:
    """This process's environment, with the same voicenotes; one thread each where there are several."""
    home = str(Path(voicenotes.__file__).parent.parent)
    paths = [home, *filter(None, [os.environ.get("PYTHONPATH")])]
    number = 1 if engine.processes else threads
    names = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS") if number else ()
    return {**os.environ, **dict.fromkeys(names, str(number)), "PYTHONPATH": os.pathsep.join(paths)}
