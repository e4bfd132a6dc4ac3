"""What becomes of a record when a technician corrects it.

The record of most tests is that of `SAID` in tests/correcting.py, read with the pack of tests/small_pack.py:
bearing noise defect critical, quill defect major, runout two thou (limit 0.0004 in) defect major, "it smells
in here" untagged, coolant leaks contradicted, temperature only told.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import correcting as c
import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_pack import write_pack

from voicenotes.corrections.apply import in_effect, reviewed
from voicenotes.corrections.reread import changed_quote
from voicenotes.corrections.reviewed_values import Reviewed
from voicenotes.corrections.values import Correction, WordChange
from voicenotes.model import Record
from voicenotes.vocabulary.load import load_pack
from voicenotes.vocabulary.schema import Pack


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Pack:
    return load_pack(write_pack(tmp_path_factory.mktemp("small")))


@pytest.fixture(scope="module")
def record(small: Pack) -> Record:
    return c.record_of(small)


def stands(done: Reviewed | Record, check: str) -> str:
    found = (done.record if isinstance(done, Reviewed) else done).check(check)
    return f"{found.outcome} {found.severity or ''}".strip()


def gaps(done: Reviewed | Record) -> dict[str, str]:
    record = done.record if isinstance(done, Reviewed) else done
    return {gap.id: gap.why for gap in record.gaps}


def untagged(done: Reviewed) -> list[str]:
    return [remark.quote for remark in done.record.untagged]


def test_the_record_is_what_the_tests_below_take_it_for(record: Record) -> None:
    assert {check.id: stands(record, check.id) for check in record.checks} == {
        "head.noise": "defect critical",
        "head.heat": "ok",
        "head.runout": "defect major",
        "tail.quill": "defect major",
        "tank.leaks": "defect minor",
    }
    assert record.check("tank.leaks").conflict
    assert gaps(record).keys() == {"head.heat"}
    assert [remark.quote for remark in record.untagged] == ["it smells in here."]
    assert record.facts["serial"].value == "41"


# one correction -> the check afterwards
Made = Callable[[Record], Correction]
OF_CHECKS: list[tuple[str, Made, str, str]] = [
    ("confirmed", lambda r: c.confirm(r, "head.noise"), "head.noise", "defect critical"),
    ("set to ok", lambda r: c.outcome(r, "head.noise", "ok"), "head.noise", "ok"),
    ("told, and now seen", lambda r: c.outcome(r, "head.heat", "ok"), "head.heat", "ok"),
    ("usual severity", lambda r: c.outcome(r, "head.heat", "defect"), "head.heat", "defect major"),
    ("given one", lambda r: c.outcome(r, "head.heat", "defect", "minor"), "head.heat", "defect minor"),
    ("severity alone", lambda r: c.severity(r, "head.noise", "minor"), "head.noise", "defect minor"),
    ("not fitted", lambda r: c.outcome(r, "tail.quill", "not_fitted"), "tail.quill", "not_fitted"),
    ("a value within its limit makes it ok",
     lambda r: c.reading(r, "head.runout", (0.002, "in"), (0.0002, "in")), "head.runout", "ok"),
    ("another one outside does not",
     lambda r: c.reading(r, "head.runout", (0.002, "in"), (0.1, "mm")), "head.runout", "defect major"),
    ("without its value nothing is left",
     lambda r: c.reading(r, "head.runout", (0.002, "in"), None), "head.runout", "not_mentioned"),
    ("a value where there was none",
     lambda r: c.reading(r, "head.noise", None, (3, "um")), "head.noise", "defect critical"),
    ("its only remark moved away",
     lambda r: c.move(r, "growls", "head.noise", None), "head.noise", "not_mentioned"),
    ("a remark moved here, usual severity",
     lambda r: c.move(r, "growls", "head.noise", "head.heat"), "head.heat", "defect major"),
    ("untagged, tagged bad", lambda r: c.tag(r, "smells", "head.heat", "bad"), "head.heat", "defect major"),
    ("and how bad",
     lambda r: c.tag(r, "smells", "head.heat", "bad", "critical"), "head.heat", "defect critical"),
    ("tagged good", lambda r: c.tag(r, "smells", "head.heat", "good"), "head.heat", "ok"),
    ("a word that was heard wrong turns it",
     lambda r: c.words(r, 1, "growls.", "is quiet."), "head.noise", "ok"),
    ("another word, the same meaning",
     lambda r: c.words(r, 0, "tails talk", "tailstock"), "tail.quill", "defect major"),
    ("words that now speak of another check",
     lambda r: c.words(r, 1, "growls.", "runout is one tenth."), "head.noise", "not_mentioned"),
    ("a finding added", lambda r: c.add("scored inside", "head.heat"), "head.heat", "defect major"),
    ("added worse than found",
     lambda r: c.add("cracked", "tank.leaks", "defect", "critical"), "tank.leaks", "defect critical"),
    ("added ok, found bad", lambda r: c.add("dry", "head.noise", "ok"), "head.noise", "defect critical"),
    ("no such fitting", lambda r: c.fitting("tailstock", False, True), "tail.quill", "not_fitted"),
]  # fmt: skip


@pytest.mark.parametrize(("what", "made", "check", "expected"), OF_CHECKS, ids=[row[0] for row in OF_CHECKS])
def test_a_correction_of_a_check(
    record: Record, small: Pack, what: str, made: Callable[[Record], Correction], check: str, expected: str
) -> None:
    correction = made(record)
    done = reviewed(record, [correction], small)
    assert stands(done, check) == expected
    assert done.to_decide == ()
    if correction.what.kind != "fitting":
        assert done.findings[check].by == "Kim"
        assert done.record.check(check).confirmed
        assert done.findings[check].before == record.check(check)
        others = set(done.findings) - {check}
        assert len(others) <= (correction.what.kind in ("move", "words"))
    assert reviewed(record, [correction, c.undo(correction)], small).record == record


def test_a_confirmed_finding_is_not_called_changed(record: Record, small: Pack) -> None:
    done = reviewed(record, [c.confirm(record, "head.noise"), c.outcome(record, "tail.quill", "ok")], small)
    assert {check: review.changed for check, review in done.findings.items()} == {
        "head.noise": False,
        "tail.quill": True,
    }


def test_what_was_only_told_stays_a_gap_until_somebody_says_that_he_saw_it(
    record: Record, small: Pack
) -> None:
    assert gaps(record)["head.heat"].startswith("only told")
    assert gaps(reviewed(record, [c.confirm(record, "head.heat")], small)) == gaps(record)
    assert gaps(reviewed(record, [c.outcome(record, "head.heat", "ok")], small)) == {}


def test_an_outcome_that_leaves_a_check_open_makes_a_gap(record: Record, small: Pack) -> None:
    for to, why in (("unsure", "unsure"), ("not_tested", "not tested"), ("not_mentioned", "not checked")):
        done = reviewed(record, [c.outcome(record, "head.noise", to)], small)  # type: ignore[arg-type]
        assert gaps(done)["head.noise"] == f"{why}, as a person said in the review"


def test_a_settled_gap_leaves_the_list_and_keeps_its_reason(record: Record, small: Pack) -> None:
    done = reviewed(record, [c.settle(record, "head.heat", "the buyer does not mind")], small)
    assert gaps(done) == {}
    [settled] = done.settled
    assert (settled.check, settled.reason, settled.by) == ("head.heat", "the buyer does not mind", "Kim")
    assert settled.why == gaps(record)["head.heat"]
    assert stands(done, "head.heat") == "ok"  # the outcome is what it was


def test_a_moved_remark_takes_its_value_along_where_there_is_a_limit_for_it(
    record: Record, small: Pack
) -> None:
    done = reviewed(record, [c.move(record, "runout", "head.runout", "head.noise")], small)
    assert done.record.check("head.runout").readings == ()
    assert done.record.check("head.noise").readings == ()  # nothing of that kind is measured there
    back = reviewed(
        record,
        [
            c.move(record, "runout", "head.runout", "head.noise"),
            c.tag(record, "runout", "head.runout", "bad"),
        ],
        small,
    )
    [value] = back.record.check("head.runout").readings
    assert (value.value, value.unit, value.verdict) == (0.002, "in", "outside")


def test_a_remark_that_nothing_holds_is_listed_as_untagged(record: Record, small: Pack) -> None:
    done = reviewed(record, [c.move(record, "growls", "head.noise", None)], small)
    assert untagged(done) == ["spindle growls.", "it smells in here."]
    done = reviewed(record, [c.tag(record, "smells", "head.heat", "bad")], small)
    assert untagged(done) == []
    done = reviewed(record, [c.words(record, 1, "smells in here.", "is quiet.", "smells")], small)
    assert untagged(done) == ["it is quiet."]


def test_words_put_right_are_shown_and_the_evidence_says_what_was_heard(record: Record, small: Pack) -> None:
    correction = c.words(record, 0, "tails talk", "tailstock")
    done = reviewed(record, [correction], small)
    [evidence] = done.record.check("tail.quill").evidence
    assert evidence.quote == "tailstock quill is stuck."
    assert 'heard as "tails talk quill is stuck." and put right in the review' in evidence.why
    [heard] = done.heard
    assert (heard.remark.quote, heard.now) == ("tails talk quill is stuck.", "tailstock quill is stuck.")


def test_a_corrected_word_can_give_a_fact_and_a_fitting(record: Record, small: Pack) -> None:
    done = reviewed(record, [c.words(record, 5, "one.", "seven.", "serial")], small)
    assert done.record.facts["serial"].value == "47"
    done = reviewed(record, [c.words(record, 0, "it smells in here.", "there is no tailstock.")], small)
    assert done.record.fittings["tailstock"].fitted is False
    assert stands(done, "tail.quill") == "not_fitted"


def test_facts_are_set_and_taken_back(record: Record, small: Pack) -> None:
    correction = c.fact("serial", "A41", "41")
    done = reviewed(record, [correction], small)
    assert (done.record.facts["serial"].value, done.facts["serial"].by) == ("A41", "Kim")
    assert reviewed(record, [c.fact("serial", "A41", "something else")], small).to_decide


def test_a_finding_of_no_check_stands_beside_the_checks(record: Record, small: Pack) -> None:
    done = reviewed(record, [c.add("forklift pocket bent", None, "defect", "minor")], small)
    [added] = done.added
    assert (added.title, added.check, added.severity, added.by) == (
        "forklift pocket bent",
        None,
        "minor",
        "Kim",
    )
    assert done.record == record


# --- words ------------------------------------------------------------------------------------------

QUOTE = "the tails talk quill is stuck"
# changes (at, heard, said), earliest first -> the quote afterwards
CHANGES = [
    ([(1, "tails talk", "tailstock")], "the tailstock quill is stuck"),
    ([(4, "is", "isn't")], "the tails talk quill isn't stuck"),
    ([(0, "the", "")], "tails talk quill is stuck"),
    ([(4, "", "really")], "the tails talk quill really is stuck"),
    ([(6, "", "now")], "the tails talk quill is stuck now"),
    ([(1, "tails", "tail"), (5, "stuck", "stiff")], "the tail talk quill is stiff"),
    (
        [(1, "tails talk", "tailstock"), (2, "talk", "stock")],
        "the tails stock quill is stuck",
    ),  # the last one wins
    ([(1, "tail", "x")], None),
    ([(9, "", "x")], None),
]


@pytest.mark.parametrize(("changes", "expected"), CHANGES)
def test_words_of_a_quote_are_changed(changes: list[tuple[int, str, str]], expected: str | None) -> None:
    made = [WordChange(at=at, heard=heard, said=said) for at, heard, said in changes]
    assert changed_quote(QUOTE, made) == expected


# --- undo -------------------------------------------------------------------------------------------


def test_an_undo_of_an_undo_brings_a_correction_back(record: Record, small: Pack) -> None:
    first = c.outcome(record, "head.noise", "ok")
    gone = c.undo(first)
    back = c.undo(gone)
    journal = [first, gone, back]
    assert [len(in_effect(journal[:n])) for n in (1, 2, 3)] == [1, 0, 1]
    assert stands(reviewed(record, journal, small), "head.noise") == "ok"
    journal.append(c.undo(back))
    assert reviewed(record, journal, small).record == record


def test_an_undo_reaches_back_only(record: Record) -> None:
    later = c.outcome(record, "head.noise", "ok")
    assert in_effect([c.undo(later), later]) == (later,)


def every_kind(record: Record) -> list[Correction]:
    return [
        *(made(record) for _, made, _, _ in OF_CHECKS),
        c.settle(record, "head.heat", "no time"),
        c.settle(record, "head.noise", "no gap at all"),
        c.wording(record, "head.noise", "The bearings growl."),
        c.fact("serial", "A41", "41"),
        c.move(record, "coolant tank is dry", "tank.leaks", "tail.quill"),
        c.move(record, "growls", "head.heat", "head.noise"),
        c.add("a scratch"),
    ]


@given(data=st.data())
def test_corrections_in_any_order_apply_and_undoing_all_gives_the_record(
    record: Record, small: Pack, data: st.DataObject
) -> None:
    chosen = data.draw(st.lists(st.sampled_from(every_kind(record)), unique_by=lambda x: x.id, max_size=8))
    done = reviewed(record, chosen, small)
    assert [finding.id for finding in done.record.checks] == [finding.id for finding in record.checks]
    everything = {(e.recording, e.start) for f in done.record.checks for e in f.evidence}
    everything |= {(u.recording, u.start) for u in done.record.untagged}
    everything |= {(e.recording, e.start) for f in done.record.facts.values() for e in f.evidence}
    everything |= {(e.recording, e.start) for f in done.record.fittings.values() for e in f.evidence}
    said = {(e.recording, e.start) for f in record.checks for e in f.evidence}
    said |= {(u.recording, u.start) for u in record.untagged}
    said |= {(e.recording, e.start) for f in record.facts.values() for e in f.evidence}
    assert said <= everything  # nothing said is lost
    back = [c.undo(correction) for correction in data.draw(st.permutations(chosen))]
    assert reviewed(record, [*chosen, *back], small) == Reviewed(record=record)
    again = [c.undo(undo) for undo in back]
    assert reviewed(record, [*chosen, *back, *again], small) == done


# --- what became of a correction after the visit was processed again ---------------------------------


def test_corrections_hold_when_the_same_is_read_again_under_another_name(record: Record, small: Pack) -> None:
    corrections = every_kind(record)
    renamed = record.model_validate_json(
        record.model_dump_json().replace('"text 1"', '"memo 7.m4a"').replace('"text 2"', '"memo 8.m4a"')
    )
    before, after = reviewed(record, corrections, small), reviewed(renamed, corrections, small)
    assert {d.correction.id for d in before.to_decide} == {d.correction.id for d in after.to_decide}
    assert [f.outcome for f in after.record.checks] == [f.outcome for f in before.record.checks]


def test_a_correction_whose_remark_is_read_otherwise_asks_for_a_decision(record: Record, small: Pack) -> None:
    other = c.record_of(small, ("spindle rumbles. " + c.SAID[0].split(". ", 1)[1], c.SAID[1]))
    correction = c.move(record, "growls", "head.noise", None)
    done = reviewed(other, [correction], small)
    [decision] = done.to_decide
    assert decision.correction == correction
    assert decision.line == 'what was said there is read otherwise now: "spindle growls."'
    assert decision.instead and decision.instead.quote == "spindle rumbles."
    assert done.record == other


def test_a_correction_whose_remark_is_gone_asks_for_a_decision(record: Record, small: Pack) -> None:
    other = record.model_copy(update={"recordings": record.recordings[1:], "untagged": ()})
    [decision] = reviewed(other, [c.tag(record, "smells", "head.heat", "bad")], small).to_decide
    assert decision.line == 'what was said there is not in the visit any more: "it smells in here."'
    assert decision.instead is None


def test_a_confirmed_check_that_is_read_otherwise_is_not_confirmed_any_more(
    record: Record, small: Pack
) -> None:
    other = c.record_of(small, ("spindle is quiet. tails talk quill is stuck.", c.SAID[1]))
    corrections = [c.confirm(record, "head.noise"), c.confirm(record, "tank.leaks")]
    done = reviewed(other, corrections, small)
    [decision] = done.to_decide
    assert decision.line == "the visit said defect critical then, and says ok now"
    assert set(done.findings) == {"tank.leaks"}
    assert not done.record.check("head.noise").confirmed


def test_more_evidence_for_a_check_that_was_set_to_ok_asks_for_a_decision(
    record: Record, small: Pack
) -> None:
    other = c.record_of(small, (*c.SAID, "a rumble from the spindle."))
    done = reviewed(other, [c.outcome(record, "head.noise", "ok")], small)
    assert stands(done, "head.noise") == "defect critical"
    [decision] = done.to_decide
    assert decision.line == "the visit says defect critical as before, but from other words or values"


def test_a_check_that_the_pack_lost_asks_for_a_decision(record: Record, small: Pack) -> None:
    smaller = record.model_copy(update={"checks": record.checks[1:]})
    done = reviewed(smaller, [c.confirm(record, "head.noise"), c.add("scored", "head.noise")], small)
    assert {d.line for d in done.to_decide} == {"the pack has no check 'head.noise' any more"}


def test_without_corrections_the_record_is_itself(record: Record, small: Pack) -> None:
    assert reviewed(record, [], small) == Reviewed(record=record)


def test_photos_are_found_by_check(record: Record, small: Pack) -> None:
    correction = c.add("scored", "head.heat")
    photo = f"photo-{'0' * 16}.jpg"
    with_photo = correction.model_copy(
        update={"what": correction.what.model_copy(update={"photos": (photo,)})}
    )
    assert reviewed(record, [with_photo], small).photos == {"head.heat": (photo,)}


def test_files_named_like_paths_are_no_photos() -> None:
    for name in ("../photo-0000000000000000.jpg", "/etc/passwd", "photo-0.jpg", "photo-0000000000000000.svg"):
        with pytest.raises(ValueError, match="photos"):
            Correction.model_validate(
                {
                    "id": "12345678", "time": "now", "who": "Kim",
                    "what": {"kind": "add", "title": "x", "photos": [name]},
                }
            )  # fmt: skip


def test_the_folder_is_not_touched(tmp_path: Path, record: Record, small: Pack) -> None:
    reviewed(record, every_kind(record), small)
    assert list(tmp_path.iterdir()) == []
