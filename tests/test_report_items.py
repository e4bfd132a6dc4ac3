"""Every finding, gap, reading and piece of hearsay of a record is in every format of its report.

The items are taken from the record itself, not from the report: a check that the report forgot would be
missed here. The visits are the demonstration visit, as its texts, and visits put together from the evaluation
sets that may be looked at.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path

import jsonschema
import pytest
from report_texts import FORMATS, squeezed, text_of

import voicenotes
from voicenotes.findings.read import read_texts
from voicenotes.model import Record
from voicenotes.outputs.report_values import Report
from voicenotes.outputs.schemas import schema_of
from voicenotes.outputs.wording import length, number
from voicenotes.report.build import report_of
from voicenotes.report.costs import estimate
from voicenotes.report.words import clean
from voicenotes.report.write import rendered
from voicenotes.vocabulary.costs import read_costs
from voicenotes.vocabulary.lint import checked_file
from voicenotes.vocabulary.schema import Pack

ROOT = Path(__file__).parent.parent
SETS = ("american_engineer", "british_fitter", "four_voices", "hard_language", "two_speakers")
VISITS = ("demo", *SETS)


@lru_cache
def pack() -> Pack:
    return voicenotes.load_pack("cnc_lathe")


@lru_cache
def record_of(visit: str) -> Record:
    """The demo's texts, or every fourth sentence of a set as one visit of four recordings."""
    if visit == "demo":
        files = sorted((ROOT / "demo_recordings/texts").glob("*.txt"))
        return read_texts([path.read_text(encoding="utf-8") for path in files], pack())
    entries = checked_file(ROOT / f"tests/evaluation/{visit}.yaml", pack())
    said = [text for _, entry in entries[::4] for text in entry.texts]
    return read_texts([" ".join(said[part::4]) for part in range(4)], pack())


@lru_cache
def report(visit: str) -> Report:
    return report_of(record_of(visit), pack())


@lru_cache
def shown(visit: str, format_: str) -> str:
    return text_of(format_, rendered(report(visit), format_))


def findings(record: Record) -> Iterator[str]:
    for finding in record.checks:
        if finding.outcome != "not_mentioned":
            yield finding.title
            yield from (evidence.quote for evidence in finding.evidence)


def gaps(record: Record) -> Iterator[str]:
    for gap in record.gaps:
        yield record.check(gap.id).title
        yield gap.why.partition(': "')[0]
        yield from (evidence.quote for evidence in record.check(gap.id).evidence)


def readings(record: Record) -> Iterator[str]:
    for finding in record.checks:
        for reading in finding.readings:
            yield reading.quantity
            yield number(reading.value)
            yield from (text for text in (reading.limit, reading.source, reading.doubtful) if text)


def hearsay(record: Record) -> Iterator[str]:
    things = [*record.checks, *record.facts.values(), *record.fittings.values()]
    for thing in things:
        yield from (evidence.quote for evidence in thing.evidence if evidence.basis == "told")


def facts(record: Record) -> Iterator[str]:
    for fact in record.facts.values():
        if fact.value is not None:
            yield str(fact.value) if isinstance(fact.value, (str, int)) else number(fact.value)
    for fitting in record.fittings.values():
        yield from (evidence.quote for evidence in fitting.evidence)


ITEMS = {"findings": findings, "gaps": gaps, "readings": readings, "hearsay": hearsay, "facts": facts}


@pytest.mark.parametrize("format_", FORMATS)
@pytest.mark.parametrize("visit", VISITS)
def test_every_item_of_the_record_is_in_the_format(visit: str, format_: str) -> None:
    text = shown(visit, format_)
    for kind, items in ITEMS.items():
        missing = [item for item in items(record_of(visit)) if squeezed(clean(item)) not in text]
        assert missing == [], f"{kind} missing in {format_} of {visit}"


def test_the_visits_hold_many_items_of_every_kind() -> None:
    counts = {kind: sum(len(list(of(record_of(v)))) for v in VISITS) for kind, of in ITEMS.items()}
    assert counts["findings"] > 400 and counts["gaps"] > 400
    assert counts["readings"] > 100 and counts["hearsay"] >= 10 and counts["facts"] > 20


@pytest.mark.parametrize("format_", FORMATS)
def test_the_comparison_would_see_a_missing_finding(format_: str) -> None:
    record = record_of("demo")
    quote = record.check("hydraulics.leaks").evidence[0].quote
    kept = tuple(c for c in record.checks if c.id != "hydraulics.leaks")
    less = report_of(record.model_copy(update={"checks": kept}), pack())
    assert squeezed(clean(quote)) in shown("demo", format_)
    assert squeezed(clean(quote)) not in text_of(format_, rendered(less, format_))


@pytest.mark.parametrize("format_", ["html", "pdf", "xlsx", "csv", "md"])
def test_each_quote_of_a_defect_says_where_it_can_be_heard(format_: str) -> None:
    for finding in record_of("demo").checks:
        for evidence in finding.evidence if finding.outcome == "defect" else ():
            place = squeezed(f"{evidence.recording} at {length(evidence.start)}")
            assert place in shown("demo", format_)


@pytest.mark.parametrize("visit", VISITS)
def test_each_check_is_in_the_group_that_the_record_gives_it(visit: str) -> None:
    record = record_of(visit)
    open_ = {gap.id for gap in record.gaps}
    for check in report(visit).checks:
        finding = record.check(check.id)
        if check.id in open_:
            assert check.group == "open"
        elif finding.applies is False or finding.outcome == "not_fitted":
            assert check.group == "not_fitted"
        else:
            assert check.group == finding.outcome
    assert [check.id for check in report(visit).checks] == [check.id for check in record.checks]


@pytest.mark.parametrize("visit", VISITS)
def test_the_drawing_has_each_check_once_and_its_sums_are_right(visit: str) -> None:
    made = report(visit)
    drawn = [mark.check for station in made.stations for mark in station.marks]
    assert drawn == [check.id for check in made.checks]
    assert sum(station.defects for station in made.stations) == sum(c.group == "defect" for c in made.checks)
    assert sum(station.open for station in made.stations) == len(record_of(visit).gaps)
    for station in made.stations:
        assert station.settled + station.open == station.applying
        assert station.applying + station.not_fitted == len(station.marks)


def test_a_report_is_made_of_nothing_but_its_input() -> None:
    again = report_of(record_of("demo"), pack())
    assert again == report("demo")
    for format_ in FORMATS:
        assert rendered(again, format_) == rendered(report("demo"), format_), format_


@pytest.mark.parametrize("visit", VISITS)
def test_the_json_keeps_to_its_published_schema(visit: str) -> None:
    table = read_costs(ROOT / "demo_recordings/costs.yaml", pack())
    priced = report_of(record_of(visit), pack(), cost=estimate(table, report(visit).checks, pack()))
    text = rendered(priced, "json")
    jsonschema.Draft202012Validator(schema_of("report")).validate(json.loads(text))
    assert Report.model_validate_json(text) == priced


@pytest.mark.parametrize("format_", FORMATS)
def test_what_nobody_reviewed_is_marked(format_: str) -> None:
    text = shown("demo", format_)
    assert squeezed("Nobody has reviewed the findings yet") in text
    if format_ != "json":
        found = sum(check.group in ("defect", "ok") for check in report("demo").checks)
        assert text.count(squeezed("not reviewed")) >= found


@pytest.mark.parametrize("format_", FORMATS)
def test_the_report_says_what_it_is_not(format_: str) -> None:
    text = shown("demo", format_)
    for words in (
        "not a certification",
        "not a permit to run the machine",
        "local codes",
        "licensed or qualified people",
        "What was not mentioned was not checked, and has not been passed.",
        *pack().head.cautions,
    ):
        assert squeezed(words) in text, words


def test_the_summary_counts_what_the_record_counts() -> None:
    record, said = record_of("demo"), " ".join(report("demo").summary)
    defects = [f for f in record.checks if f.outcome == "defect" and f.id not in {g.id for g in record.gaps}]
    assert f"{len(defects)} defects found" in said
    assert f"NOT settled: {len(record.gaps)} of" in said
    assert "Critical, before anything else: spindle bearing noise and door interlock." in said
