"""The set of things that is worth most within a limit: an exact 0/1 knapsack.

Things come in groups. A group's `lead`, where it has one, must be taken before any other of its things.
The way: all totals that are not beaten by another one of at most the same cost, group by group (Nemhauser and
Ullmann 1969, from memory). With whole numbers there are never more of them than the limit has units.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Sequence


@dataclass(frozen=True)
class Thing:
    """Something that can be taken once: whole units of cost, at least 0, and of worth, at least 0."""

    name: str
    cost: int
    worth: int


@dataclass(frozen=True)
class Group:
    """Things that can be taken only together with `lead`; without a lead each stands by itself."""

    things: tuple[Thing, ...]
    lead: Thing | None = None


class _Total(NamedTuple):
    """Cost and worth of a choice; `last` is what was taken last, `before` the total without it."""

    cost: int
    worth: int
    last: str | None = None
    before: _Total | None = None


def best_set(groups: Sequence[Group], limit: int) -> frozenset[str]:
    """The names of the things to take: the largest worth that costs at most `limit`.

    Of choices that are worth the same the one that costs least; of these the one of earlier things.
    """
    totals = [_Total(0, 0)]
    for group in groups:
        if group.lead is None:
            totals = _extended(totals, group.things, limit)
        else:
            with_lead = _extended(_plus(totals, group.lead, limit), group.things, limit)
            totals = _unbeaten(totals, with_lead)
    taken: set[str] = set()
    total: _Total | None = totals[-1] if limit >= 0 else None
    while total is not None:
        if total.last is not None:
            taken.add(total.last)
        total = total.before
    return frozenset(taken)


def _extended(totals: list[_Total], things: Sequence[Thing], limit: int) -> list[_Total]:
    for thing in things:
        if thing.worth:
            totals = _unbeaten(totals, _plus(totals, thing, limit))
    return totals


def _plus(totals: Sequence[_Total], thing: Thing, limit: int) -> list[_Total]:
    return [
        _Total(total.cost + thing.cost, total.worth + thing.worth, thing.name, total)
        for total in totals
        if total.cost + thing.cost <= limit
    ]


def _unbeaten(first: Sequence[_Total], second: Sequence[_Total]) -> list[_Total]:
    """Both lists as one, by rising cost, without totals that another one beats; of equals that of `first`."""
    kept: list[_Total] = []
    for total in sorted((*first, *second), key=lambda one: (one.cost, -one.worth)):
        if not kept or total.worth > kept[-1].worth:
            kept.append(total)
    return kept
