"""Reports of reviewed visits: every item of the record as it stands, and every correction, in every format.

The visits are those of test_report_items.py, each with one correction of every kind (every_correction.py).
What must be there is taken from the record and from the corrections, not from the report.
"""

from __future__ import annotations

import json
from functools import lru_cache
from pathlib import Path

import jsonschema
import pytest
from correcting import record_of as small_record
from correcting import settle, wording
from every_correction import PHOTOS, REVIEWER, Corrected, every_correction
from report_texts import FORMATS, squeezed, text_of
from test_report_items import ITEMS, VISITS, pack, record_of
from test_review_door import png
from typer.testing import CliRunner

import voicenotes
from voicenotes.cli.main import app
from voicenotes.corrections.apply import in_effect, reviewed
from voicenotes.corrections.journal import append
from voicenotes.corrections.values import Correction
from voicenotes.corrections.wording import said_of, titles_of
from voicenotes.model import Record
from voicenotes.outputs.report_values import Report
from voicenotes.outputs.schemas import schema_of
from voicenotes.report.build import report_of
from voicenotes.report.costs import estimate
from voicenotes.report.pictures import scaled
from voicenotes.report.words import clean
from voicenotes.report.write import rendered, visit_report
from voicenotes.visit import record_text
from voicenotes.vocabulary.costs import read_costs

PICTURES = {name: scaled(png(40 + 20 * n, 30)) for n, name in enumerate(PHOTOS)}


@lru_cache
def corrected(visit: str) -> Corrected:
    return every_correction(record_of(visit))


@lru_cache
def stands(visit: str) -> Record:
    return reviewed(record_of(visit), corrected(visit).corrections, pack()).record


@lru_cache
def report(visit: str) -> Report:
    return report_of(record_of(visit), pack(), PICTURES, corrections=corrected(visit).corrections)


@lru_cache
def shown(visit: str, format_: str) -> str:
    return text_of(format_, rendered(report(visit), format_, PICTURES))


@pytest.mark.parametrize("format_", FORMATS)
@pytest.mark.parametrize("visit", VISITS)
def test_every_item_and_every_correction_is_in_the_format(visit: str, format_: str) -> None:
    text = shown(visit, format_)
    for kind, items in ITEMS.items():
        missing = [item for item in items(stands(visit)) if squeezed(clean(item)) not in text]
        assert missing == [], f"{kind} missing in {format_} of {visit}"
    assert [words for words in corrected(visit).texts if squeezed(clean(words)) not in text] == []
    lines = [said_of(one, titles_of(pack()), {}) for one in in_effect(corrected(visit).corrections)]
    assert len(lines) >= 16
    assert [line for line in lines if squeezed(clean(line)) not in text] == []
    assert squeezed("This wording was taken back.") not in text


# what was corrected -> the group and the kind of review that its check has in the report
GROUPS = [
    ("confirmed", "defect", "confirmed"),
    ("turned", "ok", "corrected"),
    ("worse", "defect", "corrected"),
    ("worded", "defect", "corrected"),
    ("moved", "open", "corrected"),
    ("there", "defect", "corrected"),
    ("tagged", "defect", "corrected"),
    ("dropped", "open", "corrected"),
    ("left", "set_aside", "left open"),
    ("photographed", "defect", "added"),
    ("stale", "open", None),
]


@pytest.mark.parametrize(("what", "group", "kind"), GROUPS, ids=[row[0] for row in GROUPS])
@pytest.mark.parametrize("visit", VISITS)
def test_a_corrected_check_stands_where_it_belongs(
    visit: str, what: str, group: str, kind: str | None
) -> None:
    checks = {check.id: check for check in report(visit).checks}
    check = checks[corrected(visit).checks[what]]
    assert (check.group, check.review.kind if check.review else None) == (group, kind)
    if check.review:
        assert check.review.by == REVIEWER and check.review.at.startswith("2024-03-13T")


def test_the_evidence_stays_beside_what_was_corrected() -> None:
    checks = {check.id: check for check in report("demo").checks}
    of = corrected("demo").checks
    before = {finding.id: finding for finding in record_of("demo").checks}
    turned = checks[of["turned"]]
    assert turned.understood == f"{before[turned.id].severity} defect"
    assert [quote.text for quote in turned.quotes] == [e.quote for e in before[turned.id].evidence]
    assert checks[of["worded"]].wording == "Worded by hand: torn on both sides."
    heard = checks[of["misheard"]].quotes[0] if checks[of["misheard"]].quotes else None
    if heard:
        assert heard.text.startswith("Zanzibar") and heard.heard == before[of["misheard"]].evidence[0].quote
    assert checks[of["left"]].left_because == "No ladder on the day"
    assert checks[of["left"]].why_open == "never mentioned"
    fact = next(fact for fact in report("demo").facts if fact.id == of["fact"])
    assert fact.value == "PLATE 7781" and fact.understood and fact.review


@pytest.mark.parametrize("visit", VISITS)
def test_the_counts_are_those_of_the_groups(visit: str) -> None:
    made = report(visit)
    found = [check for check in made.checks if check.group in ("defect", "ok")]
    assert made.reviewed
    assert made.findings == len(found) + 2  # two added findings belong to no check
    assert made.findings_reviewed == sum(check.review is not None for check in found) + 2
    assert f"{made.findings_reviewed} of {made.findings} findings reviewed" in " ".join(made.summary)
    for station in made.stations:
        assert station.settled + station.open + station.left == station.applying
    assert sum(station.left for station in made.stations) >= 1
    assert sum(station.open for station in made.stations) == len(stands(visit).gaps)


@pytest.mark.parametrize("format_", FORMATS)
def test_what_nobody_reviewed_is_still_marked(format_: str) -> None:
    text = shown("demo", format_)
    left = sum(c.group in ("defect", "ok") and c.review is None for c in report("demo").checks)
    assert left > 20
    if format_ == "json":
        checks = json.loads(str(rendered(report("demo"), "json")))["checks"]
        assert sum(c["group"] in ("defect", "ok") and c["review"] is None for c in checks) == left
    else:
        assert text.count(squeezed("not reviewed")) >= left
    assert squeezed("Left open, because: No ladder on the day") in text or format_ in (
        "json", "csv", "xlsx", "md",
    )  # fmt: skip
    assert squeezed("LEFT OPEN by a person, for a reason, and not passed either") in text


@pytest.mark.parametrize("visit", VISITS)
def test_the_json_of_a_reviewed_visit_keeps_to_its_schema(visit: str) -> None:
    text = str(rendered(report(visit), "json"))
    jsonschema.Draft202012Validator(schema_of("report")).validate(json.loads(text))
    assert Report.model_validate_json(text) == report(visit)


@pytest.mark.parametrize("format_", ["html", "pdf"])
def test_photos_stand_in_the_report_with_what_they_show(format_: str) -> None:
    content = rendered(report("demo"), format_, PICTURES)
    text = shown("demo", format_)
    assert squeezed(f"Scratched beside the handle ({PHOTOS[0]})") in text
    assert squeezed(f"Fork pocket bent ({PHOTOS[1]})") in text
    if isinstance(content, str):
        assert content.count('src="data:image/jpeg;base64,') == 2


def test_what_was_added_counts_and_is_priced() -> None:
    """The demo's invented table gives a minor defect without check or station 20, 120, 500."""
    table = read_costs(Path(__file__).parent.parent / "demo_recordings/costs.yaml", pack())
    made = report("demo")
    priced = estimate(table, made.checks, pack(), None, made.added)
    [line] = [line for line in priced.lines if not line.check]
    assert (line.title, line.severity, line.taken_from) == ("Fork pocket bent", "minor", "severity")
    assert (line.low, line.likely, line.high) == (20, 120, 500)
    defects = sum(check.group == "defect" for check in made.checks) + 1
    assert len(priced.lines) == defects
    assert f"{defects} defects found" in " ".join(made.summary)
    assert "1 of them nobody spoke of" in " ".join(made.summary)


def test_without_corrections_a_report_is_as_the_record_has_it() -> None:
    plain = report_of(record_of("demo"), pack())
    assert not plain.reviewed and plain.findings_reviewed == 0 and plain.corrections == ()
    assert all(check.review is None and check.understood is None for check in plain.checks)


# --- the command -----------------------------------------------------------------------------------


@pytest.fixture
def visit(pack_folder: Path, tmp_path: Path) -> Path:
    folder = tmp_path / "visit"
    folder.mkdir()
    small = voicenotes.load_pack(pack_folder)
    (folder / "record.json").write_text(record_text(small_record(small)), encoding="utf-8")
    return folder


@pytest.fixture
def pack_folder(pack: Path) -> Path:
    return pack


def kept(visit: Path, *corrections: Correction) -> None:
    for correction in corrections:
        append(visit, correction)


def test_the_command_uses_the_journal_and_says_what_it_cannot_read(visit: Path, pack_folder: Path) -> None:
    small = voicenotes.load_pack(pack_folder)
    record = small_record(small)
    kept(visit, wording(record, "head.noise", "It growls when warm."), settle(record, "head.heat", "no time"))
    made, _ = visit_report(visit, record, small)
    assert made.damaged == () and made.findings_reviewed == 1
    with (visit / "corrections.jsonl").open("a", encoding="utf-8") as journal:
        journal.write("{broken\n")
    done = CliRunner().invoke(app, ["report", str(visit), "--pack", str(pack_folder), "--formats", "md,json"])
    assert done.exit_code == 0
    assert "line 3 of corrections.jsonl" in done.output and "does not count" in done.output
    told = json.loads((visit / "report" / "report.json").read_text(encoding="utf-8"))
    assert len(told["damaged"]) == 1 and told["findings_reviewed"] == 1
    assert "line 3 of corrections" in (visit / "report/report.md").read_text(encoding="utf-8").replace(
        "\\", ""
    )


def test_a_journal_that_cannot_be_read_ends_in_one_line(
    visit: Path, pack_folder: Path, tmp_path: Path
) -> None:
    (visit / "corrections.jsonl").symlink_to(tmp_path / "elsewhere")
    done = CliRunner().invoke(app, ["report", str(visit), "--pack", str(pack_folder)])
    assert done.exit_code == 2
    assert (
        done.output.strip()
        .splitlines()[-1]
        .endswith("is a link, and corrections are kept in no link; remove it")
    )
    assert not (visit / "report").exists()
