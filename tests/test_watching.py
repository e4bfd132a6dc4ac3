"""Memos that really arrive in a watched folder: slowly, renamed, moved, replaced, deleted, many at once.

Afterwards the record must be that of a plain `process`, to the byte. The engine is the stand-in.
"""

from __future__ import annotations

import os
import shutil
import signal
import struct
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from make_audio import write_audio
from stand_in_engine import StandInEngine, calls, command, environment, put_in
from test_kept import memo

from voicenotes.audio.whole import wholeness
from voicenotes.errors import NoRoomError, VisitError
from voicenotes.files import Stamp
from voicenotes.lock import visit_lock
from voicenotes.model import Record
from voicenotes.outputs.news import news_lines
from voicenotes.visit import process_visit
from voicenotes.vocabulary.load import load_pack
from voicenotes.watching.arriving import QUIET_S, Seen, look
from voicenotes.watching.watch import Pace, watch_visit

LONGEST_S = 30.0  # what a test waits before it fails; nothing is expected to take so long


@dataclass
class Watcher:
    """A watch in a thread of this process, what it showed and said."""

    visit: Path
    pack: Path
    pace: Pace = field(default_factory=lambda: Pace(look_s=0.05, retry_s=0.1, patience=0.3))
    shown: list[Record] = field(default_factory=list)
    said: list[str] = field(default_factory=list)
    arrived: list[set[str]] = field(default_factory=list)
    failed: list[Exception] = field(default_factory=list)
    stop: threading.Event = field(default_factory=threading.Event)
    before_processing: Callable[[], object] = lambda: None
    thread: threading.Thread | None = None

    def start(self) -> None:
        self.stop.clear()
        self.thread = threading.Thread(target=self._run)
        self.thread.start()

    def _run(self) -> None:
        try:
            watch_visit(
                self.visit, self._process, lambda _, after: self.shown.append(after), self.said.append,
                self.stop, self.pace,
            )  # fmt: skip
        except Exception as error:
            self.failed.append(error)

    def _process(self, arrived: Collection[Path]) -> Record:
        self.before_processing()
        self.arrived.append({path.name for path in arrived})
        return process_visit(self.visit, self.pack, only=arrived)

    def end(self) -> None:
        self.stop.set()
        if self.thread:
            self.thread.join(LONGEST_S)
            assert not self.thread.is_alive()

    def files(self) -> list[str]:
        return [entry.file for entry in self.shown[-1].recordings] if self.shown else []

    def until(self, reached: Callable[[], bool]) -> None:
        wait_until(reached, lambda: f"{self.files()} {self.said} {self.failed}")


def wait_until(reached: Callable[[], bool], state: Callable[[], str] = lambda: "") -> None:
    end = time.monotonic() + LONGEST_S
    while not reached():
        assert time.monotonic() < end, state()
        time.sleep(0.02)


@pytest.fixture
def visit(tmp_path: Path) -> Path:
    folder = tmp_path / "visit"
    folder.mkdir()
    return folder


@pytest.fixture
def watcher(visit: Path, pack: Path, log: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Watcher]:
    put_in(StandInEngine(str(log)), monkeypatch)
    found = Watcher(visit, pack)
    yield found
    found.end()


def as_processed(visit: Path, pack: Path) -> bytes:
    """The record that a plain `process` writes now."""
    process_visit(visit, pack)
    return (visit / "record.json").read_bytes()


def assert_as_processed(watcher: Watcher) -> None:
    watched = (watcher.visit / "record.json").read_bytes()
    assert watched == as_processed(watcher.visit, watcher.pack)


# --- arriving --------------------------------------------------------------------------------------


def test_memos_that_arrive_one_after_another_are_all_in_the_record(watcher: Watcher, tmp_path: Path) -> None:
    watcher.start()
    watcher.until(lambda: bool(watcher.said))
    assert watcher.said == [f"Waiting for the first recording in {watcher.visit}."]
    for number in (1, 2, 3):
        memo(watcher.visit / f"memo {number}.wav", number)
        watcher.until(lambda number=number: len(watcher.files()) == number)
    watcher.end()
    assert watcher.files() == ["memo 1.wav", "memo 2.wav", "memo 3.wav"]
    assert_as_processed(watcher)


def test_a_slowly_written_memo_is_read_once_and_whole(watcher: Watcher, tmp_path: Path, log: Path) -> None:
    content = memo(tmp_path / "slow.wav", 4).read_bytes()
    watcher.start()
    with (watcher.visit / "slow.wav").open("wb") as file:
        for start in range(0, len(content), len(content) // 8):
            file.write(content[start : start + len(content) // 8])
            file.flush()
            time.sleep(0.4)  # longer than a whole file is left alone here
    watcher.until(lambda: watcher.files() == ["slow.wav"])
    watcher.end()
    assert len(watcher.arrived) == 1
    assert watcher.shown[-1].recordings[0].problem is None
    assert "Still arriving: slow.wav." in watcher.said
    assert_as_processed(watcher)


def test_while_one_arrives_the_others_are_not_kept_waiting(watcher: Watcher, tmp_path: Path) -> None:
    content = memo(tmp_path / "half.wav", 5).read_bytes()
    half = watcher.visit / "half.wav"
    half.write_bytes(content[: len(content) // 2])
    watcher.start()
    memo(watcher.visit / "whole.wav", 6)
    watcher.until(lambda: watcher.files() == ["whole.wav"])
    half.write_bytes(content)
    watcher.until(lambda: sorted(watcher.files()) == ["half.wav", "whole.wav"])
    watcher.end()
    assert all(entry.problem is None for record in watcher.shown for entry in record.recordings)
    assert_as_processed(watcher)


def rename_in(source: Path, visit: Path) -> None:
    """As browsers and sync programs do: under another name first."""
    hidden = visit / f".{source.name}.part"
    shutil.copyfile(source, hidden)
    hidden.rename(visit / source.name)


def move_in(source: Path, visit: Path) -> None:
    shutil.move(source, visit / source.name)


def copy_with_times(source: Path, visit: Path) -> None:
    shutil.copy2(source, visit / source.name)


@pytest.mark.parametrize("way", [rename_in, move_in, copy_with_times])
def test_however_a_memo_comes_it_is_found(
    watcher: Watcher, tmp_path: Path, way: Callable[[Path, Path], None]
) -> None:
    source = memo(tmp_path / "memo.wav", 7)
    watcher.start()
    way(source, watcher.visit)
    watcher.until(lambda: watcher.files() == ["memo.wav"])
    watcher.end()
    assert_as_processed(watcher)


def test_twenty_at_once(watcher: Watcher, tmp_path: Path, log: Path) -> None:
    watcher.start()
    makers = [
        threading.Thread(target=memo, args=(watcher.visit / f"memo {number}.wav", number))
        for number in range(20)
    ]
    for maker in makers:
        maker.start()
    for maker in makers:
        maker.join()
    watcher.until(lambda: len(watcher.files()) == 20)
    watcher.end()
    assert calls(log) == 20
    assert_as_processed(watcher)


def test_one_that_is_replaced_and_one_that_is_deleted(watcher: Watcher) -> None:
    first, second = memo(watcher.visit / "a.wav", 1), memo(watcher.visit / "b.wav", 2)
    watcher.start()
    watcher.until(lambda: sorted(watcher.files()) == ["a.wav", "b.wav"])
    old = {entry.sha256 for entry in watcher.shown[-1].recordings}
    memo(first, 9)
    watcher.until(
        lambda: len(watcher.files()) == 2 and old != {entry.sha256 for entry in watcher.shown[-1].recordings}
    )
    second.unlink()
    watcher.until(lambda: watcher.files() == ["a.wav"])
    before_the_last = (watcher.visit / "record.json").read_bytes()
    first.unlink()
    watcher.until(lambda: "recordings are gone" in watcher.said[-1])
    assert (watcher.visit / "record.json").read_bytes() == before_the_last
    runs = len(watcher.arrived)
    memo(first, 9)  # the same sound as before, with another time
    watcher.until(lambda: len(watcher.arrived) > runs)
    watcher.end()
    assert_as_processed(watcher)


def test_a_transcript_counts_as_a_recording_and_other_files_do_not(watcher: Watcher) -> None:
    (watcher.visit / "notes.pdf").write_bytes(b"%PDF-")
    (watcher.visit / "memo.txt").write_text("Spindle growls.")
    watcher.start()
    watcher.until(lambda: watcher.files() == ["memo.txt"])
    watcher.end()
    assert watcher.shown[-1].check("head.noise").outcome == "defect"


def test_one_that_stays_cut_off_is_read_in_the_end(watcher: Watcher, tmp_path: Path) -> None:
    content = memo(tmp_path / "cut.wav", 3).read_bytes()
    watcher.pace = Pace(look_s=0.05, patience=0.02)
    (watcher.visit / "cut.wav").write_bytes(content[: len(content) // 2])
    watcher.start()
    watcher.until(lambda: watcher.files() == ["cut.wav"])
    watcher.end()
    assert watcher.shown[-1].recordings[0].seconds == pytest.approx(0.125, abs=0.002)
    assert_as_processed(watcher)


# --- stopping, going on, others -----------------------------------------------------------------------


def test_stopped_and_started_again_it_hears_nothing_twice(watcher: Watcher, log: Path) -> None:
    memo(watcher.visit / "a.wav", 1)
    watcher.start()
    watcher.until(lambda: watcher.files() == ["a.wav"])
    watcher.end()
    memo(watcher.visit / "b.wav", 2)
    watcher.start()
    watcher.until(lambda: sorted(watcher.files()) == ["a.wav", "b.wav"])
    watcher.end()
    assert calls(log) == 2
    assert_as_processed(watcher)


def test_another_process_at_work_is_named_and_waited_for(watcher: Watcher) -> None:
    memo(watcher.visit / "a.wav", 1)
    home = watcher.visit / ".voicenotes"
    home.mkdir()
    with visit_lock(watcher.visit, home):
        watcher.start()
        watcher.until(lambda: any("is being processed by process" in line for line in watcher.said))
        time.sleep(0.5)
        assert sum("is being processed" in line for line in watcher.said) == 1
        assert not watcher.shown
    watcher.until(lambda: watcher.files() == ["a.wav"])
    watcher.end()
    assert_as_processed(watcher)


def test_a_full_disk_is_said_and_tried_again(watcher: Watcher) -> None:
    memo(watcher.visit / "a.wav", 1)
    full = iter([True, True])

    def fail_twice() -> None:
        if next(full, False):
            raise NoRoomError("visit: can't be written (No space left on device); make room on its disk")

    watcher.before_processing = fail_twice
    watcher.start()
    watcher.until(lambda: watcher.files() == ["a.wav"])
    watcher.end()
    assert sum("No space left" in line for line in watcher.said) == 1


def test_a_folder_that_is_taken_away_ends_it_with_one_line(watcher: Watcher) -> None:
    watcher.start()
    watcher.until(lambda: bool(watcher.said))
    watcher.visit.rename(watcher.visit.with_name("elsewhere"))
    watcher.until(lambda: bool(watcher.failed))
    (error,) = watcher.failed
    assert isinstance(error, VisitError) and "\n" not in str(error)


def watching(engine: StandInEngine, visit: Path, pack: Path, out: Path) -> subprocess.Popen[bytes]:
    with out.open("ab") as screen:
        return subprocess.Popen(
            command(engine, "watch", visit, "--pack", pack), env=environment(), stdout=screen, stderr=screen,
            start_new_session=True,
        )  # fmt: skip


def recordings_of(visit: Path) -> int:
    path = visit / "record.json"
    return len(Record.model_validate_json(path.read_bytes()).recordings) if path.exists() else 0


@pytest.mark.skipif(sys.platform == "win32", reason="POSIX signals")
def test_the_command_killed_in_the_middle_and_started_again(
    tmp_path: Path, visit: Path, pack: Path, log: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """kill -9 while memos are heard; then Ctrl-C and SIGTERM, which end it with exit code 0."""
    engine, out = StandInEngine(str(log), delay_s=0.3), tmp_path / "screen"
    for number in range(4):
        memo(visit / f"memo {number}.wav", number)
    first = watching(engine, visit, pack, out)
    wait_until(lambda: calls(log) >= 2, lambda: out.read_text())
    os.killpg(first.pid, signal.SIGKILL)
    first.wait(LONGEST_S)
    memo(visit / "memo 4.wav", 4)
    for end, recordings in ((signal.SIGINT, 5), (signal.SIGTERM, 6)):
        again = watching(engine, visit, pack, out)
        wait_until(lambda recordings=recordings: recordings_of(visit) == min(5, recordings), out.read_text)
        if end == signal.SIGTERM:
            memo(visit / "memo 5.wav", 5)
            wait_until(lambda: b"memo 5.wav (" in out.read_bytes(), out.read_text)
        wait_until(lambda: b"Ctrl-C ends it" in out.read_bytes())
        again.send_signal(end)
        assert again.wait(LONGEST_S) == 0, out.read_text()
    screen = out.read_text()
    assert "Stopped watching; what was transcribed is kept" in screen
    assert "Don't leave yet" in screen and "NEW\n" in screen and "memo 5.wav" in screen
    assert calls(log) <= 6 + 2  # those that were cut off by the kill were heard once more
    put_in(StandInEngine(str(log)), monkeypatch)
    watched = (visit / "record.json").read_bytes()
    assert watched == as_processed(visit, pack)


# --- parts --------------------------------------------------------------------------------------------


def test_whole_and_cut_off_files_are_told_apart(tmp_path: Path) -> None:
    wav = memo(tmp_path / "memo.wav", 1)
    m4a = write_audio(tmp_path / "memo.m4a", "aac", rate=16_000)
    ogg = write_audio(tmp_path / "memo.ogg", "libopus", rate=48_000)
    mp3 = write_audio(tmp_path / "memo.mp3", "mp3", rate=44_100)
    found = {path.name: wholeness(path) for path in (wav, m4a, ogg, mp3)}
    assert found == {
        "memo.wav": "whole", "memo.m4a": "whole", "memo.ogg": "can't be told", "memo.mp3": "can't be told",
    }  # fmt: skip
    for path in (wav, m4a, ogg):
        content = path.read_bytes()
        path.write_bytes(content[: len(content) // 2 + 11])
        assert wholeness(path) == "cut off", path
    for content in (b"", b"RIFF", struct.pack(">I4s", 24, b"ftyp") + b"M4A "):
        wav.write_bytes(content)
        assert wholeness(wav) == "cut off"
    assert wholeness(tmp_path / "nowhere.wav") == "can't be told"


def stamp(size: int, at_s: float) -> Stamp:
    return Stamp(size, round(at_s * 1e9), round(at_s * 1e9), 1)


@pytest.mark.parametrize(
    ("kind", "after", "rested"),
    [
        ("whole", QUIET_S["whole"] - 0.1, False), ("whole", QUIET_S["whole"], True),
        ("can't be told", 2.9, False), ("can't be told", 3.0, True),
        ("cut off", 29.9, False), ("cut off", 30.0, True),
    ],
)  # fmt: skip
def test_how_long_a_file_is_left_alone(kind: str, after: float, rested: bool) -> None:
    seen = Seen(stamp(10, 0), 100.0, kind)  # type: ignore[arg-type]
    assert seen.rested(100.0 + after, 1.0) is rested


def test_a_file_rests_anew_with_each_change_and_since_its_own_time_when_it_is_first_seen(
    tmp_path: Path,
) -> None:
    path = tmp_path / "memo.txt"
    path.write_text("one")
    made = path.stat().st_ctime
    first = look([path], {}, 50.0, wall_clock=lambda: made + 20)
    assert first[path].since == pytest.approx(30.0, abs=0.5)
    assert look([path], first, 60.0) == first
    path.write_text("one and two")
    assert look([path], first, 70.0)[path].since == 70.0
    ahead = look([path], {}, 80.0, wall_clock=lambda: made - 3600)  # its clock goes before ours
    assert ahead[path].since == 80.0
    assert look([tmp_path / "gone.txt"], first, 90.0) == {}


def test_what_is_new_is_told(pack: Path) -> None:
    from voicenotes.findings.read import read_texts

    loaded = load_pack(pack)
    before = read_texts(["Spindle is quiet."], loaded)
    after = read_texts(["Spindle is quiet.", "Spindle growls. No tailstock. Serial number 47."], loaded)
    entries = [entry.model_copy(update={"sha256": f"{n}"}) for n, entry in enumerate(after.recordings)]
    old = before.model_copy(update={"recordings": (entries[0],)})
    new = after.model_copy(update={"recordings": tuple(entries)})
    lines = news_lines(old, new, loaded)
    assert lines[0] == "NEW"
    assert "text 2 (0:0" in lines[1] and "7 words" in lines[1]
    assert "  Bearing noise                                                  DEFECT critical" in lines
    assert '    "Spindle growls."' in lines
    assert any(line.startswith("  Tailstock") and line.endswith("not fitted") for line in lines)
    assert any(line.startswith("  Serial number") and line.endswith("47") for line in lines)
    assert "text 1" not in " ".join(lines)
    assert news_lines(None, new, loaded)[0] == "UNDERSTOOD SO FAR"
    assert news_lines(new, new, loaded) == ["NEW", "  Nothing new was understood."]
    taken_away = news_lines(new, old, loaded)
    assert any("text 2: no longer there" in line for line in taken_away)
    assert max(map(len, lines + taken_away)) <= 80
