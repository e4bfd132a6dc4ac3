"""Recordings that grow, change, vanish or are replaced while a visit is processed, and the folder itself."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from make_audio import RATE, write_audio
from stand_in_engine import StandInEngine, calls, command, environment, put_in
from test_kept import memo

from voicenotes.errors import NoRoomError
from voicenotes.files import sha256_of
from voicenotes.hearing.recording import CHANGED, GONE
from voicenotes.model import Record, Transcript
from voicenotes.visit import process_visit

NOBODY = ("setpriv", "--reuid=65534", "--regid=65534", "--clear-groups")


class Meddler(StandInEngine):
    """While the nth sound is heard, somebody does something."""

    def __init__(self, log: Path) -> None:
        super().__init__(str(log))
        self.then: dict[int, Callable[[], object]] = {}

    def transcribe(self, samples: np.ndarray, progress: Callable[[float], None] | None = None) -> Transcript:
        heard = super().transcribe(samples, progress)
        self.then.pop(calls(Path(self.log)), lambda: None)()
        return heard


@pytest.fixture
def engine(log: Path, monkeypatch: pytest.MonkeyPatch) -> Meddler:
    meddler = Meddler(log)
    put_in(meddler, monkeypatch)
    return meddler


@pytest.fixture
def visit(tmp_path: Path) -> Path:
    folder = tmp_path / "visit"
    folder.mkdir()
    memo(folder / "a.wav", 1)
    memo(folder / "b.wav", 2)
    return folder


def entries(record: Record) -> dict[str, tuple[str | None, str | None]]:
    """Problem and hash by file."""
    return {entry.file: (entry.problem, entry.sha256) for entry in record.recordings}


def words(record: Record, name: str) -> int:
    return next(entry.words for entry in record.recordings if entry.file == name)


def test_a_copy_that_grows_and_is_whole_in_time_is_heard_whole(
    visit: Path, pack: Path, engine: Meddler, log: Path
) -> None:
    """The first half is there when the run begins; the rest comes while it is heard."""
    path = visit / "a.wav"
    content = path.read_bytes()
    path.write_bytes(content[: len(content) // 2])
    engine.then[1] = lambda: path.write_bytes(content)
    record = process_visit(visit, pack)
    assert entries(record)["a.wav"] == (None, sha256_of(path))
    assert next(entry.seconds for entry in record.recordings if entry.file == "a.wav") == 0.25
    assert calls(log) == 3
    process_visit(visit, pack)
    assert calls(log) == 3


def test_a_copy_that_still_grows_is_left_for_the_next_run(
    visit: Path, pack: Path, engine: Meddler, log: Path
) -> None:
    path = visit / "a.wav"
    content = path.read_bytes()
    path.write_bytes(content[:3000])
    engine.then[1] = lambda: path.write_bytes(content[:5000])
    engine.then[3] = lambda: path.write_bytes(content)
    said: list[str] = []
    record = process_visit(visit, pack, say=said.append)
    assert entries(record) == {"a.wav": (CHANGED, None), "b.wav": (None, sha256_of(visit / "b.wav"))}
    assert words(record, "a.wav") == 0
    assert "Changed since the record was written: a.wav." in said
    record = process_visit(visit, pack)
    assert entries(record)["a.wav"] == (None, sha256_of(path))
    assert calls(log) == 4


def changed(path: Path, seed: int) -> None:
    memo(path, seed)


def same_size_and_time(path: Path, seed: int) -> None:
    """Written over in place, its time set back: only the system's own note of the change is left."""
    before = path.stat()
    content = bytearray(path.read_bytes())
    content[-2000:] = bytes(2000) if seed % 2 else bytes([seed % 100]) * 2000
    path.write_bytes(content)
    os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))


def replaced(path: Path, seed: int) -> None:
    """Another file of the same size and time moved to its name."""
    before = path.stat()
    other = memo(path.with_name(".other.wav"), seed)
    assert other.stat().st_size == before.st_size
    os.utime(other, ns=(before.st_atime_ns, before.st_mtime_ns))
    other.replace(path)


@pytest.mark.parametrize("how", [changed, same_size_and_time, replaced])
def test_a_recording_that_is_changed_midway_is_heard_as_it_is_in_the_end(
    visit: Path, pack: Path, engine: Meddler, log: Path, how: Callable[[Path, int], None]
) -> None:
    path = visit / "a.wav"
    before = sha256_of(path)
    engine.then[1] = lambda: how(path, 31)
    record = process_visit(visit, pack)
    assert sha256_of(path) != before
    assert entries(record)["a.wav"] == (None, sha256_of(path))
    assert calls(log) == 3
    process_visit(visit, pack)
    assert calls(log) == 3


def test_one_that_is_touched_but_not_changed_is_heard_once(
    visit: Path, pack: Path, engine: Meddler, log: Path
) -> None:
    engine.then[1] = lambda: (visit / "a.wav").chmod(0o600)
    assert entries(process_visit(visit, pack))["a.wav"][0] is None
    assert calls(log) == 2


def test_the_record_has_the_hash_of_what_was_heard(visit: Path, pack: Path, engine: Meddler) -> None:
    """The first recording is heard and kept, and changes while the second one is heard."""
    path = visit / "a.wav"
    before = sha256_of(path)
    engine.then[2] = lambda: memo(path, 7)
    said: list[str] = []
    assert entries(process_visit(visit, pack, say=said.append))["a.wav"] == (None, before)
    assert said[-2] == "Changed since the record was written: a.wav."


def test_one_that_is_deleted_while_it_is_read_was_heard_and_says_so(
    visit: Path, pack: Path, engine: Meddler
) -> None:
    path = visit / "a.wav"
    before = sha256_of(path)
    engine.then[1] = path.unlink
    record = process_visit(visit, pack)
    assert entries(record)["a.wav"] == (GONE, before)
    assert words(record, "a.wav") > 0
    said: list[str] = []
    record = process_visit(visit, pack, say=said.append)
    assert list(entries(record)) == ["b.wav"]
    assert said == ["No longer in the folder, so not in the record either: a.wav."]


def test_one_that_is_deleted_before_its_turn_is_named(visit: Path, pack: Path, engine: Meddler) -> None:
    engine.then[1] = (visit / "b.wav").unlink
    record = process_visit(visit, pack)
    assert entries(record)["a.wav"][0] is None
    assert (entries(record)["b.wav"][0] or "").startswith("no such file")


def test_the_twin_of_a_deleted_one_is_no_victim(visit: Path, pack: Path, engine: Meddler, log: Path) -> None:
    shutil.copy(visit / "a.wav", visit / "c.wav")
    engine.then[1] = (visit / "a.wav").unlink
    found = entries(process_visit(visit, pack))
    assert (found["a.wav"][0], found["c.wav"][0]) == (GONE, None)
    assert calls(log) == 3


def test_the_twin_of_a_changed_one_is_no_victim(visit: Path, pack: Path, engine: Meddler, log: Path) -> None:
    shutil.copy(visit / "a.wav", visit / "c.wav")
    engine.then[1] = lambda: memo(visit / "a.wav", 9)
    found = entries(process_visit(visit, pack))
    assert (found["a.wav"][0], found["c.wav"][0]) == (None, None)
    assert found["a.wav"][1] != found["c.wav"][1]
    assert calls(log) == 4


def test_a_transcript_that_changes_while_it_is_read(
    visit: Path, pack: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for path in visit.glob("*.wav"):
        path.unlink()
    path = visit / "said.txt"
    path.write_text("spindle is quiet")
    texts = iter(["spindle growls", "spindle growls. coolant tank is dry"])
    real = Path.read_bytes

    def read(file: Path) -> bytes:
        content = real(file)
        if file == path and (text := next(texts, None)):
            path.write_text(text)
        return content

    monkeypatch.setattr(Path, "read_bytes", read)
    assert entries(process_visit(visit, pack)) == {"said.txt": (CHANGED, None)}
    record = process_visit(visit, pack)
    assert entries(record) == {"said.txt": (None, sha256_of(path))}
    assert record.check("tank.leaks").outcome == "ok"


@pytest.mark.parametrize("what", ["visit", "home"])
def test_a_folder_that_is_taken_away_midway(
    visit: Path, pack: Path, engine: Meddler, log: Path, what: str
) -> None:
    """With the visit's folder there is nothing left to do; the folder for kept transcripts is made again."""
    away = visit.with_name("away")
    if what == "visit":
        engine.then[1] = lambda: visit.rename(away)
        with pytest.raises(NoRoomError, match="was taken away while the visit was processed; put it back"):
            process_visit(visit, pack)
        assert calls(log) == 1
        assert not visit.exists()
        away.rename(visit)
    else:
        engine.then[1] = lambda: shutil.rmtree(visit / ".voicenotes")
        process_visit(visit, pack)
    before = calls(log)
    assert [problem for problem, _ in entries(process_visit(visit, pack)).values()] == [None, None]
    assert calls(log) - before == (2 if what == "visit" else 0)


# --- with real processes, and the owner of the files another one


def wait_for_calls(log: Path, number: int) -> None:
    end = time.monotonic() + 30
    while calls(log) < number:
        assert time.monotonic() < end
        time.sleep(0.05)


def test_a_slow_copy_beside_a_run(tmp_path: Path, visit: Path, pack: Path, log: Path) -> None:
    """Another process copies a recording in while two workers are at it; the next run has it whole."""
    voice = np.zeros(RATE * 4, np.float32)
    voice[::50] = 0.3
    whole = write_audio(tmp_path / "whole.wav", "pcm_s16le", rate=RATE, samples=voice)
    copying = (
        "import sys, time\n"
        "content = open(sys.argv[1], 'rb').read()\n"
        "with open(sys.argv[2], 'wb', buffering=0) as copy:\n"
        "    for at in range(0, len(content), 2000):\n"
        "        copy.write(content[at:at + 2000]); time.sleep(0.05)\n"
    )
    copy = subprocess.Popen([sys.executable, "-c", copying, whole, visit / "c.wav"])
    while not (visit / "c.wav").exists() or (visit / "c.wav").stat().st_size < 4000:
        time.sleep(0.01)
    words_ = ("process", visit, "--pack", pack, "--quiet")
    done = subprocess.run(
        command(StandInEngine(str(log), delay_s=0.3), *words_),
        env=environment(), capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert copy.wait(60) == 0
    assert done.returncode in (0, 1), done.stderr
    if done.returncode:
        assert "c.wav: was being changed while it was read" in done.stderr
    done = subprocess.run(command(StandInEngine(str(log)), *words_), env=environment(), check=False)
    assert done.returncode == 0
    assert (visit / "c.wav").read_bytes() == whole.read_bytes()


@pytest.mark.skipif(shutil.which("setpriv") is None or os.name != "posix", reason="needs setpriv")
@pytest.mark.skipif(hasattr(os, "geteuid") and os.geteuid() != 0, reason="only root can become another user")
def test_permission_taken_away_costs_one_recording() -> None:
    """As a user whom permissions bind, in a folder that is all theirs."""
    with tempfile.TemporaryDirectory(dir="/tmp") as place:  # what pytest makes is open to its owner alone
        Path(place).chmod(0o777)
        visit = Path(place) / "visit"
        visit.mkdir()
        memo(visit / "a.wav", 1)
        memo(visit / "b.wav", 2).chmod(0)
        reader = (
            "import sys, voicenotes.hearing.messages as m, voicenotes.hearing.work as w, pathlib\n"
            "for name in ('a.wav', 'b.wav'):\n"
            "    task = m.Task(place=m.place_of(pathlib.Path(sys.argv[1]) / name))\n"
            "    class E:\n"
            "        def transcribe(self, samples, progress):\n"
            "            from voicenotes.model import Transcript\n"
            "            return Transcript()\n"
            "    w.work(E(), task, lambda a: print(a.kind, getattr(a, 'line', '')))\n"
        )
        done = subprocess.run(
            [*NOBODY, sys.executable, "-c", reader, visit],
            env={**environment(), "HOME": place}, capture_output=True, text=True, check=False,
        )  # fmt: skip
    if "Permission denied" in done.stderr or "No module named" in done.stderr:
        pytest.skip("another user can't read this checkout")
    kinds = done.stdout.splitlines()
    assert "ended " in kinds
    assert kinds[-1] == "failed no permission to read it; change the file's permissions", done.stderr
