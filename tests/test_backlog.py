"""Several visits in one command on this machine: each with its own outcome, and a table at the end."""

from __future__ import annotations

from pathlib import Path

import pytest
from stand_in_engine import StandInEngine, put_in
from test_cli import run
from test_kept import memo

from voicenotes.backlog.here import each_once
from voicenotes.backlog.outcomes import Outcome
from voicenotes.backlog.sheet import done_line, table_lines, trouble_lines
from voicenotes.speech.whisper_load import cpu_threads
from voicenotes.visit import process_visit

SAID = "Spindle growls. Didn't get to the headstock temperature. The coolant tank is dry."


@pytest.fixture
def visits(tmp_path: Path) -> list[Path]:
    """Three visits of one ready transcript each."""
    folders = [tmp_path / f"unit-{number}" for number in (7, 8, 9)]
    for folder in folders:
        folder.mkdir()
        (folder / "memo.txt").write_text(SAID)
    return folders


def test_a_failing_visit_does_not_stop_the_others(visits: list[Path], pack: Path) -> None:
    (visits[0] / "memo.txt").unlink()
    (visits[1] / "more.txt").write_text("")
    code, out, err = run("process", *visits, "--pack", pack)
    assert code == 1
    assert err.splitlines() == [
        f"{visits[0]}: no recordings; put the voice memos (.m4a, .wav, .mp3 and the like) or transcripts "
        "(.txt, .srt, .vtt, .json) into this folder itself",
        f"{visits[0]}: failed (1 of 3 visits)",
        f"{visits[1]}: more.txt: is empty (0 bytes); export the transcript again",
        f"{visits[1]}: 2 recordings, 0:05, 1 defect, 3 gaps (2 of 3 visits)",
        f"{visits[2]}: 1 recording, 0:05, 1 defect, 3 gaps (3 of 3 visits)",
    ]
    assert out.splitlines()[-2:] == [
        "1 of 3 visits read, 1 in part, 1 failed.",
        "Run the same command again: only what is left is transcribed.",
    ]
    assert [(folder / "record.json").is_file() for folder in visits] == [False, True, True]


def test_each_record_is_that_of_the_visit_alone(visits: list[Path], pack: Path) -> None:
    code, out, _ = run("process", *visits, "--pack", pack)
    assert (code, out.splitlines()[-1]) == (0, "3 of 3 visits read.")
    for visit in visits:
        together = (visit / "record.json").read_bytes()
        process_visit(visit, pack)
        assert (visit / "record.json").read_bytes() == together


def test_quiet_says_only_what_went_wrong(visits: list[Path], pack: Path) -> None:
    assert run("process", *visits, "--pack", pack, "--quiet") == (0, "", "")
    (visits[1] / "memo.txt").unlink()
    code, out, err = run("process", *visits, "--pack", pack, "--quiet")
    assert (code, out, err.count("\n")) == (1, "", 1)
    assert err.startswith(f"{visits[1]}: no recordings; ")


def test_when_nothing_could_be_read_the_exit_code_is_2(visits: list[Path], pack: Path) -> None:
    (visits[0] / "memo.txt").write_text("")
    (visits[1] / "memo.txt").unlink()
    code, out, err = run("process", *visits[:2], "--pack", pack)
    assert code == 2
    assert f"{visits[0]}: nothing could be read from any of its recordings" in err
    assert out.endswith(
        "0 of 2 visits read, 2 failed.\n" + "Run the same command again: only what is left is transcribed.\n"
    )


def test_the_visit_is_named_while_it_is_heard(
    visits: list[Path], pack: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put_in(StandInEngine(str(tmp_path / "log")), monkeypatch)
    memo(visits[1] / "memo 2.wav", 1)
    _, _, err = run("process", *visits[:2], "--pack", pack)
    assert f"{visits[1]}: Transcribing 1 recording.\n" in err
    assert f"{visits[1]}: memo 2.wav: can't be trusted: no voice can be told from the noise" in err


def test_a_folder_that_is_named_twice_counts_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "unit-7").mkdir()
    (tmp_path / "link").symlink_to("unit-7")
    monkeypatch.chdir(tmp_path)
    named = ["unit-7", tmp_path / "unit-7", "unit-7/", "./unit-7/../unit-7", "link", "gone", "gone"]
    assert each_once(named) == {"unit-7": tmp_path / "unit-7", "gone": tmp_path / "gone"}


def test_how_outcomes_are_shown() -> None:
    read = Outcome(
        "visits/north hall/long names of machines/unit-7",
        None,
        12,
        0,
        2050.0,
        9,
        2,
        24,
        doubts=("a.wav: wind",),
    )
    partly = Outcome("visits/unit-8", None, 3, 1, 125.0, 1, 0, 102, problems=("b.wav: is empty",))
    failed = Outcome("visits/unit-9", "no recordings")
    assert table_lines([read, partly, failed]) == [
        "VISITS (3)                        recordings     talk  defects  critical  gaps",
        "  ...ng names of machines/unit-7          12    34:10        9         2    24",
        "  visits/unit-8                       2 of 3     2:05        1         0   102",
        "  visits/unit-9                       failed",
        "",
        "1 of 3 visits read, 1 in part, 1 failed.",
        "Run the same command again: only what is left is transcribed.",
    ]
    left = Outcome("visits/unit-10", "not reached")
    assert table_lines([read, left])[-4:] == [
        "  visits/unit-10                 not reached",
        "",
        "1 of 2 visits read, 1 not reached.",
        "Run the same command again: only what is left is transcribed.",
    ]
    assert [line for each in (read, partly, failed) for line in trouble_lines(each)] == [
        "visits/north hall/long names of machines/unit-7: a.wav: wind",
        "visits/unit-8: b.wav: is empty",
        "visits/unit-9: no recordings",
    ]
    assert done_line(partly, 2, 3) == "visits/unit-8: 3 recordings, 2:05, 1 defect, 102 gaps (2 of 3 visits)"
    assert done_line(failed, 3, 3) == "visits/unit-9: failed (3 of 3 visits)"


@pytest.mark.parametrize(("asked", "threads"), [("1", 1), ("3", 3), ("64", 16), ("", 8), ("0", 8), ("x", 8)])
def test_threads_that_were_asked_for_are_kept_to(
    monkeypatch: pytest.MonkeyPatch, asked: str, threads: int
) -> None:
    monkeypatch.setattr("os.sched_getaffinity", lambda _: range(16), raising=False)
    monkeypatch.setenv("OMP_NUM_THREADS", asked)
    assert cpu_threads() == threads
