"""The units of vocab/english/units.yaml: their spoken forms, and conversion through pint.

Looking a unit up needs no pint; it is imported when a conversion is first asked for, and every pair of
units is worked out once.
"""

from __future__ import annotations

import re
from decimal import Decimal
from fractions import Fraction
from functools import cache, lru_cache
from typing import Any, Literal, NamedTuple

from pydantic import BaseModel, ConfigDict, Field, model_validator

from voicenotes.errors import PackError
from voicenotes.vocabulary.homes import SHARED_LANGUAGE, vocab_home
from voicenotes.vocabulary.yaml_files import read_as

UNIT_FILE = "units.yaml"
System = Literal["metric", "imperial"]


class _Model(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=False)


class Dimension(_Model):
    """What is measured. `si` is the unit a record gives si_value in; no `pint`, no conversion.

    `difference_of` another dimension: the same units without their offset ("a rise of 72 F is 40 K").
    """

    si: str
    pint: str | None
    difference_of: str | None = None


class Unit(_Model):
    """A canonical unit: the short string that quantities and limits carry."""

    dimension: str
    pint: str | None
    also: tuple[str, ...] = ()


class MetricMeaning(_Model):
    """What a said unit means to a speaker who works metric."""

    unit: str
    scale: Decimal = Decimal(1)
    doubtful: str | None = None


class SpokenUnit(_Model):
    """A unit as people say it; the fields are explained in units.yaml."""

    name: str
    unit: str
    say: tuple[str, ...] = Field(min_length=1)
    misheard: tuple[str, ...] = ()
    write: tuple[str, ...] = ()
    apart: tuple[str, ...] = ()
    scale: Decimal = Decimal(1)
    usual_from: Decimal | None = None
    usual_to: Decimal | None = None
    at_most: int | None = None
    leads: bool = False
    part: Decimal | None = None
    metric: MetricMeaning | None = None
    system: System | None = None
    article: bool | Literal["and"] = False
    no_point: bool = False
    not_before: frozenset[str] = frozenset()
    then: dict[str, int] = {}
    as_: dict[str, str] = Field(default={}, alias="as")
    doubtful: str | None = None


class UnitTable(_Model):
    """The whole of units.yaml."""

    dimensions: dict[str, Dimension]
    units: dict[str, Unit]
    spoken: tuple[SpokenUnit, ...]
    usual: dict[str, tuple[str, ...]] = {}
    lead_links: frozenset[str] = frozenset()
    fillers: frozenset[str] = frozenset()

    @model_validator(mode="after")
    def _names_resolve(self) -> UnitTable:
        for text, unit in self.units.items():
            if unit.dimension not in self.dimensions:
                raise ValueError(f"unit '{text}' has the unknown dimension '{unit.dimension}'")
        names = {spoken.name for spoken in self.spoken}
        said: dict[str, str] = {}
        for spoken in self.spoken:
            used = [spoken.unit, *spoken.as_.values(), *([spoken.metric.unit] if spoken.metric else [])]
            for text in used:
                if text not in self.units:
                    raise ValueError(f"'{spoken.name}' has the unknown unit '{text}'")
            if unknown := set(spoken.then) - names:
                raise ValueError(f"'{spoken.name}' is followed by unknown {sorted(unknown)}")
            for form in (*spoken.say, *spoken.write):
                if form in said:
                    raise ValueError(f"'{form}' is said for both '{said[form]}' and '{spoken.name}'")
                said[form] = spoken.name
        return self


class Form(NamedTuple):
    """One spoken form, cut into words, and the unit it says."""

    words: tuple[str, ...]
    spoken: SpokenUnit
    written: bool
    misheard: bool = False


@lru_cache(maxsize=1)
def unit_table() -> UnitTable:
    """units.yaml, read once. Raises PackError naming file and line when it is malformed."""
    return read_as(vocab_home() / SHARED_LANGUAGE / UNIT_FILE, UnitTable)


@lru_cache(maxsize=1)
def unit_forms() -> dict[str, tuple[Form, ...]]:
    """Spoken forms by their first word, longest first."""
    forms: dict[str, list[Form]] = {}
    for spoken in unit_table().spoken:
        for texts, written, misheard in (
            (spoken.say, False, False),
            (spoken.misheard, False, True),
            (spoken.write, True, False),
        ):
            for text in texts:
                words = tuple(text.split())
                forms.setdefault(words[0], []).append(Form(words, spoken, written, misheard))
    return {head: tuple(sorted(some, key=lambda form: -len(form.words))) for head, some in forms.items()}


@lru_cache(maxsize=1)
def unit_heads() -> frozenset[str]:
    """First words of the spoken forms (short forms glued to digits left out)."""
    return frozenset(head for head, forms in unit_forms().items() if any(not form.written for form in forms))


def dimension_of(unit: str) -> str:
    """The dimension of a canonical unit. Raises PackError when there is no such unit."""
    return _unit(unit).dimension


def canonical_unit(text: str) -> tuple[str, Decimal]:
    """A unit in any written or spoken form -> (canonical unit, how many of it one is).

    "in" -> ("in", 1), "thou" -> ("in", 0.001). Raises PackError for an unknown unit.
    """
    text = " ".join(text.split())
    table = unit_table()
    if text in table.units:
        return text, Decimal(1)
    found = _by_text().get(text) or _by_text().get(text.casefold())
    if found is None:
        raise PackError(f"unknown unit '{text}': use one listed in {SHARED_LANGUAGE}/{UNIT_FILE}")
    return found


@lru_cache(maxsize=1)
def _by_text() -> dict[str, tuple[str, Decimal]]:
    """Every other way to write a unit; short forms win over spoken ones."""
    table, one = unit_table(), Decimal(1)
    texts: dict[str, tuple[str, Decimal]] = {}
    for spoken in table.spoken:
        for form in (*spoken.say, *spoken.write):
            texts.setdefault(form, (spoken.unit, spoken.scale))
    folded = [text.casefold() for text in table.units]
    for text, unit in table.units.items():
        for form in unit.also:
            texts[form] = (text, one)
        if folded.count(text.casefold()) == 1:
            texts[text.casefold()] = (text, one)
    return texts


_VALUE_AND_UNIT = re.compile(
    r"\s*([-+\u2212]?\s*(?:\d+(?:,\d{3})*(?:\.\d*)?|\.\d+)(?:[eE][-+]?\d+)?)\s*(\S.*?)\s*$"
)


def parse_quantity_text(text: str) -> tuple[float, str]:
    """A written quantity -> (value, canonical unit): "2 thou" -> (0.002, "in").

    Used for labelled sentences and limits. Raises PackError when it isn't a number and a known unit.
    """
    match = _VALUE_AND_UNIT.match(text)
    if match is None:
        raise PackError(f"'{text}' is not a quantity: write a number and a unit, as in '0.0002 in'")
    unit, scale = canonical_unit(match[2])
    number = match[1].replace(",", "").replace("\u2212", "-").replace(" ", "")
    return float(Decimal(number) * scale), unit


def _unit(unit: str) -> Unit:
    try:
        return unit_table().units[unit]
    except KeyError:
        raise PackError(f"unknown unit '{unit}': use one listed in {SHARED_LANGUAGE}/{UNIT_FILE}") from None


def to_si(value: float, unit: str) -> tuple[float, str]:
    """A value in a canonical unit -> (value, SI unit of its dimension).

    Temperatures become kelvin with their offset (140 degF -> 333.15 K); a rise goes through
    `rise_to_si`. Rotational speed becomes turns a second, written 1/s. Sound level and Brix stay as
    they are. Raises PackError for an unknown unit.
    """
    dimension = unit_table().dimensions[_unit(unit).dimension]
    return _through(value, *_straight_line(_unit(unit).pint, dimension.pint)), dimension.si


def rise_to_si(value: float, unit: str) -> tuple[float, str]:
    """A difference in a canonical unit -> (value, SI unit): a rise of 72 degF is 40 K, without the 32."""
    dimension = unit_table().dimensions[_unit(unit).dimension]
    slope, _ = _straight_line(_unit(unit).pint, dimension.pint)
    return _through(value, slope, Fraction(0)), dimension.si


def convert(value: float, unit_from: str, unit_to: str) -> float:
    """A value from one canonical unit to another, temperatures with their offset.

    Raises PackError when a unit is unknown or the two measure different things.
    """
    return _through(value, *_between(unit_from, unit_to))


def convert_rise(value: float, unit_from: str, unit_to: str) -> float:
    """A difference from one canonical unit to another: convert_rise(40, "K", "degF") is 72."""
    return _through(value, _between(unit_from, unit_to)[0], Fraction(0))


def si_in(dimension: str, value: float, unit: str) -> tuple[float, str]:
    """Like `to_si`, and like `rise_to_si` where the dimension is a difference."""
    return (rise_to_si if is_difference(dimension) else to_si)(value, unit)


def convert_in(dimension: str, value: float, unit_from: str, unit_to: str) -> float:
    """Like `convert`, and like `convert_rise` where the dimension is a difference."""
    return (convert_rise if is_difference(dimension) else convert)(value, unit_from, unit_to)


def is_difference(dimension: str) -> bool:
    """Whether a dimension is a difference of another. Raises PackError when there is no such dimension."""
    try:
        return unit_table().dimensions[dimension].difference_of is not None
    except KeyError:
        raise PackError(
            f"unknown dimension '{dimension}': use one listed in {SHARED_LANGUAGE}/{UNIT_FILE}"
        ) from None


def _between(unit_from: str, unit_to: str) -> tuple[Fraction, Fraction]:
    first, second = _unit(unit_from), _unit(unit_to)
    if first.dimension != second.dimension:
        raise PackError(f"can't convert {unit_from} ({first.dimension}) to {unit_to} ({second.dimension})")
    return _straight_line(first.pint, second.pint)


def _through(value: float, slope: Fraction, offset: Fraction) -> float:
    """value * slope + offset, to the 12 digits that a reading can ever need."""
    return float(f"{float(Fraction(value) * slope + offset):.12g}")


@cache
def _straight_line(pint_from: str | None, pint_to: str | None) -> tuple[Fraction, Fraction]:
    """Slope and offset of the conversion, worked in exact fractions by pint."""
    if pint_from is None or pint_to is None or pint_from == pint_to:
        return Fraction(1), Fraction(0)
    registry = _registry()
    at_zero, at_hundred = (
        Fraction(registry.Quantity(Fraction(number), pint_from).to(pint_to).magnitude) for number in (0, 100)
    )
    return (at_hundred - at_zero) / 100, at_zero


@lru_cache(maxsize=1)
def _registry() -> Any:
    import pint

    return pint.UnitRegistry(non_int_type=Fraction, cache_folder=None)
