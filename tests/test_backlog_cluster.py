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
        n_workers=workers, threads_per_worker=threads, processes=True, dashboard_address=":0"
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


def test_each_visit_has_its_own_outcome(
    tmp_path: Path, cluster: Any, backlog: list[Path], pack: Path, log: Path
) -> None:
    give(cluster.scheduler_address, StandInEngine(str(log)))
    empty, fine, nowhere = tmp_path / "empty", backlog[0], tmp_path / "nowhere"
    empty.mkdir()
    memo(fine / "memo.wav", 99).write_bytes(b"no sound")
    visits = (empty, fine, nowhere, backlog[1], backlog[1] / ".." / backlog[1].name)
    code, out, err = run("process", *visits, "--pack", pack, "--scheduler", cluster.scheduler_address)
    assert code == 1
    assert f"{empty}: no recordings; put the voice memos" in err
    assert f"{nowhere}: no such folder; name the folder" in err
    assert f"{fine}: memo.wav: is " in err
    rows = [line.split() for line in out.splitlines() if line.startswith("  ")]
    assert [row[1:] for row in rows] == [
        ["failed"],
        ["3", "of", "4", "0:01", "0", "0", rows[1][-1]],
        ["failed"],
        ["3", "0:01", "0", "0", rows[3][-1]],
    ]
    assert "1 of 4 visits read, 1 in part, 2 failed.\n" in out
    assert all(len(line) <= 80 for line in out.splitlines())


def test_a_worker_uses_as_many_processes_as_it_has_threads_and_its_loss_is_a_line(
    backlog: list[Path], pack: Path, log: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PYTHONPATH", environment()["PYTHONPATH"])
    monkeypatch.setattr(spread, "LOST_LIMIT_S", 1.0)
    monkeypatch.setattr(spread, "LOOK_EVERY_S", 0.2)
    with distributed.LocalCluster(n_workers=0, dashboard_address=":0") as empty:
        options = ("--no-nanny", "--nthreads", "2", "--no-dashboard")
        worker = subprocess.Popen(
            [sys.executable, "-m", "distributed.cli.dask_worker", empty.scheduler_address, *options],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        try:
            give(empty.scheduler_address, StandInEngine(str(log), delay_s=0.3))
            ended: list[str] = []

            def done(outcome: Any) -> None:
                ended.append(outcome.visit)
                worker.kill()

            found = spread.process_on_cluster(
                empty.scheduler_address, backlog[:3], Orders(load_pack(pack)), done
            )
        finally:
            worker.kill()
            worker.wait()
    assert len({line.split()[0] for line in log.read_text().splitlines()}) >= 2  # processes that heard
    assert ended == [str(backlog[0])]
    assert [outcome.failed for outcome in found.outcomes] == [None, "not reached", "not reached"]
    assert found.lost and found.lost.startswith("the scheduler has had no workers for ")
    assert found.lost.endswith("then run the same command again, it goes on from there")


@pytest.mark.parametrize(
    ("address", "line"),
    [
        ("nonsense", "nonsense: is no scheduler's address (missing port number in address 'nonsense')"),
        ("pigeon://there:8786", "pigeon://there:8786: is no scheduler's address (unknown address scheme"),
        ("tcp://127.0.0.1:1", "tcp://127.0.0.1:1: no scheduler answers there within "),
        ("tcp://no-such-machine.invalid:8786", "tcp://no-such-machine.invalid:8786: no scheduler answers"),
        ("tls://127.0.0.1:1", "tls://127.0.0.1:1: needs certificates"),
    ],
)
def test_a_wrong_address_is_one_line(
    backlog: list[Path], pack: Path, monkeypatch: pytest.MonkeyPatch, address: str, line: str
) -> None:
    monkeypatch.setattr(cluster_module, "REACH_LIMIT_S", 0.3)
    assert line in refused("process", *backlog, "--pack", pack, "--scheduler", address)


def test_what_else_is_refused(
    cluster: Any, backlog: list[Path], pack: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def said(*words: str) -> str:
        return refused("process", *backlog, "--pack", pack, *words)

    address = cluster.scheduler_address
    with distributed.Client(address, set_as_default=False) as client:
        worker = next(iter(client.nthreads()))
    assert said("--scheduler", worker).startswith(f"voicenotes: {worker}: is no scheduler but a worker")
    assert "run 'voicenotes fetch'" in said("--scheduler", address, "--download")
    monkeypatch.setattr(cluster_module, "WORKERS_LIMIT_S", 0.1)
    with distributed.LocalCluster(n_workers=0, dashboard_address=":0") as empty:
        assert "the scheduler has no workers; start some with" in said("--scheduler", empty.scheduler_address)
    monkeypatch.setattr(cluster_module, "build", lambda: "0.0.9 (12345678)")
    line = said("--scheduler", address)
    assert f"has voicenotes {build()}, and this is 0.0.9 (12345678); install the same on both" in line
    monkeypatch.setitem(sys.modules, "distributed", None)
    line = said("--scheduler", address)
    assert line == (
        "voicenotes: --scheduler needs Dask (distributed is not installed): pip install 'voicenotes[backlog]'"
    )
    assert not any((visit / "record.json").exists() for visit in backlog)


def test_a_worker_that_does_not_see_the_visit_says_so(tmp_path: Path, pack: Path) -> None:
    def said(folder: Path, *names: str) -> str:
        return hidden(Job("unit", folder, Orders(load_pack(pack)), frozenset(names), build(), "")) or ""

    memo(tmp_path / "memo.wav", 1)
    assert said(tmp_path, "memo.wav", "new.wav") == ""
    assert f" sees no folder {tmp_path / 'unit'}; put the visits on a disk that " in said(tmp_path / "unit")
    assert f" sees other files in {tmp_path}; put the visits on a disk that " in said(tmp_path, "new.wav")
    if os.geteuid():
        tmp_path.chmod(0o500)
        assert f" may not write into {tmp_path}; change its permissions" in said(tmp_path, "memo.wav")
        tmp_path.chmod(0o700)
