"""Which check a spoken value belongs to, and which values are no readings: tables as people talk.

The verdicts follow from the pack's limits; their sources stand there and in test_limits.py.
"""

from __future__ import annotations

from functools import lru_cache

import pytest

import voicenotes
from voicenotes.findings.read import transcript_of_text
from voicenotes.language.lent_units import with_lent_units
from voicenotes.language.quantities import find_quantities
from voicenotes.language.reader import speaks_metric
from voicenotes.language.units import parse_quantity_text, to_si
from voicenotes.model import RecordingEntry
from voicenotes.vocabulary.schema import Pack


@lru_cache
def pack() -> Pack:
    return voicenotes.load_pack("cnc_lathe")


def readings(say: str) -> dict[str, list[tuple[float, str, str]]]:
    """check -> its readings: SI value to six digits, SI unit, verdict."""
    record = voicenotes.read_text(say, pack())
    return {
        c.id: [(float(f"{r.si_value:.6g}"), r.si_unit, r.verdict) for r in c.readings]
        for c in record.checks
        if c.readings
    }


def expected(text: str) -> dict[str, list[tuple[float, str, str]]]:
    found: dict[str, list[tuple[float, str, str]]] = {}
    for part in filter(None, (part.strip() for part in text.split(";"))):
        check, value, unit, verdict = part.split()
        si, si_unit = to_si(*parse_quantity_text(f"{value} {unit}"))
        found.setdefault(check, []).append((float(f"{si:.6g}"), si_unit, verdict))
    return found


BELONGS = [
    # one subject after another, the unit said once
    ("x backlash is two thou, z is three", "axes.backlash_x 2 thou outside; axes.backlash_z 3 thou outside"),
    (
        "backlash in x is four microns and in z six",
        "axes.backlash_x 4 um within; axes.backlash_z 6 um within",
    ),
    (
        "backlash, x two tenths, z three tenths",
        "axes.backlash_x 2 tenths within; axes.backlash_z 3 tenths within",
    ),
    (
        "lost motion is four microns on x and eight on z",
        "axes.backlash_x 4 um within; axes.backlash_z 8 um within",
    ),
    ("backlash in x is nothing, z about a tenth", "axes.backlash_z 1 tenths within"),
    (
        "end play on the spindle is five microns, runout three",
        "spindle.end_play 5 um within; spindle.runout 3 um within",
    ),
    (
        "system pressure is thirty five bar, chuck pressure twenty",
        "hydraulics.pressure 35 bar within; hydraulics.pressure 20 bar within",
    ),
    # the value before its subject, after a pronoun, after a heading, with the subject carried over
    ("two tenths on the nose", "spindle.runout 2 tenths within"),
    ("got the clock on the nose. it reads two tenths", "spindle.runout 2 tenths within"),
    ("checked the spindle runout. it's fifteen microns", "spindle.runout 15 um outside"),
    ("runout at the nose. two tenths", "spindle.runout 2 tenths within"),
    ("The test bar, cut eight inches long, has two tenths of taper.", "test_cut.taper 2 tenths within"),
    ("I jogged X under the indicator, and the lost motion is two tenths.", "axes.backlash_x 2 tenths within"),
    (
        "Spindle nose runout is a full thou. Correction, I was reading the wrong dial; it's one tenth.",
        "spindle.runout 1 tenths within",
    ),
    ("back to station one within two microns", "turret.indexing 2 um within"),
    # several things named: the head of the phrase, the station's one check that measures such a thing
    ("Roundness on the turned diameter is two thou", "test_cut.roundness 2 thou outside"),
    ("the hydraulic gauge reads 45 bar", "hydraulics.pressure 45 bar within"),
    ("vibration on the front bearing 2.1 mm/s", "spindle.vibration 2.1 mm/s within"),
    ("meggered the motor at 500 volts, two hundred megs", "electrical.earthing 200 Mohm within"),
    # circumstances and measuring lengths are no readings
    ("the spindle growls above two thousand rpm", ""),
    ("spindle's quiet up to four thousand", ""),
    ("at 40 bar it leaks at the coupling", ""),
    ("chuck leaks at 40 bar", ""),
    ("after ten minutes the headstock is at 41 degrees", "spindle.temperature 41 degC within"),
    ("headstock at 65 degrees with the shop at twenty", "spindle.temperature 65 degC within"),
    ("taper of the test cut is ten microns over 300 mm", "test_cut.taper 10 um within"),
    ("over 300 mm the taper is one hundredth", "test_cut.taper 0.01 mm within"),
    ("load meter reads twelve percent at two thousand rpm", "spindle.load_meter 12 % within"),
    ("facing cut is one hundredth concave", ""),
    # no bound: noted
    ("The way lube pump builds up to 210 psi and holds it.", "lubrication.pump 210 psi no_limit"),
    ("spindle only reached three thousand rpm", "spindle.top_speed 3000 rpm no_limit"),
    (
        "The spindle is rated for 4,500 and I'm seeing 4,490 rpm on the tach, so it makes its rated speed.",
        "spindle.top_speed 4490 rpm no_limit",
    ),
    ("Surface finish comes in at 28 microinches", "test_cut.finish 28 uin within"),
    ("coolant pH is 9.1", "coolant.concentration 9.1 pH within"),
    ("coolant pH is 7.4", "coolant.concentration 7.4 pH outside"),
    ("refractometer says Brix is four", "coolant.concentration 4 brix within"),
]


@pytest.mark.parametrize(("say", "found"), BELONGS, ids=[row[0] for row in BELONGS])
def test_a_value_belongs_to_its_check(say: str, found: str) -> None:
    assert readings(say) == expected(found)


@pytest.mark.parametrize(
    ("said", "values"),
    [
        ("x is two thou z is three", ["0.002 in", "0.003 in"]),
        ("four sixty , four sixty seven , four fifty volts", ["460 V", "467 V", "450 V"]),
        ("two thou on tool 3", ["0.002 in"]),
        ("two thou at station three", ["0.002 in"]),
        ("two thou and three jaws are worn", ["0.002 in"]),
        ("two thou and 500 of them", ["0.002 in"]),
        ("it is 2 um . 3 of them", ["2 um"]),
    ],
)
def test_a_bare_number_takes_the_unit_of_its_list(said: str, values: list[str]) -> None:
    """Commas and full stops stand apart here, as the breaks they are."""
    norms, breaks, mark = list[str](), list[int](), 0
    for token in said.split():
        if token in ",.":
            mark = 1 if token == "," else 2
            continue
        norms.append(token)
        breaks.append(mark)
        mark = 0
    named = frozenset(i for i, norm in enumerate(norms) if norm in ("x", "z"))
    found = with_lent_units(norms, breaks, find_quantities(norms, None, breaks), named)
    assert [f"{q.value:g} {q.unit}" for q in found] == values


# "Three tenths": 0.0003 in among fitters; 0.3 mm from a speaker who works metric, known from the whole visit.
@pytest.mark.parametrize(
    ("recordings", "value", "unit", "doubtful"),
    [
        (["Runout at the nose is three tenths."], 0.0003, "in", False),
        (["Chuck is 250 mm.", "Runout at the nose is three tenths."], 0.3, "mm", True),
        (["Runout at the nose is three tenths.", "X backlash is four microns."], 0.3, "mm", True),
        (["X backlash is two thou.", "Runout at the nose is three tenths."], 0.0003, "in", False),
    ],
)
def test_whose_tenths_they_are_is_known_from_the_whole_visit(
    recordings: list[str], value: float, unit: str, doubtful: bool
) -> None:
    from voicenotes.findings.read import read_transcripts

    spoken = [(RecordingEntry(file=f"{i}.txt"), transcript_of_text(say)) for i, say in enumerate(recordings)]
    finding = read_transcripts(spoken, pack()).check("spindle.runout")
    (reading,) = finding.readings
    assert (reading.value, reading.unit, reading.doubtful is not None) == (value, unit, doubtful)
    assert ("tenths" in finding.evidence[-1].why.partition("; ")[2]) is doubtful


def test_a_visit_without_units_says_nothing_of_the_speaker() -> None:
    assert (
        speaks_metric([transcript_of_text("way covers are fine"), transcript_of_text("two tenths")]) is None
    )
    assert speaks_metric([transcript_of_text("two"), transcript_of_text("microns")]) is None
