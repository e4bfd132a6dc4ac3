"""Sets, visits and the command: what is scored, what is refused, and what is printed."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from pydantic import ValidationError
from test_cli import refused, run

import voicenotes
from voicenotes.errors import LabelError, VisitError
from voicenotes.findings.score_values import Score
from voicenotes.outputs.score_sheet import score_lines
from voicenotes.vocabulary.labels import LabelledSentence, is_yes, split_outcome

GOOD = "- say: spindle growls\n  expect: {head.noise: defect critical}\n  kind: plain\n"
BAD = "- say: The spindle is quiet, no rumble.\n  expect: {head.noise: defect}\n  kind: negation\n"
VISIT_LABEL = """
title: Small lathe, noisy
expect: {head.noise: defect critical, tank.leaks: ok, head.heat: ok}
told: [head.heat]
fittings: {tailstock: "no"}
facts: {maker: Lantern}
readings: {}
"""
MEMOS = {
    "memo 1.txt": "Spindle growls. The maker is Lantern.",
    "memo 2.txt": "No coolant leak. There's no tailstock. He says the spindle is cool.",
}


def write(path: Path, text: str) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")
    return path


@pytest.fixture
def visit(tmp_path: Path) -> Path:
    """A labelled visit of ready transcripts."""
    for name, text in {**MEMOS, "expected.yaml": VISIT_LABEL}.items():
        write(tmp_path / "visit" / name, text)
    return tmp_path / "visit"


# --- what is a set ---------------------------------------------------------------------------------------


def test_a_file_and_folders_of_files_are_scored(tmp_path: Path, pack: Path) -> None:
    first, second = write(tmp_path / "sets/a.yaml", GOOD), write(tmp_path / "sets/b.yml", GOOD + BAD)
    write(tmp_path / "sets/notes.txt", "no set")
    alone = voicenotes.score_sets(first, pack)
    assert (alone.written.entries.right, alone.written.entries.of) == (1, 1)
    folder = voicenotes.score_sets([tmp_path / "sets"], pack)
    assert folder.written.entries.of == 3
    assert [one.place for one in folder.written.misreadings] == [f"{second}, line 4"]
    assert voicenotes.score_sets([tmp_path / "sets", str(first)], pack) == folder.model_copy(
        update={"sets": (str(tmp_path / "sets"), str(first))}
    )


def test_a_pack_folder_means_its_own_sentences(pack: Path) -> None:
    assert voicenotes.score_sets(pack, pack).written.entries.of == 1


def test_a_visit_of_ready_transcripts_is_read_and_nothing_is_written(visit: Path, pack: Path) -> None:
    before = sorted(visit.iterdir())
    score = voicenotes.score_sets(visit, pack, raw=True)
    assert score.written.misreadings == ()
    assert (score.written.entries.right, score.written.texts, score.written.words) == (1, 2, 18)
    assert [kind.kind for kind in score.written.kinds] == ["visit"]
    assert (score.written.facts.labelled.right, score.written.fittings.labelled.right) == (1, 1)
    assert score.raw is not None and score.lost
    assert sorted(visit.iterdir()) == before
    assert voicenotes.score_sets(visit / "expected.yaml", pack).written == score.written
    assert voicenotes.score_sets(visit.parent, pack).written == score.written  # a folder of visits


def test_a_record_is_scored_as_it_stands(visit: Path, pack: Path) -> None:
    voicenotes.process_visit(visit, pack)
    record = json.loads((visit / "record.json").read_text())
    [noise] = [check for check in record["checks"] if check["id"] == "head.noise"]
    noise["outcome"], noise["severity"] = "ok", None
    write(visit / "record.json", json.dumps(record))
    [found] = voicenotes.score_sets(visit, pack).written.misreadings
    assert (found.subject, found.labelled, found.read, found.place) == (
        "head.noise",
        "defect",
        "ok",
        str(visit),
    )
    assert found.quote == "Spindle growls."
    with pytest.raises(LabelError, match=r"record\.json can't be read again without punctuation"):
        voicenotes.score_sets(visit, pack, raw=True)


def test_a_told_check_that_is_read_as_seen_is_a_false_settlement(visit: Path, pack: Path) -> None:
    write(visit / "memo 2.txt", "No coolant leak. There's no tailstock. The spindle is cool.")
    [found] = voicenotes.score_sets(visit, pack).written.misreadings
    assert (found.subject, found.labelled, found.read) == ("head.heat", "ok, only told", "ok")
    assert found.false_settlement


def test_a_transcript_that_cannot_be_read_is_noted(visit: Path, pack: Path) -> None:
    write(visit / "memo 3.json", "{}")
    score = voicenotes.score_sets(visit, pack)
    [note] = score.notes
    assert note.startswith(f"{visit}: memo 3.json: ")
    assert any(line.startswith("! ") for line in score_lines(score))


# --- what is refused ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "set.yaml: holds no labelled sentences"),
        ("[]", "set.yaml: holds no labelled sentences"),
        ("hello", "set.yaml, line 1: is no list of labelled sentences; begin each with '- say:'"),
        ("- say: [", "set.yaml, line "),
        (
            "- say: a\n- say: b\n  expect:\n    head.nose: ok",
            "line 4: there is no check 'head.nose' in this pack",
        ),
        ("- say: a\n  expect: {head.noise: fine}", "line 2: head.noise: 'fine' is no outcome"),
        (
            "- say: a\n  readings: {head.runout: small}",
            "line 2: head.runout: 'small' is not a number with a unit",
        ),
        ("- say: a\n  readings: {head.runout: '3'}", "line 2: head.runout: '3' is not a number with a unit"),
        ("- say: a\n  fittings: {tailstock: maybe}", "line 2: tailstock: 'maybe' is neither yes nor no"),
        ("- say: a\n  told: [head.noise]", "line 2: head.noise is told, but expect doesn't say"),
        (
            "- say: a\n  recordings: [b]",
            "line 1: the file: Value error, give one of the two: say, or recordings",
        ),
        ("- expect: {}", "line 1: the file: Value error, give one of the two: say, or recordings"),
        ("- recordings: [a, ' ']", "line 1: recordings is blank"),
    ],
)
def test_a_set_that_cannot_be_right_is_refused(tmp_path: Path, pack: Path, text: str, says: str) -> None:
    file = write(tmp_path / "set.yaml", text)
    said = refused("score", file, "--pack", pack)
    assert says in said and str(file) in said


def test_places_that_hold_no_set_are_refused(tmp_path: Path, visit: Path, pack: Path) -> None:
    (tmp_path / "empty").mkdir()
    assert "nowhere: no such file or folder" in refused("score", tmp_path / "nowhere", "--pack", pack)
    assert "empty: holds no labelled sentences" in refused("score", tmp_path / "empty", "--pack", pack)
    write(visit / "expected.yaml", "- say: a")
    assert "expected.yaml, line 1: is no label of a visit" in refused("score", visit, "--pack", pack)
    write(visit / "expected.yaml", "expect:\n  head.nose: ok")
    assert "line 2: there is no check 'head.nose' in this pack" in refused("score", visit, "--pack", pack)
    with pytest.raises(LabelError, match="no set to score"):
        voicenotes.score_sets([], pack)


def test_visits_that_lack_something_are_refused(visit: Path, pack: Path, tmp_path: Path) -> None:
    for memo in MEMOS:
        (visit / memo).unlink()
    assert "none of its 1 files is a recording by its name" in refused("score", visit, "--pack", pack)
    write(visit / "memo 1.m4a", "sound")
    said = refused("score", visit, "--pack", pack)
    assert "has no record.json, and no transcript of memo 1.m4a; process the visit first" in said
    assert said.endswith(f"voicenotes process {visit}")
    write(visit / "record.json", "{")
    assert "is not JSON" in refused("score", visit, "--pack", pack)


def test_a_record_of_another_pack_is_refused(visit: Path, pack: Path, tmp_path: Path) -> None:
    voicenotes.process_visit(visit, pack)
    other = shutil.copytree(pack, tmp_path / "other")
    write(
        other / "checks/tank.yaml",
        (other / "checks/tank.yaml").read_text()
        + """
- {id: tank.level, title: Level, judged: full, severity: minor, likely: rare, minutes: 1,
   must_before_leaving: false}
""",
    )
    with pytest.raises(VisitError, match="has other checks than the pack 'small' has now"):
        voicenotes.score_sets(visit, other)
    write(other / "pack.yaml", (other / "pack.yaml").read_text().replace("id: small", "id: large"))
    with pytest.raises(VisitError, match="was read with the pack 'small', not with 'large'"):
        voicenotes.score_sets(visit, other)


# --- what is printed ------------------------------------------------------------------------------------


def test_the_command_prints_the_numbers_and_the_worst(tmp_path: Path, pack: Path) -> None:
    file = write(tmp_path / "set.yaml", GOOD + BAD + "- say: spindle is cool\n")
    code, out, err = run("score", file, "--pack", pack)
    assert (code, err) == (0, "")
    lines = [" ".join(line.split()) for line in out.splitlines()]
    assert lines[0] == "small, version 3: 3 labelled entries, 3 texts, 11 words"
    assert "Entries wholly as labelled 1 3 33.3 % 6.1 to 79.2 %" in lines
    assert "Mentions: precision 2 3 66.7 % 20.8 to 93.9 %" in lines
    assert "Severity of defects 1 1 100.0 % 20.7 to 100.0 %" in lines
    assert "False settlements, of open checks 1 13 7.7 % 1.4 to 33.3 %" in lines
    assert "defect 2 1 1 100.0 % 50.0 % 66.7 %" in lines
    assert "1 defect read as ok" in lines and "1 not mentioned read as ok" in lines
    assert "WORST MISREADINGS (2)" in lines
    assert lines.index("outcome head.noise: defect read as ok") < lines.index(
        "outcome head.heat: not mentioned read as ok (false settlement)"
    )
    assert '"The spindle is quiet, no rumble."' in lines
    assert "".join(f"{file}, line 4; negation".split()) in "".join(out.split())  # however it is broken
    assert max(len(line) for line in out.splitlines() if str(file) not in line) <= 80


def test_worst_limits_what_is_shown(tmp_path: Path, pack: Path) -> None:
    file = write(tmp_path / "set.yaml", BAD + "- say: spindle is cool\n")
    assert "WORST MISREADINGS (1 of 2)" in run("score", file, "--pack", pack, "--worst", "1")[1]
    assert "WORST MISREADINGS" not in run("score", file, "--pack", pack, "--worst", "0")[1]
    assert run("score", file, "--pack", pack, "--worst", "-1")[0] == 2


def test_checks_misread_for_one_cause_stand_together(tmp_path: Path) -> None:
    file = write(tmp_path / "set.yaml", "- say: there's no tailstock\n")
    score = voicenotes.score_sets(file)
    assert len(score.written.misreadings) > 3
    assert sum("read as not fitted (false settlement)" in line for line in score_lines(score)) <= 1
    assert "WORST MISREADINGS (1)" in score_lines(score)


def test_raw_shows_both_and_what_is_lost(tmp_path: Path, pack: Path) -> None:
    file = write(
        tmp_path / "set.yaml",
        "- say: No, leaks at the coolant tank.\n  expect: {tank.leaks: defect}\n" + GOOD,
    )
    score = voicenotes.score_sets(file, pack, raw=True)
    assert score.raw is not None
    lost = {loss.measure: loss for loss in score.lost}["entries wholly right"]
    assert (lost.written, lost.raw) == (score.written.entries.share, score.raw.entries.share)
    assert lost.points_lost == pytest.approx(100 * (lost.written - lost.raw))
    _, out, _ = run("score", file, "--pack", pack, "--raw")
    assert "WITHOUT PUNCTUATION AND CAPITALS" in out
    assert "WITHOUT PUNCTUATION" not in run("score", file, "--pack", pack)[1]
    assert voicenotes.score_sets(file, pack).raw is None


def test_json_is_the_whole_score_and_fits_its_schema(tmp_path: Path, pack: Path) -> None:
    file = write(tmp_path / "set.yaml", GOOD + BAD)
    code, out, _ = run("score", file, "--pack", pack, "--json", "--raw", "--worst", "0")
    assert code == 0
    score = voicenotes.score_sets(file, pack, raw=True)
    assert Score.model_validate_json(out) == score
    assert json.loads(out)["written"]["misreadings"][0]["why"]
    schema = json.loads(run("schema", "score")[1])
    assert set(schema["properties"]) == set(json.loads(out))
    assert json.loads(run("schema", "visit-label")[1])["title"] == "VisitLabel"
    one_of = json.loads(run("schema", "sentence")[1])["oneOf"]
    assert one_of == [{"required": ["say"]}, {"required": ["recordings"]}]


# --- the label itself -------------------------------------------------------------------------------


def test_a_sentence_has_either_say_or_recordings() -> None:
    assert LabelledSentence(say="a").texts == ("a",)
    assert LabelledSentence(recordings=("a", "b")).texts == ("a", "b")
    for wrong in ({}, {"say": "a", "recordings": ("b",)}, {"say": ""}, {"recordings": ()}):
        with pytest.raises(ValidationError, match="give one of the two"):
            LabelledSentence.model_validate(wrong)
    again = LabelledSentence(recordings=("a", "b"))
    assert LabelledSentence.model_validate(again.model_dump()) == again


@pytest.mark.parametrize(
    ("said", "outcome"),
    [("ok", ("ok", None)), ("defect", ("defect", None)), ("defect minor", ("defect", "minor"))],
)
def test_outcomes_of_labels(said: str, outcome: tuple[str, str | None]) -> None:
    assert split_outcome(said) == outcome


@pytest.mark.parametrize("said", ["", "fine", "ok minor", "defect small", "defect  minor"])
def test_what_is_no_outcome(said: str) -> None:
    with pytest.raises(ValueError, match="is no outcome"):
        split_outcome(said)


@pytest.mark.parametrize(
    ("said", "yes"), [("yes", True), (True, True), ("True", True), ("no", False), (False, False)]
)
def test_yes_and_no(said: str | bool, yes: bool) -> None:
    assert is_yes(said) is yes
