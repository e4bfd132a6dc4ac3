"""Values worth noting: maker, serial number, chuck size and the like, with what was said for each."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from voicenotes.language.mentions import FactMention
from voicenotes.language.numbers import find_numbers, parse_number
from voicenotes.language.quantities import in_dimension
from voicenotes.language.units import convert
from voicenotes.vocabulary.homes import SHARED_LANGUAGE, vocab_home
from voicenotes.vocabulary.yaml_files import read_yaml

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from voicenotes.language.clause_view import ClauseView, Context
    from voicenotes.language.hits import FactHit
    from voicenotes.model import Basis
    from voicenotes.language.mentions import Mention
    from voicenotes.vocabulary.schema import Check, Fact, Pack

MOST_TEXT_WORDS = 4
MOST_FILLERS = 4
MOST_WORDS_TO_TAIL = 4
LEAST_CODE_SIGNS = 2


@lru_cache(maxsize=1)
def _spelling() -> dict[str, Any]:
    data: dict[str, Any] = read_yaml(vocab_home() / SHARED_LANGUAGE / "spelling.yaml").value
    return data


def read_facts(view: ClauseView, pack: Pack, hits: Sequence[FactHit]) -> list[FactMention]:
    """The facts that one remark gives; the first value of each counts.

    Plans, general talk, doubt and "not tested" give no facts.
    """
    if not hits or view.reach.of_kind("not_tested", "hedge"):
        return []
    if any(cue.kind in ("plan", "general") for cue in view.reach.wide):
        return []
    told = any(cue.kind == "hearsay" for cue in view.reach.wide)
    basis: Basis = "told" if told else "seen"
    facts = {fact.id: fact for fact in pack.facts}
    found: dict[str, FactMention] = {}
    for hit in hits:
        if hit.fact in found:
            continue
        given = _value(view, facts[hit.fact], hit, hits)
        if given is None:
            continue
        value, unit, start, end = given
        why = f"{view.cite(min(start, hit.start), max(end, hit.end))} ({hit.fact.replace('_', ' ')})"
        found[hit.fact] = FactMention(hit.fact, value, unit, basis, 0.9, why)
    return list(found.values())


def plate_values(
    facts: Sequence[FactMention], mentions: Sequence[Mention], checks: Mapping[str, Check]
) -> list[FactMention]:
    """The facts without those that were measured: a supply that reads 385 V is not plated for it."""
    measured = {
        (limit.nominal_fact, reading.value)
        for mention in mentions
        for reading in mention.readings
        for limit in checks[mention.check].readings
        if limit.nominal_fact and limit.quantity == reading.quantity
    }
    return [fact for fact in facts if (fact.fact, fact.value) not in measured]


def with_facts(context: Context, facts: Sequence[FactMention]) -> Context:
    """The context with the numeric facts of a remark, which a later value may be judged against."""
    numbers = {fact.fact: float(fact.value) for fact in facts if not isinstance(fact.value, str)}
    if not numbers:
        return context
    return replace(context, facts=tuple({**dict(context.facts), **numbers}.items()))


def _value(
    view: ClauseView, fact: Fact, hit: FactHit, hits: Sequence[FactHit]
) -> tuple[str | float | int, str | None, int, int] | None:
    """A fact's value and unit, and the words start..end that give it."""
    if fact.kind == "choice":
        return (hit.value, None, hit.start, hit.end) if hit.value is not None else None
    if hit.value is not None:
        return hit.value, None, hit.start, hit.end
    if fact.kind in ("number", "quantity"):
        return _number(view, fact, hit)
    if hit.role != "lead":
        return None
    at = _after_fillers(view, hit.end)
    return _code(view, at) if fact.kind == "code" else _text(view, at, hits)


def _after_fillers(view: ClauseView, at: int) -> int:
    fillers = _spelling()["fillers"]
    for _ in range(MOST_FILLERS):
        term = next((term for term in view.terms if term.start == at), None)
        if term is not None:
            at = term.end
        elif at < view.clause.end and view.words.norms[at] in fillers:
            at += 1
    return at


def _number(
    view: ClauseView, fact: Fact, hit: FactHit
) -> tuple[str | float | int, str | None, int, int] | None:
    for quantity in view.quantities:
        there = in_dimension(quantity, fact.dimension) if fact.dimension else None
        if there is not None and fact.unit and _beside(view, hit, quantity.start, quantity.end):
            value = convert(there.value, there.unit, fact.unit)
            if _in_range(fact, value):
                return _tidy(there.value), there.unit, quantity.start, quantity.end
    start, end = view.clause.start, view.clause.end
    for number in find_numbers(view.words.norms[start:end]):
        first, last = start + number.start, start + number.end
        value = float(number.year if number.year is not None and fact.kind == "number" else number.value)
        if number.kind == "ordinal" or not _in_range(fact, value):
            continue
        if any(quantity.start <= first < quantity.end for quantity in view.quantities):
            continue
        if fact.kind == "quantity" and not _unit_is_named(fact, hit):
            continue
        if _beside(view, hit, first, last) and hit.start - last <= 1:
            return _tidy(value), fact.unit, first, last
    return None


def _unit_is_named(fact: Fact, hit: FactHit) -> bool:
    """Whether a bare number will do: the words around it say what it counts ("power on hours")."""
    return fact.dimension == "time" or hit.role == "lead"


def _beside(view: ClauseView, hit: FactHit, start: int, end: int) -> bool:
    """Whether a value stands where a fact's words expect it."""
    if hit.role == "lead":
        return hit.end <= start <= _after_fillers(view, hit.end)
    between = range(end, hit.start)
    if len(between) > MOST_WORDS_TO_TAIL or any(view.words.breaks[w] for w in between):
        return False
    return end <= hit.start or start <= hit.start < end <= hit.end


def _in_range(fact: Fact, value: float) -> bool:
    return (fact.lowest is None or value >= fact.lowest) and (fact.highest is None or value <= fact.highest)


def _tidy(value: float) -> float | int:
    value = float(f"{value:.6g}") if abs(value) < 1e5 else round(value, 2)
    return int(value) if value == int(value) else value


def _code(view: ClauseView, at: int) -> tuple[str | float | int, str | None, int, int] | None:
    """Letters, digits and signs said one after another, as one upper-case string."""
    data = _spelling()
    norms, end = view.words.norms, view.clause.end
    signs: list[str] = []
    start, repeat = at, 1
    while at < end:
        norm = norms[at]
        step = 1
        if norm in data["repeats"]:
            repeat, at = data["repeats"][norm], at + 1
            continue
        if norm in data["signs"]:
            piece = data["signs"][norm]
        elif norm in data["zeros"]:
            piece = "0"
        elif norm in data["letters"]:
            piece = data["letters"][norm].upper()
        elif (len(norm) == 1 or not norm.isalpha()) and norm.isalnum():
            piece = norm.upper()
        else:
            number = parse_number(norms[:end], at, ordinals=False)
            if number is None or number.kind not in ("cardinal", "digits", "paired"):
                break
            piece = number.digits or f"{number.value:g}"
            step = number.end - at
        signs.append(piece * repeat)
        repeat = 1
        at += step
    code = "".join(signs).strip("-/.")
    if len(code) < LEAST_CODE_SIGNS or not any(sign.isdigit() for sign in code):
        return None
    return code, None, start, at


def _text(
    view: ClauseView, at: int, hits: Sequence[FactHit]
) -> tuple[str | float | int, str | None, int, int] | None:
    """The words as they stand, up to a break, the next fact, or the most that a name has."""
    stops = {hit.start for hit in hits if hit.start >= at} | {
        cue.start for cue in view.reach.own if cue.kind in ("breaker", "hearsay")
    }
    end = at
    while end < view.clause.end and end - at < MOST_TEXT_WORDS:
        if end in stops or (
            end > at and (view.words.breaks[end] or view.words.norms[end] in ("and", "with", "it", "is"))
        ):
            break
        end += 1
    if end == at:
        return None
    return view.say(at, end).strip(" .,;:!?"), None, at, end
