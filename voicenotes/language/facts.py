"""Values worth noting: maker, serial number, chuck size and the like, with what was said for each."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from voicenotes.language.grounds import Ground, of_cue
from voicenotes.language.hits import FactHit
from voicenotes.language.lent_units import bare_numbers
from voicenotes.language.mentions import FactMention
from voicenotes.language.names import MOST_WORDS, name_at, view_code
from voicenotes.language.quantities import in_dimension
from voicenotes.language.spelled_codes import MOST_FILLERS, spelling
from voicenotes.language.units import convert

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from voicenotes.language.clause_view import ClauseView, Context
    from voicenotes.language.mentions import Mention
    from voicenotes.model import Basis
    from voicenotes.vocabulary.schema import Check, Fact, Pack

MOST_WORDS_TO_TAIL = 4


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
        said = Ground("fact", min(start, hit.start), max(end, hit.end), hit.fact)
        hearsay = tuple(of_cue(cue) for cue in view.reach.wide if cue.kind == "hearsay")
        found[hit.fact] = FactMention(hit.fact, value, unit, basis, 0.9, why, (said, *hearsay))
    return list(found.values())


def words_after_leads(hits: Sequence[FactHit], pack: Pack) -> frozenset[int]:
    """The words that may be names or codes and are no foreign talk: the first few after "the maker is"."""
    named = {fact.id for fact in pack.facts if fact.kind in ("text", "code")}
    leads = [hit for hit in hits if hit.role == "lead" and hit.fact in named]
    return frozenset(word for hit in leads for word in range(hit.end, hit.end + MOST_WORDS))


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
    """The context with the facts of a remark: a later value may be judged against them, or correct them."""
    if not facts:
        return context
    heard = context.heard
    numbers = {fact.fact: float(fact.value) for fact in facts if not isinstance(fact.value, str)}
    names = [fact.fact for fact in facts]
    noted = (*(name for name in heard.noted if name not in names), *names)
    known = tuple({**dict(heard.facts), **numbers}.items())
    return replace(context, heard=replace(heard, facts=known, noted=noted))


def corrected_fact(
    view: ClauseView, context: Context, hits: Sequence[FactHit], pending: bool
) -> Sequence[FactHit]:
    """The words that lead to facts; after "correction" a value without them belongs to the last fact."""
    cues = view.reach.of_kind("correct", "retract")
    if hits or not context.heard.noted or not (pending or cues):
        return hits
    at = max([cue.end for cue in cues], default=view.clause.start)
    return (FactHit(at, at, context.heard.noted[-1], "lead", None),)


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
    at = _after_fillers(view, hit.end, longer_than=1)
    return _code(view, at) if fact.kind == "code" else _text(view, at, hits)


def _after_fillers(view: ClauseView, at: int, longer_than: int = 0) -> int:
    """Where the value starts: past small words and things named, but not past letters of a code."""
    fillers, letters = spelling().fillers, set(spelling().letters) if longer_than else set()
    for _ in range(MOST_FILLERS):
        term = next((term for term in view.terms if term.start == at), None)
        if term is not None and sum(map(len, view.words.norms[term.start : term.end])) > longer_than:
            at = term.end
        elif at < view.clause.end and view.words.norms[at] in fillers - letters:
            at += 1
    return at


def _number(
    view: ClauseView, fact: Fact, hit: FactHit
) -> tuple[str | float | int, str | None, int, int] | None:
    for quantity in view.quantities:
        there = in_dimension(quantity, fact.dimension) if fact.dimension else None
        if fact.units and quantity.unit not in fact.units:
            continue
        if there is not None and fact.unit and _beside(view, hit, quantity.start, quantity.end):
            value = convert(there.value, there.unit, fact.unit)
            if _in_range(fact, value):
                return _tidy(there.value), there.unit, quantity.start, quantity.end
    start, end = view.clause.start, view.clause.end
    for number in bare_numbers(view.words.norms[start:end], view.words.breaks[start:end], start):
        first, last = number.start, number.end
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
    found = view_code(view, at, view.clause.end)
    return None if found is None else (found[0], None, at, found[1])


def _text(
    view: ClauseView, at: int, hits: Sequence[FactHit]
) -> tuple[str | float | int, str | None, int, int] | None:
    """A name: the words as they stand, up to a break, the next fact, or the most that a name has."""
    stops = {hit.start for hit in hits if hit.start >= at and hit.role == "lead"} | {
        cue.start for cue in view.reach.own if cue.kind in ("breaker", "exception", "hearsay")
    }
    end = min([stop for stop in stops if stop > at] + [view.clause.end])
    found = name_at(view, at, end) if at not in stops else None
    return None if found is None else (found[0], None, at, found[1])
