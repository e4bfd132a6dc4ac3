"""The gap list on paper, read back with pypdf: pages, paper, boxes, and every word that must stand there."""

from __future__ import annotations

import io
import math
from functools import lru_cache

import pypdf
import pytest

from voicenotes import load_pack
from voicenotes.findings.gap_list import gap_list
from voicenotes.findings.gap_values import GapList
from voicenotes.findings.read import read_text
from voicenotes.findings.time_left import with_plan
from voicenotes.model import Record
from voicenotes.outputs.gap_page import SIZES_PT, gap_page
from voicenotes.vocabulary.schema import Pack

STORY = 'not tested: "I could not get to that one, because the guard is bolted on and I had no key."'
MARGIN_PT = 30


@lru_cache
def pack() -> Pack:
    return load_pack("cnc_lathe")


@lru_cache
def record_with(gaps: int, apart: bool = False) -> Record:
    """A record with so many gaps, every third with a story; `apart`: none behind a question."""
    record = read_text("Maker is Lantern. Serial number four zero six one seven.", pack())
    some = [gap for gap in record.gaps if not apart or record.check(gap.id).applies]
    taken = [some[math.floor(place * len(some) / gaps)] for place in range(gaps)]
    told = [gap.model_copy(update={"why": STORY}) if n % 3 == 0 else gap for n, gap in enumerate(taken)]
    return record.model_copy(update={"gaps": tuple(told)})


def page(gaps: GapList, record: Record, paper: str = "a4") -> pypdf.PdfReader:
    return pypdf.PdfReader(io.BytesIO(gap_page(gaps, pack(), record, "unit 7", paper)))


def words(reader: pypdf.PdfReader) -> str:
    return " ".join(" ".join(one.extract_text() for one in reader.pages).split())


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize(("gaps", "apart"), [(1, True), (30, False), (60, False), (60, True)])
def test_up_to_sixty_gaps_fit_on_one_page(gaps: int, apart: bool, paper: str) -> None:
    record = record_with(gaps, apart)
    found = gap_list(record, pack())
    assert found.open.checks + found.behind_questions.checks == gaps
    assert len(page(found, record, paper).pages) == 1


def test_more_go_on_to_further_pages_with_numbers() -> None:
    record = record_with(len(pack().checks))
    reader = page(gap_list(record, pack()), record)
    assert len(reader.pages) == 2
    for number, one in enumerate(reader.pages, 1):
        assert f"page {number} of 2" in one.extract_text()
    assert "unit 7, continued" in reader.pages[1].extract_text()


@pytest.mark.parametrize("gaps", [1, 30, 60, 122])
def test_every_gap_stands_there_with_reason_minutes_and_the_cautions_of_its_station(gaps: int) -> None:
    record = record_with(gaps)
    found = gap_list(record, pack())
    text = words(page(found, record))
    for question in found.questions:
        assert f"{question.title} fitted?" in text
    for gap in found.checks:
        assert gap.title in text
    assert text.count("because the guard is bolted on and I") == math.ceil(gaps / 3)
    stations = {gap.station for gap in found.checks}
    for station in pack().head.stations:
        for caution in station.cautions:
            assert (caution in text) == (station.id in stations), caution
    assert found.summary in text
    assert "Serial number 40617" in text and "unit 7" in text


def boxes(reader: pypdf.PdfReader) -> int:
    """How many boxes with round corners are drawn: four curves each."""
    curves = 0
    for one in reader.pages:
        content = one.get_contents()
        assert content is not None
        curves += sum(operator == b"c" for _, operator in content.operations)
    return curves // 4


@pytest.mark.parametrize("gaps", [1, 30, 122])
def test_there_is_a_box_for_every_check_and_two_for_every_question(gaps: int) -> None:
    record = record_with(gaps)
    found = gap_list(record, pack())
    in_the_legend = 1
    assert boxes(page(found, record)) == len(found.checks) + 2 * len(found.questions) + in_the_legend


def test_nothing_runs_over_the_edge_and_no_letter_is_too_small() -> None:
    record = record_with(60)
    (only,) = page(gap_list(record, pack()), record, "letter").pages
    places: list[tuple[float, float]] = []

    def note(text: str, cm: list[float], tm: list[float], _font: object, size: float) -> None:
        if text.strip():
            places.append((tm[4] * cm[0] + cm[4], size * abs(tm[0] * cm[0])))

    only.extract_text(visitor_text=note)
    assert len(places) > 60
    assert min(size for _, size in places) >= 6.5 - 0.01
    assert min(x for x, _ in places) >= MARGIN_PT
    assert max(x for x, _ in places) <= 612 - MARGIN_PT
    assert min(SIZES_PT) >= 7


def test_a_plan_says_what_it_leaves_out() -> None:
    record = record_with(122)
    found = with_plan(gap_list(record, pack()), pack(), 45)
    assert found.plan
    reader = page(found, record)
    text = words(reader)
    assert "Most worth doing in 45 min" in text
    titles = {check.id: check.title for check in pack().checks}
    titles |= {fitting.id: f"{fitting.title} fitted?" for fitting in pack().head.fittings}
    assert [one.id for one in found.plan.left_out if titles[one.id] not in text] == []
    assert len(reader.pages) == 1


def test_with_nothing_open_it_says_that_he_can_leave() -> None:
    record = record_with(1).model_copy(update={"gaps": ()})
    text = words(page(gap_list(record, pack()), record))
    assert "Nothing is open." in text
    assert "You can leave: everything that must be settled before leaving is settled." in text


@pytest.mark.parametrize("quote", ['#panic("no") [x] $y$', "*bold* _it_ \\ `code` @ref <label> // none"])
def test_what_was_said_is_never_markup(quote: str) -> None:
    record = record_with(3)
    told = record.gaps[0].model_copy(update={"why": f'unsure: "{quote}"'})
    record = record.model_copy(update={"gaps": (told, *record.gaps[1:])})
    assert quote in words(page(gap_list(record, pack()), record))


def test_the_same_list_gives_the_same_bytes() -> None:
    record = record_with(30)
    made = {gap_page(gap_list(record, pack()), pack(), record, "unit 7") for _ in range(2)}
    assert len(made) == 1
