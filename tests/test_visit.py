"""A visit's folder in, its record out: what is listed, in what order, what is kept, what goes wrong."""

from __future__ import annotations

import json
import os
import sys
import wave
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from make_audio import keep_part, speech_like, write_audio
from numpy.typing import NDArray
from stand_in_engine import put_in

from voicenotes import files
from voicenotes.errors import EngineError, VisitError
from voicenotes.model import Record, Transcript, Word
from voicenotes.visit import load_record, process_visit


class FakeEngine:
    """Hears "spindle is quiet" wherever there is sound, and counts what it is given."""

    name = "fake"
    processes = True
    settings = "one"

    def __init__(self) -> None:
        self.model: str | None = "one"
        self.given: list[float] = []
        self.fails: Callable[[int], bool] = lambda _: False

    def transcribe(
        self, samples: NDArray[np.float32], progress: Callable[[float], None] | None = None
    ) -> Transcript:
        seconds = len(samples) / 16_000
        self.given.append(seconds)
        if self.fails(len(self.given)):
            raise EngineError("the fake model broke")
        if progress:
            progress(seconds)
        said = ["spindle", "is", "quiet"] if float(np.abs(samples).max()) > 0.01 else []
        words = tuple(Word(text=word, start=at * 0.2, end=at * 0.2 + 0.2) for at, word in enumerate(said))
        return Transcript(words=words, engine=self.name, model=self.model, seconds=seconds)


@pytest.fixture
def engine(monkeypatch: pytest.MonkeyPatch) -> FakeEngine:
    fake = FakeEngine()
    put_in(fake, monkeypatch)
    return fake


@pytest.fixture
def visit(tmp_path: Path) -> Path:
    folder = tmp_path / "visit"
    folder.mkdir()
    return folder


def write(visit: Path, **texts: str) -> None:
    for name, text in texts.items():
        (visit / f"{name}.txt").write_text(text, encoding="utf-8")


def sound(path: Path, level: float = 0.3) -> Path:
    voice = speech_like([(0.2, 1.8)], 2.0, level)
    return write_audio(path, "pcm_s16le", rate=16_000, samples=voice)


def problems(record: Record) -> dict[str, str | None]:
    return {entry.file: entry.problem for entry in record.recordings}


# --- what is read


def test_transcripts_become_a_record(visit: Path, pack: Path) -> None:
    write(visit, memo="Spindle growls. The coolant tank is dry.")
    record = process_visit(visit, pack)
    assert record.check("head.noise").outcome == "defect"
    assert record.check("tank.leaks").outcome == "ok"
    assert load_record(visit) == record


def test_recordings_come_in_natural_order(visit: Path, pack: Path) -> None:
    for name in ("memo 10.txt", "Memo 9.TXT", "memo 2.txt", "a.txt"):
        (visit / name).write_text("hello there")
    record = process_visit(visit, pack)
    assert [entry.file for entry in record.recordings] == ["a.txt", "memo 2.txt", "Memo 9.TXT", "memo 10.txt"]


def test_what_is_no_recording_is_left_alone_and_said(visit: Path, pack: Path) -> None:
    write(visit, memo="spindle is quiet", gaps="coolant leak")
    (visit / ".hidden.txt").write_text("spindle growls")
    (visit / "._memo.m4a").write_bytes(b"twin")
    (visit / "photo.jpg").write_bytes(b"picture")
    (visit / "older").mkdir()
    (visit / "older" / "memo.txt").write_text("spindle growls")
    (visit / "sub.wav").mkdir()
    said: list[str] = []
    record = process_visit(visit, pack, say=said.append)
    assert [entry.file for entry in record.recordings] == ["memo.txt"]
    assert said == ["Left alone, no recordings by their names: photo.jpg."]


def test_a_transcript_stands_for_the_recording_of_the_same_name(
    visit: Path, pack: Path, engine: FakeEngine
) -> None:
    write(visit, memo="spindle growls")
    sound(visit / "memo.wav")
    said: list[str] = []
    record = process_visit(visit, pack, say=said.append)
    assert [entry.file for entry in record.recordings] == ["memo.txt"]
    assert engine.given == []
    assert "memo.wav" in said[0]


def test_an_entry_says_what_was_read(visit: Path, pack: Path, engine: FakeEngine) -> None:
    path = sound(visit / "2024-03-12 09-14-05.wav")
    (entry,) = process_visit(visit, pack).recordings
    assert entry.quality is not None and entry.quality.peak_dbfs < 0
    assert entry.model_dump(exclude={"quality"}) == {
        "file": path.name,
        "sha256": files.sha256_of(path),
        "seconds": 2.0,
        "recorded_at": "2024-03-12T09:14:05",
        "engine": "fake",
        "model": "one",
        "words": 3,
        "problem": None,
        "recorded_at_from": "file name",
    }


def test_the_record_is_the_same_to_the_byte(visit: Path, pack: Path, engine: FakeEngine) -> None:
    write(visit, memo="Spindle growls. Serial number four seven alpha two.")
    sound(visit / "memo 2.wav")
    process_visit(visit, pack)
    first = (visit / "record.json").read_bytes()
    process_visit(visit, pack)
    assert (visit / "record.json").read_bytes() == first
    for path in (visit / ".voicenotes").iterdir():
        path.unlink()
    (visit / "record.json").unlink()
    process_visit(visit, pack)
    assert (visit / "record.json").read_bytes() == first
    assert first.endswith(b"}\n")


def test_nothing_temporary_is_left(visit: Path, pack: Path, engine: FakeEngine) -> None:
    sound(visit / "memo.wav")
    process_visit(visit, pack)
    assert sorted(path.name for path in visit.iterdir()) == [".voicenotes", "memo.wav", "record.json"]
    assert not list((visit / ".voicenotes").glob(".*"))


# --- kept transcripts


def test_a_second_run_transcribes_nothing(visit: Path, pack: Path, engine: FakeEngine) -> None:
    sound(visit / "a.wav")
    sound(visit / "b.wav", level=0.2)
    said: list[str] = []
    process_visit(visit, pack, say=said.append)
    assert len(engine.given) == 2
    assert said == ["Speech engine: fake.", "Transcribing 2 recordings."]
    again: list[str] = []
    process_visit(visit, pack, say=again.append)
    assert len(engine.given) == 2
    assert again == []


def test_only_what_is_new_is_transcribed(visit: Path, pack: Path, engine: FakeEngine) -> None:
    sound(visit / "a.wav")
    process_visit(visit, pack)
    sound(visit / "b.wav", level=0.2)
    (visit / "a.wav").rename(visit / "c.wav")
    record = process_visit(visit, pack)
    assert len(engine.given) == 2
    assert [entry.words for entry in record.recordings] == [3, 3]


def test_another_model_or_other_pack_words_transcribe_anew(
    visit: Path, pack: Path, engine: FakeEngine
) -> None:
    sound(visit / "a.wav")
    process_visit(visit, pack)
    engine.model = "two"
    assert process_visit(visit, pack).recordings[0].model == "two"
    assert len(engine.given) == 2
    parts = pack / "parts.yaml"
    parts.write_text(parts.read_text() + "- {id: gib, terms: [gib, tapered gib]}\n")
    process_visit(visit, pack)
    assert len(engine.given) == 3


@pytest.mark.parametrize("content", [b"", b"{", b"[]", b'{"sha256": 1}', b"\xff\xfe\x00"])
def test_a_spoilt_kept_transcript_is_made_again(
    visit: Path, pack: Path, engine: FakeEngine, content: bytes
) -> None:
    sound(visit / "a.wav")
    process_visit(visit, pack)
    first = (visit / "record.json").read_bytes()
    (kept,) = (visit / ".voicenotes").glob("*.json")
    kept.write_bytes(content)
    process_visit(visit, pack)
    assert len(engine.given) == 2
    assert (visit / "record.json").read_bytes() == first
    assert json.loads(kept.read_bytes())["origin"]["engine"] == "fake"


def test_a_kept_transcript_of_another_recording_is_not_taken(
    visit: Path, pack: Path, engine: FakeEngine
) -> None:
    sound(visit / "a.wav")
    process_visit(visit, pack)
    (kept,) = (visit / ".voicenotes").glob("*.json")
    data = json.loads(kept.read_text())
    kept.write_text(json.dumps({**data, "origin": {**data["origin"], "sha256": "0" * 64}}))
    process_visit(visit, pack)
    assert len(engine.given) == 2


def test_progress_adds_up_to_all_seconds(visit: Path, pack: Path, engine: FakeEngine) -> None:
    sound(visit / "a.wav")
    sound(visit / "b.wav", level=0.2)
    told: list[tuple[str, float, float]] = []
    process_visit(visit, pack, progress=lambda *step: told.append(step))
    assert told[0] == ("a.wav", 0.0, pytest.approx(4.0))
    assert told[-1] == ("b.wav", pytest.approx(4.0), pytest.approx(4.0))


# --- one bad recording


def test_bad_recordings_do_not_stop_the_others(visit: Path, pack: Path, engine: FakeEngine) -> None:
    sound(visit / "good.wav")
    (visit / "text.wav").write_text("spindle growls, but this is no sound")
    (visit / "empty.m4a").write_bytes(b"")
    sound(visit / "silent.wav", level=0.0)
    keep_part(sound(visit / "cut.wav"), 0.6)
    (visit / "bad.json").write_text('{"words": [{"word": "spindle", "start": 1}]}')
    found = problems(process_visit(visit, pack))
    assert found["good.wav"] is None
    assert (found["text.wav"] or "").startswith("is not audio")
    assert (found["empty.m4a"] or "").startswith("is empty")
    assert (found["silent.wav"] or "").startswith("no speech found in it")
    assert (found["cut.wav"] or "").startswith("ends early: container says 2.0 s, only 1.2 s")
    assert "has no end" in (found["bad.json"] or "")
    assert all("\n" not in (line or "") for line in found.values())


def test_a_truncated_recording_is_heard_as_far_as_it_goes(
    visit: Path, pack: Path, engine: FakeEngine
) -> None:
    keep_part(sound(visit / "cut.wav"), 0.6)
    for _ in range(2):  # the second time from what was kept
        record = process_visit(visit, pack)
        (entry,) = record.recordings
        assert entry.words == 3
        assert entry.seconds == pytest.approx(1.2, abs=0.05)
        assert (entry.problem or "").startswith("ends early")
        assert record.check("head.noise").outcome == "ok"
    assert len(engine.given) == 1


@pytest.mark.skipif(os.name != "posix", reason="POSIX permissions")
def test_a_file_without_permission(visit: Path, pack: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write(visit, locked="spindle growls", open="spindle is quiet")
    real = Path.read_bytes

    def refuse(path: Path) -> bytes:
        if path.name == "locked.txt":
            raise PermissionError(13, "Permission denied")
        return real(path)

    monkeypatch.setattr(Path, "read_bytes", refuse)
    record = process_visit(visit, pack)
    assert problems(record)["locked.txt"] == "no permission to read it; change the file's permissions"
    assert record.check("head.noise").outcome == "ok"


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs named pipes")
def test_a_pipe_and_a_dangling_link_do_not_hang(visit: Path, pack: Path, engine: FakeEngine) -> None:
    os.mkfifo(visit / "pipe.wav")
    (visit / "gone.wav").symlink_to(visit / "nowhere.wav")
    write(visit, memo="spindle is quiet")
    found = problems(process_visit(visit, pack))
    assert (found["pipe.wav"] or "").startswith("is not an ordinary file")
    assert (found["gone.wav"] or "").startswith("no such file")


def test_an_engine_that_fails_once_costs_one_recording(visit: Path, pack: Path, engine: FakeEngine) -> None:
    sound(visit / "a.wav")
    sound(visit / "b.wav", level=0.2)
    engine.fails = lambda turn: turn == 1
    found = problems(process_visit(visit, pack))
    assert found == {"a.wav": "could not be transcribed: the fake model broke", "b.wav": None}


def test_an_engine_that_always_fails_is_an_error(visit: Path, pack: Path, engine: FakeEngine) -> None:
    sound(visit / "a.wav")
    (visit / "text.wav").write_text("no sound")
    engine.fails = lambda _: True
    with pytest.raises(EngineError, match="the fake model broke"):
        process_visit(visit, pack)
    assert not (visit / "record.json").exists()


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux lets a name be any bytes")
def test_names_and_words_that_are_no_unicode(visit: Path, pack: Path) -> None:
    (visit / os.fsdecode(b"m\xe9mo.txt")).write_text("spindle growls")
    word = '{"word": "growls\\ud800", "start": 1, "end": 2}'
    (visit / "odd.json").write_text('{"words": [{"word": "spindle", "start": 0, "end": 1}, ' + word + "]}")
    record = process_visit(visit, pack)
    assert [entry.file for entry in record.recordings] == ["m\\xe9mo.txt", "odd.json"]
    assert load_record(visit) == record


# --- visits that can't be processed


def test_missing_folder_file_and_empty_folder(tmp_path: Path, visit: Path, pack: Path) -> None:
    with pytest.raises(VisitError, match="no such folder"):
        process_visit(tmp_path / "nowhere", pack)
    file = tmp_path / "memo.txt"
    file.write_text("hello")
    with pytest.raises(VisitError, match="is a file, not a folder"):
        process_visit(file, pack)
    with pytest.raises(VisitError, match="no recordings; put the voice memos"):
        process_visit(visit, pack)
    (visit / "photo.jpg").write_bytes(b"x")
    with pytest.raises(VisitError, match="none of its 1 files is a recording"):
        process_visit(visit, pack)


@pytest.mark.skipif(os.name != "posix", reason="POSIX permissions")
def test_a_folder_that_may_not_be_written(visit: Path, pack: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write(visit, memo="spindle is quiet")

    def refuse(*_: Any) -> int:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "write_bytes", refuse)
    with pytest.raises(VisitError, match=r"can't be written \(Permission denied\); copy the visit"):
        process_visit(visit, pack)
    assert not (visit / "record.json").exists()


def test_a_write_that_fails_keeps_the_old_content(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "record.json"
    files.write_atomically(path, "old")

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(VisitError, match="No space left on device"):
        files.write_atomically(path, "new")
    assert path.read_text() == "old"
    assert [found.name for found in tmp_path.iterdir()] == ["record.json"]


# --- reading the record back


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (None, "has no record.json yet; process the visit first: voicenotes process "),
        ("{", "is not JSON"),
        ("[]", "is not a findings record"),
        ('{"schema_version": 999}', "written by a newer voicenotes"),
        ('{"schema_version": 1}', r"is not a findings record \(pack: Field required\)"),
    ],
)
def test_records_that_cannot_be_read(visit: Path, content: str | None, message: str) -> None:
    if content is not None:
        (visit / "record.json").write_text(content)
    with pytest.raises(VisitError, match=message) as caught:
        load_record(visit)
    assert "\n" not in str(caught.value)


# --- when a recording was made


def test_recordings_are_read_in_the_order_in_which_they_were_made(visit: Path, pack: Path) -> None:
    """What "scratch that" takes back was said before it, whatever the names."""
    write(visit, a="Scratch that.", z="Spindle growls.")
    os.utime(visit / "z.txt", (1_710_234_845, 1_710_234_845))
    os.utime(visit / "a.txt", (1_710_235_845, 1_710_235_845))
    record = process_visit(visit, pack)
    assert [entry.file for entry in record.recordings] == ["z.txt", "a.txt"]
    assert {entry.recorded_at_from for entry in record.recordings} == {"file time"}


def test_a_line_says_when_a_clock_was_wrong(visit: Path, pack: Path) -> None:
    write(visit, REC0001="spindle is quiet", REC0002="spindle is quiet", REC0003="spindle is quiet")
    for number, when in ((1, 1_710_234_845), (2, 1_262_304_100), (3, 1_710_235_845)):
        os.utime(visit / f"REC000{number}.txt", (when, when))
    said: list[str] = []
    record = process_visit(visit, pack, say=said.append)
    assert [entry.file for entry in record.recordings] == ["REC0001.txt", "REC0002.txt", "REC0003.txt"]
    assert record.recordings[1].recorded_at is None
    assert said == [
        "The recorder's clock was wrong for REC0002.txt; it stands where the number in its name puts it."
    ]


def test_without_any_date_the_file_says_when(visit: Path, pack: Path) -> None:
    write(visit, memo="spindle is quiet")
    os.utime(visit / "memo.txt", (1_710_234_845.7, 1_710_234_845.7))
    assert process_visit(visit, pack).recordings[0].recorded_at == "2024-03-12T09:14:05Z"


# --- with the engine that is always there


@pytest.mark.audio
def test_the_embedded_engine_hears_a_demo_recording(
    visit: Path, pack: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("platformdirs.user_cache_dir", lambda *_, **__: str(tmp_path / "cache"))
    demo = Path(__file__).parent.parent / "demo_recordings" / "2024-03-12 11-46-13.wav"
    (visit / demo.name).write_bytes(demo.read_bytes())
    record = process_visit(visit, pack, engine="embedded")
    (entry,) = record.recordings
    assert (entry.engine, entry.problem, entry.recorded_at) == ("embedded", None, "2024-03-12T11:46:13")
    assert entry.words > 30
    with wave.open(str(demo)) as original:
        assert entry.seconds == pytest.approx(original.getnframes() / original.getframerate(), abs=0.1)
    heard = {word for remark in record.untagged for word in remark.quote.split()}
    assert len(heard & {"door", "wire", "warning", "labels", "surface", "tested", "material"}) >= 4
    first = (visit / "record.json").read_bytes()
    process_visit(visit, pack, engine="embedded")
    assert (visit / "record.json").read_bytes() == first
