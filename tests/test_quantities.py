"""Spoken quantities, and conversion against published values."""

from __future__ import annotations

import cProfile
import subprocess
import sys
from collections.abc import Sequence

import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from num2words import num2words

from voicenotes.errors import PackError
from voicenotes.language.numbers import lexicon
from voicenotes.language.quantities import (
    convert,
    convert_rise,
    detect_metric,
    find_quantities,
    in_dimension,
    parse_quantity_text,
    rise_to_si,
    to_si,
)
from voicenotes.language.units import SpokenUnit, UnitTable, unit_forms, unit_table

SAID = [
    # length, the American way
    ("two tenths", 0.0002, "in"),
    ("a tenth", 0.0001, "in"),
    ("one tenth", 0.0001, "in"),
    ("two and a half tenths", 0.00025, "in"),
    ("half a tenth", 0.00005, "in"),
    ("a thou", 0.001, "in"),
    ("half a thou", 0.0005, "in"),
    ("half thou", 0.0005, "in"),
    ("half of a thou", 0.0005, "in"),
    ("a half thou", 0.0005, "in"),
    ("a quarter of a thou", 0.00025, "in"),
    ("three quarters of a thou", 0.00075, "in"),
    ("a thou and a half", 0.0015, "in"),
    ("thou and a half", 0.0015, "in"),
    ("a thou and a quarter", 0.00125, "in"),
    ("one and a half thou", 0.0015, "in"),
    ("four and a half thou", 0.0045, "in"),
    ("two thou and a half", 0.0025, "in"),
    ("couple of thou", 0.002, "in"),
    ("a couple thou", 0.002, "in"),
    ("point five of a thou", 0.0005, "in"),
    ("a tenth and a half", 0.00015, "in"),
    ("one thou two tenths", 0.0012, "in"),
    ("a thou and two tenths", 0.0012, "in"),
    ("eight tenths of a thou", 0.0008, "in"),
    ("fifteen thou", 0.015, "in"),
    ("twenty five thou", 0.025, "in"),
    ("minus two thou", -0.002, "in"),
    ("point five thou", 0.0005, "in"),
    ("five thousandths", 0.005, "in"),
    ("ten thousandths", 0.01, "in"),
    ("five ten thousandths", 0.0005, "in"),
    ("one thousandth of an inch", 0.001, "in"),
    ("fifty millionths", 0.00005, "in"),
    ("point oh oh two inches", 0.002, "in"),
    ("nought point oh oh five inch", 0.005, "in"),
    ("three sixteenths of an inch", 0.1875, "in"),
    ("five eighth inch", 0.625, "in"),
    ("seven thirty seconds of an inch", 0.21875, "in"),
    ("an inch and three quarters", 1.75, "in"),
    ("a quarter inch", 0.25, "in"),
    ("half an inch", 0.5, "in"),
    ("half inch", 0.5, "in"),
    ("ten inch", 10, "in"),
    ("ten-inch", 10, "in"),
    ("10-inch", 10, "in"),
    ('10"', 10, "in"),
    ("2in", 2, "in"),
    ("5 1/2 inch", 5.5, "in"),
    ("five foot six inches", 5.5, "ft"),
    ("twelve feet", 12, "ft"),
    # length, metric
    ("three tenths of a millimetre", 0.3, "mm"),
    ("three tenths mm", 0.3, "mm"),
    ("two hundredths of a millimetre", 0.02, "mm"),
    ("fifteen microns", 15, "um"),
    ("a micron", 1, "um"),
    ("one micron", 1, "um"),
    ("twelve micrometers", 12, "um"),
    ("12µm", 12, "um"),
    ("two point five millimetres", 2.5, "mm"),
    ("2.5mm", 2.5, "mm"),
    ("0.02 mm", 0.02, "mm"),
    ("a metre and a half", 1.5, "m"),
    ("thirty centimetres", 30, "cm"),
    # pressure
    ("one twenty psi", 120, "psi"),
    ("sixty p s i", 60, "psi"),
    ("120psi", 120, "psi"),
    ("ninety pounds per square inch", 90, "psi"),
    ("three oh five psi", 305, "psi"),
    ("thirty five bar", 35, "bar"),
    ("one bar", 1, "bar"),
    ("six and a half bar", 6.5, "bar"),
    ("four hundred kilopascals", 400, "kPa"),
    ("three point five megapascals", 3.5, "MPa"),
    ("thirty five kg per square centimetre", 35, "kgf/cm2"),
    ("thirty five kilos per square centimeter", 35, "kgf/cm2"),
    # turning, feeds, vibration
    ("two thousand rpm", 2000, "rpm"),
    ("two thousand r p m", 2000, "rpm"),
    ("twenty two hundred revs", 2200, "rpm"),
    ("4,000rpm", 4000, "rpm"),
    ("fifteen hundred revolutions per minute", 1500, "rpm"),
    ("two point eight millimetres per second", 2.8, "mm/s"),
    ("two point eight mm a second", 2.8, "mm/s"),
    ("point three inches per second", 0.3, "in/s"),
    ("a hundred millimetres per minute", 100, "mm/min"),
    ("twenty four metres per minute", 24, "m/min"),
    ("nine hundred and forty five inches per minute", 945, "in/min"),
    # electrical
    ("four hundred volts", 400, "V"),
    ("four eighty volts", 480, "V"),
    ("three fifty v", 350, "V"),
    ("24v", 24, "V"),
    ("twenty four volts d c", 24, "V"),
    ("thirty millivolts", 30, "mV"),
    ("fifty amps", 50, "A"),
    ("two megohms", 2, "Mohm"),
    ("fifty hertz", 50, "Hz"),
    ("fifteen kilowatts", 15, "kW"),
    ("twenty horsepower", 20, "hp"),
    # heat, ratio, time, volume, weight, the rest
    ("a hundred and forty degrees fahrenheit", 140, "degF"),
    ("sixty degrees c", 60, "degC"),
    ("sixty degrees celsius", 60, "degC"),
    ("sixty centigrade", 60, "degC"),
    ("140°f", 140, "degF"),
    ("minus ten degrees c", -10, "degC"),
    ("seven percent", 7, "%"),
    ("seven per cent", 7, "%"),
    ("7%", 7, "%"),
    ("three hundred parts per million", 300, "ppm"),
    ("fourteen thousand two hundred hours", 14200, "h"),
    ("14,200 hours", 14200, "h"),
    ("a couple of thousand hours", 2000, "h"),
    ("half an hour", 0.5, "h"),
    ("an hour and a half", 1.5, "h"),
    ("two hours and thirty minutes", 2.5, "h"),
    ("ten minutes", 10, "min"),
    ("a minute and a half", 1.5, "min"),
    ("a bar and a half", 1.5, "bar"),
    ("one tenth of one percent", 0.1, "%"),
    ("one second", 1, "s"),
    ("thirty seconds", 30, "s"),
    ("two years", 2, "y"),
    ("six months", 6, "month"),
    ("two hundred litres", 200, "l"),
    ("fifty gallons", 50, "gal"),
    ("five gallons a minute", 5, "gpm"),
    ("four and a half tonnes", 4.5, "t"),
    ("eight kilonewtons", 8, "kN"),
    ("three hundred kilos", 300, "kg"),
    ("nine thousand lbs", 9000, "lb"),
    ("eighty two decibels", 82, "dB"),
    ("four brix", 4, "brix"),
    ("thirty newton metres", 30, "N.m"),
]


@pytest.mark.parametrize(("said", "value", "unit"), SAID, ids=[row[0] for row in SAID])
def test_a_quantity_as_people_say_it(said: str, value: float, unit: str) -> None:
    tokens = said.split()
    (quantity,) = find_quantities(tokens)
    assert (quantity.value, quantity.unit) == (value, unit)
    assert (quantity.start, quantity.end) == (0, len(tokens))
    assert quantity.dimension == unit_table().units[unit].dimension


WITHIN = [
    ("runout at the nose is two tenths so fine", ["two tenths"]),
    ("it is a ten inch chuck at one twenty psi", ["ten inch", "one twenty psi"]),
    ("turret's been hit four thou low", ["four thou"]),
    ("two tenths of runout", ["two tenths"]),
    ("hit it at 2.5mm and 120psi there", ["2.5mm", "120psi"]),
    ("less than half a thou over six inches", ["less than half a thou", "over six inches"]),
    ("only one thou", ["one thou"]),
    ("a twelve-inch chuck", ["twelve-inch"]),
    ("it drops a thou and the jaw is worn", ["a thou"]),
    ("a thou and half the jaws are worn", ["a thou"]),
    ("two thou or three of the jaws", ["two thou"]),
    ("two thou or three microns", ["two thou", "three microns"]),
    ("five microns and a half inch bolt", ["five microns", "a half inch"]),
    ("two tenths on x three tenths on z", ["two tenths", "three tenths"]),
]


@pytest.mark.parametrize(("said", "phrases"), WITHIN, ids=[row[0] for row in WITHIN])
def test_a_quantity_says_where_it_stands(said: str, phrases: list[str]) -> None:
    tokens = said.split()
    assert [" ".join(tokens[q.start : q.end]) for q in find_quantities(tokens)] == phrases


@pytest.mark.parametrize(
    "said",
    [
        "this one is fine",
        "one of the jaws",
        "point taken",
        "half the jaws",
        "half the inch scale is gone",
        "second gear",
        "a second chuck",
        "the second hand dial",
        "a couple of dents",
        "point oh oh two",
        "two foot switches",
        "a foot switch",
        "a bar feeder",
        "two bar feeders",
        "the bar is in",
        "two v belts",
        "nine tenths of the travel",
        "a tenth of a turn",
        "a tenth of the way",
        "two in the chuck",
        "five c collet",
        "5c collet",
        "seven a",
        "p s i",
        "wait a minute",
        "a day or two",
        "inch and a half of chips",
        "18/16/13",
        "inches",
        "thou",
        "no",
        "",
    ],
)
def test_no_quantity_where_none_was_said(said: str) -> None:
    assert find_quantities(said.split()) == []


RANGES = [
    ("ten to fifteen psi", 10, 15, "psi"),
    ("between five and seven microns", 5, 7, "um"),
    ("three or four tenths", 0.0003, 0.0004, "in"),
    ("two to three thousand rpm", 2000, 3000, "rpm"),
    ("ten psi to fifteen psi", 10, 15, "psi"),
    ("between five psi and ten psi", 5, 10, "psi"),
    ("eight tenths to a thou", 0.0008, 0.001, "in"),
    ("a thou to a thou and a half", 0.001, 0.0015, "in"),
    ("10mm to 15mm", 10, 15, "mm"),
    ("plus or minus two thou", -0.002, 0.002, "in"),
    ("±0.02mm", -0.02, 0.02, "mm"),
    ("+/- 2 thou", -0.002, 0.002, "in"),
    ("5 - 10 psi", 5, 10, "psi"),
    ("a thou or two", 0.001, 0.002, "in"),
    ("an inch or two", 1, 2, "in"),
    ("two three thou", 0.002, 0.003, "in"),
    ("about two three thou", 0.002, 0.003, "in"),
]


@pytest.mark.parametrize(("said", "low", "high", "unit"), RANGES, ids=[row[0] for row in RANGES])
def test_a_range_keeps_both_ends(said: str, low: float, high: float, unit: str) -> None:
    (quantity,) = find_quantities(said.split())
    assert (quantity.low, quantity.high, quantity.unit) == (low, high, unit)
    assert (quantity.start, quantity.end) == (0, len(said.split()))


HEDGED = [
    ("about five thou", "~", True),
    ("a thou or so", "~", True),
    ("ten or so microns", "~", True),
    ("about a thou", "~", True),
    ("under three thou", "<", False),
    ("less than a tenth", "<", False),
    ("no more than five microns", "<", False),
    ("two thou at most", "<", False),
    ("over two thousand rpm", ">", False),
    ("five bar or more", ">", False),
    ("five bar", None, False),
]


@pytest.mark.parametrize(("said", "comparator", "approximate"), HEDGED, ids=[row[0] for row in HEDGED])
def test_hedges_stay_with_the_quantity(said: str, comparator: str | None, approximate: bool) -> None:
    (quantity,) = find_quantities(said.split())
    assert (quantity.comparator, quantity.approximate) == (comparator, approximate)
    assert (quantity.start, quantity.end) == (0, len(said.split()))


DOUBTFUL = [
    ("two tenths", None, 0.0002, "in", False),
    ("two tenths", False, 0.0002, "in", False),
    ("two tenths", True, 0.2, "mm", True),
    ("three tenths of a millimetre", True, 0.3, "mm", False),
    ("eight tenths of a thou", True, 0.0008, "in", False),
    ("two thousandths", None, 0.002, "in", False),
    ("two thousandths", True, 0.002, "mm", True),
    ("two hundredths", None, 0.02, "mm", True),
    ("two hundredths", True, 0.02, "mm", False),
    ("two mils", None, 0.002, "in", True),
    ("two mils", True, 2, "mm", True),
    ("two mils", False, 0.002, "in", False),
    ("forty degrees", None, 40, "degC", True),
    ("forty degrees c", None, 40, "degC", False),
    ("ninety pounds", None, 90, "lb", True),
    ("oh oh two inches", None, 0.002, "in", True),
    ("oh oh two millimetres", None, 0.002, "mm", True),
    ("oh five microns", None, 5, "um", True),
    ("oh oh two microns", None, 2, "um", True),
    ("two three thou", None, 0.0025, "in", True),
    ("station seven two microns", None, 2, "um", True),
    ("station seven one micron", None, 1, "um", True),
    ("double four psi", None, 44, "psi", False),
    ("four seven one psi", None, 471, "psi", False),
    ("thirty forty psi", None, 3040, "psi", True),
    ("twelve fifty psi", None, 1250, "psi", False),
    ("oh five thou", None, 0.005, "in", False),
    ("two thou", True, 0.002, "in", False),
]


@pytest.mark.parametrize(("said", "metric", "value", "unit", "doubtful"), DOUBTFUL)
def test_what_had_to_be_assumed_is_said(
    said: str, metric: bool | None, value: float, unit: str, doubtful: bool
) -> None:
    (quantity,) = find_quantities(said.split(), metric)
    assert (quantity.value, quantity.unit, quantity.doubtful is not None) == (value, unit, doubtful)


def test_a_unit_can_be_read_as_another_dimension_where_that_is_wanted() -> None:
    (degrees,) = find_quantities(["forty", "five", "degrees"])
    angle = in_dimension(degrees, "angle")
    assert angle is not None and (angle.value, angle.unit, angle.doubtful) == (45, "deg", None)
    assert in_dimension(degrees, "temperature") == degrees
    assert in_dimension(degrees, "pressure") is None
    (pounds,) = find_quantities(["ninety", "pounds"])
    pressure = in_dimension(pounds, "pressure")
    assert pressure is not None and pressure.unit == "psi"
    (celsius,) = find_quantities(["forty", "degrees", "celsius"])
    assert in_dimension(celsius, "angle") is None


@pytest.mark.parametrize(
    ("said", "metric"),
    [
        ("two microns on the nose and 30 mm travel", True),
        ("four thou low at one twenty psi", False),
        ("two tenths on the nose", None),
        ("thirty five bar and two thousand rpm", None),
        ("a ten inch chuck five microns and three microns", True),
        ("ten inch chuck five microns", None),
        ("", None),
    ],
)
def test_the_speaker_is_metric_by_the_units_he_says(said: str, metric: bool | None) -> None:
    assert detect_metric(said.split()) is metric


# --- conversion ------------------------------------------------------------------------------------------

# NIST SP 811 (2008), appendix B.8, to the digits printed there; exact ones are so by definition.
PUBLISHED = [
    (1, "in", 25.4, "mm", 0),
    (1, "ft", 0.3048, "m", 0),
    (0.001, "in", 25.4, "um", 0),
    (0.0001, "in", 2.54, "um", 0),
    (1, "psi", 6894.757, "Pa", 1e-7),
    (1, "bar", 100, "kPa", 0),
    (1, "kgf/cm2", 98.0665, "kPa", 0),
    (1, "hp", 745.6999, "W", 1e-7),
    (140, "degF", 60, "degC", 0),
    (32, "degF", 273.15, "K", 0),
    (1, "gal", 3.785412, "l", 1e-6),
    (1, "lb", 0.45359237, "kg", 0),
    (1, "lbf", 4.448222, "N", 1e-6),
    (1, "ft.lbf", 1.355818, "N.m", 1e-6),
    (1, "in/s", 25.4, "mm/s", 0),
    (1, "mm2/s", 1e-6, "m2/s", 0),
    (1, "deg", 0.01745329, "rad", 1e-6),
    # worked from these
    (35, "bar", 507.6, "psi", 1e-4),
    (35, "kgf/cm2", 34.32, "bar", 1e-3),
    (6, "bar", 87.02, "psi", 1e-4),
    (180, "degF", 82.2, "degC", 1e-3),
    (3.5, "MPa", 35, "bar", 0),
    (1, "gpm", 3.7854, "l/min", 1e-5),
]


@pytest.mark.parametrize(("value", "unit", "expected", "to", "rel"), PUBLISHED)
def test_published_conversions(value: float, unit: str, expected: float, to: str, rel: float) -> None:
    assert convert(value, unit, to) == pytest.approx(expected, rel=max(rel, 1e-11))


@pytest.mark.parametrize(
    ("value", "unit", "expected"),
    [
        (0.0002, "in", (5.08e-6, "m")),
        (120, "psi", (827370.87518, "Pa")),
        (2000, "rpm", (33.3333333333, "1/s")),
        (400, "V", (400, "V")),
        (140, "degF", (333.15, "K")),
        (7, "%", (0.07, "1")),
        (2.8, "mm/s", (0.0028, "m/s")),
        (14200, "h", (51120000, "s")),
        (82, "dB", (82, "dB")),
        (4, "brix", (4, "brix")),
    ],
)
def test_si_values(value: float, unit: str, expected: tuple[float, str]) -> None:
    assert to_si(value, unit) == expected


def test_a_rise_in_temperature_has_no_offset() -> None:
    assert convert_rise(40, "K", "degF") == 72
    assert convert_rise(72, "degF", "degC") == 40
    assert rise_to_si(72, "degF") == (40, "K")
    assert rise_to_si(2, "in") == (0.0508, "m")


@pytest.mark.parametrize("unit", unit_table().units)
def test_every_units_si_value_agrees_with_pint(unit: str) -> None:
    entry = unit_table().units[unit]
    dimension = unit_table().dimensions[entry.dimension]
    if entry.pint is None or dimension.pint is None:
        assert to_si(3.7, unit) == (3.7, dimension.si)
        return
    expected = REGISTRY.Quantity(3.7, entry.pint).to(dimension.pint).magnitude
    value, si = to_si(3.7, unit)
    assert si == dimension.si
    assert value == pytest.approx(expected, rel=1e-11)
    assert convert(convert(3.7, unit, dimension.si), dimension.si, unit) == pytest.approx(3.7, rel=1e-9)


REGISTRY: pint.UnitRegistry[float] = pint.UnitRegistry()
SMALL_LENGTHS = {  # one of what is said is so many of pint's
    "thou": (1, "thou"),
    "tenth": (0.1, "thou"),
    "mil": (1, "thou"),
    "ten thousandth": (1e-4, "inch"),
    "thousandth": (1e-3, "inch"),
    "hundredth": (1e-2, "millimeter"),
    "millionth": (1, "microinch"),
}
# In pint an angle, an angle times a unit, 2000 lb, a pull between masses, mass where force is meant, a
# logarithm; the temperatures are in PUBLISHED.
OTHERWISE_IN_PINT = {
    *("mil", "degree", "degree celsius", "degree fahrenheit", "ton", "gravity"),
    *("kilogram per square centimetre", "foot pound", "decibel"),
}


@pytest.mark.parametrize("name", SMALL_LENGTHS)
def test_every_small_length_has_its_size(name: str) -> None:
    count, pint_name = SMALL_LENGTHS[name]
    (spoken,) = (each for each in unit_table().spoken if each.name == name)
    expected = REGISTRY.Quantity(count, pint_name).to(unit_table().units[spoken.unit].pint).magnitude
    assert float(spoken.scale) == pytest.approx(expected, rel=1e-9)


def test_only_small_lengths_are_scaled() -> None:
    assert {each.name for each in unit_table().spoken if each.scale != 1} == set(SMALL_LENGTHS)


def test_said_units_mean_what_pint_means_by_their_names() -> None:
    agreeing = 0
    for spoken in unit_table().spoken:
        if spoken.name in OTHERWISE_IN_PINT or spoken.name not in REGISTRY:
            continue
        meant = REGISTRY.Quantity(float(spoken.scale), unit_table().units[spoken.unit].pint)
        assert meant.to(spoken.name).magnitude == pytest.approx(1), spoken.name
        agreeing += 1
    assert agreeing > 35


@pytest.mark.parametrize("spoken", unit_table().spoken, ids=lambda spoken: spoken.name)
def test_every_form_of_every_unit_is_found_after_a_number(spoken: SpokenUnit) -> None:
    count, said = (12, "twelve") if not spoken.usual_from or spoken.usual_from <= 12 else (63, "63")
    for form in spoken.say:
        (quantity,) = find_quantities([said, *form.split()])
        assert (quantity.unit, quantity.said_unit) == (spoken.unit, form)
        assert quantity.value == pytest.approx(count * float(spoken.scale))
    for form in spoken.write:
        (quantity,) = find_quantities([f"12{form}"])
        assert (quantity.value, quantity.unit) == (12 * float(spoken.scale), spoken.unit)
        assert find_quantities(["twelve", form]) == []


WRITTEN = [
    ("0.0002 in", 0.0002, "in"),
    ("2 thou", 0.002, "in"),
    ("2 tenths", 0.0002, "in"),
    ('10"', 10, "in"),
    ("2.5mm", 2.5, "mm"),
    ("15 µm", 15, "um"),
    ("7,200 h", 7200, "h"),
    ("5 %", 5, "%"),
    ("120 PSI", 120, "psi"),
    ("-10 °C", -10, "degC"),
    ("1e-3 m", 0.001, "m"),
    ("3.5 MPa", 3.5, "MPa"),
    ("400 v", 400, "V"),
    (".5 mm/s", 0.5, "mm/s"),
]


@pytest.mark.parametrize(("text", "value", "unit"), WRITTEN, ids=[row[0] for row in WRITTEN])
def test_a_written_quantity(text: str, value: float, unit: str) -> None:
    assert parse_quantity_text(text) == (value, unit)


@pytest.mark.parametrize("text", ["", "two thou", "0.0002", "5 cubits", "in", "5 5"])
def test_a_written_quantity_that_is_none_says_so(text: str) -> None:
    with pytest.raises(PackError, match=r"unit|quantity"):
        parse_quantity_text(text)


def test_converting_what_can_not_be_converted_says_so() -> None:
    with pytest.raises(PackError, match="length"):
        convert(1, "in", "psi")
    with pytest.raises(PackError, match="cubit"):
        to_si(1, "cubit")


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"units": {"in": {"dimension": "width", "pint": "inch"}}}, "width"),
        ({"spoken": [{"name": "inch", "unit": "in", "say": ["inch"]}] * 2}, "said for both"),
        ({"spoken": [{"name": "mile", "unit": "mi", "say": ["mile"]}]}, "unknown unit"),
        ({"spoken": [{"name": "inch", "unit": "in", "say": ["inch"], "then": {"line": 12}}]}, "line"),
        ({"spoken": [{"name": "inch", "unit": "in", "say": []}]}, "say"),
        ({"spoken": [{"name": "inch", "unit": "in", "say": ["inch"], "colour": "red"}]}, "colour"),
    ],
)
def test_a_malformed_unit_file_is_refused(change: dict[str, object], message: str) -> None:
    good: dict[str, object] = {
        "dimensions": {"length": {"si": "m", "pint": "meter"}},
        "units": {"in": {"dimension": "length", "pint": "inch"}},
        "spoken": [{"name": "inch", "unit": "in", "say": ["inch"]}],
    }
    UnitTable.model_validate(good)
    with pytest.raises(ValueError, match=message):
        UnitTable.model_validate({**good, **change})


# --- as a whole ------------------------------------------------------------------------------------------


@given(
    st.integers(2, 999_999), st.sampled_from(["microns", "psi", "bar", "rpm", "volts", "hours", "percent"])
)
def test_any_whole_number_of_any_unit_reads_back(n: int, unit: str) -> None:
    said = num2words(n).replace(",", "").replace("-", " ").split()
    (quantity,) = find_quantities(["at", *said, unit, "or", "nothing"])
    assert (quantity.value, quantity.said_unit) == (n, unit)
    assert (quantity.start, quantity.end) == (1, len(said) + 2)


def vocabulary() -> list[str]:
    lex = lexicon()
    phrases = [
        *lex.before_first,
        *lex.before_last,
        *lex.after_first,
        "to",
        "between",
        "2.5mm",
        "1/0in",
        "ten-inch",
    ]
    return sorted(
        {*lex.starters, *phrases, *unit_forms(), "and", "of", "minus", "jaw", "0.5", "±", "±2mm", "-"}
    )


@settings(max_examples=400)
@given(
    st.lists(st.sampled_from(vocabulary()) | st.text(max_size=5), max_size=14),
    st.sampled_from([None, True, False]),
)
def test_no_words_break_it_and_no_two_quantities_overlap(tokens: list[str], metric: bool | None) -> None:
    end = 0
    for quantity in find_quantities(tokens, metric):
        assert end <= quantity.start < quantity.end <= len(tokens)
        assert quantity.unit in unit_table().units
        to_si(quantity.value, quantity.unit)
        end = quantity.end
    detect_metric(tokens)


def test_finding_quantities_imports_no_pint() -> None:
    code = (
        "import sys; from voicenotes.language.quantities import find_quantities as f; "
        "assert f('two thou at one twenty psi'.split()); assert 'pint' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True, timeout=60)


def calls_of(said: Sequence[str]) -> int:
    """How many Python and C calls looking for quantities takes."""
    profile = cProfile.Profile()
    profile.runcall(find_quantities, said)
    return sum(entry.callcount for entry in profile.getstats())


def test_plain_talk_is_passed_over_with_little_work() -> None:
    said = "way covers are dented but the wipers are fine and it growls above two thousand rpm"
    talk = said.split()
    assert len(find_quantities(talk * 2000)) == 2000
    few, many = calls_of(talk * 20), calls_of(talk * 200)
    assert many <= 11 * few  # ten times as many words: about ten times the work
    plain = [word for word in talk if word not in ("two", "thousand", "rpm")]
    assert calls_of(plain * 20) <= few / 2
