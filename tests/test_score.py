"""Counting: against scikit-learn and scipy, and against tables of small labelled sentences."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binomtest
from sklearn.metrics import confusion_matrix, precision_recall_fscore_support

from voicenotes.findings.compare import CheckResult, Comparison, compare, differences
from voicenotes.findings.labelled_cases import Case, CaseResult
from voicenotes.findings.misreadings import rank_of_pair
from voicenotes.findings.read import read_text
from voicenotes.findings.score import count_results, losses, score_sentences
from voicenotes.findings.score_values import SetScore
from voicenotes.findings.shares import share_of, wilson
from voicenotes.model import Outcome
from voicenotes.vocabulary.labels import OUTCOMES, Label, LabelledSentence
from voicenotes.vocabulary.load import load_pack, load_sentences

Outcomes = tuple[Outcome, Outcome]
NO_LABEL = Label()
RUNOUT = "spindle runout is two tenths"


# --- intervals ----------------------------------------------------------------------------------------

# Newcombe 1998, "Two-sided confidence intervals for the single proportion: comparison of seven methods",
# table I, method 3 (score without continuity correction); from memory. Checked against scipy below.
NEWCOMBE = [
    (81, 263, 0.2553, 0.3662),
    (15, 148, 0.0624, 0.1605),
    (0, 20, 0.0000, 0.1611),
    (1, 29, 0.0061, 0.1718),
]


@pytest.mark.parametrize(("right", "of", "low", "high"), NEWCOMBE)
def test_interval_has_the_published_ends(right: int, of: int, low: float, high: float) -> None:
    assert wilson(right, of) == pytest.approx((low, high), abs=0.00005)


@given(st.integers(1, 5000).flatmap(lambda of: st.tuples(st.integers(0, of), st.just(of))))
@settings(deadline=None)
def test_interval_is_that_of_scipy(case: tuple[int, int]) -> None:
    right, of = case
    theirs = binomtest(right, of).proportion_ci(confidence_level=0.95, method="wilson")
    share = share_of(right, of)
    assert (share.low, share.high) == pytest.approx((theirs.low, theirs.high), abs=1e-9)
    assert share.share == right / of
    assert share.low is not None and share.high is not None and share.low <= share.share <= share.high


def test_a_share_of_nothing_is_no_number() -> None:
    assert share_of(0, 0).model_dump() == {"right": 0, "of": 0, "share": None, "low": None, "high": None}
    with pytest.raises(ValueError, match="3 of 2 is no share"):
        share_of(3, 2)


# --- counting -------------------------------------------------------------------------------------------


def result_of(labelled: Outcome, read: Outcome, told: bool = False, gap: bool | None = None) -> CheckResult:
    open_now = read not in ("ok", "defect", "not_fitted") if gap is None else gap
    return CheckResult(
        check="head.noise", labelled=labelled, read=read, told=told, open_in_record=open_now, severity=None,
        severity_read=None, severity_usual="major", quote="", why="by hand",
    )  # fmt: skip


def score_of(*checks: CheckResult) -> SetScore:
    comparison = Comparison(tuple(checks), (), {"fitting": 0, "reading": 0, "fact": 0})
    return count_results([CaseResult(Case("here", NO_LABEL, ()), comparison)])


def assert_counted_as_by_scikit_learn(score: SetScore, pairs: list[Outcomes]) -> None:
    labelled, read = [pair[0] for pair in pairs], [pair[1] for pair in pairs]
    theirs = precision_recall_fscore_support(labelled, read, labels=OUTCOMES, zero_division=math.nan)
    ours = [[one.precision, one.recall, one.f1, one.labelled] for one in score.outcomes]
    for mine, other in zip(ours, zip(*theirs, strict=True), strict=True):
        expected = [None if math.isnan(number) else pytest.approx(number) for number in other]
        assert mine == expected
    matrix = confusion_matrix(labelled, read, labels=OUTCOMES)
    counted = {(pair.labelled, pair.read): pair.count for pair in score.confusion}
    for row, first in enumerate(OUTCOMES):
        for column, second in enumerate(OUTCOMES):
            assert counted.get((first, second), 0) == matrix[row, column]


@given(
    st.lists(st.tuples(st.sampled_from(OUTCOMES), st.sampled_from(OUTCOMES)), min_size=1, max_size=60),
)
@settings(deadline=None)
def test_outcomes_are_counted_as_by_scikit_learn(pairs: list[Outcomes]) -> None:
    assert_counted_as_by_scikit_learn(score_of(*(result_of(*pair) for pair in pairs)), pairs)


@given(
    st.lists(st.tuples(st.sampled_from(OUTCOMES), st.sampled_from(OUTCOMES)), min_size=1, max_size=60),
)
@settings(deadline=None)
def test_mentions_are_counted_as_by_scikit_learn(pairs: list[Outcomes]) -> None:
    mentions = score_of(*(result_of(*pair) for pair in pairs)).mentions
    labelled, read = (
        [pair[side] not in ("not_mentioned", "not_fitted") for pair in pairs] for side in (0, 1)
    )
    theirs = precision_recall_fscore_support(labelled, read, labels=[True], zero_division=math.nan)
    ours = (mentions.precision.share, mentions.recall.share, mentions.f1)
    for mine, (other,) in zip(ours, theirs[:3], strict=True):
        assert mine is None if math.isnan(other) else mine == pytest.approx(other)


def test_real_sentences_are_counted_as_by_scikit_learn() -> None:
    pack = load_pack("cnc_lathe")
    sentences = [sentence for _, _, sentence in load_sentences("cnc_lathe")][::6]
    pairs: list[Outcomes] = []
    for sentence in sentences:
        record = read_text(sentence.say, pack)
        pairs += [(sentence.expected(check)[0], record.check(check.id).outcome) for check in pack.checks]
    score = score_sentences(sentences, pack)
    assert_counted_as_by_scikit_learn(score, pairs)
    assert score.entries.right == sum(differences(sentence, pack) == [] for sentence in sentences)


@pytest.mark.parametrize(
    ("labelled", "read", "told", "gap", "false"),
    [
        ("not_mentioned", "ok", False, False, True),
        ("not_mentioned", "defect", False, False, True),
        ("not_mentioned", "not_fitted", False, False, True),
        ("unsure", "ok", False, False, True),
        ("not_tested", "defect", False, False, True),
        ("not_mentioned", "ok", False, True, False),  # read as told: still a gap
        ("ok", "ok", True, False, True),  # told, but read as seen
        ("ok", "ok", True, True, False),
        ("not_mentioned", "unsure", False, True, False),
        ("ok", "defect", False, False, False),  # wrong, but somebody did look
        ("not_fitted", "ok", False, False, False),
    ],
)
def test_what_is_a_false_settlement(
    labelled: Outcome, read: Outcome, told: bool, gap: bool, false: bool
) -> None:
    check = result_of(labelled, read, told, gap)
    settled = score_of(check).false_settlements.of_open_checks
    assert check.falsely_settled is false
    assert (settled.right, settled.of) == (int(false), int(check.left_open))
    assert not (false and check.right)


def test_confusions_and_misreadings_stand_worst_first() -> None:
    pairs: list[Outcomes] = [
        ("not_mentioned", "unsure"), ("ok", "not_mentioned"), ("ok", "ok"), ("defect", "unsure"),
        ("ok", "defect"), ("unsure", "ok"), ("defect", "ok"),
    ]  # fmt: skip
    score = score_of(*(result_of(*pair) for pair in pairs))
    worst_first = [
        ("defect", "ok"), ("unsure", "ok"), ("ok", "defect"), ("defect", "unsure"), ("ok", "not_mentioned"),
        ("not_mentioned", "unsure"),
    ]  # fmt: skip
    assert [(pair.labelled, pair.read) for pair in score.confusion] == [*worst_first, ("ok", "ok")]
    assert [(one.labelled, one.read) for one in score.misreadings] == worst_first
    assert rank_of_pair("defect", "ok") < rank_of_pair("not_mentioned", "ok") < rank_of_pair("ok", "ok")


# --- what is said, its label, and what is counted as wrong ---------------------------------------------

RIGHT = [
    ("spindle growls", {"expect": {"head.noise": "defect"}}),
    ("spindle growls", {"expect": {"head.noise": "defect critical"}}),
    ("Spindle is quiet and cool.", {"expect": {"head.noise": "ok", "head.heat": "ok"}}),
    ("there's no tailstock", {"fittings": {"tailstock": "no"}}),
    (RUNOUT, {"expect": {"head.runout": "ok"}, "readings": {"head.runout": "0.2 thou"}}),
    (RUNOUT, {"expect": {"head.runout": "ok"}, "readings": {"head.runout": "5.08 um"}}),
    ("the maker is Lantern", {"facts": {"maker": "lantern"}}),
    ("serial number four seven alpha dash two", {"facts": {"serial": "47a 2"}}),
    ("he says the spindle is quiet", {"expect": {"head.noise": "ok"}, "told": ["head.noise"]}),
    ("nice weather today", {}),
]  # fmt: skip
WRONG = [
    ("spindle growls", {}, "outcome head.noise: not_mentioned, defect, false settlement"),
    ("spindle growls", {"expect": {"head.noise": "ok"}}, "outcome head.noise: ok, defect"),
    ("spindle growls", {"expect": {"head.noise": "defect minor"}},
     "severity head.noise: defect minor, defect critical"),
    ("nice weather today", {"expect": {"head.noise": "ok"}}, "outcome head.noise: ok, not_mentioned"),
    ("spindle is quiet", {"expect": {"head.noise": "ok"}, "told": ["head.noise"]},
     "outcome head.noise: ok, only told, ok, false settlement"),
    ("there's no tailstock", {}, "outcome tail.quill: not_mentioned, not_fitted, false settlement"),
    ("nice weather today", {"fittings": {"tailstock": "yes"}}, "fitting tailstock: yes, nothing"),
    (RUNOUT, {"expect": {"head.runout": "ok"}, "readings": {"head.runout": "3 tenths"}},
     "reading head.runout: 3 tenths, 0.0002 in"),
    (RUNOUT, {"expect": {"head.runout": "ok"}, "readings": {"head.runout": "2 degC"}},
     "reading head.runout: 2 degC, 0.0002 in"),
    (RUNOUT, {"expect": {"head.runout": "ok"}, "readings": {"head.runout": "2 smoots"}},
     "reading head.runout: 2 smoots, 0.0002 in"),
    ("the maker is Lantern", {"facts": {"maker": "Sparrow"}}, "fact maker: Sparrow, Lantern"),
    ("nice weather today", {"facts": {"serial": 47}}, "fact serial: 47, nothing"),
]  # fmt: skip


def labelled(say: str, label: dict[str, object]) -> LabelledSentence:
    return LabelledSentence.model_validate({"say": say, **label})


@pytest.mark.parametrize(("say", "label"), RIGHT)
def test_what_is_right(pack: Path, say: str, label: dict[str, object]) -> None:
    score = score_sentences([labelled(say, label)], load_pack(pack))
    assert (score.entries.right, score.misreadings) == (1, ())
    assert differences(labelled(say, label), load_pack(pack)) == []


@pytest.mark.parametrize(("say", "label", "wrong"), WRONG)
def test_what_is_wrong(pack: Path, say: str, label: dict[str, object], wrong: str) -> None:
    score = score_sentences([labelled(say, label)], load_pack(pack))
    [found] = score.misreadings
    costly = ", false settlement" if found.false_settlement else ""
    assert f"{found.what} {found.subject}: {found.labelled}, {found.read}{costly}" == wrong
    assert (found.quote, found.place, score.entries.right) == (say, "entry 1", 0)
    assert len(differences(labelled(say, label), load_pack(pack))) == 1


def test_an_unknown_unit_is_the_reason_given(pack: Path) -> None:
    label = {"expect": {"head.runout": "ok"}, "readings": {"head.runout": "2 smoots"}}
    [found] = score_sentences([labelled(RUNOUT, label)], load_pack(pack)).misreadings
    assert found.why.startswith("the label's unknown unit 'smoots'")


def test_severities_are_split_by_whether_the_label_has_the_usual_one(pack: Path) -> None:
    sentences = [
        labelled("spindle growls", {"expect": {"head.noise": "defect critical"}}),
        labelled("spindle growls, only cosmetic", {"expect": {"head.noise": "defect minor"}}),
        labelled("the spindle is hot", {"expect": {"head.heat": "defect minor"}}),
        labelled("nice weather today", {"expect": {"head.heat": "defect minor"}}),  # not found: no case
        labelled("spindle growls", {"expect": {"head.noise": "defect"}}),  # no severity labelled: no case
    ]
    severity = score_sentences(sentences, load_pack(pack)).severity
    assert (severity.usual.right, severity.usual.of) == (1, 1)
    assert (severity.other.right, severity.other.of) == (1, 2)
    assert (severity.all.right, severity.all.of) == (2, 3)


def test_what_was_read_beyond_the_label_is_counted_apart(pack: Path) -> None:
    said = "Spindle runout is two tenths. The maker is Lantern. There's no tailstock."
    score = score_sentences([labelled(said, {"expect": {"head.runout": "ok"}})], load_pack(pack))
    assert (score.readings.beyond, score.facts.beyond, score.fittings.beyond) == (1, 1, 1)
    assert score.readings.labelled.of == score.facts.labelled.of == score.fittings.labelled.of == 0


def test_recordings_of_one_visit_are_read_into_one_record(pack: Path) -> None:
    visit = LabelledSentence.model_validate(
        {"recordings": ["Spindle growls.", "Scratch that. Spindle is quiet."], "expect": {"head.noise": "ok"}}
    )
    score = score_sentences([visit], load_pack(pack))
    assert (score.entries.right, score.texts, score.words) == (1, 2, 7)


def test_kinds_have_numbers_of_their_own(pack: Path) -> None:
    sentences = [
        labelled("spindle growls", {"expect": {"head.noise": "defect"}, "kind": "plain"}),
        labelled("spindle growls", {"kind": "plan"}),
        labelled("nice weather", {}),
    ]
    kinds = {kind.kind: kind for kind in score_sentences(sentences, load_pack(pack)).kinds}
    assert sorted(kinds) == ["(no kind)", "plain", "plan"]
    assert (kinds["plain"].entries.right, kinds["plain"].mention_f1) == (1, 1.0)
    assert (kinds["plan"].entries.right, kinds["plan"].mention_f1, kinds["plan"].false_settlements) == (
        0,
        0.0,
        1,
    )
    assert kinds["(no kind)"].mention_f1 is None


def test_points_lost_are_hundredths_and_more_false_settlements_are_a_loss() -> None:
    good = score_of(result_of("ok", "ok"), result_of("not_mentioned", "not_mentioned"))
    bad = score_of(result_of("ok", "unsure"), result_of("not_mentioned", "ok"))
    lost = {loss.measure: loss.points_lost for loss in losses(good, bad)}
    assert lost["entries wholly right"] == 100
    assert lost["mentions, recall"] == 0
    assert lost["mentions, precision"] == 50
    assert lost["false settlements, of open checks"] == 100
    assert lost["F1 of ok"] == 100
    assert "F1 of defect" not in lost  # nothing to compare


def test_a_record_that_lacks_a_check_is_not_compared(pack: Path) -> None:
    record = read_text("spindle growls", load_pack(pack))
    with pytest.raises(KeyError, match="tank"):
        compare(NO_LABEL, record.model_copy(update={"checks": record.checks[:-1]}), load_pack(pack))
