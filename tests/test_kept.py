"""Transcripts kept beside a visit: each is made once, and only what is exactly as it was written is used."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from make_audio import RATE, speech_like, write_audio
from pydantic import ValidationError
from stand_in_engine import StandInEngine, calls, environment, marks, put_in

from voicenotes.hearing.hear import hear_all
from voicenotes.hearing.kept import (
    Ear,
    Heard,
    drop_finished_pieces,
    keep,
    keep_piece,
    place,
    recall,
    recall_pieces,
)
from voicenotes.hearing.messages import Piece
from voicenotes.model import LeftOut, Transcript, Word
from voicenotes.visit import process_visit, record_text

SHA = hashlib.sha256(b"a recording").hexdigest()
HEARD = Heard(
    transcript=Transcript(
        words=(Word(text="spindle", start=0.1, end=0.5, confidence=0.9), Word(text="größer", start=1, end=2)),
        left_out=(LeftOut(text="thanks", start=2, end=3, why="over silence"),),
        engine="stand-in",
        seconds=2.0,
    ),
    seconds=2.0,
    problem="ends early",
    created_at="2024-03-12T09:14:05",
    sha256=SHA,
)


@pytest.fixture
def ear(tmp_path: Path) -> Ear:
    cache = tmp_path / "cache"
    cache.mkdir()
    return Ear(StandInEngine(str(tmp_path / "log")), "material", cache)


def piece(number: int, is_last: bool = False) -> Piece:
    said = Transcript(words=(Word(text=f"word{number}", start=number, end=number + 1),), engine="stand-in")
    return Piece(number=number, is_last=is_last, transcript=said)


def test_what_is_kept_comes_back_as_it_was(ear: Ear) -> None:
    keep(ear, SHA, HEARD)
    assert recall(ear, SHA) == HEARD
    for number in (3, 0, 11):
        keep_piece(ear, SHA, piece(number))
    assert recall_pieces(ear, SHA) == {number: piece(number) for number in (0, 3, 11)}


def test_words_that_share_memory_are_still_words_of_their_own() -> None:
    first, second = (Word.model_validate_json('{"text":"spindle","start":0,"end":1}') for _ in range(2))
    assert first.text is second.text and first == second
    moved = first.model_copy(update={"start": 0.5, "text": "turret"})
    assert (first, moved.text, second.text) == (second, "turret", "spindle")
    assert first.model_dump() == {"text": "spindle", "start": 0.0, "end": 1.0, "confidence": 1.0}
    with pytest.raises(ValidationError):
        first.text = "other"  # type: ignore[misc]


def test_a_whole_transcript_takes_the_place_of_its_windows(ear: Ear) -> None:
    other = hashlib.sha256(b"another").hexdigest()
    keep_piece(ear, SHA, piece(0))
    keep_piece(ear, other, piece(0))
    keep(ear, SHA, HEARD)
    assert (recall_pieces(ear, SHA), recall_pieces(ear, other)) == ({}, {0: piece(0)})
    keep_piece(ear, SHA, piece(1))  # as if the process had been killed before it removed this one
    drop_finished_pieces(ear.cache)
    assert (recall_pieces(ear, SHA), recall_pieces(ear, other)) == ({}, {0: piece(0)})
    assert recall(ear, SHA) == HEARD


@pytest.mark.parametrize("changed", ["sha256", "name", "model", "settings", "material"])
def test_each_thing_it_was_made_from_counts(ear: Ear, changed: str) -> None:
    keep(ear, SHA, HEARD)
    keep_piece(ear, SHA, piece(0))
    sha256 = SHA
    if changed == "sha256":
        sha256 = SHA[:32] + "0" * 32  # the same file name
    elif changed == "material":
        ear = Ear(ear.engine, "other", ear.cache)
    else:
        setattr(ear.engine, changed, "other")
    assert recall(ear, sha256) is None
    assert recall_pieces(ear, sha256) == {}


def test_without_a_model_is_another_one(ear: Ear) -> None:
    ear.engine.model = None
    keep(ear, SHA, HEARD)
    assert recall(ear, SHA) == HEARD
    ear.engine.model = "one"
    assert recall(ear, SHA) is None


def test_no_part_of_a_file_is_taken_for_the_whole(ear: Ear) -> None:
    keep(ear, SHA, HEARD)
    path = place(ear, ear.origin(SHA))
    content = path.read_bytes()
    for length in range(len(content)):
        path.write_bytes(content[:length])
        assert recall(ear, SHA) is None, length
        path.write_bytes(content[length:] if length else b"")
        assert recall(ear, SHA) is None, length
    for more in (b"\n", b" ", b"{}", bytes(1)):
        path.write_bytes(content + more)
        assert recall(ear, SHA) is None, more
    path.write_bytes(content)
    assert recall(ear, SHA) == HEARD


def test_no_flipped_bit_is_taken_for_what_was_written(ear: Ear) -> None:
    keep(ear, SHA, HEARD)
    path = place(ear, ear.origin(SHA))
    content = bytearray(path.read_bytes())
    for at in range(len(content)):
        content[at] ^= 1 << at % 8
        path.write_bytes(content)
        assert recall(ear, SHA) is None, at
        content[at] ^= 1 << at % 8


@given(at=st.integers(0, 2_000), size=st.integers(1, 4_096))
def test_blocks_that_never_reached_the_disk(
    tmp_path_factory: pytest.TempPathFactory, at: int, size: int
) -> None:
    """After a power cut a file may have its length, and zeros where content should be."""
    cache = tmp_path_factory.mktemp("cache")
    ear = Ear(StandInEngine("log"), "material", cache)
    keep(ear, SHA, HEARD)
    path = place(ear, ear.origin(SHA))
    content = path.read_bytes()
    at = min(at, len(content) - 1)
    path.write_bytes(content[:at] + bytes(len(content[at : at + size])) + content[at + size :])
    assert recall(ear, SHA) is None


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"{",
        b"[]",
        b"null",
        b"\xff\xfe",
        b'{"check":"' + b"0" * 64 + b'",}',
        b'{"origin": {}}',
        bytes(5000),
    ],
)
def test_foreign_files_are_no_transcripts(ear: Ear, content: bytes) -> None:
    path = place(ear, ear.origin(SHA))
    path.write_bytes(content)
    place(ear, ear.origin(SHA), 0).write_bytes(content)
    assert (recall(ear, SHA), recall_pieces(ear, SHA)) == (None, {})


def test_a_file_of_the_right_form_for_another_recording_is_not_taken(ear: Ear) -> None:
    """Somebody renamed files in the folder: the hash in it is right, its origin is another."""
    other = hashlib.sha256(b"another").hexdigest()
    keep(ear, other, HEARD)
    keep_piece(ear, other, piece(4))
    place(ear, ear.origin(other)).rename(place(ear, ear.origin(SHA)))
    place(ear, ear.origin(other), 4).rename(place(ear, ear.origin(SHA), 4))
    assert (recall(ear, SHA), recall_pieces(ear, SHA)) == (None, {})


def test_a_folder_in_its_place_and_no_folder_at_all(ear: Ear) -> None:
    place(ear, ear.origin(SHA)).mkdir()
    assert recall(ear, SHA) is None
    gone = Ear(ear.engine, "material", ear.cache / "gone")
    assert (recall(gone, SHA), recall_pieces(gone, SHA)) == (None, {})
    keep(gone, SHA, HEARD)  # cleared away while the visit is processed
    assert recall(gone, SHA) == HEARD


# --- what it saves, on visits


@pytest.fixture
def engine(log: Path, monkeypatch: pytest.MonkeyPatch) -> StandInEngine:
    stand_in = StandInEngine(str(log))
    put_in(stand_in, monkeypatch)
    return stand_in


@pytest.fixture
def visit(tmp_path: Path) -> Path:
    folder = tmp_path / "visit"
    folder.mkdir()
    return folder


def memo(path: Path, seed: int) -> Path:
    voice = np.zeros(RATE // 4, np.float32)
    voice[::50] = 0.2 + seed / 1000
    return write_audio(path, "pcm_s16le", rate=RATE, samples=voice)


def test_one_memo_more_in_a_visit_of_200_costs_one(
    visit: Path, pack: Path, engine: StandInEngine, log: Path
) -> None:
    for seed in range(200):
        memo(visit / f"2024-03-12 09-{seed // 60:02}-{seed % 60:02}.wav", seed)
    process_visit(visit, pack)
    assert calls(log) == 200
    memo(visit / "2024-03-12 10-00-00.wav", 300)
    assert len(process_visit(visit, pack).recordings) == 201
    assert calls(log) == 201
    for number, path in enumerate(sorted(visit.glob("*.wav"))):
        path.rename(visit / f"memo {number}.wav")
    record = process_visit(visit, pack)
    assert [entry.file for entry in record.recordings] == [f"memo {number}.wav" for number in range(201)]
    assert calls(log) == 201


def test_twins_are_heard_once_and_both_are_in_the_record(
    visit: Path, pack: Path, engine: StandInEngine, log: Path
) -> None:
    memo(visit / "a.wav", 1)
    (visit / "b.wav").write_bytes((visit / "a.wav").read_bytes())
    memo(visit / "c.wav", 2)
    record = process_visit(visit, pack)
    assert calls(log) == 2
    first, second, _ = sorted(record.recordings, key=lambda entry: entry.file)
    assert first.sha256 == second.sha256 and first.words == second.words > 0


def test_a_changed_pack_is_read_anew_without_hearing_anew(
    visit: Path, pack: Path, engine: StandInEngine, log: Path
) -> None:
    """What a check is called on the gap list tells the engine nothing; a new term does."""
    memo(visit / "a.wav", 1)
    titles = {check.title for check in process_visit(visit, pack).checks}
    checks = pack / "checks" / "head.yaml"
    checks.write_text(checks.read_text().replace("title: Bearing noise", "title: Bearings by ear"))
    changed = {check.title for check in process_visit(visit, pack).checks}
    assert changed - titles == {"Bearings by ear"}
    assert calls(log) == 1
    checks.write_text(checks.read_text().replace("[spindle noise]", "[spindle noise, spindle whirr]"))
    process_visit(visit, pack)
    assert calls(log) == 2


def long_memo(path: Path) -> Path:
    """Ten minutes of sound that differs from second to second."""
    voice = np.tile(speech_like([(0.2, 9.8)], 10.0, 0.2), 60)
    voice[::RATE] = np.linspace(0.1, 0.7, 600)
    return write_audio(path, "pcm_s16le", rate=RATE, samples=voice)


@pytest.fixture(scope="session")
def ten_minutes(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return long_memo(tmp_path_factory.mktemp("long") / "long.wav")


@pytest.mark.skipif(
    not Path("/proc/self/fd").exists(), reason="needs os.link and processes as Linux has them"
)
def test_long_recordings_give_the_same_record_however_they_are_shared_out(
    tmp_path: Path,
    pack: Path,
    engine: StandInEngine,
    log: Path,
    ten_minutes: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("PYTHONPATH", environment()["PYTHONPATH"])
    records, given, used = [], [], []
    for processes in (0, 1, 2):
        folder = tmp_path / f"visit {processes}"
        folder.mkdir()
        (folder / "2024-03-12 09-14-05.wav").hardlink_to(ten_minutes)
        memo(folder / "2024-03-12 10-14-05.wav", 1)
        records.append(record_text(process_visit(folder, pack, processes=processes)))
        given.append(sorted(marks(log)))
        used.append(len({line.split()[0] for line in log.read_text().splitlines()}))
        log.unlink()
    assert len(set(records)) == 1
    assert given == [given[0]] * 3 and len(given[0]) == 4
    assert used[:2] == [1, 1] and used[2] == 2


def test_of_a_long_recording_only_unfinished_windows_are_heard_again(
    tmp_path: Path, log: Path, ten_minutes: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Killed after each number of windows, and then with another number of processes."""
    monkeypatch.setenv("PYTHONPATH", environment()["PYTHONPATH"])
    whole_cache = tmp_path / "whole"
    whole_cache.mkdir()
    engine = StandInEngine(str(log))
    whole = hear_all(Ear(engine, "material", whole_cache), [ten_minutes], processes=0)[ten_minutes]
    windows = marks(log)
    assert len(windows) == 3
    for finished in range(1, 3):
        cache = tmp_path / f"after {finished}"
        cache.mkdir()
        ear = Ear(engine, "material", cache)
        log.unlink()

        def stop(_file: str, _done: float, _all: float, ear: Ear = ear, finished: int = finished) -> None:
            if len(list(ear.cache.glob("*.json"))) == finished:
                raise KeyboardInterrupt

        with pytest.raises(KeyboardInterrupt):
            hear_all(ear, [ten_minutes], stop, processes=0)
        assert marks(log) == windows[:finished]
        log.unlink()
        assert hear_all(ear, [ten_minutes], processes=2 if finished == 1 else 0)[ten_minutes] == whole
        assert sorted(marks(log)) == sorted(windows[finished:])
        assert [path.name.count(".") for path in ear.cache.glob("*.json")] == [1]


def test_a_garbled_window_is_heard_again_and_the_others_are_not(
    tmp_path: Path, log: Path, ten_minutes: Path
) -> None:
    cache = tmp_path / "cache"
    cache.mkdir()
    ear = Ear(StandInEngine(str(log)), "material", cache)
    whole = hear_all(ear, [ten_minutes], processes=0)[ten_minutes]
    (kept,) = cache.glob("*.json")
    sha256 = json.loads(kept.read_bytes())["origin"]["sha256"]
    kept.unlink()
    windows = marks(log)
    assert whole.transcript
    words = [word for word in whole.transcript.words if word.start < 100.0]
    for number in (0, 1):
        part = Transcript(words=tuple(words), engine="stand-in", model="one", seconds=200.0)
        keep_piece(ear, sha256, Piece(number=number, is_last=False, transcript=part))
    spoilt = place(ear, ear.origin(sha256), 1)
    spoilt.write_bytes(spoilt.read_bytes()[:-10])
    log.unlink()
    hear_all(ear, [ten_minutes], processes=0)
    assert marks(log) == windows[1:]
