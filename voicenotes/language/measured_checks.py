"""Which check a spoken value belongs to: by the things named with it, those named before, or the place."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING

from voicenotes.language.binding import groups_of
from voicenotes.language.choose_check import Choice, expand_subjects
from voicenotes.language.hits import TermHit
from voicenotes.language.lexicon import Judgement, Subject
from voicenotes.language.limits import Setting, limit_for
from voicenotes.language.value_places import is_circumstance, terms_at

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from voicenotes.language.clause_view import ClauseView, Context, Found
    from voicenotes.language.quantities import Quantity
    from voicenotes.language.value_places import Place
    from voicenotes.vocabulary.limit import Limit
    from voicenotes.vocabulary.schema import Check

# How well a thing and a value together name a check.
OWN, PART, CARRIED = 6.0, 5.0, -1.0
_WORDS, _BASE, _NAMED, _JUDGED, _HERE, _OTHER, _TIED = 1.0, 1.2, 0.5, 0.4, 0.3, 0.6, 0.5
_BEFORE, _NEAREST = 0.2, 0.1
_SAME = 0.05
BY_PLACE = 0.7


@dataclass(frozen=True)
class Match:
    """A check that a value judges, with its limit and the value in the limit's dimension."""

    choice: Choice
    limit: Limit
    quantity: Quantity
    setting: Setting
    by_place: bool = False


@dataclass(frozen=True)
class _Asked:
    """A value whose check is looked for."""

    view: ClauseView
    context: Context
    place: Place
    setting: Setting
    judged: frozenset[str]
    named: frozenset[str]


def checks_measured(
    view: ClauseView, context: Context, place: Place, setting: Setting, found: Sequence[Found]
) -> list[Match]:
    """The checks that a value belongs to: mostly one, several for "both axes", none when it isn't clear."""
    judged = frozenset(item.choice.check for item in found)
    named = frozenset(meaning.owner for condition in view.conditions for meaning in condition.meanings)
    asked = _Asked(view, context, place, setting, judged, named)
    own = terms_at(view, place)
    head = [term for term in view.terms if term.start < place.start]
    rest = [term for term in view.terms if term not in own and term not in head]
    for terms, helpers in ((own, [*own, *head]), (head, [*head, *own]), (rest, view.terms)):
        options = _options(asked, terms, helpers, 0.0)
        if options:
            return _best(view, options, helpers)
    at = place.quantity.start
    said_of = [TermHit(at, at, (Subject("check", check),), "exact", "") for check in sorted(judged)]
    if matches := _best(view, _options(asked, said_of, view.terms, CARRIED), view.terms):
        return matches
    if matches := _by_station(asked):
        return matches
    if not _speaks_of_before(view):
        return []
    carried = [*context.terms, *context.judged_before(at)]
    if matches := _best(view, _options(asked, carried, [*carried, *view.terms], CARRIED), view.terms):
        return matches
    last = [
        TermHit(at, at, (Subject("check", check),), "exact", "") for check, _ in context.heard.values[-1:]
    ]
    if matches := _best(view, _options(asked, last, (), CARRIED), ()):
        return matches
    if not view.terms:
        owners = [m.owner for c in view.conditions for m in c.meanings if m.owner in view.lexicon.checks]
        spoken = [TermHit(at, at, (Subject("check", check),), "exact", "") for check in dict.fromkeys(owners)]
        if matches := _best(view, _options(asked, spoken, (), CARRIED), ()):
            return matches
    return _by_place(asked)


def _speaks_of_before(view: ClauseView) -> bool:
    """Whether the remark names nothing of its own but places and the machine."""
    return all(
        view.follows_link(term) or all(subject.kind == "machine" for subject in term.subjects)
        for term in view.terms
    )


def _options(
    asked: _Asked, terms: Iterable[TermHit], helpers: Sequence[TermHit], penalty: float
) -> list[Match]:
    options = []
    view = asked.view
    for term in terms:
        setting = asked.setting
        if not asked.place.start <= term.start < asked.place.end:
            words = (
                tuple(view.words.norms[term.start : term.end]) if penalty == 0 else tuple(term.phrase.split())
            )
            setting = Setting((*setting.said, *words), setting.base, setting.nominal, setting.no_rise)
        for subject in expand_subjects(view.lexicon, term.subjects):
            is_own = subject.kind == "check"
            for check_id in (subject.id,) if is_own else view.lexicon.by_part.get(subject.id, ()):
                check = view.lexicon.checks[check_id]
                limit = limit_for(check, asked.place.quantity, setting)
                elsewhere = bool(asked.judged) and check_id not in asked.judged
                if limit is None or is_circumstance(view, asked.place.quantity, elsewhere):
                    continue
                score = (OWN if is_own else PART) + penalty + _extras(asked, check, limit[0], term, helpers)
                choice = Choice(check_id, Judgement(check_id, "noted"), score, term, subject.id)
                options.append(Match(choice, *limit, setting))
    return options


def _extras(asked: _Asked, check: Check, limit: Limit, term: TermHit, helpers: Sequence[TermHit]) -> float:
    view = asked.view
    score = _WORDS if limit.words else 0.0
    score += _BASE if limit.per is not None and asked.place.base is not None else 0.0
    score += _NAMED if asked.named & {*check.aspects, check.id} else 0.0
    score += _JUDGED if check.id in asked.judged else 0.0
    score += _HERE if check.station == asked.context.station else 0.0
    if _named_by_another(view, check, term, helpers):
        score += _OTHER
    elif _named_by_another(view, check, term, asked.context.terms):
        score += _BEFORE
    before = [t for t in terms_at(view, asked.place) if t.start < asked.place.quantity.start]
    score += _NEAREST if before and term is before[-1] else 0.0
    tied = term.start > view.clause.start and view.follows_link(term)
    return score - (_TIED if tied and len(helpers) > 1 else 0.0)


def _best(view: ClauseView, options: list[Match], helpers: Sequence[TermHit]) -> list[Match]:
    """The best match; several where they are for things said in one list ("X and Z", "both axes")."""
    if not options:
        return []
    top = max(option.choice.score for option in options)
    best = {o.choice.check: o for o in options if o.choice.score > top - _SAME}
    if len(best) == 1:
        return list(best.values())
    if _each_named(view, [view.lexicon.checks[check] for check in best], helpers):
        return list(best.values())
    subjects = {option.choice.part for option in best.values()}
    if len(subjects) != len(best):
        return []
    terms = [option.choice.via for option in best.values() if option.choice.via is not None]
    if any(subject.kind == "check" and len(term.subjects) > 1 for term in terms for subject in term.subjects):
        return []
    distinct = list(dict.fromkeys(terms))
    if len(distinct) == 1:
        return list(best.values()) if _means_several(view, distinct[0]) else []
    listed = any(
        all(t in group for t in distinct) for group in groups_of(view.words, view.terms, view.conditions)
    )
    return list(best.values()) if listed else []


def _each_named(view: ClauseView, checks: Sequence[Check], helpers: Sequence[TermHit]) -> bool:
    """Whether each check has a part of its own among the things named: "backlash on both axes"."""
    parts = {subject.id for term in helpers for subject in expand_subjects(view.lexicon, term.subjects)}
    own = [parts & set(check.parts) for check in checks]
    return all(own) and all(not a & b for a, b in combinations(own, 2))


def _means_several(view: ClauseView, term: TermHit) -> bool:
    return any(view.lexicon.means.get(subject.id) for subject in term.subjects)


def _named_by_another(view: ClauseView, check: Check, term: TermHit, helpers: Sequence[TermHit]) -> bool:
    """Whether a second thing named with the value leads to the same check."""
    return any(
        subject.id == check.id or subject.id in check.parts
        for other in helpers
        if other is not term
        for subject in expand_subjects(view.lexicon, other.subjects)
    )


def _by_station(asked: _Asked) -> list[Match]:
    """The one check that measures such a value at the station of the thing named: "the gauge | reads 45"."""
    view = asked.view
    if is_circumstance(view, asked.place.quantity, True):
        return []
    terms = terms_at(view, asked.place) or list(view.terms)
    stations = {
        view.lexicon.checks[subject.id].station
        for term in terms
        for subject in term.subjects
        if subject.kind == "check"
    }
    measuring = [
        check for check in view.lexicon.checks.values() if check.station in stations and check.readings
    ]
    at = asked.place.quantity.start
    named = [TermHit(at, at, (Subject("check", check.id),), "exact", "") for check in measuring]
    options = _options(asked, named, view.terms, CARRIED)
    return options if len({option.choice.check for option in options}) == 1 else []


def _by_place(asked: _Asked) -> list[Match]:
    """Said at a station with nothing named, a value belongs to the one check there that measures it."""
    view, station = asked.view, asked.context.station
    if view.terms or any(view.is_unknown(word) for word in range(view.clause.start, view.clause.end)):
        return []
    found = []
    for check in view.lexicon.checks.values():
        if check.station != station or (asked.judged and check.id not in asked.judged):
            continue
        if limit := limit_for(check, asked.place.quantity, asked.setting):
            choice = Choice(check.id, Judgement(check.id, "noted"), 0.0, None)
            found.append(Match(choice, *limit, asked.setting, by_place=True))
    return found if len(found) == 1 else []
