"""From corrections to the user's own additions: what is suggested, accepted, turned down, and kept."""

from __future__ import annotations

import json
import multiprocessing
import os
from pathlib import Path

import correcting as c
import pytest
from make_audio import RATE, write_audio
from stand_in_engine import StandInEngine, calls, put_in
from taught import moved, put_right, tagged, visit
from typer.testing import CliRunner

from voicenotes import load_pack
from voicenotes.cli.main import app
from voicenotes.corrections.apply import reviewed
from voicenotes.corrections.journal import append, read_corrections
from voicenotes.errors import LearningError, PackError, VisitError
from voicenotes.learning import write
from voicenotes.learning.additions import with_suggestions
from voicenotes.learning.learn import accept, decline, suggestions
from voicenotes.learning.write import change_overlay
from voicenotes.outputs.suggestion_sheet import NOTHING, suggestion_lines
from voicenotes.outputs.suggestion_values import Suggestions
from voicenotes.speech.dictionary_file import write_dictionary
from voicenotes.visit import load_record, process_visit
from voicenotes.vocabulary.material import speech_material
from voicenotes.vocabulary.overlay import AddedTerm, Overlay, read_overlay

MEMO = "The spindle is quiet. The drain cock leaks. Quill is stuck. Spindle rumble is there."


@pytest.fixture
def own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The folder of the user's additions; it isn't there yet."""
    folder = tmp_path / "own"
    monkeypatch.setenv("VOICENOTES_OVERLAYS", str(folder))
    return folder


def found_in(pack: Path, *visits: Path) -> Suggestions:
    return suggestions(visits, [pack])


def shown(found: Suggestions) -> list[tuple[str, str, tuple[str, ...]]]:
    return [(one.kind, one.phrase, one.means) for one in found.suggestions]


def content_of(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


# --- what is suggested --------------------------------------------------------------------------------


def test_a_tagged_remark_with_an_unknown_name_suggests_a_term(pack: Path, own: Path, tmp_path: Path) -> None:
    one = visit(tmp_path / "unit-1", MEMO, pack, tagged("drain cock", "tank.leaks"))
    found = found_in(pack, one)
    assert shown(found) == [("term", "drain cock", ("tank.leaks",))]
    [suggestion] = found.suggestions
    [occasion] = suggestion.occasions
    assert (occasion.visit, occasion.recording, occasion.by) == (str(one), "memo.txt", "Kim")
    assert occasion.quote == "The drain cock leaks."
    assert occasion.corrected == "a defect of Coolant leaks"
    assert not own.exists()  # nothing is taken over by itself


def test_a_moved_remark_suggests_a_term_of_where_it_belongs(pack: Path, own: Path, tmp_path: Path) -> None:
    said = "The spindle frobnitz growls."
    one = visit(tmp_path / "unit-1", said, pack, moved("frobnitz", "head.noise", "head.heat"))
    assert shown(found_in(pack, one)) == [("term", "spindle frobnitz", ("head.heat",))]


def test_words_put_right_suggest_a_mishearing(pack: Path, own: Path, tmp_path: Path) -> None:
    said = "Swindle runabout is two thou."
    one = visit(tmp_path / "unit-1", said, pack, put_right(0, "Swindle runabout", "Spindle runout"))
    found = found_in(pack, one)
    assert shown(found) == [("misheard", "swindle runabout", ("head.runout",))]
    assert found.suggestions[0].said == "spindle runout"


@pytest.mark.parametrize(
    ("memo", "correct", "why"),
    [
        # the pack knows its words, they only named nothing here
        ("Quill. Something else.", tagged("Quill", "tail.quill"), "its words name the check already"),
        ("My wife called about dinner.", tagged("dinner", "tank.leaks"), "everyday English"),
        ("Give is fine. Quill is stuck.", put_right(0, "Give", "Quill"), "an everyday word"),
        ("Spindle crows.", put_right(1, "crows.", "growls."), "in no term of the pack"),
    ],
)
def test_what_suggests_nothing_is_listed_with_its_reason(
    pack: Path, own: Path, tmp_path: Path, memo: str, correct: object, why: str
) -> None:
    one = visit(tmp_path / "unit-1", memo, pack, correct)  # type: ignore[arg-type]
    found = found_in(pack, one)
    assert found.suggestions == ()
    [none] = found.none
    assert why in none.why
    assert why in " ".join(" ".join(suggestion_lines(found)).split())


@pytest.mark.parametrize(
    "correct",
    [
        lambda record: c.confirm(record, "head.noise"),
        lambda record: c.outcome(record, "head.noise", "defect"),
        lambda record: c.move(record, "quiet", "head.noise", None),
        lambda record: c.add("a dent"),
    ],
)
def test_other_corrections_suggest_nothing(pack: Path, own: Path, tmp_path: Path, correct: object) -> None:
    found = found_in(pack, visit(tmp_path / "unit-1", MEMO, pack, correct))  # type: ignore[arg-type]
    assert (found.suggestions, found.none) == ((), ())
    assert suggestion_lines(found) == [NOTHING]


def test_a_correction_that_was_undone_suggests_nothing(pack: Path, own: Path, tmp_path: Path) -> None:
    one = visit(tmp_path / "unit-1", MEMO, pack, tagged("drain cock", "tank.leaks"))
    [tag] = read_corrections(one)
    undoing = c.undo(tag)
    append(one, undoing)
    assert found_in(pack, one) == Suggestions()
    append(one, c.undo(undoing))  # and with the undo undone it does again
    assert len(found_in(pack, one).suggestions) == 1


def test_the_same_from_two_visits_is_one_suggestion(pack: Path, own: Path, tmp_path: Path) -> None:
    one = visit(tmp_path / "unit-1", MEMO, pack, tagged("drain cock", "tank.leaks"))
    two = visit(
        tmp_path / "unit-2", "Drain cocks are dry. The sight glass leaks.", pack,
        tagged("Drain cocks", "tank.leaks", "good"), tagged("sight glass", "tank.leaks"),
    )  # fmt: skip
    found = found_in(pack, one, two, one)
    assert [(s.phrase, len(s.occasions)) for s in found.suggestions] == [
        ("drain cock", 2),
        ("sight glass", 1),
    ]
    assert {o.visit for o in found.suggestions[0].occasions} == {str(one), str(two)}
    alone = found_in(pack, one)
    assert alone.suggestions[0].id == found.suggestions[0].id  # the id is that of what is suggested


def test_one_phrase_for_two_checks_is_two_suggestions_that_say_so(
    pack: Path, own: Path, tmp_path: Path
) -> None:
    one = visit(tmp_path / "unit-1", MEMO, pack, tagged("drain cock", "tank.leaks"))
    two = visit(tmp_path / "unit-2", MEMO, pack, tagged("drain cock", "head.heat"))
    found = found_in(pack, one, two).suggestions
    assert {(s.means, s.cautions) for s in found} == {
        (("tank.leaks",), ("it is also suggested for Headstock temperature",)),
        (("head.heat",), ("it is also suggested for Coolant leaks",)),
    }
    assert len({s.id for s in found}) == 2


def test_the_corrected_words_of_a_tagged_remark_count(pack: Path, own: Path, tmp_path: Path) -> None:
    said = "The train clock leaks."
    one = visit(
        tmp_path / "unit-1",
        said,
        pack,
        put_right(1, "train clock", "drain cock"),
        tagged("train", "tank.leaks"),
    )
    assert ("term", "drain cock", ("tank.leaks",)) in shown(found_in(pack, one))


def test_of_several_corrections_of_the_same_words_the_last_counts(
    pack: Path, own: Path, tmp_path: Path
) -> None:
    said = "Swindle runabout is two thou."
    one = visit(
        tmp_path / "unit-1", said, pack,
        put_right(0, "Swindle runabout", "Spindle rumble"),
        put_right(0, "Swindle runabout", "Spindle runout"),
    )  # fmt: skip
    [suggestion] = found_in(pack, one).suggestions
    assert suggestion.said == "spindle runout"


# --- accepted, turned down ------------------------------------------------------------------------------


def test_what_is_accepted_stands_in_the_users_file_and_nowhere_else(
    pack: Path, own: Path, tmp_path: Path
) -> None:
    one = visit(tmp_path / "unit-1", MEMO, pack, tagged("drain cock", "tank.leaks"))
    before = content_of(pack), content_of(one)
    [suggestion] = found_in(pack, one).suggestions
    [(path, taken)] = accept([one], [suggestion.id], [pack])
    assert path == own / "small.yaml"
    assert taken.key == suggestion.key
    assert (content_of(pack), content_of(one)) == before
    [term] = read_overlay(path, "small").terms
    assert (term.check, term.term) == ("tank.leaks", "drain cock")
    [origin] = term.learned_from
    assert (origin.visit, origin.recording, origin.quote, origin.by) == (
        "unit-1", "memo.txt", "The drain cock leaks.", "Kim",
    )  # fmt: skip
    after = found_in(pack, one)
    assert after == Suggestions()  # neither offered again nor listed as strange


def test_the_next_processing_tags_the_remark_by_itself(pack: Path, own: Path, tmp_path: Path) -> None:
    one = visit(tmp_path / "unit-1", MEMO, pack, tagged("drain cock", "tank.leaks"))
    assert load_record(one).check("tank.leaks").outcome == "not_mentioned"
    accept([one], [found_in(pack, one).suggestions[0].id], [pack])
    record = process_visit(one, pack)
    assert record.check("tank.leaks").outcome == "defect"
    assert "drain cock" not in " ".join(said.quote for said in record.untagged)
    corrections = read_corrections(one)
    assert len(corrections) == 1  # it stays
    now = reviewed(record, corrections, load_pack(pack))
    assert now.to_decide == ()
    assert now.record.check("tank.leaks").outcome == "defect"
    assert now.findings["tank.leaks"].by == "Kim"


def test_a_remark_that_is_cut_otherwise_then_leaves_nothing_to_decide(
    pack: Path, own: Path, tmp_path: Path
) -> None:
    """The known term makes a remark of its own of what was one with the words before it."""
    said = "The wobble plate drips all day and the drain cock leaks and the quill is stuck."
    one = visit(tmp_path / "unit-1", said, pack, tagged("drain cock", "tank.leaks"))
    before = load_record(one)
    change_overlay(
        "small", lambda o: o.model_copy(update={"terms": (AddedTerm(check="tank.leaks", term="drain cock"),)})
    )
    record = process_visit(one, pack)
    [tag] = read_corrections(one)
    quotes = {e.quote for f in record.checks for e in f.evidence} | {u.quote for u in record.untagged}
    assert getattr(tag.what, "remark").quote not in quotes  # noqa: B009
    assert before.check("tank.leaks").outcome == "not_mentioned"
    now = reviewed(record, [tag], load_pack(pack))
    assert (now.to_decide, now.findings["tank.leaks"].by) == ((), "Kim")
    assert now.record.check("tank.leaks").outcome == "defect"


def test_a_moved_remark_that_moves_by_itself_then_leaves_nothing_to_decide(
    pack: Path, own: Path, tmp_path: Path
) -> None:
    said = "The spindle frobnitz is hot."
    one = visit(tmp_path / "unit-1", said, pack, moved("frobnitz", "head.heat", "head.noise"))
    accept([one], [found_in(pack, one).suggestions[0].id], [pack])
    record = process_visit(one, pack)
    now = reviewed(record, read_corrections(one), load_pack(pack))
    assert now.to_decide == ()


def test_words_that_are_heard_right_then_leave_nothing_to_decide(
    pack: Path, own: Path, tmp_path: Path
) -> None:
    """As after another engine transcribed: the words put right now stand there by themselves."""
    one = visit(tmp_path / "unit-1", "Spindle crows.", pack, put_right(1, "crows.", "growls."))
    (one / "memo.txt").write_text("Spindle growls.")
    record = process_visit(one, pack)
    corrections = [
        correction.model_copy(
            update={
                "what": correction.what.model_copy(
                    update={
                        "remark": correction.what.remark.model_copy(  # type: ignore[union-attr]
                            update={"sha256": record.recordings[0].sha256}
                        )
                    }
                )
            }
        )
        for correction in read_corrections(one)
    ]
    now = reviewed(record, corrections, load_pack(pack))
    assert now.to_decide == ()
    assert now.record.check("head.noise").outcome == "defect"


def test_how_a_word_is_said_reaches_the_recognisers_dictionary(pack: Path, own: Path, tmp_path: Path) -> None:
    one = visit(tmp_path / "unit-1", "Spindle grow else.", pack, put_right(1, "grow else.", "growls."))
    [suggestion] = found_in(pack, one).suggestions
    assert (suggestion.kind, suggestion.phrase) == ("sounds", "growls")
    assert suggestion.effect and suggestion.effect.heard_again
    assert '"growls" also said like "grow else": G R OW EH L S' in " ".join(
        " ".join(suggestion_lines(found_in(pack, one))).split()
    )
    accept([one], [suggestion.id], [pack])
    given = speech_material(load_pack(pack)).pronunciations
    write_dictionary(["growls"], given, tmp_path / "words.dict")
    # the first as CMUdict has it
    assert (tmp_path / "words.dict").read_text() == "growls G R AW L Z\ngrowls(2) G R OW EH L S\n"
    assert found_in(pack, one) == Suggestions()


def test_what_is_declined_is_not_offered_again(pack: Path, own: Path, tmp_path: Path) -> None:
    one = visit(tmp_path / "unit-1", MEMO, pack, tagged("drain cock", "tank.leaks"))
    [suggestion] = found_in(pack, one).suggestions
    [(path, _)] = decline([one], [suggestion.id], [pack])
    assert read_overlay(path, "small").declined == ("term: drain cock -> tank.leaks",)
    assert found_in(pack, one).suggestions == ()
    with pytest.raises(LearningError, match="no such suggestion"):
        accept([one], [suggestion.id], [pack])
    two = visit(tmp_path / "unit-2", "Drain cocks leak.", pack, tagged("Drain cocks", "tank.leaks"))
    assert found_in(pack, two).suggestions == ()  # in the plural neither


def test_an_id_that_there_is_not_is_refused(pack: Path, own: Path, tmp_path: Path) -> None:
    one = visit(tmp_path / "unit-1", MEMO, pack, tagged("drain cock", "tank.leaks"))
    [suggestion] = found_in(pack, one).suggestions
    with pytest.raises(LearningError, match="zzzz: no such suggestion"):
        accept([one], [suggestion.id, "zzzz"], [pack])
    assert not own.exists()  # nothing of it was taken


def test_what_makes_sentences_be_misread_is_accepted_only_even_so(
    pack: Path, own: Path, tmp_path: Path
) -> None:
    """A labelled sentence of the pack says that a leaking drain cock is nobody's business."""
    (pack / "sentences" / "tank.yaml").write_text("- say: the drain cock leaks\n  expect: {}\n")
    one = visit(tmp_path / "unit-1", MEMO, pack, tagged("drain cock", "tank.leaks"))
    [suggestion] = found_in(pack, one).suggestions
    assert suggestion.effect
    [worse] = suggestion.effect.regressions
    assert (worse.check, worse.labelled, worse.read) == ("tank.leaks", "not mentioned", "defect")
    assert worse.place == "tank.yaml, line 1"
    with pytest.raises(LearningError, match=r"1 labelled sentence would be misread.*--even-so"):
        accept([one], [suggestion.id], [pack])
    assert not own.exists()
    accept([one], [suggestion.id], [pack], even_so=True)
    assert len(read_overlay(own / "small.yaml", "small").terms) == 1


def test_what_is_accepted_at_once_is_measured_together(pack: Path, own: Path, tmp_path: Path) -> None:
    """Each of the two alone leaves the sentence right: too much of it is foreign talk. Not so together."""
    (pack / "sentences" / "tank.yaml").write_text(
        "- say: the drain cock leaks and the sight glass leaks on gizmo\n  expect: {}\n"
    )
    one = visit(
        tmp_path / "unit-1", "The drain cock leaks. The sight glass leaks.", pack,
        tagged("drain cock", "tank.leaks"), tagged("sight glass", "tank.leaks"),
    )  # fmt: skip
    found = found_in(pack, one).suggestions
    alone = [len(s.effect.regressions) for s in found if s.effect]
    with pytest.raises(LearningError, match="would be misread"):
        accept([one], [s.id for s in found], [pack])
    assert alone == [0, 0]


@pytest.mark.parametrize(
    ("text", "heard_again"),
    [
        ("terms:\n  - {check: tank.leaks, term: drain cock}\n", True),
        ("pronunciations:\n  - {word: quill, sounds: [K W IH L, K W EH L]}\n", True),
        ("misheard:\n  - {heard: cool ant tonk, said: coolant tank, means: [tank]}\n", False),
        ("declined: [something]\n", False),
    ],
)
def test_recordings_are_transcribed_again_exactly_where_the_engine_is_told_something_else(
    pack: Path, own: Path, tmp_path: Path, log: Path, monkeypatch: pytest.MonkeyPatch,
    text: str, heard_again: bool,
) -> None:  # fmt: skip
    put_in(StandInEngine(str(log)), monkeypatch)
    folder = tmp_path / "unit-1"
    folder.mkdir()
    write_audio(folder / "memo.wav", "pcm_s16le", rate=RATE, seconds=2.0)
    process_visit(folder, pack)
    once = calls(log)
    own.mkdir()
    (own / "small.yaml").write_text("pack: small\n" + text)
    record = process_visit(folder, pack)
    assert calls(log) == (2 * once if heard_again else once)
    assert record.pack.version.startswith("3+own.") is ("declined" not in text)
    process_visit(folder, pack)  # and then no more
    assert calls(log) == (2 * once if heard_again else once)


# --- files ----------------------------------------------------------------------------------------------


def test_a_broken_file_of_additions_is_named_and_left_alone(pack: Path, own: Path, tmp_path: Path) -> None:
    one = visit(tmp_path / "unit-1", MEMO, pack, tagged("drain cock", "tank.leaks"))
    [suggestion] = found_in(pack, one).suggestions
    own.mkdir()
    path = own / "small.yaml"
    path.write_text("pack: small\nterms: what\n")
    for call in (lambda: found_in(pack, one), lambda: accept([one], [suggestion.id], [pack])):
        with pytest.raises(PackError, match=r"small\.yaml, line 2: terms"):
            call()
    assert path.read_text() == "pack: small\nterms: what\n"


def test_a_folder_that_cannot_be_written_is_one_clear_line(
    pack: Path, own: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    one = visit(tmp_path / "unit-1", MEMO, pack, tagged("drain cock", "tank.leaks"))
    [suggestion] = found_in(pack, one).suggestions
    if os.geteuid():
        own.mkdir(mode=0o500)
    else:  # nothing is closed to root: a file in the folder's place is
        own.write_text("")
    ran = CliRunner().invoke(app, ["suggestions", str(one), "--pack", str(pack), "--accept", suggestion.id])
    assert ran.exit_code == 2
    [line] = ran.stderr.splitlines()
    assert "your additions can't be written" in line and "VOICENOTES_OVERLAYS" in line

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    there = tmp_path / "there"
    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(LearningError, match="No space left on device"):
        change_overlay("small", lambda o: with_suggestions(o, [suggestion]), there)
    assert [path.name for path in there.iterdir() if path.suffix == ".yaml"] == []


def _add(folder: Path, number: int) -> None:
    term = AddedTerm(check="tank.leaks", term="drain cock " + "i" * (number + 1))
    change_overlay("small", lambda o: o.model_copy(update={"terms": (*o.terms, term)}), folder)


def _add_some(folder: Path, first: int) -> None:
    for number in range(first, first + 20):
        _add(folder, number)


def test_two_processes_that_accept_at_once_lose_nothing(tmp_path: Path) -> None:
    context = multiprocessing.get_context("spawn")
    both = [context.Process(target=_add_some, args=(tmp_path, first)) for first in (0, 20)]
    for process in both:
        process.start()
    for process in both:
        process.join(60)
    assert [process.exitcode for process in both] == [0, 0]
    assert len(read_overlay(tmp_path / "small.yaml", "small").terms) == 40


def test_a_process_killed_while_it_writes_leaves_the_old_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    _add(tmp_path, 0)
    before = (tmp_path / "small.yaml").read_bytes()

    def killed(path: Path, text: str) -> None:
        path.with_name(f".{path.name}.1.tmp").write_text(text[: len(text) // 2])
        raise KeyboardInterrupt

    monkeypatch.setattr(write, "write_atomically", killed)
    with pytest.raises(KeyboardInterrupt):
        _add(tmp_path, 1)
    assert (tmp_path / "small.yaml").read_bytes() == before
    monkeypatch.undo()
    _add(tmp_path, 1)  # the lock is free again
    assert len(read_overlay(tmp_path / "small.yaml", "small").terms) == 2


def test_a_file_that_is_a_link_stays_one(tmp_path: Path) -> None:
    """Settings are often kept elsewhere and linked."""
    real = tmp_path / "real" / "small.yaml"
    real.parent.mkdir()
    real.write_text("pack: small\n")
    (tmp_path / "own").mkdir()
    (tmp_path / "own" / "small.yaml").symlink_to(real)
    _add(tmp_path / "own", 0)
    assert (tmp_path / "own" / "small.yaml").is_symlink()
    assert len(read_overlay(real, "small").terms) == 1


# --- several packs, visits that can't be read again -----------------------------------------------------


def test_visits_of_several_packs_each_have_their_own_file(pack: Path, own: Path, tmp_path: Path) -> None:
    other = tmp_path / "other"
    for name, content in content_of(pack).items():
        (other / name).parent.mkdir(parents=True, exist_ok=True)
        (other / name).write_bytes(content.replace(b"id: small", b"id: other"))
    one = visit(tmp_path / "unit-1", MEMO, pack, tagged("drain cock", "tank.leaks"))
    two = visit(tmp_path / "unit-2", MEMO, other, tagged("drain cock", "tank.leaks"))
    found = suggestions([one, two], [pack, other])
    assert [(s.pack, len(s.occasions)) for s in found.suggestions] == [("small", 1), ("other", 1)]
    assert [s.effect.visits for s in found.suggestions if s.effect] == [1, 1]
    accept([one, two], [s.id for s in found.suggestions], [pack, other])
    assert {path.name for path in own.glob("*.yaml")} == {"small.yaml", "other.yaml"}
    with pytest.raises(VisitError, match="name its folder with --pack"):
        suggestions([one, two], [pack])


def test_a_visit_whose_words_are_gone_still_teaches(pack: Path, own: Path, tmp_path: Path) -> None:
    one = visit(tmp_path / "unit-1", MEMO, pack, tagged("drain cock", "tank.leaks"))
    (one / "memo.txt").write_text("Something else now.")
    found = found_in(pack, one)
    [suggestion] = found.suggestions
    assert suggestion.effect and suggestion.effect.visits == 0
    assert found.notes == (f"{one}: the words of memo.txt are no longer kept; process the visit again",)
    shown = "".join("".join(suggestion_lines(found)).split())  # a long path may be broken anywhere
    assert "".join(found.notes[0].split()) in shown


def test_a_visit_without_a_record_is_refused(pack: Path, own: Path, tmp_path: Path) -> None:
    (tmp_path / "unit-1").mkdir()
    with pytest.raises(VisitError, match="process the visit first"):
        found_in(pack, tmp_path / "unit-1")


# --- the command ----------------------------------------------------------------------------------------


def test_the_command_lists_accepts_and_declines(pack: Path, own: Path, tmp_path: Path) -> None:
    one = visit(
        tmp_path / "unit-1", MEMO + " The sight glass leaks.", pack,
        tagged("drain cock", "tank.leaks"), tagged("sight glass", "tank.leaks"),
    )  # fmt: skip
    call = ["suggestions", str(one), "--pack", str(pack)]
    listed = CliRunner().invoke(app, call)
    assert listed.exit_code == 0
    text = " ".join(listed.stdout.split())
    assert 'the term "drain cock" for Coolant leaks (small)' in text
    assert 'unit-1, memo.txt 0:02, "The drain cock leaks.": a defect of Coolant leaks (Kim, ' in text
    assert "Would change 1 outcome in 1 visit (1 as reviewed, 0 against it, 0 not reviewed)" in text
    assert "0 regressions on 1 sentence" in text
    assert "unit-1: Coolant leaks: not mentioned -> defect, as reviewed" in text
    assert max(map(len, listed.stdout.splitlines())) <= 80
    data = json.loads(CliRunner().invoke(app, [*call, "--json"]).stdout)
    by_phrase = {one["phrase"]: one["id"] for one in data["suggestions"]}
    assert Suggestions.model_validate(data)
    both = [*call, "--accept", by_phrase["drain cock"], "--decline", by_phrase["sight glass"]]
    done = CliRunner().invoke(app, both)
    assert done.exit_code == 0
    assert f'"drain cock" added: {own / "small.yaml"}' in done.stdout
    assert f'"sight glass" turned down: {own / "small.yaml"}' in done.stdout
    overlay = read_overlay(own / "small.yaml", "small")
    assert ([t.term for t in overlay.terms], len(overlay.declined)) == (["drain cock"], 1)
    assert CliRunner().invoke(app, call).stdout.strip().startswith(NOTHING)


def test_quotes_in_the_list_do_nothing_to_a_terminal(pack: Path, own: Path, tmp_path: Path) -> None:
    one = visit(
        tmp_path / "unit-1", "The drain \x1b[31mcock gizmo leaks.", pack, tagged("gizmo", "tank.leaks")
    )
    listed = CliRunner().invoke(app, ["suggestions", str(one), "--pack", str(pack)])
    assert listed.exit_code == 0
    assert "\x1b" not in listed.stdout


def test_an_empty_overlay_adds_nothing() -> None:
    assert not Overlay(pack="small").adds
