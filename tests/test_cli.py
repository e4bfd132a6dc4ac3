"""The commands as somebody runs them: what they print, where, and their exit codes."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from make_audio import noise, speech_like, write_audio
from stand_in_engine import put_in
from typer.testing import CliRunner

from voicenotes.cli import frame
from voicenotes.cli import main as cli
from voicenotes.errors import EngineError
from voicenotes.speech import choose

SAID = "Spindle growls. Didn't get to the headstock temperature. The coolant tank is dry."


@pytest.fixture
def visit(tmp_path: Path) -> Path:
    folder = tmp_path / "visit"
    folder.mkdir()
    (folder / "memo 1.txt").write_text(SAID)
    return folder


def run(*words: str | Path) -> tuple[int, str, str]:
    """Exit code, stdout and stderr of a command."""
    result = CliRunner().invoke(cli.app, [str(word) for word in words])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result.exit_code, result.stdout, result.stderr


def refused(*words: str | Path) -> str:
    """The one line on stderr of a command that must be refused with exit code 2."""
    code, out, err = run(*words)
    assert (code, out) == (2, "")
    assert err.startswith("voicenotes: ") and err.count("\n") == 1
    return err.strip()


def test_process_then_gaps(visit: Path, pack: Path) -> None:
    code, out, err = run("process", visit, "--pack", pack)
    assert (code, err) == (0, "")
    assert "CRITICAL (1)" in out and '"Spindle growls."' in out
    assert "2 of 5 checks settled, 3 gaps (2 must be settled before leaving, about 7 min)." in out
    assert f"Record: {visit / 'record.json'}\n" in out
    assert f"Gap list, again at any time: voicenotes gaps {visit} --pack {pack}\n" in out
    code, listed, err = run("gaps", visit, "--pack", pack)
    assert (code, err) == (0, "")
    assert out.endswith(f"\n\n{listed}")
    assert "never mentioned   5 min" in listed
    assert "Don't leave yet: 1 check must still be settled, about 5 min" in listed
    assert "\x1b" not in out


def test_the_record_is_the_same_to_the_byte_in_every_process(visit: Path, pack: Path) -> None:
    made = set()
    for seed in ("1", "2"):
        command = [sys.executable, "-m", "voicenotes", "process", str(visit), "--pack", str(pack), "--quiet"]
        subprocess.run(command, check=True, timeout=60, env={**os.environ, "PYTHONHASHSEED": seed})
        made.add((visit / "record.json").read_bytes())
    assert len(made) == 1


def test_gaps_for_programs(visit: Path, pack: Path) -> None:
    run("process", visit, "--pack", pack)
    everything = json.loads(run("gaps", visit, "--pack", pack, "--json")[1])
    assert [gap["id"] for gap in everything["checks"]] == ["head.heat", "head.runout"]
    assert [question["fitting"] for question in everything["questions"]] == ["tailstock"]
    must = json.loads(run("gaps", visit, "--pack", pack, "--json", "--must")[1])
    assert [gap["id"] for gap in must["checks"]] == ["head.runout"]


def test_gaps_of_the_time_left_and_on_paper(visit: Path, pack: Path, tmp_path: Path) -> None:
    run("process", visit, "--pack", pack)
    code, out, _ = run("gaps", visit, "--pack", pack, "--minutes", "3")
    assert code == 0 and out.startswith("Most worth doing in 3 min: 1 question and 1 check")
    page = tmp_path / "gaps.pdf"
    code, _, err = run("gaps", visit, "--pack", pack, "--pdf", page, "--paper", "letter")
    assert (code, err) == (0, f"Page to print: {page}\n")
    assert page.read_bytes().startswith(b"%PDF-")
    assert "can't be written" in refused("gaps", visit, "--pack", pack, "--pdf", tmp_path / "no" / "gaps.pdf")
    assert run("gaps", visit, "--pack", pack, "--minutes", "-1")[0] == 2


def test_a_pack_without_weights_cannot_choose(visit: Path, pack: Path) -> None:
    head = pack / "pack.yaml"
    head.write_text(head.read_text(encoding="utf-8").partition("risk:")[0], encoding="utf-8")
    run("process", visit, "--pack", pack)
    assert "give it 'risk' in its pack.yaml" in refused("gaps", visit, "--pack", pack, "--minutes", "3")


def test_a_bad_recording_gives_exit_code_1_and_a_record(visit: Path, pack: Path) -> None:
    (visit / "memo 2.json").write_text("{}")
    code, out, err = run("process", visit, "--pack", pack)
    assert code == 1
    assert err.startswith('memo 2.json: has neither "words" nor "segments"') and err.count("\n") == 1
    assert "CRITICAL (1)" in out
    assert (visit / "record.json").is_file()


def test_quiet_says_only_what_went_wrong(visit: Path, pack: Path) -> None:
    assert run("process", visit, "--pack", pack, "--quiet") == (0, "", "")
    (visit / "memo 2.txt").write_text("")
    code, out, err = run("process", visit, "--pack", pack, "--quiet")
    assert (code, out) == (1, "")
    assert err.startswith("memo 2.txt: is empty")


def test_nothing_readable_is_exit_code_2(visit: Path, pack: Path) -> None:
    (visit / "memo 1.txt").write_text("")
    code, out, err = run("process", visit, "--pack", pack)
    assert (code, out) == (2, "")
    assert "memo 1.txt: is empty" in err and "nothing could be read from any of its recordings" in err


def test_the_engine_line_is_said_once(visit: Path, pack: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from test_visit import FakeEngine

    put_in(FakeEngine(), monkeypatch)
    voice = speech_like([(0.2, 1.8)], 2.0)
    write_audio(visit / "memo 2.wav", "pcm_s16le", rate=16_000, samples=voice)
    code, _, err = run("process", visit, "--pack", pack)
    assert (code, err) == (0, "Speech engine: fake.\nTranscribing 1 recording.\n")


def test_a_recording_that_cannot_be_trusted_is_named_before_all_else(
    visit: Path, pack: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from test_visit import FakeEngine

    put_in(FakeEngine(), monkeypatch)
    write_audio(visit / "memo 2.wav", "pcm_s16le", rate=16_000, samples=noise(4.0, 0.05, 0.5))
    code, _, err = run("process", visit, "--pack", pack, "--quiet")
    assert code == 0
    assert err.splitlines()[-3:-1] == [
        "  memo 2.wav (0:04): no voice can be told from the noise: say it again away from",
        "      what is loud",
    ]
    assert "SAY AGAIN (1): heard too badly to be trusted" in err


def test_the_engine_options_reach_the_engine(
    visit: Path, pack: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[object] = []

    def refuse(
        name: str, _material: object, model: str | None, allow_download: bool, **_rest: object
    ) -> None:
        asked.extend((name, model, allow_download))
        raise EngineError("no such model here")

    monkeypatch.setattr(choose, "choose_engine", refuse)
    write_audio(visit / "memo 2.wav", "pcm_s16le", rate=16_000, seconds=1.0)
    options = ("--engine", "whisper", "--model", "small", "--download")
    assert refused("process", visit, "--pack", pack, *options) == "voicenotes: no such model here"
    assert asked == ["whisper", "small", True]


def test_what_is_refused(tmp_path: Path, visit: Path, pack: Path) -> None:
    empty = tmp_path / "empty"
    empty.mkdir()
    assert "no such folder" in refused("process", tmp_path / "nowhere", "--pack", pack)
    assert "is a file, not a folder" in refused("process", visit / "memo 1.txt", "--pack", pack)
    assert "no recordings" in refused("process", empty, "--pack", pack)
    assert "no pack 'nonsense'" in refused("process", visit, "--pack", "nonsense")
    assert "process the visit first: voicenotes process" in refused("gaps", visit)
    run("process", visit, "--pack", pack)
    assert "read with the pack 'small': name its folder with --pack" in refused("gaps", visit)
    assert "there is no schema 'nonsense'" in refused("schema", "nonsense")


@pytest.mark.parametrize(
    "words",
    [("process",), ("process", "a", "--engine", "magic"), ("nonsense",), ("process", "a", "--nonsense")],
)
def test_wrong_use_is_exit_code_2(words: tuple[str, ...]) -> None:
    code, out, err = run(*words)
    assert (code, out) == (2, "")
    assert "Error" in err and "Traceback" not in err


def test_a_broken_pack_is_named_by_file_and_line(visit: Path, pack: Path) -> None:
    checks = pack / "checks" / "tank.yaml"
    checks.write_text(checks.read_text().replace("severity: minor", "severity: tiny"))
    for words in (("process", visit, "--pack", pack), ("lint", pack), ("explain", "hello", "--pack", pack)):
        err = refused(*words)
        assert f"{checks}, line 1: severity" in err


def test_lint(pack: Path) -> None:
    assert run("lint", pack) == (0, "small: 5 checks at 3 stations, 1 labelled sentence, no faults\n", "")


@pytest.mark.parametrize(
    ("sentence", "fault"),
    [
        ("- say: hello\n  expect: {head.nose: ok}", "line 4: there is no check 'head.nose' in this pack"),
        ("- say: hello\n  expect: {head.noise: broken}", "line 4: head.noise: 'broken' is no outcome"),
        ("- say: hello\n  expect: {head.noise: ok minor}", "line 4: head.noise: 'ok minor' is no outcome"),
        ("- say: hello\n  fittings: {gib: 'no'}", "line 4: there is no fitting 'gib' in this pack"),
        ("- say: hello\n  fact: {}", "line 4: fact: Extra inputs are not permitted"),
        ("- say: [", "line"),
    ],
)
def test_lint_names_a_bad_sentence_by_line(pack: Path, sentence: str, fault: str) -> None:
    file = pack / "sentences" / "head.yaml"
    file.write_text(f"- say: spindle growls\n  expect: {{head.noise: defect}}\n{sentence}\n")
    assert f"{file}, {fault}" in refused("lint", pack)


def test_explain(pack: Path) -> None:
    code, out, _ = run("explain", "spindle growls", "--pack", pack)
    assert code == 0
    assert " DEFECT critical  head.noise " in out and 'condition  "growls": bad' in out
    data = json.loads(run("explain", "spindle growls", "--pack", pack, "--json")[1])
    assert data["remarks"][0]["checks"][0]["check"] == "head.noise"


def test_packs_and_schema() -> None:
    assert run("packs")[1].startswith("cnc_lathe  CNC lathe, version ")
    assert json.loads(run("schema")[1])["title"] == "Record"
    assert json.loads(run("schema", "check")[1])["title"] == "Check"


def test_every_command_has_help_that_fits_the_screen() -> None:
    code, out, _ = run("--help")
    assert code == 0 and "Exit codes: 0 every recording was read; 1 some" in out
    for command in ("process", "gaps", "explain", "packs", "lint", "score", "schema"):
        assert f"\n  {command} " in out
        code, text, _ = run(command, "--help")
        assert code == 0 and max(len(line) for line in text.splitlines()) <= 80
    assert "Exit codes" in run("process", "--help")[1]


def test_an_interrupt_is_exit_code_130(visit: Path, pack: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupt(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("voicenotes.visit.process_visit", interrupt)
    assert run("process", visit, "--pack", pack) == (130, "", "voicenotes: interrupted\n")


@pytest.mark.skipif(sys.platform == "win32", reason="POSIX pipes")
def test_a_reader_that_goes_away_gets_no_traceback() -> None:
    """As in `voicenotes schema | head -1`, with more output than a pipe holds."""
    code = (
        "import sys; from voicenotes.cli import frame, main, packs; sys.argv = ['voicenotes', 'schema']; "
        "packs.print_json = lambda _: frame.print_lines(['x' * 80] * 5000); main.main()"
    )
    command = [sys.executable, "-c", code]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        assert process.stdout and process.stderr
        process.stdout.readline()
        process.stdout.close()
        assert process.stderr.read() == b""
        assert process.wait(timeout=30) == frame.PIPE_CLOSED


def test_the_module_runs_as_the_command_does() -> None:
    ran = subprocess.run(
        [sys.executable, "-m", "voicenotes", "gaps", "nowhere"], capture_output=True, text=True, timeout=60
    )
    assert (ran.returncode, ran.stdout) == (2, "")
    assert ran.stderr == (
        "voicenotes: nowhere: no such folder; name the folder that holds the visit's recordings\n"
    )
