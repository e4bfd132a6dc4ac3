"""What the screens and sheets say, as pictures of them."""

from __future__ import annotations

from collections.abc import Sequence

import pytest
from small_pack import write_pack

from voicenotes.findings.gap_list import gap_list
from voicenotes.findings.read import read_text
from voicenotes.findings.time_left import with_plan
from voicenotes.model import (
    CheckFinding,
    Evidence,
    FittingFinding,
    Gap,
    LeftOutQuote,
    PackStamp,
    Quality,
    Record,
    RecordingEntry,
)
from voicenotes.outputs.gap_sheet import gap_lines
from voicenotes.outputs.schemas import SCHEMAS, schema_of
from voicenotes.outputs.screen import against_limit, doubt_lines, settled_line, summary_lines
from voicenotes.outputs.wording import in_a_list, length, minutes, number, quoted, table_line, wrapped
from voicenotes.vocabulary.load import load_pack
from voicenotes.vocabulary.schema import Pack


@pytest.fixture(scope="module")
def pack(tmp_path_factory: pytest.TempPathFactory) -> Pack:
    return load_pack(write_pack(tmp_path_factory.mktemp("pack")))


def evidence(quote: str, polarity: str, basis: str = "seen") -> Evidence:
    return Evidence.model_validate(
        {"recording": "a.txt", "start": 0.0, "end": 1.0, "quote": quote, "basis": basis,
         "polarity": polarity, "confidence": 0.9, "why": "made up for the test"}
    )  # fmt: skip


def record_of(pack: Pack, found: dict[str, CheckFinding], gaps: Sequence[Gap], fitted: bool | None) -> Record:
    blank = {
        check.id: CheckFinding(
            id=check.id, station=check.station, title=check.title, minutes=check.minutes,
            applies=fitted if check.fitting else True, must_before_leaving=check.must_before_leaving,
            outcome="not_fitted" if check.fitting and fitted is False else "not_mentioned",
        )
        for check in pack.checks
    }  # fmt: skip
    return Record(
        pack=PackStamp(id=pack.id, version=pack.version),
        recordings=(RecordingEntry(file="a.txt", seconds=65, words=20),),
        fittings={"tailstock": FittingFinding(fitted=fitted)},
        checks=tuple((blank | found).values()),
        gaps=tuple(gaps),
    )


def finding(
    pack: Pack, check: str, outcome: str, *said: Evidence, severity: str | None = None
) -> CheckFinding:
    known = next(one for one in pack.checks if one.id == check)
    return CheckFinding.model_validate(
        {"id": check, "station": known.station, "title": known.title, "applies": True, "outcome": outcome,
         "severity": severity, "must_before_leaving": known.must_before_leaving, "minutes": known.minutes,
         "evidence": said}
    )  # fmt: skip


@pytest.fixture
def some(pack: Pack) -> Record:
    """Noise is bad, heat not tested, leaks only told, runout unmentioned, tailstock unknown."""
    found = {
        "head.noise": finding(
            pack, "head.noise", "defect", evidence("it growls", "bad"), severity="critical"
        ),
        "head.heat": finding(pack, "head.heat", "not_tested", evidence("no time for the heat", "not_tested")),
        "tank.leaks": finding(pack, "tank.leaks", "ok", evidence("he says it is dry", "good", "told")),
    }
    gaps = (
        Gap(id="head.heat", why='not tested: "no time for the heat"'),
        Gap(id="head.runout", why="never mentioned"),
        Gap(id="tail.quill", why="never mentioned"),
        Gap(id="tank.leaks", why='only told: "he says it is dry"'),
    )
    return record_of(pack, found, gaps, None)


def test_the_gap_sheet(pack: Pack, some: Record) -> None:
    assert gap_lines(gap_list(some, pack), pack) == [
        "Still open: 3 checks, about 17 min (and 1 more, about 2 min, behind 1 question).",
        '"must" = to be settled before leaving.',
        "",
        "ASK FIRST: what the machine lacks drops out, what it has opens its checks",
        "  must  Tailstock fitted?                                    then 1 check, 2 min",
        "",
        "HEADSTOCK                                                                 15 min",
        "  Caution: Rotating spindle. Doors shut.",
        "        Headstock temperature                                             10 min",
        '          not tested: "no time for the heat"',
        "  must  Runout at the nose                               never mentioned   5 min",
        "          Caution: Indicator clear of the jaws.",
        "",
        "COOLANT TANK                                                               2 min",
        "        Coolant leaks                                                      2 min",
        '          only told: "he says it is dry"',
        "",
        "- A check that was not mentioned has not been passed.",
        "",
        "Don't leave yet: 1 check must still be settled, about 5 min",
        "(and up to 1 check, about 2 min, behind 1 fitting nobody spoke of).",
    ]


def test_the_gap_sheet_of_what_must_be_done(pack: Pack, some: Record) -> None:
    lines = gap_lines(gap_list(some, pack, only_must=True), pack)
    assert lines[0] == "Still open: 1 check, about 5 min (and 1 more, about 2 min, behind 1 question)."
    assert not any("Coolant" in line or "temperature" in line for line in lines)
    assert any("Runout at the nose" in line for line in lines)


def test_the_gap_sheet_of_the_time_left(pack: Pack, some: Record) -> None:
    """By hand: risks 2.5 for the heat in 10 min, 1 for the runout in 5, 2 for the leaks in 2.

    Behind the question stand 10, of which half goes with asking (0.5 min), half with the quill (2 min). In 5
    min most goes with both and the leaks: 12 of 15.5.
    """
    lines = gap_lines(with_plan(gap_list(some, pack), pack, 5), pack)
    assert lines == [
        "Most worth doing in 5 min: 1 question and 2 checks",
        "(4.5 min; takes away 77 % of the open risk).",
        '"must" = to be settled before leaving.',
        "",
        "ASK FIRST: what the machine lacks drops out, what it has opens its checks",
        "  must  Tailstock fitted?                                    then 1 check, 2 min",
        "",
        "TAILSTOCK (if fitted)                                                      2 min",
        "  must  Quill travel                                     never mentioned   2 min",
        "",
        "COOLANT TANK                                                               2 min",
        "        Coolant leaks                                                      2 min",
        '          only told: "he says it is dry"',
        "",
        "LEFT OUT: 2 checks, about 15 min, 23 % of the open risk",
        "        Headstock temperature                                    16.1 %   10 min",
        "  must  Runout at the nose                                        6.5 %    5 min",
        "",
        "- A check that was not mentioned has not been passed.",
        "",
        "Don't leave yet: 1 check must still be settled, about 5 min",
        "(and up to 1 check, about 2 min, behind 1 fitting nobody spoke of).",
    ]


def test_he_can_leave(pack: Pack) -> None:
    settled = {
        check.id: finding(pack, check.id, "ok", evidence("fine", "good"))
        for check in pack.checks
        if check.id != "head.heat"
    }
    record = record_of(pack, settled, [Gap(id="head.heat", why="never mentioned")], True)
    summary = "You can leave: everything that must be settled before leaving is settled."
    assert gap_lines(gap_list(record, pack), pack)[-1] == summary
    assert gap_lines(gap_list(record, pack, only_must=True), pack) == [summary]
    assert settled_line(record) == "4 of 5 checks settled, 1 gap (none must be settled before leaving)."


def test_what_is_not_fitted_is_not_counted(pack: Pack) -> None:
    settled = {
        check.id: finding(pack, check.id, "ok", evidence("fine", "good"))
        for check in pack.checks
        if not check.fitting
    }
    record = record_of(pack, settled, [], False)
    assert settled_line(record) == "4 of 4 checks settled, 0 gaps."


def test_the_gap_list_for_programs(pack: Pack, some: Record) -> None:
    data = gap_list(some, pack).model_dump(mode="json")
    assert [gap["id"] for gap in data["checks"]] == ["head.heat", "head.runout", "tank.leaks"]
    (question,) = data["questions"]
    assert (question["fitting"], [gap["id"] for gap in question["checks"]]) == ("tailstock", ["tail.quill"])
    assert data["open"] == {"checks": 3, "minutes": 17}
    assert (data["can_leave"], data["plan"]) == (False, None)
    assert data["checks"][0] == {
        "id": "head.heat",
        "station": "head",
        "title": "Headstock temperature",
        "kind": "not tested",
        "why": 'not tested: "no time for the heat"',
        "outcome": "not_tested",
        "applies": True,
        "minutes": 10.0,
        "must_before_leaving": False,
        "severity": "major",
        "likely": "occasional",
        "risk": 2.5,
    }


def test_the_summary(pack: Pack, some: Record) -> None:
    assert summary_lines(some, pack) == [
        "Small lathe: 1 recording, 1:05, 20 words",
        "",
        "CRITICAL (1)",
        "  Bearing noise                                                       head.noise",
        '    "it growls"',
        "",
        "NOT TESTED (1)",
        "  Headstock temperature                                                head.heat",
        '    "no time for the heat"',
        "",
        "Fitted or not, nobody said: tailstock",
        "",
        "1 of 5 checks settled, 4 gaps (2 must be settled before leaving, about 7 min).",
    ]


def test_recordings_that_cannot_be_trusted_are_named_with_reason_and_remedy(some: Record) -> None:
    def entry(name: str, doubt: str | None) -> RecordingEntry:
        quality = Quality(peak_dbfs=-3.0, clipped_share=0.0, speech_share=0.5, doubt=doubt)
        return RecordingEntry(file=name, seconds=65.0, words=20, quality=quality)

    windy = "wind over 45 % of it: say it again out of the wind"
    loud = "too loud, 20 % of the speech is clipped: say it again with the phone further away"
    entries = (entry("memo 1.m4a", windy), entry("memo 2.m4a", None), entry("memo 3.m4a", loud))
    assert doubt_lines(some.model_copy(update={"recordings": entries})) == [
        "SAY AGAIN (2): heard too badly to be trusted",
        "  memo 1.m4a (1:05): wind over 45 % of it: say it again out of the wind",
        "  memo 3.m4a (1:05): too loud, 20 % of the speech is clipped: say it again with",
        "      the phone further away",
        "",
    ]
    assert doubt_lines(some) == []


def test_a_contradiction_and_a_reading_are_shown(pack: Pack) -> None:
    said = "Spindle growls. Spindle is quiet. Spindle runout is a thou. Serial number four seven alpha two."
    text = "\n".join(summary_lines(read_text(said, pack), pack))
    assert 'but also said good: "Spindle is quiet."' in text
    assert "runout 0.001 in: OUTSIDE the limit (at most 0.0004 in)" in text
    assert "Serial number  47A2" in text


@pytest.mark.parametrize(
    ("said", "shown"),
    [
        (
            "Spindle runout is two thou, and I'm happy with it.",
            ["SAID TO BE GOOD, MEASURED OUTSIDE (1)", "OUTSIDE the limit", "happy with it"],
        ),
        (
            "Spindle runout is one tenth, but it's bad.",
            ["called bad although the reading is within its limit"],
        ),
        ("Spindle runout is five hundredths.", ["doubtful: hundredths with no unit: taken as 0.01 mm"]),
    ],
)
def test_a_word_against_a_limit_and_a_doubt_are_shown(pack: Pack, said: str, shown: list[str]) -> None:
    text = " ".join(" ".join(summary_lines(read_text(said, pack), pack)).split())
    assert [words for words in shown if words not in text] == []


def test_praise_within_a_limit_is_no_contradiction(pack: Pack) -> None:
    assert against_limit(read_text("Spindle runout is one tenth, that's fine.", pack)) == []


def test_no_line_is_wider_than_a_terminal(pack: Pack, some: Record) -> None:
    long = "it " + "growls and rumbles " * 30
    found = {"head.noise": finding(pack, "head.noise", "defect", evidence(long, "bad"), severity="major")}
    record = record_of(pack, found, [Gap(id="head.heat", why=f'unsure: "{long}"')], None)
    for lines in (
        gap_lines(gap_list(record, pack), pack),
        summary_lines(record, pack),
        gap_lines(gap_list(some, pack), pack),
    ):
        assert max(len(line) for line in lines) <= 80


@pytest.mark.parametrize("name", SCHEMAS)
def test_every_schema_is_made(name: str) -> None:
    schema = schema_of(name)
    assert schema["$schema"].endswith("2020-12/schema")
    assert schema["type"] == ("array" if name.endswith("-file") else "object")


def test_small_wordings() -> None:
    assert [length(seconds) for seconds in (0, 59.6, 3725)] == ["0:00", "1:00", "1:02:05"]
    assert [minutes(amount) for amount in (0, 0.2, 37.6)] == ["0 min", "1 min", "38 min"]
    assert [number(value) for value in (0.0002, 2000.0, 1.5, 12_345_678.0)] == [
        "0.0002", "2000", "1.5", "12345678",
    ]  # fmt: skip
    assert quoted("one two three", most=10) == '"one ..."'
    assert table_line("  ", "a b", "end", width=12) == ["  a b    end"]
    assert [in_a_list(title) for title in ("Work light", "C axis", "NC tools")] == [
        "work light", "C axis", "NC tools",
    ]  # fmt: skip
    assert wrapped("aa bb cc", "  ", width=6) == ["  aa", "  bb", "  cc"]


def test_the_summary_says_how_much_was_not_taken_for_speech(pack: Pack) -> None:
    record = record_of(pack, {}, [], fitted=True)
    left = tuple(
        LeftOutQuote(recording="a.txt", start=at, end=at + 4.0, quote="thank you", why="nobody is heard")
        for at in (10.0, 30.0)
    )
    line = "Written by the engine, not taken for speech, kept in the record: 2 pieces, 0:08."
    assert line not in summary_lines(record, pack)
    assert line in summary_lines(record.model_copy(update={"left_out": left}), pack)
