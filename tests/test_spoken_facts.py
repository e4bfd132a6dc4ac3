"""Facts as they are read off plates and screens; the spelling alphabet against the ICAO's.

Outside source: ITU Radio Regulations, appendix 14 (the ICAO spelling alphabet). The machines are invented.
"""

from __future__ import annotations

import re
from functools import lru_cache

import pytest

import voicenotes
from voicenotes.language.spelled_codes import code_at
from voicenotes.vocabulary.schema import Pack

ICAO = re.findall(
    r"\S+",
    """Alfa Bravo Charlie Delta Echo Foxtrot Golf Hotel India Juliett Kilo Lima Mike November Oscar Papa
    Quebec Romeo Sierra Tango Uniform Victor Whiskey X-ray Yankee Zulu""",
)


@lru_cache
def pack() -> Pack:
    return voicenotes.load_pack("cnc_lathe")


def facts(say: str) -> str:
    found = voicenotes.read_text(say, pack()).facts
    known = {name: fact.value for name, fact in found.items() if fact.value is not None}
    return " ".join(f"{k}={v:g}" if isinstance(v, float) else f"{k}={v}" for k, v in sorted(known.items()))


@pytest.mark.parametrize("word", ICAO)
def test_every_word_of_the_icao_alphabet_is_its_letter(word: str) -> None:
    assert facts(f"Serial number {word} seven two.") == f"serial={word[0]}72"
    assert facts(f"serial number {word.lower().replace('-', ' ')} seven two") == f"serial={word[0]}72"


CODES = [
    ("four seven alpha dash two", "47A-2"),
    ("double seven zero nine lima", "7709L"),
    ("triple four oh one", "44401"),
    ("eleven forty two slash b", "1142/B"),
    ("nineteen oh seven double three", "190733"),
    ("m as in mike t as in tango zero three one nine eight", "MT03198"),
    ("four four nine charlie hotel dash zero one", "449CH-01"),
    ("four seven no four eight", "48"),
    ("four seven alpha sorry bravo", "47B"),
    ("four seven seven one bravo no make that delta", "4771D"),
    ("5510k", "5510K"),
    ("b70 - 4", "B70-4"),
    ("four", None),
    ("alpha bravo", None),
    ("worn off", None),
]


@pytest.mark.parametrize(("said", "code"), CODES, ids=[row[0] for row in CODES])
def test_a_code_as_it_is_spelled(said: str, code: str | None) -> None:
    norms = said.split()
    found = code_at(norms, [0] * len(norms), 0, len(norms))
    assert (found and found[0]) == code


FACTS = [
    ("Serial number: B70-4", "serial=B70-4"),
    ("serial no. 12345", "serial=12345"),
    ("Serial number, slowly now: four, four, nine, Charlie, Hotel, dash, zero, one.", "serial=449CH-01"),
    ("Serial number is four four seven one Bravo. Correction, four four seven seven Bravo.", "serial=4477B"),
    ("power-on hours are 13,000. Let me correct that, they're 30,000", "hours=30000"),
    (
        "maker hollowbrook model h b seven serial five five two three",
        "maker=hollowbrook model=HB7 serial=5523",
    ),
    ("builder is Hollowbrook Machine Tools", "maker=Hollowbrook Machine Tools"),
    ("model is RW-38", "model=RW-38"),
    ("model R W thirty eight", "model=RW38"),
    ("controller is a Hallam ten", "control=Hallam 10"),
    ("the model year is 2012", "year=2012"),
    ("dated March 2014", "year=2014"),
    ("power on hours are fourteen thousand two hundred and six", "hours=14206"),
    ("cutting time 9,215 hours, power on time 40,880 hours", "cutting_hours=9215 hours=40880"),
    ("spindle nose is an A2-6", "spindle_nose=A2-6"),
    ("spindle bore is sixty one millimetres", "spindle_bore=61"),
    ("top speed is 4,500", "top_speed=4500"),
    ("ten inch three jaw chuck", "chuck_jaws=3 chuck_size=10"),
    ("it's a 10\" chuck", "chuck_size=10"),
    ("twelve station turret with a B M T five five interface", "turret_interface=BMT55 turret_stations=12"),
    ("v d i four oh", "turret_interface=VDI40"),
    ("plated for 400 volts 50 hertz", "supply_voltage=400"),
    ("supply is four hundred volts three phase", "supply_voltage=400"),
    ("machine weight per the plate is 11,500 pounds", "weight=11500"),
    ("weighs four and a half tonnes", "weight=4.5"),
    # words that lead to a fact and give none
    ("control is dead", ""),
    ("control is a bit slow", ""),
    ("the maker is unknown", ""),
    ("made by hand", ""),
    ("model is hard to read", ""),
    ("fitted with a new belt", ""),
    ("it runs a bit rough", ""),
    ("the serial number is worn off", ""),
    ("serial number matches the paperwork", ""),
    ("hours unknown", ""),
    ("after ten minutes of running", ""),
    ("ran it for two hours", ""),
    ("station twelve hangs", ""),
    ("supply voltage measures 385 volts", ""),
]


@pytest.mark.parametrize(("say", "found"), FACTS, ids=[row[0] for row in FACTS])
def test_facts_as_they_are_said(say: str, found: str) -> None:
    assert sorted(re.split(r" (?=\w+=)", facts(say))) == sorted(re.split(r" (?=\w+=)", found))


@pytest.mark.parametrize(
    ("say", "outcome"),
    [
        ("Serial number 40718.", "not_mentioned"),
        ("Serial number 40718, built 2008.", "not_mentioned"),
        ("Made by Hollowbrook. Serial number 40718. Built in 2008.", "ok"),
    ],
)
def test_a_nameplate_is_read_off_when_three_of_its_four_values_are_known(say: str, outcome: str) -> None:
    assert voicenotes.read_text(say, pack()).check("identity.nameplate").outcome == outcome
