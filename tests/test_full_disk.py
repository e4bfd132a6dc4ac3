"""A disk that is full or may not be written: a clear line, nothing half-written is used, nothing is lost.

After each fault the recordings are what they were, and the next run completes to the record of an
undisturbed one.
"""

from __future__ import annotations

import contextlib
import errno
import functools
import hashlib
import os
import shutil
import subprocess
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from make_audio import RATE, speech_like, write_audio
from stand_in_engine import StandInEngine, calls, command, environment, put_in
from test_kept import memo

from voicenotes.audio import windows
from voicenotes.errors import NoRoomError, VisitError
from voicenotes.visit import load_record, process_visit
from voicenotes.vocabulary.load import load_pack
from voicenotes.vocabulary.schema import Pack

FULL = OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


@pytest.fixture
def engine(log: Path, monkeypatch: pytest.MonkeyPatch) -> StandInEngine:
    stand_in = StandInEngine(str(log))
    put_in(stand_in, monkeypatch)
    short = functools.partial(windows.windows_of, longest_s=2.0, shortest_s=1.0)
    monkeypatch.setattr(windows, "windows_of", short)
    return stand_in


@pytest.fixture
def loaded(pack: Path) -> Pack:
    return load_pack(pack)


@pytest.fixture(scope="module")
def originals(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two memos, a recording of four short windows and a transcript; their times are told by their names."""
    folder = tmp_path_factory.mktemp("originals")
    memo(folder / "2024-03-12 09-00-00.wav", 1)
    memo(folder / "2024-03-12 09-01-00.wav", 2)
    voice = speech_like([(0.2, 5.5)], 6.0)
    write_audio(folder / "2024-03-12 09-02-00.wav", "pcm_s16le", rate=RATE, samples=voice)
    (folder / "2024-03-12 09-20-00.txt").write_text("Spindle growls. The coolant tank is dry.")
    return folder


def visit_of(originals: Path, folder: Path) -> Path:
    """A visit with these recordings, without copying them."""
    folder.mkdir(parents=True)
    for path in originals.iterdir():
        (folder / path.name).hardlink_to(path)
    return folder


def hashes(folder: Path) -> dict[str, str]:
    return {
        path.name: hashlib.sha256(path.read_bytes()).hexdigest()
        for path in folder.iterdir()
        if path.is_file() and path.name != "record.json"
    }


@dataclass
class Filling:
    """A file on such a disk."""

    file: Any
    step: Callable[[], None]

    def __enter__(self) -> Filling:
        return self

    def __exit__(self, *_: object) -> None:
        self.file.close()

    def __getattr__(self, name: str) -> Any:
        return getattr(self.file, name)

    def write(self, text: Any) -> int:
        try:
            self.step()
        except OSError:
            self.file.write(text[: len(text) // 2])
            self.file.flush()
            raise
        return int(self.file.write(text))


class Disk:
    """Lets so many operations of the visit's writing pass, and fails all that follow.

    A text that fails half-way leaves its first half, as on a disk that fills up.
    """

    def __init__(self, patch: pytest.MonkeyPatch, passes: int, error: OSError = FULL) -> None:
        self.left, self.error, self.failed = passes, error, 0
        real_open = Path.open

        def opened(path: Path, mode: str = "r", *args: Any, **kwargs: Any) -> Any:
            if not set(mode) & set("wx") or path.name == "log":
                return real_open(path, mode, *args, **kwargs)
            self.step()
            file = real_open(path, mode, *args, **kwargs)
            return Filling(file, self.step)

        patch.setattr(Path, "open", opened)
        patch.setattr(os, "fsync", self.stepping(os.fsync))
        patch.setattr(Path, "replace", self.stepping(Path.replace))
        patch.setattr(Path, "mkdir", self.stepping(Path.mkdir))

    def step(self) -> None:
        self.left -= 1
        if self.left < 0:
            self.failed += 1
            raise self.error

    def stepping(self, real: Callable[..., Any]) -> Callable[..., Any]:
        def step(*args: Any, **kwargs: Any) -> Any:
            self.step()
            return real(*args, **kwargs)

        return step


def test_the_disk_is_full_from_any_moment_on(
    tmp_path: Path, loaded: Pack, engine: StandInEngine, log: Path, originals: Path
) -> None:
    undisturbed_visit = visit_of(originals, tmp_path / "undisturbed")
    process_visit(undisturbed_visit, loaded)
    undisturbed = (undisturbed_visit / "record.json").read_bytes()
    in_all = calls(log)
    before = hashes(originals)
    for passes in range(0, 200, 3):  # a file takes four operations, so each kind of them is met
        visit = visit_of(originals, tmp_path / f"visit {passes}")
        log.unlink(missing_ok=True)
        ended = None
        with pytest.MonkeyPatch.context() as patch:
            disk = Disk(patch, passes)
            try:
                process_visit(visit, loaded)
            except VisitError as error:
                ended = error
        done = calls(log)
        assert list(visit.glob("record.json")) == ([] if ended else [visit / "record.json"])
        if ended:
            assert "No space left on device" in str(ended) and "\n" not in str(ended)
        kept = len(list((visit / ".voicenotes").glob("*-*.json")))
        assert not list(visit.glob(".*.tmp")) and not list(visit.glob(".voicenotes/.*.tmp")), passes
        process_visit(visit, loaded)
        assert (visit / "record.json").read_bytes() == undisturbed, passes
        # Of what was heard before the fault at most the one that could not be kept is heard again.
        assert calls(log) <= in_all + 1, (passes, done, kept)
        shutil.rmtree(visit)
        if not disk.failed:
            break
    assert passes > 25 and not disk.failed
    assert hashes(originals) == before


def test_an_old_record_stays_when_the_new_one_has_no_room(
    tmp_path: Path, loaded: Pack, engine: StandInEngine, originals: Path
) -> None:
    visit = visit_of(originals, tmp_path / "visit")
    process_visit(visit, loaded)
    old = (visit / "record.json").read_bytes()
    memo(visit / "2024-03-12 10-00-00.wav", 5)
    for passes in range(40):
        with pytest.MonkeyPatch.context() as patch, contextlib.suppress(VisitError):
            disk = Disk(patch, passes)
            process_visit(visit, loaded)
        now = (visit / "record.json").read_bytes()
        if not disk.failed:
            break
        assert now == old or load_record(visit).recordings[-1].file == "2024-03-12 10-00-00.wav"
    assert not disk.failed and now != old


@pytest.mark.parametrize("number", [errno.EIO, errno.EROFS, errno.EDQUOT, errno.EACCES])
def test_other_faults_of_a_disk_end_with_a_line_too(
    tmp_path: Path, loaded: Pack, engine: StandInEngine, originals: Path, number: int
) -> None:
    for passes in range(0, 40, 3):
        visit = visit_of(originals, tmp_path / f"visit {passes}")
        (visit / "2024-03-12 09-02-00.wav").unlink()
        with pytest.MonkeyPatch.context() as patch, contextlib.suppress(VisitError):
            Disk(patch, passes, OSError(number, os.strerror(number)))
            process_visit(visit, loaded)
        process_visit(visit, loaded)
        assert len(load_record(visit).recordings) == 3


def test_a_full_disk_ends_the_run_at_once(
    tmp_path: Path, pack: Path, engine: StandInEngine, log: Path
) -> None:
    """What would be heard from then on could not be kept: it is left for when there is room."""
    visit = tmp_path / "visit"
    visit.mkdir()
    for seed in range(10):
        memo(visit / f"{seed}.wav", seed)
    with pytest.MonkeyPatch.context() as patch:
        Disk(patch, 20)
        with pytest.raises(NoRoomError, match="make room on its disk, then process the visit again"):
            process_visit(visit, pack)
    assert 0 < calls(log) < 10


def test_a_kept_transcript_that_cannot_be_written_alone_is_said_and_the_visit_goes_on(
    visit_with_a_stubborn_place: tuple[Path, list[str]], pack: Path
) -> None:
    visit, said = visit_with_a_stubborn_place
    record = process_visit(visit, pack, say=said.append)
    assert [entry.problem for entry in record.recordings] == [None] * 3
    lines = [line for line in said if line.startswith("Transcripts can't be kept for the next time: ")]
    assert len(lines) == 1


@pytest.fixture
def visit_with_a_stubborn_place(
    tmp_path: Path, engine: StandInEngine, monkeypatch: pytest.MonkeyPatch
) -> tuple[Path, list[str]]:
    """Two of three kept transcripts meet a folder where their file should be."""
    visit = tmp_path / "visit"
    visit.mkdir()
    real = Path.replace

    def replace(path: Path, target: Path) -> Path:
        if "-" in target.name and target.suffix == ".json" and len(done) < 2:
            done.append(target)
            raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
        return real(path, target)

    done: list[Path] = []
    for seed in range(3):
        memo(visit / f"{seed}.wav", seed)
    monkeypatch.setattr(Path, "replace", replace)
    return visit, []


def test_the_probe_of_a_full_disk_leaves_nothing(tmp_path: Path, pack: Path, engine: StandInEngine) -> None:
    visit = tmp_path / "visit"
    visit.mkdir()
    memo(visit / "a.wav", 1)
    with pytest.MonkeyPatch.context() as patch:
        Disk(patch, 1)
        with pytest.raises(NoRoomError):
            process_visit(visit, pack)
    assert [path.name for path in visit.iterdir()] == ["a.wav"]


# --- real disks


@contextlib.contextmanager
def small_disk(place: Path, options: str) -> Iterator[Path]:
    """A disk in memory mounted at `place`; the test is left out where that is not allowed."""
    place.mkdir()
    mount = shutil.which("mount")
    if not mount or not hasattr(os, "geteuid") or os.geteuid() != 0:
        pytest.skip("only root can mount a small disk")
    if subprocess.run([mount, "-t", "tmpfs", "-o", options, "tmpfs", place], check=False).returncode:
        pytest.skip("no disk can be mounted here")
    try:
        yield place
    finally:
        subprocess.run(["umount", place], check=True)


def run(engine: StandInEngine, visit: Path, pack: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        command(engine, "process", visit, "--pack", pack, "--quiet"),
        env=environment(), capture_output=True, text=True, check=False, timeout=120,
    )  # fmt: skip


@pytest.mark.parametrize("kilobytes", [90, 156])
def test_a_small_disk_fills_up(tmp_path: Path, pack: Path, log: Path, kilobytes: int) -> None:
    """Twelve memos of 8 kB; then there is room for the probe or not, and for some of the transcripts."""
    with small_disk(tmp_path / "disk", "size=8m") as disk:
        visit = disk / "visit"
        visit.mkdir()
        for seed in range(12):
            memo(visit / f"2024-03-12 09-00-{seed:02}.wav", seed)
        before = hashes(visit)
        filler = disk / "filler"
        room = shutil.disk_usage(disk).free - kilobytes * 1024
        filler.write_bytes(bytes(room))
        done = run(StandInEngine(str(log)), visit, pack)
        if done.returncode:
            assert done.returncode == 2
            assert done.stderr.splitlines()[-1].startswith(f"voicenotes: {visit}")
            assert "can't be written (No space left on device); make room on its disk" in done.stderr
            assert "Traceback" not in done.stderr
            assert not (visit / "record.json").exists()
        assert not list(visit.rglob("*.tmp"))
        assert hashes(visit) == before
        filler.unlink()
        heard = calls(log)
        assert run(StandInEngine(str(log)), visit, pack).returncode == 0
        assert calls(log) - heard <= 12 - max(0, heard - 2)  # two were at work when it filled up
        assert {entry.problem for entry in load_record(visit).recordings} == {None}


def test_a_disk_that_may_not_be_written(tmp_path: Path, pack: Path, log: Path) -> None:
    with small_disk(tmp_path / "disk", "size=8m") as disk:
        visit = disk / "visit"
        visit.mkdir()
        memo(visit / "a.wav", 1)
        before = hashes(visit)
        subprocess.run(["mount", "-o", "remount,ro", disk], check=True)
        done = run(StandInEngine(str(log)), visit, pack)
        assert (done.returncode, done.stdout) == (2, "")
        assert done.stderr == (
            f"voicenotes: {visit}: can't be written (Read-only file system); "
            "copy the visit to a folder that you may change\n"
        )
        assert hashes(visit) == before and calls(log) == 0
        subprocess.run(["mount", "-o", "remount,rw", disk], check=True)
        assert run(StandInEngine(str(log)), visit, pack).returncode == 0


def test_a_disk_that_goes_read_only_while_it_is_processed(tmp_path: Path, pack: Path, log: Path) -> None:
    with small_disk(tmp_path / "disk", "size=8m") as disk:
        visit = disk / "visit"
        visit.mkdir()
        for seed in range(6):
            memo(visit / f"{seed}.wav", seed)
        started = subprocess.Popen(
            command(StandInEngine(str(log), delay_s=0.4), "process", visit, "--pack", pack, "--quiet"),
            env=environment(), stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
        while calls(log) < 3:
            assert started.poll() is None
        # The lock is open for writing, so the disk itself can't be turned; the visit's folder can.
        subprocess.run(["mount", "--bind", visit, visit], check=True)
        subprocess.run(["mount", "-o", "remount,ro,bind", visit], check=True)
        try:
            _, said = started.communicate(timeout=60)
        finally:
            subprocess.run(["umount", visit], check=True)
        assert started.returncode in (0, 2) and "Traceback" not in said
        assert run(StandInEngine(str(log)), visit, pack).returncode == 0
        assert {entry.problem for entry in load_record(visit).recordings} == {None}
