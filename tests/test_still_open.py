"""The gap list of a reviewed visit: what a correction closes, opens, or leaves open for a reason."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pypdf
import pytest
from correcting import by, confirm, fitting, move, outcome, record_of, settle, tag, undo
from typer.testing import CliRunner

import voicenotes
from voicenotes.cli.main import app
from voicenotes.corrections.journal import append
from voicenotes.corrections.still_open import still_open
from voicenotes.corrections.values import Add, Confirm, Correction, Seen
from voicenotes.findings.gap_list import LEAVE, gap_list
from voicenotes.model import Record
from voicenotes.outputs.gap_page import gap_page
from voicenotes.outputs.gap_sheet import gap_lines
from voicenotes.visit import record_text
from voicenotes.vocabulary.schema import Pack


@pytest.fixture
def small(pack: Path) -> Pack:
    return voicenotes.load_pack(pack)


@pytest.fixture
def visit(small: Pack, tmp_path: Path) -> Path:
    folder = tmp_path / "visit"
    folder.mkdir()
    (folder / "record.json").write_text(record_text(record_of(small)), encoding="utf-8")
    return folder


def opened(visit: Path, record: Record, small: Pack, *corrections: Correction) -> set[str]:
    for correction in corrections:
        append(visit, correction)
    gaps = still_open(visit, record, small).gaps
    return {gap.id for gap in [*gaps.checks, *(gap for one in gaps.questions for gap in one.checks)]}


def test_without_corrections_the_list_is_that_of_the_record(visit: Path, small: Pack) -> None:
    record = record_of(small)
    now = still_open(visit, record, small)
    assert now.gaps == gap_list(record, small) and now.record == record and now.troubles == ()


# what is corrected -> what opens, what closes; of the record only head.heat is open: told that it is cool
CHANGES = [
    ("confirming hearsay leaves it open", lambda r: [confirm(r, "head.heat")], set(), set()),
    ("a person's word closes it", lambda r: [outcome(r, "head.heat", "ok")], set(), {"head.heat"}),
    ("a defect that was never tested opens", lambda r: [outcome(r, "head.noise", "not_tested")],
     {"head.noise"}, set()),
    ("a remark moved to none opens its check", lambda r: [move(r, "spindle growls", "head.noise", None)],
     {"head.noise"}, set()),
    ("a remark tagged closes a check", lambda r: [tag(r, "smells", "head.heat", "bad")],
     set(), {"head.heat"}),
    ("a finding added closes a check",
     lambda r: [by(Add(title="glows", check="head.heat", severity="major"))], set(), {"head.heat"}),
    ("a fitting that is not there drops its check", lambda r: [fitting("tailstock", False, True)],
     set(), set()),
    ("left open for a reason", lambda r: [settle(r, "head.heat", "no time")], set(), {"head.heat"}),
    ("an undo opens it again", lambda r: [s := settle(r, "head.heat", "no time"), undo(s)], set(), set()),
]  # fmt: skip


@pytest.mark.parametrize(("what", "made", "opens", "closes"), CHANGES, ids=[row[0] for row in CHANGES])
def test_a_correction_opens_and_closes(
    what: str, made: object, opens: set[str], closes: set[str], visit: Path, small: Pack
) -> None:
    record = record_of(small)
    before = opened(visit, record, small)
    after = opened(visit, record, small, *made(record))  # type: ignore[operator]
    assert (after - before, before - after) == (opens, closes)


def test_what_is_left_open_stands_apart_with_its_reason(visit: Path, pack: Path, small: Pack) -> None:
    record = record_of(small)
    gap = record.gaps[0].id
    append(visit, settle(record, gap, "The hour was up"))
    now = still_open(visit, record, small)
    [left] = now.gaps.left_open
    assert (left.id, left.reason, left.by) == (gap, "The hour was up", "Kim")
    assert left.why == record.gaps[0].why
    text = "\n".join(gap_lines(now.gaps, small))
    assert "LEFT OPEN, WITH THE REASON: 1 check, not passed either" in text
    assert "Kim: The hour was up" in text and left.title in text
    sheet = pypdf.PdfReader(io.BytesIO(gap_page(now.gaps, small, now.record, "unit 7")))
    printed = " ".join(" ".join(page.extract_text() for page in sheet.pages).split())
    assert "LEFT OPEN, WITH THE REASON" in printed and "Kim: The hour was up" in printed
    shown = CliRunner().invoke(app, ["gaps", str(visit), "--pack", str(pack)]).output
    assert "Kim: The hour was up" in shown
    told = CliRunner().invoke(app, ["gaps", str(visit), "--pack", str(pack), "--json"]).stdout
    assert json.loads(told)["left_open"][0]["reason"] == "The hour was up"


def test_leaving_a_must_open_for_a_reason_lets_him_leave_and_says_so(visit: Path, small: Pack) -> None:
    said = ("spindle is quiet. headstock temperature is cool. coolant tank is dry. quill has full stroke.",)
    record = record_of(small, said)
    assert not gap_list(record, small).can_leave
    append(visit, settle(record, "head.runout", "no indicator"))
    gaps = still_open(visit, record, small).gaps
    assert gaps.can_leave and gaps.open.checks == 0
    assert gaps.summary == f"{LEAVE[:-1]}, or left open for a reason (1 check)."
    assert "no indicator" in "\n".join(gap_lines(gaps, small))


def test_what_cannot_be_applied_or_read_is_said(visit: Path, pack: Path, small: Pack) -> None:
    record = record_of(small)
    append(visit, by(Confirm(check="head.noise", seen=Seen(outcome="ok", mark="0" * 16))))
    with (visit / "corrections.jsonl").open("a", encoding="utf-8") as journal:
        journal.write("{broken\n")
    now = still_open(visit, record, small)
    assert now.gaps == gap_list(record, small)
    assert len(now.troubles) == 2
    output = CliRunner().invoke(app, ["gaps", str(visit), "--pack", str(pack)]).output
    assert "line 2 of corrections.jsonl" in output
    assert "1 correction needs a decision first: voicenotes review" in output
