"""Many mentions become one outcome: the precedence, case by case, and what is open afterwards."""

from __future__ import annotations

from pathlib import Path

import pytest
from small_pack import write_pack

import voicenotes
from voicenotes.findings.gaps import gaps_of
from voicenotes.findings.settle import (
    SpokenRemark,
    basis_is_told,
    settle_checks,
    settle_facts,
    settle_fittings,
    untagged_of,
)
from voicenotes.language.mentions import FactMention, FittingMention, Mention, Remark
from voicenotes.model import CheckFinding, Reading, Record
from voicenotes.visit import record_text
from voicenotes.vocabulary.schema import Pack

CHECK = "head.heat"  # usual severity major, no fitting
FITTED = "tail.quill"  # applies where a tailstock is fitted


@pytest.fixture(scope="module")
def pack(tmp_path_factory: pytest.TempPathFactory) -> Pack:
    return voicenotes.load_pack(write_pack(tmp_path_factory.mktemp("pack")))


def said(*words: str, check: str = CHECK, taken_back: str | None = None) -> SpokenRemark:
    """A remark with one mention a word: "bad", or with its basis "bad told"."""
    mentions = []
    for word in words:
        polarity, _, basis = word.partition(" ")
        mentions.append(
            Mention(
                check=check, polarity=polarity, basis=basis or "seen", confidence=0.9, why=f'"{word}"',
                severity="major" if polarity == "bad" else None,
            )
        )  # fmt: skip
    quote = " and ".join(words)
    remark = Remark(quote=quote, start=1.0, end=2.0, mentions=tuple(mentions), taken_back=taken_back)
    return SpokenRemark("memo.txt", remark)


def defect(severity: str, stated: bool = False, basis: str = "seen") -> SpokenRemark:
    mention = Mention(CHECK, "bad", basis, 0.9, "why", severity=severity, stated=stated)
    return SpokenRemark("memo.txt", Remark("it is bad", 1.0, 2.0, mentions=(mention,)))


def fitting(fitted: bool | None, basis: str = "seen", taken_back: str | None = None) -> SpokenRemark:
    mention = FittingMention("tailstock", fitted, basis, 0.9, "why")
    return SpokenRemark(
        "memo.txt", Remark("the tailstock", 1.0, 2.0, fittings=(mention,), taken_back=taken_back)
    )


def serial(value: str, basis: str = "seen", taken_back: str | None = None) -> SpokenRemark:
    mention = FactMention("serial", value, None, basis, 0.9, "why")
    return SpokenRemark("memo.txt", Remark(value, 1.0, 2.0, facts=(mention,), taken_back=taken_back))


def settled(pack: Pack, *remarks: SpokenRemark) -> dict[str, CheckFinding]:
    return {check.id: check for check in settle_checks(pack, remarks, settle_fittings(pack, remarks))}


def why_open(pack: Pack, *remarks: SpokenRemark) -> dict[str, str]:
    return {gap.id: gap.why for gap in gaps_of(tuple(settled(pack, *remarks).values()))}


PRECEDENCE = [
    ("", "not_mentioned"),
    ("named", "not_mentioned"),
    ("not_tested", "not_tested"),
    ("good", "ok"),
    ("unsure", "unsure"),
    ("bad", "defect"),
    ("not_tested, good", "ok"),
    ("good, not_tested", "ok"),
    ("not_tested, unsure", "unsure"),
    ("not_tested, bad", "defect"),
    ("good, unsure", "unsure"),
    ("unsure, good", "unsure"),
    ("good, bad", "defect"),
    ("bad, good", "defect"),
    ("bad, unsure", "defect"),
    ("unsure, bad, good, not_tested, named", "defect"),
    ("named, good", "ok"),
    # what was told counts only where nothing was seen
    ("good told", "ok"),
    ("bad told", "defect"),
    ("unsure told", "unsure"),
    ("bad told, good", "ok"),
    ("good, bad told", "ok"),
    ("bad told, unsure", "unsure"),
    ("bad told, not_tested", "not_tested"),
    ("good told, bad", "defect"),
    ("good told, bad told", "defect"),
    ("good told, named", "ok"),
    # a measured value was seen
    ("bad measured, good", "defect"),
    ("good measured, bad told", "ok"),
]


@pytest.mark.parametrize(("words", "outcome"), PRECEDENCE)
def test_precedence_of_outcomes(pack: Pack, words: str, outcome: str) -> None:
    spoken = [said(word) for word in filter(None, words.split(", "))]
    finding = settled(pack, *spoken)[CHECK]
    assert finding.outcome == outcome
    assert (finding.severity is not None) is (outcome == "defect")
    assert len(finding.evidence) == len(spoken)


@pytest.mark.parametrize(
    ("words", "conflict"),
    [
        ("good, bad", True),
        ("bad, good", True),
        ("good told, bad", True),
        ("good, good", False),
        ("bad, unsure", False),
        ("good, unsure, not_tested, named", False),
    ],
)
def test_good_and_bad_are_a_conflict(pack: Pack, words: str, conflict: bool) -> None:
    assert settled(pack, *(said(word) for word in words.split(", ")))[CHECK].conflict is conflict


def test_two_judgements_in_one_remark_are_both_evidence(pack: Pack) -> None:
    finding = settled(pack, said("good", "bad"))[CHECK]
    assert [evidence.polarity for evidence in finding.evidence] == ["good", "bad"]
    assert finding.conflict


def test_withdrawn_evidence_stays_and_decides_nothing(pack: Pack) -> None:
    finding = settled(pack, said("bad", taken_back='"scratch that"'), said("good"))[CHECK]
    assert (finding.outcome, finding.conflict, finding.severity) == ("ok", False, None)
    assert [evidence.polarity for evidence in finding.evidence] == ["withdrawn", "good"]
    assert 'taken back by "scratch that"' in finding.evidence[0].why


def test_a_check_taken_back_is_open_again(pack: Pack) -> None:
    remarks = (said("good", taken_back='"scratch that"'),)
    assert settled(pack, *remarks)[CHECK].outcome == "not_mentioned"
    assert why_open(pack, *remarks)[CHECK] == "taken back"


@pytest.mark.parametrize(
    ("remarks", "severity"),
    [
        ([defect("minor"), defect("critical"), defect("major")], "critical"),
        ([defect("minor")], "minor"),
        ([defect("critical"), defect("minor", stated=True)], "minor"),
        ([defect("minor", stated=True), defect("major", stated=True)], "major"),
        ([defect("minor"), defect("critical", basis="told")], "minor"),
        ([defect("critical", basis="told")], "critical"),
    ],
)
def test_severity_is_the_worst_or_the_speakers_own(
    pack: Pack, remarks: list[SpokenRemark], severity: str
) -> None:
    assert settled(pack, *remarks)[CHECK].severity == severity


@pytest.mark.parametrize(
    ("remarks", "fitted"),
    [
        ([], None),
        ([fitting(False)], False),
        ([fitting(True)], True),
        ([fitting(None)], None),
        ([fitting(False), fitting(True)], True),
        ([fitting(True), fitting(False)], True),
        ([fitting(False, basis="told")], None),
        ([fitting(False, taken_back='"scratch that"')], None),
    ],
)
def test_fittings(pack: Pack, remarks: list[SpokenRemark], fitted: bool | None) -> None:
    finding = settle_fittings(pack, remarks)["tailstock"]
    assert finding.fitted is fitted
    assert len(finding.evidence) == len(remarks)
    assert settled(pack, *remarks)[FITTED].applies is fitted
    assert settled(pack, *remarks)[CHECK].applies is True


def test_checks_of_an_absent_fitting_are_not_fitted_and_no_gap(pack: Pack) -> None:
    finding = settled(pack, fitting(False))[FITTED]
    assert (finding.outcome, finding.applies) == ("not_fitted", False)
    assert FITTED not in why_open(pack, fitting(False))
    assert FITTED in why_open(pack)
    assert FITTED in why_open(pack, fitting(True))


def test_a_judged_fitting_is_there(pack: Pack) -> None:
    record = voicenotes.read_text("the quill is stuck", pack)
    assert record.fittings["tailstock"].fitted is True
    assert record.check(FITTED).outcome == "defect"
    both = voicenotes.read_text("there's no tailstock. the quill is stuck.", pack)
    assert both.fittings["tailstock"].fitted is True
    assert both.check(FITTED).outcome == "defect"


WHY = [
    ([], "never mentioned"),
    ([said("named")], 'named but not judged: "named"'),
    ([said("not_tested")], 'not tested: "not_tested"'),
    ([said("unsure")], 'unsure: "unsure"'),
    ([said("good"), said("unsure")], 'unsure: "unsure"'),
    ([said("good told")], 'only told: "good told"'),
    ([said("good")], None),
    ([said("bad")], None),
    ([said("good told"), said("good")], None),
    ([said("named"), said("good")], None),
]


@pytest.mark.parametrize(("remarks", "why"), WHY)
def test_why_a_check_is_open(pack: Pack, remarks: list[SpokenRemark], why: str | None) -> None:
    assert why_open(pack, *remarks).get(CHECK) == why


def test_why_quotes_what_was_told(pack: Pack) -> None:
    why = why_open(pack, said("bad told"), said("good told"))[CHECK]
    assert why.startswith("only told: ")
    assert '"good told"' in why


def test_gaps_and_checks_stand_in_walking_order(pack: Pack) -> None:
    remarks = [said("unsure", check="tank.leaks"), said("not_tested", check="head.runout"), said("good")]
    findings = settled(pack, *remarks)
    assert list(findings) == [check.id for check in pack.checks]
    gaps = [gap.id for gap in gaps_of(tuple(findings.values()))]
    assert gaps == [check for check in findings if check != CHECK]


@pytest.mark.parametrize(
    ("words", "told"),
    [("good told", True), ("good told, bad told", True), ("good told, good", False), ("good", False),
     ("named told", False), ("named, good told", True)],
)  # fmt: skip
def test_basis_is_told(pack: Pack, words: str, told: bool) -> None:
    assert basis_is_told(settled(pack, *(said(word) for word in words.split(", ")))[CHECK]) is told


def test_hearsay_taken_back_leaves_only_what_was_seen(pack: Pack) -> None:
    finding = settled(pack, said("good", taken_back="x"), said("bad told"))[CHECK]
    assert finding.outcome == "defect"
    assert basis_is_told(finding)


@pytest.mark.parametrize(
    ("remarks", "value"),
    [
        ([serial("1"), serial("2")], "2"),
        ([serial("1"), serial("2", taken_back="x")], "1"),
        ([serial("1"), serial("2", basis="told")], "1"),
        ([serial("1", basis="told")], "1"),
        ([serial("1", basis="told"), serial("2", basis="told")], "2"),
        ([serial("1", taken_back="x")], None),
        ([], None),
    ],
)
def test_the_last_fact_wins(pack: Pack, remarks: list[SpokenRemark], value: str | None) -> None:
    finding = settle_facts(pack, remarks)["serial"]
    assert finding.value == value
    assert len(finding.evidence) == len(remarks)


def test_the_same_reading_twice_is_listed_once(pack: Pack) -> None:
    reading = Reading(quantity="runout", value=1, unit="um", si_value=1e-6, si_unit="m")
    other = reading.model_copy(update={"value": 2.0})
    remarks = [
        SpokenRemark(
            "m", Remark("q", 0.0, 1.0, (Mention("head.runout", "good", "measured", 1, "w", readings=(r,)),))
        )
        for r in (reading, reading, other)
    ]
    assert settled(pack, *remarks)["head.runout"].readings == (reading, other)


def test_only_remarks_that_nothing_took_are_untagged(pack: Pack) -> None:
    nothing = SpokenRemark("memo.txt", Remark("a cup of tea", 3.0, 4.0))
    left = untagged_of([said("good"), nothing, fitting(True), serial("1")])
    assert [(u.recording, u.start, u.end, u.quote) for u in left] == [("memo.txt", 3.0, 4.0, "a cup of tea")]


TEXT = """Serial number is four zero six one seven. Spindle growls at two thousand. The spindle is quiet.
The seller says the sump is dry. Spindle runout is two tenths. There's no tailstock. It rained all day.
Headstock temperature might be hot."""


def test_a_record_from_text(pack: Pack) -> None:
    record = voicenotes.read_text(TEXT, pack)
    assert {c.id: (c.outcome, c.conflict) for c in record.checks} == {
        "head.noise": ("defect", True),
        "head.heat": ("unsure", False),
        "head.runout": ("ok", False),
        "tail.quill": ("not_fitted", False),
        "tank.leaks": ("ok", False),
    }
    assert [gap.id for gap in record.gaps] == ["head.heat", "tank.leaks"]
    assert record.facts["serial"].value == "40617"
    assert [u.quote for u in record.untagged] == ["It rained all day."]
    assert (record.pack.id, record.pack.version) == ("small", "3")


def test_record_survives_json(pack: Pack) -> None:
    record = voicenotes.read_text(TEXT, pack)
    assert Record.model_validate_json(record.model_dump_json()) == record
    assert Record.model_validate_json(record_text(record)) == record


def test_same_text_gives_the_same_bytes(pack: Pack, tmp_path: Path) -> None:
    again = voicenotes.load_pack(write_pack(tmp_path / "again"))
    first, second = (record_text(voicenotes.read_text(TEXT, p)).encode() for p in (pack, again))
    assert first == second
    assert record_text(voicenotes.read_text(TEXT, pack)).encode() == first


def test_a_check_the_pack_does_not_have_is_no_finding(pack: Pack) -> None:
    with pytest.raises(KeyError):
        voicenotes.read_text(TEXT, pack).check("head.nothing")
