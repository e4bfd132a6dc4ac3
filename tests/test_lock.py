"""One process at a time on a visit; the lock of a dead one holds nobody up."""

from __future__ import annotations

import contextlib
import json
import os
import platform
import signal
import subprocess
import threading
import time
from pathlib import Path

import pytest
from stand_in_engine import StandInEngine, calls, command, environment
from test_kept import memo

from voicenotes.errors import VisitError
from voicenotes.lock import LOCK_FILE, OWNER_FILE, visit_lock
from voicenotes.visit import load_record

pytestmark = pytest.mark.skipif(os.name != "posix", reason="POSIX processes")


@pytest.fixture
def visit(tmp_path: Path) -> Path:
    folder = tmp_path / "visit"
    folder.mkdir()
    for seed in range(3):
        memo(folder / f"{seed}.wav", seed)
    return folder


def start(engine: StandInEngine, visit: Path, pack: Path) -> subprocess.Popen[str]:
    return subprocess.Popen(
        command(engine, "process", visit, "--pack", pack, "--quiet"),
        env=environment(),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def wait_for_calls(log: Path, number: int = 1) -> None:
    end = time.monotonic() + 30
    while calls(log) < number:
        assert time.monotonic() < end
        time.sleep(0.05)


def test_the_second_of_two_processes_says_who_the_first_is(tmp_path: Path, visit: Path, pack: Path) -> None:
    log = tmp_path / "log"
    first = start(StandInEngine(str(log), delay_s=3.0), visit, pack)
    wait_for_calls(log)
    second = start(StandInEngine(str(tmp_path / "other")), visit, pack)
    out, said = second.communicate(timeout=60)
    assert (second.returncode, out) == (2, "")
    assert said.startswith(f"voicenotes: {visit}: is being processed by process {first.pid} of ")
    assert f" on {platform.node()} since 20" in said
    assert said.endswith("; wait until that has ended\n") and said.count("\n") == 1
    assert not (visit / "record.json").exists()
    first.communicate(timeout=60)
    assert first.returncode == 0
    assert [entry.problem for entry in load_record(visit).recordings] == [None] * 3
    assert calls(tmp_path / "other") == 0
    assert not (visit / ".voicenotes" / OWNER_FILE).exists()


def test_many_at_once_give_one_record_and_refusals(tmp_path: Path, visit: Path, pack: Path) -> None:
    log = tmp_path / "log"
    all_of_them = [start(StandInEngine(str(log), delay_s=0.5), visit, pack) for _ in range(4)]
    for process in all_of_them:
        _, said = process.communicate(timeout=120)
        assert process.returncode in (0, 2)
        assert (process.returncode == 2) == ("is being processed by " in said), said
    assert 0 in {process.returncode for process in all_of_them}
    assert calls(log) == 3
    assert [entry.problem for entry in load_record(visit).recordings] == [None] * 3


def test_the_lock_of_a_killed_process_holds_nobody_up(tmp_path: Path, visit: Path, pack: Path) -> None:
    log = tmp_path / "log"
    killed = start(StandInEngine(str(log), delay_s=60), visit, pack)
    wait_for_calls(log)
    killed.send_signal(signal.SIGKILL)
    killed.communicate()
    assert (visit / ".voicenotes" / OWNER_FILE).exists()
    following = start(StandInEngine(str(log)), visit, pack)
    following.communicate(timeout=60)
    assert following.returncode == 0
    assert [entry.problem for entry in load_record(visit).recordings] == [None] * 3


def said_by_the_second(folder: Path, owner: str | bytes | None) -> str:
    """What a second process is told when the owner's file holds this."""
    home = folder / ".voicenotes"
    home.mkdir(exist_ok=True)
    with visit_lock(folder, home):
        if owner is None:
            (home / OWNER_FILE).unlink()
        else:
            (home / OWNER_FILE).write_bytes(owner if isinstance(owner, bytes) else owner.encode())
        with pytest.raises(VisitError) as caught, visit_lock(folder, home):
            pass
        with contextlib.suppress(OSError):
            (home / OWNER_FILE).unlink()
    return str(caught.value)


ME = {"process": os.getpid(), "machine": platform.node(), "user": "kim", "since": "2024-03-12 09:14:05"}


@pytest.mark.parametrize(
    ("owner", "who"),
    [
        (json.dumps(ME), f"by process {os.getpid()} of kim on {platform.node()} since 2024-03-12 09:14:05"),
        (json.dumps({**ME, "process": 2**22 + 1}), "by another process"),  # above what Linux ever gives
        (json.dumps({**ME, "process": 10**30}), "by another process"),
        (
            json.dumps({**ME, "process": 2**22 + 1, "machine": "van-laptop"}),
            "by process 4194305 of kim on van-laptop since 2024-03-12 09:14:05",
        ),
        (None, "by another process"),
        ("", "by another process"),
        ('{"process": 1', "by another process"),
        ("[1, 2]", "by another process"),
        ("null", "by another process"),
        (b"\xff\xfe", "by another process"),
        (json.dumps({"process": 1}), "by another process"),
    ],
    ids=range(11),  # a process number in an id would be another one in each process that collects tests
)
def test_who_it_is(tmp_path: Path, owner: str | bytes | None, who: str) -> None:
    assert said_by_the_second(tmp_path, owner) == (
        f"{tmp_path}: is being processed {who}; wait until that has ended"
    )


def test_the_lock_is_free_again_after_an_error(tmp_path: Path) -> None:
    for _ in range(3):
        with pytest.raises(ZeroDivisionError), visit_lock(tmp_path, tmp_path):
            raise ZeroDivisionError
    with visit_lock(tmp_path, tmp_path):
        assert json.loads((tmp_path / OWNER_FILE).read_text())["process"] == os.getpid()


def test_what_stands_in_the_locks_place_is_said(tmp_path: Path) -> None:
    (tmp_path / LOCK_FILE).mkdir()
    with pytest.raises(VisitError, match=r"can't be locked \(") as caught, visit_lock(tmp_path, tmp_path):
        pass
    assert "\n" not in str(caught.value)


def test_a_link_in_the_locks_place_is_not_followed(tmp_path: Path) -> None:
    precious = tmp_path / "precious.txt"
    precious.write_text("a letter")
    home = tmp_path / "home"
    home.mkdir()
    (home / LOCK_FILE).symlink_to(precious)
    (home / OWNER_FILE).symlink_to(precious)
    with contextlib.suppress(VisitError), visit_lock(tmp_path, home):
        pass
    assert precious.read_text() == "a letter"


def test_somebody_patient_gets_the_lock_when_it_is_free(tmp_path: Path) -> None:
    """As when a worker takes over from one whose machine is gone."""
    free = threading.Event()
    held = threading.Event()

    def hold() -> None:
        with visit_lock(tmp_path, tmp_path):
            held.set()
            free.wait(30)

    holder = threading.Thread(target=hold)
    holder.start()
    assert held.wait(30)
    threading.Timer(0.3, free.set).start()
    with visit_lock(tmp_path, tmp_path, patience_s=30):
        assert free.is_set()
    holder.join()
