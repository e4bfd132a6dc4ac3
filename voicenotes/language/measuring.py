"""Judges by spoken measurements: which check a value belongs to, and what its limit says."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from voicenotes.language.choose_check import expand_subjects
from voicenotes.language.clause_view import CERTAINTY_CARRIED, Found
from voicenotes.language.conditions import leads_to_value
from voicenotes.language.grounds import of_quantity, of_term
from voicenotes.language.lent_units import bare_numbers
from voicenotes.language.lexicon import CERTAINTY
from voicenotes.language.limits import Setting, judge, names
from voicenotes.language.measured_checks import BY_PLACE, Match, checks_measured
from voicenotes.language.said_units import Quantity
from voicenotes.language.spread_values import COUNT, spread_reading
from voicenotes.language.units import convert, is_difference
from voicenotes.language.value_places import Place, came_up_to, places_of, started_from
from voicenotes.language.value_words import value_words

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from voicenotes.language.clause_view import ClauseView, Context
    from voicenotes.model import Polarity, Reading
    from voicenotes.vocabulary.limit import Limit

MOST_FROM_NOMINAL = 2.0  # a value further off is one of something else
Values = tuple[tuple[str, Quantity], ...]


@dataclass(frozen=True)
class Spoken:
    """The values that a remark hands on to the next: those measured, and those that something should be."""

    values: Values
    nominals: tuple[Quantity, ...]

    def carried_by(self, context: Context) -> Context:
        """The next remark's context with them."""
        return replace(context, heard=replace(context.heard, values=self.values, nominals=self.nominals))


def measurements(view: ClauseView, context: Context, found: list[Found]) -> tuple[list[Found], Spoken]:
    """The checks that the values of a remark judge, and what of its values bears on the next remark.

    `found` is what the remark's conditions judged.
    """
    quantities = sorted((*view.quantities, *_without_unit(view, context, found)), key=lambda q: q.start)
    places, said_nominals = places_of(view, quantities)
    nominals = tuple(said_nominals) or context.heard.nominals
    results: list[Found] = []
    run: Values = context.heard.values
    for place in places:
        matches = [
            match
            for setting in _settings(view, place)
            for match in _matches(view, context, place, setting, found)
        ]
        for match in matches:
            match = _with_nominal(view, context, match, nominals)
            reading = judge(match.limit, match.quantity, match.setting)
            results.append(_found(view, context, match, reading, found))
        if matches:
            run, spread = _run(view, run, matches[0])
            if spread:
                results.append(_found(view, context, matches[0], spread, found))
    return results, Spoken(run, nominals)


def _matches(
    view: ClauseView, context: Context, place: Place, setting: Setting, found: list[Found]
) -> list[Match]:
    """A value's checks; for "went from 20 to 65" both the rise of 45 and the 65 that were reached."""
    matches = checks_measured(view, context, place, setting, found)
    quantity = place.quantity
    if not (matches and started_from(view, quantity) and is_difference(matches[0].limit.dimension)):
        return matches
    assert quantity.low is not None and quantity.high is not None
    by, reached = quantity.high - quantity.low, replace(quantity, value=quantity.high, low=None, high=None)
    rises = [replace(m, quantity=replace(m.quantity, value=by, low=None, high=None)) for m in matches]
    there = replace(place, quantity=reached)
    return [*rises, *checks_measured(view, context, there, replace(setting, no_rise=True), found)]


def _settings(view: ClauseView, place: Place) -> Iterator[Setting]:
    said = view.words.norms[place.start : place.end]
    yield Setting(tuple(said), place.base, None, came_up_to(view, place.quantity))


def _with_nominal(view: ClauseView, context: Context, match: Match, nominals: Sequence[Quantity]) -> Match:
    """The match with what the value should be, said in the remark or noted before."""
    for quantity in nominals:
        if quantity.dimension != match.limit.dimension:
            continue
        nominal = convert(quantity.value, quantity.unit, match.limit.unit)
        value = convert(match.quantity.value, match.quantity.unit, match.limit.unit)
        if nominal / MOST_FROM_NOMINAL <= value <= nominal * MOST_FROM_NOMINAL:
            return replace(match, setting=replace(match.setting, nominal=nominal))
    noted = dict(context.heard.facts).get(match.limit.nominal_fact or "")
    return match if noted is None else replace(match, setting=replace(match.setting, nominal=noted))


def _run(view: ClauseView, run: Values, match: Match) -> tuple[Values, Reading | None]:
    """The values of one check said one after another, and the unbalance of each three."""
    check = view.lexicon.checks[match.choice.check]
    alike = [(c, q) for c, q in run if c == check.id and q.dimension == match.quantity.dimension]
    values = (*alike, (check.id, match.quantity))[-COUNT:]
    spread = spread_reading(check, [quantity for _, quantity in values])
    return (() if spread else values), spread


def _without_unit(view: ClauseView, context: Context, judged: Sequence[Found]) -> list[Quantity]:
    """Bare numbers that a limit of a named check takes as they are: "incoming supply is four fifteen"."""
    limits = _taking_bare(view, context, judged)
    if not limits:
        return []
    start, end = view.clause.start, view.clause.end
    norms = view.words.norms[start:end]
    taken = {word for quantity in view.quantities for word in range(quantity.start, quantity.end)}
    found = []
    for number in bare_numbers(norms, view.words.breaks[start:end], start):
        if number.start in taken or not _may_lack_unit(view, number.end):
            continue
        for limit in limits:
            low, high = limit.bare or (0.0, 0.0)
            if low <= number.value <= high and (not limit.words or names(limit.words, norms)):
                note = f"no unit said: taken as {limit.unit}"
                found.append(
                    Quantity(number.start, number.end, number.value, limit.unit, "", limit.dimension, note,
                             number.low, number.high, number.comparator, number.approximate)
                )  # fmt: skip
                break
    return found


def _taking_bare(view: ClauseView, context: Context, judged: Sequence[Found]) -> list[Limit]:
    """The limits that take a number without unit: of checks that are named themselves or judged, and
    where their own words stand beside the value also of those that only a part names."""
    terms = view.terms or context.terms
    own = {s.id for term in terms for s in term.subjects if s.kind == "check"}
    own |= {item.choice.check for item in judged} | (set() if view.terms else set(context.checks))
    parts = {
        s.id for term in terms for s in expand_subjects(view.lexicon, term.subjects) if s.kind != "check"
    }
    near = {check for part in parts for check in view.lexicon.by_part.get(part, ())}
    return [
        limit
        for check in sorted(own | near)
        for limit in view.lexicon.checks[check].readings
        if limit.bare is not None and (check in own or limit.words)
    ]


def _may_lack_unit(view: ClauseView, end: int) -> bool:
    """Whether nothing is counted by a number that ends here."""
    if end >= view.clause.end or view.words.breaks[end]:
        return True
    return (
        view.words.norms[end] in value_words().after_lent
        or view.words.norms[end][:1].isdigit()
        or any(term.start == end for term in view.terms)
    )


def _found(view: ClauseView, context: Context, match: Match, reading: Reading, found: list[Found]) -> Found:
    choice, quantity = match.choice, match.quantity
    limit_says: Polarity = "named"
    if reading.verdict != "no_limit":
        limit_says = "good" if reading.verdict == "within" else "bad"
    said = [
        f
        for f in found
        if f.choice.check == choice.check and not _only_leads(view, f) and not _only_names(view, f)
    ]
    polarity = limit_says
    if said:
        polarity = "bad" if any(f.polarity == "bad" for f in said) else "good"
    why = f"{view.cite(quantity.start, quantity.end)} (reading, {reading.verdict.replace('_', ' ')}"
    why += f", {reading.limit})" if reading.limit else ")"
    if choice.via is not None and choice.via.end > choice.via.start:
        why = f"{view.cite(choice.via.start, choice.via.end)} + {why}"
    if reading.doubtful:
        why += f"; {reading.doubtful}"
    if limit_says != "named" and polarity != limit_says:
        why += f"; said {'good' if polarity == 'good' else 'bad'}, against the limit: what was said stands"
    certainty = CERTAINTY[choice.via.how] if choice.via else BY_PLACE if match.by_place else CERTAINTY_CARRIED
    via = () if choice.via is None else (of_term(choice.via, choice.via not in view.terms),)
    grounds = (*via, of_quantity(quantity))
    return Found(choice, polarity, None, 0.95 * certainty, why, reading, grounds, by_limit=not said)


def overruled(view: ClauseView, item: Found, measured: list[Found]) -> bool:
    """Whether a word gives way to the limit's verdict on a value: a good one that only led to it, or
    a noun that only named what was measured ("eight microns of | runout")."""
    verdicts = {
        other.reading.verdict
        for other in measured
        if other.choice.check == item.choice.check and other.reading is not None
    }
    if item.condition is None or not verdicts - {"no_limit"}:
        return False
    if item.choice.meaning.polarity in ("unwanted", "wanted"):
        return _only_names(view, item)
    return "outside" in verdicts and _only_leads(view, item)


def _only_names(view: ClauseView, item: Found) -> bool:
    """Whether a noun only says what was measured: "eight microns of | runout", "38 psi of | air"."""
    condition = item.condition
    if condition is None or item.choice.meaning.polarity not in ("unwanted", "wanted"):
        return False
    of_value = any(0 <= condition.start - quantity.end <= 1 for quantity in view.quantities)
    return item.polarity == "bad" or of_value


def _only_leads(view: ClauseView, item: Found) -> bool:
    """Whether a good word said nothing but that a value follows."""
    return (
        item.condition is not None
        and item.polarity == "good"
        and item.choice.meaning.polarity == "good"
        and leads_to_value(view, item.condition)
    )
