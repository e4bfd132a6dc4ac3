"""Numbers and units as recognisers write them, through the words that the reader works on."""

from __future__ import annotations

import pytest

from voicenotes.findings.read import transcript_of_text
from voicenotes.language.quantities import Quantity, find_quantities
from voicenotes.language.words import words_of


def quantities(text: str) -> list[Quantity]:
    words = words_of(transcript_of_text(text))
    return find_quantities(words.norms, None, words.breaks)


WRITTEN = [
    ("7%", 7, "%"),
    ("7.5 %", 7.5, "%"),
    ("60°C", 60, "degC"),
    ("60 °C", 60, "degC"),
    ("60C", 60, "degC"),
    ("60 C", 60, "degC"),
    ("140°F", 140, "degF"),
    ("140 F", 140, "degF"),
    ('10"', 10, "in"),
    ('0.002"', 0.002, "in"),
    ("0.0002 in.", 0.0002, "in"),
    ("0.002in", 0.002, "in"),
    ("2½ inches", 2.5, "in"),
    ("2-1/2 inches", 2.5, "in"),
    ("±0.02 mm", 0.02, "mm"),
    (".02 mm", 0.02, "mm"),
    ("1.5µm", 1.5, "um"),
    ("2.8 mm/s", 2.8, "mm/s"),
    ("2.8mm/s", 2.8, "mm/s"),
    ("15 l/min", 15, "l/min"),
    ("30 m/min", 30, "m/min"),
    ("35 kg/cm2", 35, "kgf/cm2"),
    ("500 p.s.i.", 500, "psi"),
    ("4500 r.p.m.", 4500, "rpm"),
    ("2k rpm", 2000, "rpm"),
    ("2.5k rpm", 2500, "rpm"),
    ("30k hours", 30000, "h"),
    ("2 MΩ", 2, "Mohm"),
    ("80 mΩ", 80, "mohm"),
    ("0.3Ω", 0.3, "ohm"),
    ("24VDC", 24, "V"),
    ("64 A", 64, "A"),
    ("8.5 t", 8.5, "t"),
    ("5 thousands", 0.005, "in"),
    ("2 10ths", 0.0002, "in"),
    # digits that a recogniser cut in two
    ("4 00 volts", 400, "V"),
    ("4 80 volts", 480, "V"),
    ("1 20 psi", 120, "psi"),
    ("4 000 rpm", 4000, "rpm"),
    ("12 500 hours", 12500, "h"),
    ("15 hundred rpm", 1500, "rpm"),
    ("0 .02 mm", 0.02, "mm"),
    ("0 02 mm", 0.02, "mm"),
]


@pytest.mark.parametrize(("text", "value", "unit"), WRITTEN, ids=[row[0] for row in WRITTEN])
def test_a_quantity_as_a_recogniser_writes_it(text: str, value: float, unit: str) -> None:
    (found,) = quantities(text)
    assert (found.unit, found.value) == (unit, pytest.approx(value))


@pytest.mark.parametrize(
    ("text", "low", "high", "unit"),
    [
        ("25-30 psi", 25, 30, "psi"),
        ("25\u201330 psi", 25, 30, "psi"),
        ("25 - 30 psi", 25, 30, "psi"),
        ("2-3 tenths", 0.0002, 0.0003, "in"),
        ("1,000-1,200 rpm", 1000, 1200, "rpm"),
    ],
)
def test_a_written_range(text: str, low: float, high: float, unit: str) -> None:
    (found,) = quantities(text)
    assert (found.low, found.high, found.unit) == (low, high, unit)


@pytest.mark.parametrize(
    "text",
    [
        "16C collet",
        "5C collets",
        "A2-6",
        "B70-4",
        "18/16/13",
        "station 4",
        "RW-38",
        "two axes",
        "3 C axis clamps",
    ],
)
def test_no_quantity_is_made_of_names(text: str) -> None:
    assert quantities(text) == []


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ("At station seven, two microns.", [2]),
        ("Tool 4. 120 psi.", [120]),
        ("station 4 120 psi", [120]),
        ("two thousand, three hundred hours", [2300]),
        ("nine psi. Two bar.", [9, 2]),
    ],
)
def test_a_pause_between_two_numbers_parts_them(text: str, values: list[float]) -> None:
    found = quantities(text)
    assert [q.value for q in found] == values
    assert all(q.doubtful is None for q in found)


def test_marks_and_places_of_a_written_unit_are_kept() -> None:
    words = words_of(transcript_of_text("Coolant is 7%, fine. Door's at 60°C."))
    assert "percent" in words.norms and "celsius" in words.norms
    at = words.norms.index("percent")
    assert words.text[words.starts[at] : words.ends[at]] == "%"
    assert words.breaks[at + 1] == 1
    assert words.quote(0, at + 1) == "Coolant is 7%,"
