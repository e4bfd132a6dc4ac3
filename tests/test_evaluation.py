"""The evaluation sets: labelled talk of other speakers, beside the pack's own sentences.

The talk is invented, as the pack's own sentences are. The sets differ in who speaks and in what was known of
them while the rules were written: `frozen.yaml` was written after the rules, `unseen_speakers.yaml` was not
looked at, the others were. The floors stand a little under what is reached and keep it from falling;
`voicenotes score tests/evaluation` prints the figures.
"""

from __future__ import annotations

import re
from functools import lru_cache
from pathlib import Path

import pytest

from voicenotes import load_pack, read_text, score_sets
from voicenotes.findings.score_values import Score, SetScore
from voicenotes.vocabulary.lint import checked_file

FOLDER = Path(__file__).parent / "evaluation"
SETS = sorted(FOLDER.glob("*.yaml"))
BLIND = [FOLDER / "frozen.yaml", FOLDER / "unseen_speakers.yaml"]
MOST_LOST_RAW = 0.03  # what unpunctuated text may lose


@lru_cache
def score_of(*sets: Path) -> Score:
    return score_sets(list(sets), "cnc_lathe", raw=True)


def f1(score: SetScore | None) -> float:
    assert score is not None and score.mentions.f1 is not None
    return score.mentions.f1


def right(score: SetScore | None) -> float:
    assert score is not None and score.right_outcomes.share is not None
    return score.right_outcomes.share


def test_there_are_many_sentences_of_many_kinds() -> None:
    pack = load_pack("cnc_lathe")
    said = {path: [entry for _, entry in checked_file(path, pack)] for path in SETS}
    entries = [entry for some in said.values() for entry in some]
    assert len(entries) >= 400
    assert len(said[BLIND[0]]) >= 0.15 * len(entries)
    kinds = {entry.kind for entry in entries}
    assert len(kinds) >= 20
    assert {entry.kind for entry in said[BLIND[0]]} >= kinds - {None, "mishearing"}
    assert {check for entry in entries for check in entry.expect} == {check.id for check in pack.checks}


@pytest.mark.parametrize(
    ("sets", "least_f1", "least_right"),
    [(tuple(BLIND), 0.94, 0.945), (tuple(SETS), 0.935, 0.96)],
    ids=["blind", "all"],
)
def test_what_is_reached_does_not_fall(sets: tuple[Path, ...], least_f1: float, least_right: float) -> None:
    written = score_of(*sets).written
    assert f1(written) >= least_f1
    assert right(written) >= least_right
    settled = written.false_settlements.of_open_checks.share
    assert settled is not None and settled <= 0.005
    for values in (written.readings, written.facts):
        assert values.labelled.share is not None and values.labelled.share >= 0.95
    assert written.severity.all.share is not None and written.severity.all.share >= 0.95


@pytest.mark.parametrize("sets", [tuple(BLIND), tuple(SETS)], ids=["blind", "all"])
def test_text_without_punctuation_loses_little(sets: tuple[Path, ...]) -> None:
    score = score_of(*sets)
    assert f1(score.written) - f1(score.raw) <= MOST_LOST_RAW
    assert right(score.written) - right(score.raw) <= MOST_LOST_RAW


@pytest.mark.parametrize("path", SETS, ids=lambda path: path.stem)
def test_reasons_name_words_of_the_quote(path: Path) -> None:
    """Every piece of evidence that a record rests on says why in words that stand in its quote."""
    pack = load_pack("cnc_lathe")
    for _, entry in checked_file(path, pack):
        record = read_text(entry.say or " ".join(entry.recordings), pack)
        for check in record.checks:
            for evidence in check.evidence:
                named = re.findall(r'"(.+?)"', evidence.why)
                assert any(words in evidence.quote for words in named), (evidence.quote, evidence.why)
