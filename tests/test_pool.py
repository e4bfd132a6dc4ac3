"""Processes that transcribe: they crash, fall silent, print rubbish, are killed; the visit goes on."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
from make_audio import RATE, speech_like, write_audio
from stand_in_engine import LOUD, StandInEngine, calls, command, environment, marks

from voicenotes.errors import EngineError
from voicenotes.hearing import pool
from voicenotes.hearing.hear import hear_all
from voicenotes.hearing.kept import Ear, Heard
from voicenotes.hearing.messages import Answer, Ended, Failed, Piece, Task, place_of

pytestmark = pytest.mark.skipif(not Path("/proc/self/fd").exists(), reason="looks at processes in /proc")


@pytest.fixture(autouse=True)
def workers_find_the_engine(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PYTHONPATH", environment()["PYTHONPATH"])


def memo(path: Path, seed: int, loud: bool = False, seconds: float = 2.0) -> Path:
    """A short recording, each seed another one; a loud one is what the engine has trouble with."""
    voice = speech_like([(0.2, seconds - 0.2)], seconds, 0.2)
    voice[RATE // 2] = LOUD + 0.1 if loud else 0.3 + 0.01 * seed
    return write_audio(path, "pcm_s16le", rate=RATE, samples=voice)


@pytest.fixture
def memos(tmp_path: Path) -> list[Path]:
    """Three recordings; the second is the loud one."""
    return [memo(tmp_path / f"{seed}.wav", seed, loud=seed == 2) for seed in (1, 2, 3)]


def hear(tmp_path: Path, engine: StandInEngine, paths: list[Path], processes: int = 2) -> list[Heard]:
    cache = tmp_path / "cache"
    cache.mkdir(parents=True, exist_ok=True)
    heard = hear_all(Ear(engine, "material", cache), paths, processes=processes)
    return [heard[path] for path in paths]


@pytest.mark.parametrize("trouble", ["crash", "leave", "rubbish", "half"])
def test_a_process_that_breaks_once_costs_nothing(
    tmp_path: Path, log: Path, memos: list[Path], trouble: str
) -> None:
    undisturbed = hear(tmp_path / "whole", StandInEngine(str(tmp_path / "other")), memos, 0)
    assert hear(tmp_path, StandInEngine(str(log), trouble=trouble), memos) == undisturbed
    assert calls(log) == 4


@pytest.mark.parametrize(
    ("trouble", "line"),
    [
        ("crash", "could not be read: the process that read it was ended by SIGSEGV; listen to it, and save"),
        ("leave", "could not be read: the process that read it ended with code 3; listen to it, and save"),
        ("rubbish", "could not be read: what read it answered nonsense; listen to it, and save"),
        ("half", "could not be read: the process that read it was ended by SIGKILL; listen to it, and save"),
    ],
)
def test_one_that_breaks_twice_costs_one_recording(
    tmp_path: Path, log: Path, memos: list[Path], trouble: str, line: str
) -> None:
    first, bad, last = hear(tmp_path, StandInEngine(str(log), trouble=trouble, times=2), memos)
    assert bad.transcript is None and (bad.problem or "").startswith(line)
    assert (first.problem, last.problem) == (None, None)
    assert first.transcript and last.transcript
    assert calls(log) == 4
    assert hear(tmp_path, StandInEngine(str(log)), memos)[1].problem is None  # it was not kept as a failure
    assert calls(log) == 5


def test_one_that_falls_silent_is_given_up_and_not_tried_again(
    tmp_path: Path, log: Path, memos: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pool, "ENGINE_LIMIT_S", 4.0)
    first, bad, last = hear(tmp_path, StandInEngine(str(log), trouble="silence", times=9), memos)
    assert bad.problem == (
        "gave no sign for 4 s and was given up; listen to it, and save it again in another format"
    )
    assert first.transcript and last.transcript
    assert calls(log) == 3


def test_a_process_that_never_reads_is_given_up(
    tmp_path: Path, log: Path, memos: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    """More than a pipe holds is to be said to it; it sleeps."""
    asleep = tmp_path / "asleep"
    asleep.write_text("#!/bin/sh\nexec sleep 600\n")
    asleep.chmod(0o755)
    monkeypatch.setattr(sys, "executable", str(asleep))
    monkeypatch.setattr(pool, "ENGINE_LIMIT_S", 0.5)
    engine = StandInEngine(str(log), settings="x" * 1_000_000)
    heard = hear(tmp_path, engine, memos[:1], 1)
    assert (heard[0].problem or "").startswith("gave no sign for 0 s and was given up")


def test_where_no_process_can_be_started_the_engine_is_to_blame(
    tmp_path: Path, log: Path, memos: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "executable", str(tmp_path / "nowhere"))
    with pytest.raises(EngineError, match=r"no process can be started for it \(No such file or directory\)"):
        hear(tmp_path, StandInEngine(str(log)), memos)


def test_windows_heard_before_a_crash_are_not_heard_again(tmp_path: Path, log: Path) -> None:
    """Nine minutes are three windows; the loud place is in the last, whose process crashes once."""
    voice = speech_like([(0.2, 1.8)], 540.0, 0.2)
    voice[::RATE] = np.linspace(0.1, 0.5, 540)
    voice[530 * RATE] = LOUD + 0.1
    path = write_audio(tmp_path / "long.wav", "pcm_s16le", rate=RATE, samples=voice)
    (heard,) = hear(tmp_path, StandInEngine(str(log), trouble="crash"), [path], 1)
    assert heard.problem is None
    given = marks(log)
    assert len(given) == 4 and len(set(given)) == 3 and given[2] == given[3]


# --- the visit's own process


def gone(process: int) -> bool:
    """Whether a process has ended; one that nobody has asked after (a zombie) has ended too."""
    try:
        state = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[0]
    except OSError:
        return True
    return state == "Z"


def children_of(process: int) -> list[int]:
    found = []
    for tasks in Path(f"/proc/{process}/task").glob("*/children"):
        with contextlib.suppress(OSError):
            found += [int(number) for number in tasks.read_text().split()]
    return found


def wait_for(what: Callable[[], bool], seconds: float = 30.0) -> bool:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if what():
            return True
        time.sleep(0.05)
    return False


@contextlib.contextmanager
def running(engine: StandInEngine, visit: Path, pack: Path) -> Iterator[subprocess.Popen[bytes]]:
    """`voicenotes process` in a process group of its own."""
    started = subprocess.Popen(
        command(engine, "process", visit, "--pack", pack),
        env=environment(),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        start_new_session=True,
    )
    try:
        yield started
    finally:
        with contextlib.suppress(ProcessLookupError):
            os.killpg(started.pid, signal.SIGKILL)
        started.communicate()


@pytest.fixture
def visit(tmp_path: Path) -> Path:
    folder = tmp_path / "visit"
    folder.mkdir()
    for seed in range(6):
        memo(folder / f"{seed}.wav", seed)
    return folder


def test_all_go_with_the_visits_process(tmp_path: Path, log: Path, visit: Path, pack: Path) -> None:
    with running(StandInEngine(str(log), delay_s=60), visit, pack) as started:
        assert wait_for(lambda: calls(log) >= 1)
        workers = children_of(started.pid)
        assert workers
        started.kill()
        assert wait_for(lambda: all(gone(worker) for worker in workers), 10.0)


def test_an_interrupt_ends_all_and_keeps_what_is_finished(
    tmp_path: Path, log: Path, visit: Path, pack: Path
) -> None:
    with running(StandInEngine(str(log), delay_s=0.5), visit, pack) as started:
        assert wait_for(lambda: calls(log) >= 4)
        workers = children_of(started.pid)
        os.killpg(started.pid, signal.SIGINT)
        _, said = started.communicate(timeout=30)
        assert started.returncode == 130
        assert said.decode().splitlines()[-1] == "voicenotes: interrupted"
        assert "Traceback" not in said.decode()
        assert all(gone(worker) for worker in workers)
    assert not (visit / "record.json").exists()
    kept = len(list((visit / ".voicenotes").glob("*.json")))
    assert kept >= 2
    before = calls(log)
    done = subprocess.run(
        command(StandInEngine(str(log)), "process", visit, "--pack", pack, "--quiet"),
        env=environment(),
        check=False,
    )
    assert done.returncode == 0
    assert calls(log) - before == 6 - kept


def open_files() -> int:
    return len(list(Path("/proc/self/fd").iterdir()))


def test_many_runs_leave_no_process_thread_or_open_file(tmp_path: Path, log: Path) -> None:
    path = memo(tmp_path / "1.wav", 1, loud=True)
    engine = StandInEngine(str(log), trouble="crash", times=10_000)
    others = set(threading.enumerate())  # of libraries that other tests have loaded
    hear(tmp_path, engine, [path], 1)
    assert wait_for(lambda: set(threading.enumerate()) <= others)
    before, children = open_files(), set(children_of(os.getpid()))
    for _ in range(3):
        hear(tmp_path, engine, [path], 2)
    assert wait_for(lambda: set(threading.enumerate()) <= others and open_files() == before)
    assert set(children_of(os.getpid())) <= children


def test_what_takes_the_answers_may_end_the_work(tmp_path: Path, log: Path, memos: list[Path]) -> None:
    def take(_task: Task, answer: Answer) -> None:
        if isinstance(answer, Piece):
            raise KeyboardInterrupt

    others = set(children_of(os.getpid()))  # of libraries that other tests have loaded
    for processes in (0, 1):
        with (
            pytest.raises(KeyboardInterrupt),
            pool.Pool(StandInEngine(str(log), delay_s=0.2), processes) as crew,
        ):
            crew.do([Task(place=place_of(path)) for path in memos], take)
    assert wait_for(lambda: set(children_of(os.getpid())) <= others)


@pytest.mark.parametrize("processes", [0, 1, 2])
def test_each_task_ends_once(tmp_path: Path, log: Path, memos: list[Path], processes: int) -> None:
    missing = tmp_path / "missing.wav"
    ended: list[tuple[str, str]] = []

    def take(task: Task, answer: Answer) -> None:
        if isinstance(answer, Ended | Failed):
            ended.append((task.path.name, answer.kind))

    with pool.Pool(StandInEngine(str(log)), processes) as crew:
        crew.do([Task(place=place_of(path)) for path in (*memos, missing)], take)
    assert sorted(ended) == [
        ("1.wav", "ended"),
        ("2.wav", "ended"),
        ("3.wav", "ended"),
        ("missing.wav", "failed"),
    ]


@pytest.mark.parametrize(
    ("several", "cores", "processes", "threads"),
    [(True, 2, 2, "1"), (True, 1, 1, "1"), (False, 2, 1, "2"), (False, 1, 1, "1")],
)
def test_an_engine_of_threads_gets_one_process_with_so_many(
    tmp_path: Path, log: Path, memos: list[Path], several: bool, cores: int, processes: int, threads: str
) -> None:
    engine = StandInEngine(str(log), delay_s=0.3, processes=several)
    hear(tmp_path, engine, memos, cores)
    lines = [line.split() for line in log.read_text().splitlines()]
    assert (len({line[0] for line in lines}), {line[2] for line in lines}) == (processes, {threads})
