"""The gap list against lists made by hand: no gap missing, at most one too many in fifty.

The visits and their lists stand in tests/data/gap_visits.yaml, the demo visit's in
demo_recordings/expected.yaml; the labels of sets under tests/evaluation say what their sentences settle.
"""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import Any

import pytest

from voicenotes import load_pack
from voicenotes.findings.gap_list import gap_list
from voicenotes.findings.gap_values import GapList
from voicenotes.findings.read import read_text, read_texts
from voicenotes.model import Record
from voicenotes.vocabulary.labels import is_yes
from voicenotes.vocabulary.schema import Pack
from voicenotes.vocabulary.yaml_files import read_yaml

TESTS = Path(__file__).parent
VISITS: list[dict[str, Any]] = read_yaml(TESTS / "data" / "gap_visits.yaml").value
DEMO = TESTS.parent / "demo_recordings"


@lru_cache
def pack() -> Pack:
    return load_pack("cnc_lathe")


def listed(gaps: GapList) -> set[str]:
    """Every check on the list, by itself or behind a question."""
    behind = {gap.id for question in gaps.questions for gap in question.checks}
    plain = {gap.id for gap in gaps.checks}
    assert not behind & plain
    return behind | plain


def by_hand(settled: set[str], absent: set[str]) -> set[str]:
    return {check.id for check in pack().checks if check.id not in settled and check.fitting not in absent}


def why(gaps: GapList) -> dict[str, str]:
    every = [*gaps.checks, *(gap for question in gaps.questions for gap in question.checks)]
    return {gap.id: gap.why for gap in every}


@lru_cache
def read(title: str) -> tuple[dict[str, Any], GapList]:
    visit = next(one for one in VISITS if one["title"] == title)
    return visit, gap_list(read_texts(visit["recordings"], pack()), pack())


TITLES = [visit["title"] for visit in VISITS]


@pytest.mark.parametrize("title", TITLES)
def test_the_gaps_are_those_found_by_hand(title: str) -> None:
    visit, gaps = read(title)
    expected = by_hand(set(visit["settled"]), set(visit["absent"]))
    assert expected - listed(gaps) == set(), "missing"
    assert listed(gaps) - expected == set(), "too many"


@pytest.mark.parametrize("title", TITLES)
def test_the_questions_are_those_found_by_hand(title: str) -> None:
    visit, gaps = read(title)
    assert [question.fitting for question in gaps.questions] == visit["asked"]


@pytest.mark.parametrize("title", TITLES)
def test_the_reasons_are_in_his_words(title: str) -> None:
    visit, gaps = read(title)
    given = why(gaps)
    for check, (kind, *words) in visit["why"].items():
        assert given[check].startswith(kind)
        assert [said for said in words if said not in given[check]] == [], given[check]
    others = {check: said for check, said in given.items() if check not in visit["why"]}
    assert {check: said for check, said in others.items() if said != "never mentioned"} == {}


def test_the_demo_visit() -> None:
    label = read_yaml(DEMO / "expected.yaml").value
    texts = [path.read_text(encoding="utf-8") for path in sorted((DEMO / "texts").glob("*.txt"))]
    gaps = gap_list(read_texts(texts, pack()), pack())
    settled = {check for check, said in label["expect"].items() if said.split()[0] in ("ok", "defect")}
    absent = {name for name, said in label["fittings"].items() if not is_yes(said)}
    assert listed(gaps) == by_hand(settled - set(label["told"]), absent)
    unsaid = [fitting.id for fitting in pack().head.fittings if fitting.id not in label["fittings"]]
    assert [question.fitting for question in gaps.questions] == unsaid
    assert not gaps.can_leave
    assert gaps.summary == (
        "Don't leave yet: 16 checks must still be settled, about 72 min "
        "(and up to 9 checks, about 22 min, behind 7 fittings nobody spoke of)."
    )


def test_with_nothing_said_all_that_must_be_done_is_counted() -> None:
    gaps = gap_list(read_text("Nothing to say.", pack()), pack())
    must = [check for check in pack().checks if check.must_before_leaving]
    assert gaps.must.checks == sum(not check.fitting for check in must)
    assert gaps.must_behind_questions.checks == sum(bool(check.fitting) for check in must)
    assert gaps.must.minutes == sum(check.minutes for check in must if not check.fitting)


def settled_but(record: Record, *open_checks: str) -> Record:
    """The record with all checks taken for settled but these."""
    return record.model_copy(update={"gaps": tuple(gap for gap in record.gaps if gap.id in open_checks)})


@pytest.mark.parametrize(
    ("open_checks", "summary"),
    [
        ([], "You can leave: everything that must be settled before leaving is settled."),
        (["test_cut.finish"], "You can leave: everything that must be settled before leaving is settled."),
        (["spindle.noise"], "Don't leave yet: 1 check must still be settled, about 3 min."),
        (
            ["tailstock.quill", "y_axis.travel"],
            "Don't leave yet: say first whether 2 fittings are there "
            "(up to 2 checks, about 4 min, hang on that).",
        ),
        (["tailstock.drive"], "You can leave: everything that must be settled before leaving is settled."),
    ],
)
def test_the_summary_line(open_checks: list[str], summary: str) -> None:
    record = settled_but(read_text("Nothing to say.", pack()), *open_checks)
    gaps = gap_list(record, pack())
    assert gaps.summary == summary
    assert gaps.can_leave == summary.startswith("You can leave")


def test_gaps_stand_in_walking_order_and_sums_are_those_of_their_checks() -> None:
    gaps = gap_list(read_text("Spindle is quiet.", pack()), pack())
    order = {check.id: place for place, check in enumerate(pack().checks)}
    places = [order[gap.id] for gap in gaps.checks]
    assert places == sorted(places)
    behind = [gap for question in gaps.questions for gap in question.checks]
    assert gaps.open.checks + gaps.behind_questions.checks == len(pack().checks) - 1
    assert gaps.behind_questions.minutes == sum(gap.minutes for gap in behind)


def test_what_was_said_of_an_unasked_fitting_stands_beside_the_question() -> None:
    gaps = gap_list(read_text("The seller says there's a bar feeder.", pack()), pack())
    (question,) = [one for one in gaps.questions if one.fitting == "bar_feeder"]
    assert question.words == ("The seller says there's a bar feeder.",)


# --- labelled sets that were looked at, as visits of some twenty sentences ---------------------------

LOOKED_AT = ("american_engineer", "british_fitter", "four_voices", "hard_language", "two_speakers")
SENTENCES_OF_A_VISIT = 20


def labelled_visits(name: str) -> list[list[dict[str, Any]]]:
    entries = read_yaml(TESTS / "evaluation" / f"{name}.yaml").value
    said = [entry for entry in entries if "say" in entry]
    return [said[at : at + SENTENCES_OF_A_VISIT] for at in range(0, len(said), SENTENCES_OF_A_VISIT)]


def labelled_gaps(entries: list[dict[str, Any]]) -> set[str]:
    """What the labels of a visit's sentences leave open; the worst that was said of a check counts."""
    outcomes: dict[str, set[str]] = {}
    fittings: dict[str, set[bool]] = {}
    needs = {check.id: check.fitting for check in pack().checks}
    for entry in entries:
        for check, said in entry.get("expect", {}).items():
            if check not in entry.get("told", ()):
                outcomes.setdefault(check, set()).add(said.split()[0])
                fitting = needs[check]
                if fitting and said.split()[0] in ("ok", "defect", "unsure"):
                    fittings.setdefault(fitting, set()).add(True)
        for fitting, said in entry.get("fittings", {}).items():
            fittings.setdefault(fitting, set()).add(is_yes(said))
    settled = {
        check
        for check, said in outcomes.items()
        if "defect" in said or ("ok" in said and "unsure" not in said)
    }
    absent = {fitting for fitting, said in fittings.items() if said == {False}}
    return by_hand(settled, absent)


@lru_cache
def misses() -> tuple[int, int, int]:
    """Over all such visits: gaps by hand, those missing on the list, those too many on it."""
    in_all = missing = too_many = 0
    for name in LOOKED_AT:
        for entries in labelled_visits(name):
            gaps = listed(gap_list(read_texts([entry["say"] for entry in entries], pack()), pack()))
            expected = labelled_gaps(entries)
            in_all += len(expected)
            missing += len(expected - gaps)
            too_many += len(gaps - expected)
    return in_all, missing, too_many


def test_of_labelled_sentences_few_gaps_are_missing_or_too_many() -> None:
    """Sentences of several speakers, written to be hard: what is misread in one is missing or too many here.

    Missing are 35 of 3923, 9 in a thousand; they are the reader's false settlements, not the list's.
    """
    in_all, missing, too_many = misses()
    assert in_all > 3000
    assert missing <= in_all / 100
    assert too_many <= in_all / 50
