"""What `gaps` and `process` say when a visit's folder is no longer what its record was made from."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from test_cli import run

from voicenotes import changes
from voicenotes.changes import HASHES_FILE, Changes, change_lines, changes_since
from voicenotes.visit import load_record, process_visit, what_changed

LONG_AGO = 1_710_234_845


@pytest.fixture
def visit(tmp_path: Path, pack: Path) -> Path:
    """A processed visit of three transcripts."""
    folder = tmp_path / "visit"
    folder.mkdir()
    for name, text in (("a", "spindle growls"), ("b", "spindle is quiet"), ("c", "coolant tank is dry")):
        (folder / f"{name}.txt").write_text(text)
        os.utime(folder / f"{name}.txt", (LONG_AGO, LONG_AGO))
    process_visit(folder, pack)
    return folder


def nothing(_: Path) -> None:
    pass


def add(visit: Path) -> None:
    (visit / "d.txt").write_text("quill is stuck")


def change(visit: Path) -> None:
    (visit / "b.txt").write_text("spindle growls")


def change_secretly(visit: Path) -> None:
    """Same size, and the time set back."""
    (visit / "b.txt").write_text("spindle so quiet"[: (visit / "b.txt").stat().st_size])
    os.utime(visit / "b.txt", (LONG_AGO, LONG_AGO))


def delete(visit: Path) -> None:
    (visit / "c.txt").unlink()


def rename(visit: Path) -> None:
    (visit / "c.txt").rename(visit / "e.txt")


def touch(visit: Path) -> None:
    os.utime(visit / "a.txt")


def copy(visit: Path) -> None:
    """A second copy of what the record has."""
    shutil.copy(visit / "a.txt", visit / "a (2).txt")


def swap(visit: Path) -> None:
    (visit / "a.txt").rename(visit / "x")
    (visit / "b.txt").rename(visit / "a.txt")
    (visit / "x").rename(visit / "b.txt")


def no_recording(visit: Path) -> None:
    (visit / "photo.jpg").write_bytes(b"picture")
    (visit / "gaps.txt").write_text("a list")


def much(visit: Path) -> None:
    for meddle in (add, change, delete):
        meddle(visit)


CASES: list[tuple[Callable[[Path], None], Changes]] = [
    (nothing, Changes()),
    (add, Changes(new=("d.txt",))),
    (change, Changes(changed=("b.txt",))),
    (change_secretly, Changes(changed=("b.txt",))),
    (delete, Changes(gone=("c.txt",))),
    (rename, Changes()),
    (touch, Changes()),
    (copy, Changes()),
    (swap, Changes(changed=("a.txt", "b.txt"))),
    (no_recording, Changes()),
    (much, Changes(new=("d.txt",), changed=("b.txt",), gone=("c.txt",))),
]


@pytest.mark.parametrize(("meddle", "expected"), CASES, ids=[meddle.__name__ for meddle, _ in CASES])
@pytest.mark.parametrize("hashes", ["kept", "lost", "spoilt"])
def test_what_has_changed(
    visit: Path, meddle: Callable[[Path], None], expected: Changes, hashes: str
) -> None:
    """The same with and without the kept hashes: they only save reading."""
    home = visit / ".voicenotes"
    if hashes == "lost":
        (home / HASHES_FILE).unlink()
    elif hashes == "spoilt":
        (home / HASHES_FILE).write_text('{"a.txt": 1, "b.txt": [1], "c.txt": null')
    meddle(visit)
    assert changes_since(load_record(visit), visit, home) == expected


def test_gaps_says_so_and_does_its_work(visit: Path, pack: Path) -> None:
    assert run("gaps", visit, "--pack", pack)[2] == ""
    listed = run("gaps", visit, "--pack", pack)[1]
    much(visit)
    code, out, err = run("gaps", visit, "--pack", pack)
    assert (code, out) == (0, listed)
    assert err.splitlines() == [
        "Not in the record, as they came later: d.txt.",
        "Changed since the record was written: b.txt.",
        "In the record, but no longer in the folder: c.txt.",
        f"Process the visit again: voicenotes process {visit}",
    ]
    assert json.loads(run("gaps", visit, "--pack", pack, "--json")[1])
    run("process", visit, "--pack", pack)
    assert run("gaps", visit, "--pack", pack)[2] == ""


def test_a_record_alone_says_that_its_recordings_are_not_there(
    tmp_path: Path, visit: Path, pack: Path
) -> None:
    alone = tmp_path / "alone"
    alone.mkdir()
    shutil.copy(visit / "record.json", alone)
    code, _, err = run("gaps", alone, "--pack", pack)
    assert code == 0
    assert err.startswith("In the record, but no longer in the folder: a.txt, b.txt, c.txt.")


def test_gaps_writes_nothing(visit: Path, pack: Path) -> None:
    def state() -> dict[str, tuple[int, bytes]]:
        files = [path for path in visit.rglob("*") if path.is_file()]
        return {str(path): (path.stat().st_mtime_ns, path.read_bytes()) for path in files}

    add(visit)
    before = state()
    run("gaps", visit, "--pack", pack)
    assert state() == before


def rested(visit: Path, pack: Path, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The visit processed as if its files had lain there for long; the names of what is hashed after that."""
    monkeypatch.setattr(changes, "SETTLED_NS", -(10**18))
    process_visit(visit, pack)
    read: list[str] = []
    real = changes.sha256_of

    def hashing(path: Path) -> str | None:
        read.append(path.name)
        return real(path)

    monkeypatch.setattr(changes, "sha256_of", hashing)
    return read


def test_a_file_that_was_left_alone_is_not_read_again(
    visit: Path, pack: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    read = rested(visit, pack, monkeypatch)
    assert what_changed(visit, load_record(visit)) == [] and read == []
    touch(visit)
    add(visit)
    assert len(what_changed(visit, load_record(visit))) == 2
    assert read == ["a.txt", "d.txt"]


@pytest.mark.parametrize("meddle", [change, change_secretly, swap])
def test_one_that_was_not_is(
    visit: Path, pack: Path, monkeypatch: pytest.MonkeyPatch, meddle: Callable[[Path], None]
) -> None:
    read = rested(visit, pack, monkeypatch)
    meddle(visit)
    assert what_changed(visit, load_record(visit)) != [] and "b.txt" in read


def test_what_was_changed_a_moment_before_is_read_again(visit: Path) -> None:
    """Its time may not tell a change in the same moment."""
    assert json.loads((visit / ".voicenotes" / HASHES_FILE).read_text()) == {}


def test_kept_hashes_are_those_of_the_files(visit: Path, pack: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    rested(visit, pack, monkeypatch)
    kept = json.loads((visit / ".voicenotes" / HASHES_FILE).read_text())
    assert {name: values[-1] for name, values in kept.items()} == {
        path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in visit.glob("*.txt")
    }


def test_one_that_changed_after_it_was_read_is_not_remembered_with_its_old_hash(
    visit: Path, pack: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(changes, "SETTLED_NS", -(10**18))
    real = changes.write_atomically

    def late(path: Path, text: str) -> None:
        real(path, text)

    from voicenotes import visit as story

    def write(path: Path, text: str) -> None:
        real(path, text)
        change(visit)

    monkeypatch.setattr(story, "write_atomically", write)
    monkeypatch.setattr(changes, "write_atomically", late)
    said: list[str] = []
    process_visit(visit, pack, say=said.append)
    assert said[0] == "Changed since the record was written: b.txt."


def test_many_names_are_cut_short(tmp_path: Path) -> None:
    many = Changes(new=tuple(f"{number}.wav" for number in range(8)))
    assert change_lines(many, tmp_path / "my visit") == [
        "Not in the record, as they came later: 0.wav, 1.wav, 2.wav, 3.wav, 4.wav and 3 more.",
        f"Process the visit again: voicenotes process '{tmp_path / 'my visit'}'",
    ]


def test_a_recording_that_could_not_be_read_and_now_can_has_changed(visit: Path, pack: Path) -> None:
    (visit / "d.txt").symlink_to(visit / "nowhere.txt")
    process_visit(visit, pack)
    assert what_changed(visit, load_record(visit)) == []
    (visit / "d.txt").unlink()
    add(visit)
    assert what_changed(visit, load_record(visit))[0] == "Changed since the record was written: d.txt."
