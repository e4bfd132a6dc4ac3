"""What several tables of spoken remarks share: how a row is written, and how it is compared.

A row's right side names each check with its outcome ("defect" may have a severity after it), "told" when
it is known from hearsay only, and "has" or "no" with a fitting. Every check that it does not name must
come out not mentioned, and so be a gap.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import pytest

import voicenotes
from voicenotes.model import CheckFinding, Record, Transcript
from voicenotes.vocabulary.schema import Pack

NOTHING = ""
Table = list[tuple[str, str]]


@dataclass(frozen=True)
class Rule:
    """Remarks that a rule decides, and remarks that it must leave alone.

    `mark` stands in the reasons given wherever the rule decided something; empty when it leaves no words.
    """

    acts: Table
    leaves_alone: Table
    mark: str = ""


@lru_cache
def shipped() -> Pack:
    """The pack that comes with the program."""
    return voicenotes.load_pack("cnc_lathe")


def rows(tables: Mapping[str, Table]) -> list[object]:
    """A test for each row, called by the table's name and the remark."""
    return [
        pytest.param(say, expected, id=f"{kind}: {say}")
        for kind, table in tables.items()
        for say, expected in table
    ]


def rows_of_rules(rules: Mapping[str, Rule]) -> list[object]:
    """A test for each row of some rules: the rule's mark, whether it must show, the remark, what follows."""
    return [
        pytest.param(rule.mark, acts, say, expected, id=f"{name}, {'acts' if acts else 'not'}: {say}")
        for name, rule in rules.items()
        for acts, table in ((True, rule.acts), (False, rule.leaves_alone))
        for say, expected in table
    ]


def assert_rule(mark: str, acts: bool, say: str, expected: str, pack: Pack) -> None:
    """Compare a row, and whether the rule is named among the reasons."""
    assert_follows(say, expected, pack)
    if mark:
        given = reasons(voicenotes.read_text(say, pack))
        assert any(mark in why for why in given) is acts, given


def reasons(record: Record) -> list[str]:
    """The reasons of all evidence for checks and fittings."""
    return [evidence.why for row in (*record.checks, *record.fittings.values()) for evidence in row.evidence]


def assert_follows(say: str | Transcript, expected: str, pack: Pack) -> None:
    """Compare a row's right side with all that is read."""
    record = voicenotes.read_text(say, pack)
    checks: dict[str, list[str]] = {}
    fittings: dict[str, bool] = {}
    for said in filter(None, expected.split(", ")):
        name, *rest = said.split()
        if name in ("has", "no"):
            fittings[rest[0]] = name == "has"
        else:
            checks[name] = rest
    fitted = {name: finding.fitted for name, finding in record.fittings.items() if finding.fitted is not None}
    assert fitted == fittings
    absent = {check.id for check in pack.checks if check.fitting and fittings.get(check.fitting) is False}
    for finding in record.checks:
        usual = ["not_fitted"] if finding.id in absent else ["not_mentioned"]
        assert_outcome(record, finding, checks.get(finding.id, usual))


def assert_outcome(record: Record, finding: CheckFinding, expected: list[str]) -> None:
    """Compare one check's outcome, severity and basis, and whether it is a gap."""
    read = [finding.outcome]
    if finding.severity and len(expected) > 1 and expected[1] != "told":
        read.append(finding.severity)
    judging = [e for e in finding.evidence if e.polarity in ("good", "bad", "unsure", "not_tested")]
    if finding.outcome in ("ok", "defect") and {e.basis for e in judging} == {"told"}:
        read.append("told")
    why = "; ".join(evidence.why for evidence in finding.evidence)
    assert read == expected, f"{finding.id}: {why}"
    settled = finding.outcome == "not_fitted" or (finding.outcome in ("ok", "defect") and "told" not in read)
    assert (finding.id in {gap.id for gap in record.gaps}) is not settled
