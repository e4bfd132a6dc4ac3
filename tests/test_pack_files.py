"""Packs that are broken in one place, and the shipped pack against the list that it must keep."""

from __future__ import annotations

import csv
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import pytest
from pydantic import TypeAdapter, ValidationError

import voicenotes
from voicenotes.errors import PackError
from voicenotes.findings.score_values import Score
from voicenotes.model import Record, Transcript
from voicenotes.outputs.schemas import SCHEMAS, schema_of
from voicenotes.vocabulary.homes import pack_folder
from voicenotes.vocabulary.labels import LabelledSentence, VisitLabel
from voicenotes.vocabulary.lint import checked_sentences
from voicenotes.vocabulary.load import load_pack
from voicenotes.vocabulary.schema import Aspect, Check, Cue, Fact, Pack, PackHead, Part
from voicenotes.vocabulary.yaml_files import read_yaml

LIST = Path(__file__).parent / "data" / "checks_cnc_lathe.csv"
FITTINGS = [
    "work_light",
    "gearbox",
    "live_tools",
    "c_axis",
    "y_axis",
    "sub_spindle",
    "tailstock",
    "tool_setter",
    "parts_catcher",
    "bar_feeder",
    "steady_rest",
    "chip_conveyor",
    "compressed_air",
]
FACTS = [
    "maker",
    "model",
    "serial",
    "year",
    "hours",
    "cutting_hours",
    "control",
    "spindle_nose",
    "spindle_bore",
    "top_speed",
    "chuck_size",
    "chuck_jaws",
    "turret_stations",
    "turret_interface",
    "supply_voltage",
    "weight",
]

A_CHECK = """
- id: axes.extra
  title: Extra
  judged: something more
  severity: minor
  minutes: 1
  must_before_leaving: false
  terms: [extra thing]
"""


@lru_cache
def shipped() -> Pack:
    return load_pack("cnc_lathe")


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    """A copy of the shipped pack, to break."""
    return Path(shutil.copytree(pack_folder("cnc_lathe"), tmp_path / "broken"))


@dataclass(frozen=True)
class Break:
    """One fault: `add` is put at the end of `file`; the message must name the file and hold `says`.

    `at` is the line of the added text (from 1) that the message must name; None where it names no line.
    """

    file: str
    add: str
    says: str
    at: int | None

    def apply(self, folder: Path) -> int | None:
        """Do it; returns the line of the file that is wrong."""
        path = folder / self.file
        before = path.read_text(encoding="utf-8")
        path.write_text(before + self.add.lstrip("\n"), encoding="utf-8")
        return None if self.at is None else before.count("\n") + self.at


def check_with(line: str) -> str:
    return f"{A_CHECK}  {line}\n"


CHECKS = "checks/axes.yaml"
BREAKS = {
    "YAML that does not parse": Break("parts.yaml", "- id: [oops\n", "expected", None),
    "a tab in the indent": Break("parts.yaml", "- id: extra\n\tterms: [x]\n", "", 2),
    "a key twice in one entry": Break("parts.yaml", "- {id: extra, id: extra, terms: [x]}\n", "id", 1),
    "an unknown key in a part": Break("parts.yaml", "- {id: extra, terms: [x], colour: red}\n", "colour", 1),
    "an unknown key in a check": Break(CHECKS, check_with("colour: red"), "colour", 8),
    "an unknown key in an aspect": Break(
        "aspects.yaml", "- {id: extra, title: x, colour: red}\n", "colour", 1
    ),
    "an unknown key in a fact": Break(
        "facts.yaml", "- {id: extra, title: x, kind: text, colour: red}\n", "colour", 1
    ),
    "an unknown kind of fact": Break("facts.yaml", "- {id: extra, title: x, kind: guess}\n", "kind", 1),
    "a key left out": Break("parts.yaml", "- {id: extra}\n", "terms", 1),
    "a part that is not there": Break(CHECKS, check_with("parts: [flux]"), "no part 'flux'", None),
    "an aspect that is not there": Break(CHECKS, check_with("aspects: [flux]"), "no aspect 'flux'", None),
    "a fitting that is not there": Break(CHECKS, check_with("fitting: flux"), "no fitting 'flux'", None),
    "a fact that is not there": Break(CHECKS, check_with("notes: [flux]"), "no fact 'flux'", None),
    "a default that is not there": Break(
        "parts.yaml", "- {id: extra, terms: [x], default: axes.flux}\n", "no check 'axes.flux'", None
    ),
    "a part meaning one that is not there": Break(
        "parts.yaml", "- {id: extra, terms: [x], means: [flux]}\n", "no part 'flux'", None
    ),
    "a check in another station's file": Break(
        "checks/chuck.yaml", A_CHECK, "axes.extra is not of station chuck", 1
    ),
    "a check without a station": Break(CHECKS, A_CHECK.replace("axes.extra", "extra"), "id", 1),
    "a severity that is none": Break(
        CHECKS, A_CHECK.replace("severity: minor", "severity: awful"), "severity", 4
    ),
    "minutes that are none": Break(CHECKS, A_CHECK.replace("minutes: 1", "minutes: 0"), "minutes", 5),
    "a choice never closed": Break(CHECKS, check_with('good: ["(worn|bent"]'), "never closed", 8),
    "an option never closed": Break(CHECKS, check_with('good: ["worn <out"]'), "never closed", 8),
    "a choice closed that was not opened": Break(
        CHECKS, check_with('good: ["worn|bent)"]'), "closes nothing", 8
    ),
    "a choice inside a choice": Break(CHECKS, check_with('good: ["(a|(b|c))"]'), "inside another", 8),
    "an option inside a choice": Break(CHECKS, check_with('good: ["(a|<b> c)"]'), "inside another", 8),
    "a choice closed as an option": Break(CHECKS, check_with('good: ["(a|b>"]'), "closes nothing", 8),
    "a phrase in capitals": Break(CHECKS, check_with("good: [Worn]"), "good", 8),
    "a limit without its source": Break(
        CHECKS,
        check_with("readings: [{quantity: x, dimension: length, unit: mm, at_most: 1}]"),
        "source",
        8,
    ),
    "a limit upside down": Break(
        CHECKS,
        check_with(
            "readings: [{quantity: x, dimension: length, unit: mm, at_least: 2, at_most: 1, source: x}]"
        ),
        "at_least is above at_most",
        8,
    ),
}


@pytest.mark.parametrize("fault", BREAKS.values(), ids=BREAKS.keys())
def test_broken_pack_is_refused_with_file_and_line(copy: Path, fault: Break) -> None:
    line = fault.apply(copy)
    with pytest.raises(PackError) as caught:
        voicenotes.load_pack(copy)
    message = str(caught.value)
    assert str(copy / fault.file) in message
    assert fault.says in message
    assert "\n" not in message
    if line is not None:
        assert f"{copy / fault.file}, line {line}: " in message


@pytest.mark.parametrize(
    ("file", "entry", "kind"),
    [
        (CHECKS, A_CHECK + A_CHECK, "check 'axes.extra'"),
        ("parts.yaml", "- {id: extra, terms: [x]}\n- {id: extra, terms: [y]}\n", "part 'extra'"),
        ("parts.yaml", "- {id: tailstock, terms: [x]}\n", "part 'tailstock'"),
        ("aspects.yaml", "- {id: general, title: x}\n", "aspect 'general'"),
        ("facts.yaml", "- {id: serial, title: x, kind: code}\n", "fact 'serial'"),
    ],
)
def test_an_id_given_twice_is_refused(copy: Path, file: str, entry: str, kind: str) -> None:
    Break(file, entry, "", None).apply(copy)
    with pytest.raises(PackError, match=f"{kind} is defined twice") as caught:
        voicenotes.load_pack(copy)
    assert str(copy) in str(caught.value)


@pytest.mark.parametrize("file", ["parts.yaml", "aspects.yaml", "facts.yaml", CHECKS, "checks/dispatch.yaml"])
def test_a_missing_file_is_named(copy: Path, file: str) -> None:
    (copy / file).unlink()
    with pytest.raises(PackError, match="missing") as caught:
        voicenotes.load_pack(copy)
    assert str(copy / file) in str(caught.value)


@pytest.mark.parametrize("file", ["parts.yaml", "pack.yaml", CHECKS])
def test_an_empty_file_is_refused(copy: Path, file: str) -> None:
    (copy / file).write_text("", encoding="utf-8")
    with pytest.raises(PackError) as caught:
        voicenotes.load_pack(copy)
    assert str(copy / file) in str(caught.value)


def test_bytes_that_are_no_text_are_refused(copy: Path) -> None:
    (copy / "parts.yaml").write_bytes(b"- id: \xff\xfe\n")
    with pytest.raises(PackError) as caught:
        voicenotes.load_pack(copy)
    assert str(copy / "parts.yaml") in str(caught.value)


def test_a_pack_that_is_not_there_names_those_that_are() -> None:
    with pytest.raises(PackError, match="cnc_lathe"):
        voicenotes.load_pack("no_such_pack")


@pytest.mark.parametrize(
    ("sentence", "says"),
    [
        ("- {say: x, expect: {axes.flux: ok}}\n", "no check 'axes.flux'"),
        ("- {say: x, expect: {axes.homing: perfect}}\n", "'perfect' is no outcome"),
        ("- {say: x, expect: {axes.homing: ok minor}}\n", "'ok minor' is no outcome"),
        ("- {say: x, fittings: {flux: yes}}\n", "no fitting 'flux'"),
        ("- {say: x, facts: {flux: 1}}\n", "no fact 'flux'"),
        ("- {say: '  '}\n", "say is blank"),
    ],
)
def test_a_labelled_sentence_that_cannot_be_right_is_refused(copy: Path, sentence: str, says: str) -> None:
    line = Break("sentences/axes.yaml", sentence, says, 1).apply(copy)
    with pytest.raises(PackError) as caught:
        checked_sentences(copy, shipped())
    assert f"{copy / 'sentences/axes.yaml'}, line {line}: " in str(caught.value)
    assert says in str(caught.value)


def test_an_unchanged_copy_is_the_same_pack(copy: Path) -> None:
    loaded = voicenotes.load_pack(copy)
    assert loaded.model_copy(update={"home": shipped().home}) == shipped()


@pytest.mark.parametrize(
    ("change", "same"),
    [
        (lambda folder: Break("parts.yaml", "# a remark\n", "", None).apply(folder), False),
        (lambda folder: (folder / "sentences/axes.yaml").write_text("[]\n"), True),
    ],
    ids=["a file the reader uses", "a sentence of its tests"],
)
def test_digest_changes_with_what_is_read(copy: Path, change: Callable[[Path], object], same: bool) -> None:
    change(copy)
    assert (voicenotes.load_pack(copy).digest == shipped().digest) is same


def test_yaml_1_2_words_stay_text(tmp_path: Path) -> None:
    path = tmp_path / "words.yaml"
    path.write_text("[no, off, yes, on, y, n, 12:30, 1_000, 0x1F, 2024-03-12]\n", encoding="utf-8")
    assert read_yaml(path).value == [
        "no",
        "off",
        "yes",
        "on",
        "y",
        "n",
        "12:30",
        "1_000",
        "0x1F",
        "2024-03-12",
    ]
    path.write_text("[true, False, null, ~, 12, -3, 1.5, 2e3]\n", encoding="utf-8")
    assert read_yaml(path).value == [True, False, None, None, 12, -3, 1.5, 2000.0]


def test_yaml_1_2_words_stay_text_in_a_pack(copy: Path) -> None:
    Break("parts.yaml", "- {id: extra, terms: [off, no, on]}\n", "", None).apply(copy)
    [part] = [part for part in voicenotes.load_pack(copy).parts if part.id == "extra"]
    assert part.terms == ("off", "no", "on")


def listed() -> list[dict[str, str]]:
    with LIST.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_checks_are_those_of_the_list_in_its_order() -> None:
    assert [check.id for check in shipped().checks] == [row["id"] for row in listed()]


@pytest.mark.parametrize("row", listed(), ids=lambda row: row["id"])
def test_check_agrees_with_the_list(row: dict[str, str]) -> None:
    [check] = [check for check in shipped().checks if check.id == row["id"]]
    assert check.station == row["station"]
    assert check.judged == row["what is judged"]
    assert (check.fitting or "") == row["applies when fitted"]
    assert check.severity == row["usual severity when bad"]
    assert check.minutes == float(row["minutes"])
    assert check.must_before_leaving is (row["must before leaving"] == "yes")


def test_stations_stand_in_the_order_of_the_list() -> None:
    stations = list(dict.fromkeys(row["station"] for row in listed()))
    assert [station.id for station in shipped().head.stations] == stations


def test_fittings_and_facts_of_the_list_are_in_the_pack() -> None:
    fittings = {fitting.id for fitting in shipped().head.fittings}
    assert fittings == set(FITTINGS) == {row["applies when fitted"] for row in listed()} - {""}
    assert {fact.id for fact in shipped().facts} >= set(FACTS)


@pytest.mark.parametrize("check", shipped().checks, ids=lambda check: check.id)
def test_check_can_be_spoken_of_and_its_limits_name_their_source(check: Check) -> None:
    assert check.terms or check.parts
    for limit in check.readings:
        assert len(limit.source.split()) >= 2
        assert limit.quantity
        if "common practice" in limit.source:
            assert limit.source == "common practice, no source"


@pytest.mark.parametrize("name", SCHEMAS)
def test_schema_is_made_and_describes_an_object_or_a_list(name: str) -> None:
    schema = schema_of(name)
    assert schema["$schema"].startswith("https://json-schema.org/")
    assert schema["type"] == ("array" if name.endswith("-file") else "object")


@pytest.mark.parametrize(
    "model",
    [Record, Transcript, Pack, PackHead, Check, Part, Aspect, Fact, Cue, LabelledSentence, VisitLabel, Score],
)
def test_model_has_a_schema_that_refuses_unknown_fields(model: type) -> None:
    schema = TypeAdapter(model).json_schema()
    assert schema["additionalProperties"] is False
    assert set(schema["properties"]) == set(model.model_fields)
    with pytest.raises(ValidationError):
        model.model_validate({"no such field": 1})
