"""A backlog on a Dask cluster of two worker processes, one of which is killed on the way."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import distributed
import pytest
from stand_in_engine import StandInEngine, calls, environment, marks, put_in
from test_cli import refused, run
from test_kept import memo

from voicenotes.backlog import cluster as cluster_module
from voicenotes.backlog import spread
from voicenotes.backlog.build import build
from voicenotes.backlog.on_worker import Job, hidden
from voicenotes.backlog.outcomes import Orders
from voicenotes.visit import process_visit
from voicenotes.vocabulary.load import load_pack

pytestmark = pytest.mark.skipif(os.name != "posix", reason="POSIX processes")

VISITS, MEMOS = 6, 3


@dataclass
class PutIn(distributed.WorkerPlugin):
    """Gives a worker's visits the stand-in engine."""

    engine: StandInEngine
    name: str = "put-in"

    def setup(self, worker: object) -> None:
        from voicenotes.speech import choose

        engine = self.engine
        choose.choose_engine = lambda *_, **__: (engine, "Speech engine: stand-in.")  # type: ignore[assignment]


def started(workers: int, threads: int) -> Any:
    return distributed.LocalCluster(
        n_workers=workers, threads_per_worker=threads, processes=True, dashboard_address=None
    )


@pytest.fixture(scope="module")
def cluster() -> Iterator[Any]:
    """Two workers with a thread each, which find the modules of the tests."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PYTHONPATH", environment()["PYTHONPATH"])
        with started(2, 1) as two:
            yield two


def give(address: str, engine: StandInEngine) -> None:
    with distributed.Client(address, set_as_default=False) as client:
        client.register_plugin(PutIn(engine))


@pytest.fixture
def backlog(tmp_path: Path) -> list[Path]:
    """Visits of three memos each, no two alike."""
    visits = []
    for number in range(VISITS):
        visit = tmp_path / "backlog" / f"unit-{number}"
        visit.mkdir(parents=True)
        for at in range(MEMOS):
            memo(visit / f"2024-03-12 09-0{at}-00.wav", 10 * number + at)
        visits.append(visit)
    return visits


def command(address: str, pack: Path, visits: list[Path]) -> subprocess.Popen[str]:
    words = [sys.executable, "-W", "error", "-m", "voicenotes", "process", *map(str, visits)]
    return subprocess.Popen(
        [*words, "--pack", str(pack), "--scheduler", address],
        env=environment(),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def kill_one_at_work(address: str) -> None:
    """kill -9 to a worker that has a visit."""
    with distributed.Client(address, set_as_default=False) as client:
        processes = client.run(os.getpid)
        worker = next(each for each, tasks in client.processing().items() if tasks)
        os.kill(processes[worker], signal.SIGKILL)


def test_a_killed_worker_costs_what_it_had_not_finished(
    tmp_path: Path, cluster: Any, backlog: list[Path], pack: Path, log: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    alone = tmp_path / "alone"
    shutil.copytree(backlog[0].parent, alone)
    give(cluster.scheduler_address, StandInEngine(str(log), delay_s=0.3))
    running = command(cluster.scheduler_address, pack, backlog)
    end = time.monotonic() + 60
    while calls(log) < 5:
        assert time.monotonic() < end and running.poll() is None, running.communicate()
        time.sleep(0.02)
    kill_one_at_work(cluster.scheduler_address)
    out, err = running.communicate(timeout=120)
    assert running.returncode == 0, err
    heard = marks(log)
    assert len(set(heard)) == VISITS * MEMOS
    assert len(heard) <= VISITS * MEMOS + 1  # the recording that the dead one was at
    assert f"{cluster.scheduler_address}: 2 workers, 2 threads.\n" in err
    assert f" ({VISITS} of {VISITS} visits)\n" in err
    assert out.startswith(f"VISITS ({VISITS})") and f"{VISITS} of {VISITS} visits read.\n" in out

    put_in(StandInEngine(str(tmp_path / "other")), monkeypatch)
    for visit in backlog:
        process_visit(alone / visit.name, pack)
        assert (visit / "record.json").read_bytes() == (alone / visit.name / "record.json").read_bytes()
        assert not list(visit.rglob("*.tmp"))

    code, out, _ = run("process", *backlog, "--pack", pack, "--scheduler", cluster.scheduler_address)
    assert (code, len(marks(log))) == (0, len(heard))
