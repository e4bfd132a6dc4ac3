"""Recordings that a device numbered, and which of their times its clock got wrong.

Names like "REC0004", "memo 7", "Recording (3)" belong to a series: the same words and a number that runs up,
whatever the suffix (one may be a transcript). Where a time says otherwise, one of the two is wrong. A number
with leading zeros is a device's counter and is believed; so is any number where the time puts the recording
inside another one, or hours away from all others. Else the time is believed: some phones give the number of a
deleted memo to the next one.
"""

from __future__ import annotations

import re
from collections import defaultdict
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from voicenotes.times.sources import Moment, Offered

# A recording further than this from all others of its series was timed by a clock that had been reset or put
# right: a visit's memos lie closer. Common practice, no source.
JUMP_S = 3 * 3600
# A counter that starts anew after its highest number leaves nearly all numbers unused in between.
WRAP_SHARE = 0.9
DAY_S = 86_400
# Times to the second, or the minute, can overlap by that much without being wrong.
OVERLAP_SLACK_S = {"second": 2.0, "minute": 60.0, "day": 0.0}

Key = tuple[str, str]


@dataclass(frozen=True)
class Numbered:
    """A recording's place in a series: the series, the number, and whether it had leading zeros."""

    series: Key
    number: int
    padded: int


def numbered(offered: Offered) -> Numbered | None:
    """The number in a recording's name, its date and time aside; without one it is the first of its series.

    Where the name has a date and no time, the counter may start anew every day.
    """
    day = str(offered.moments[0].day) if offered.dated and offered.moments else ""
    rest = re.sub(r"[\s_.,()-]+", " ", offered.rest.casefold()).strip()
    found = list(re.finditer(r"[0-9]+", rest))
    if not found:
        return Numbered((rest, day), 0, 0) if rest else None
    last = found[-1]
    words = f"{rest[: last.start()].rstrip()}{rest[last.end() :]}"
    padded = len(last[0]) if last[0].startswith("0") else 0
    return Numbered((words, day), int(last[0]), padded)


def series_of(offered: Sequence[Offered]) -> list[list[int]]:
    """The series of two and more recordings, each in the order of its numbers; equal numbers don't count."""
    groups: dict[Key, list[tuple[int, int, int]]] = defaultdict(list)
    for at, one in enumerate(offered):
        if place := numbered(one):
            groups[place.series].append((place.number, place.padded, at))
    found = []
    for _, members in sorted(groups.items()):
        members.sort()
        if len(members) > 1 and len({number for number, _, _ in members}) == len(members):
            found.append(
                [members[at][2] for at in _unwrapped([m[0] for m in members], max(m[1] for m in members))]
            )
    return found


def _unwrapped(numbers: Sequence[int], width: int) -> list[int]:
    """The order of rising numbers, begun behind the gap where a counter of `width` digits started anew."""
    size = 10**width
    gaps = [after - before for before, after in pairwise(numbers)]
    largest = max(range(len(gaps)), key=gaps.__getitem__)
    start = largest + 1 if width and gaps[largest] > WRAP_SHARE * size else 0
    return [*range(start, len(numbers)), *range(start)]


def off_the_clock(
    series: Sequence[int], moments: Sequence[Moment | None], offered: Sequence[Offered]
) -> dict[int, Moment | None]:
    """The recordings of a series whose time is not believed, each with its next time that fits, or None.

    `series` holds places in `offered` in the order of the numbers; `moments` the time chosen for each place.
    """
    timed = [at for at in series if (moment := moments[at]) and moment.precision != "day"]
    trusted = _longest_rise(timed, moments)
    counter = any((place := numbered(offered[at])) and place.padded for at in series)
    wrong: dict[int, Moment | None] = {}
    for at in (at for at in timed if at not in trusted):
        moment = moments[at]
        if moment and (counter or _impossible(at, moment, trusted, moments, offered)):
            wrong[at] = _fitting(at, series, trusted, moments, offered)
    for at in series:
        if (moment := moments[at]) and moment.precision == "day":
            before, after = _neighbours(at, series, trusted, moments)
            if (before and moment.day < before.day) or (after and moment.day > after.day):
                wrong[at] = _fitting(at, series, trusted, moments, offered)
    return wrong


def _longest_rise(series: Sequence[int], moments: Sequence[Moment | None]) -> set[int]:
    """The most recordings whose times rise with their numbers.

    Of equally many those within the fewest days, then the later ones: a clock without a battery falls back.
    """
    timed = [(moment.at, at) for at in series if (moment := moments[at])]
    best: list[
        tuple[int, float, int]
    ] = []  # for each as the last: how many, when the first was, the one before
    for place, (when, _) in enumerate(timed):
        chains = [(best[o][0] + 1, best[o][1], o) for o in range(place) if timed[o][0] <= when]
        best.append(max(chains, default=(1, when, -1)))
    last = max(
        range(len(timed)),
        key=lambda p: (best[p][0], (best[p][1] - timed[p][0]) // DAY_S, timed[p][0], p),
        default=-1,
    )
    chain: set[int] = set()
    while last >= 0:
        chain.add(timed[last][1])
        last = best[last][2]
    return chain


def _impossible(
    at: int, moment: Moment, trusted: set[int], moments: Sequence[Moment | None], offered: Sequence[Offered]
) -> bool:
    """Whether a time lies inside another recording of the series, or hours away from all of them."""
    start, end = moment.at, moment.at + offered[at].clue.seconds
    others = [(m.at, m.at + offered[o].clue.seconds, m.precision) for o in trusted if (m := moments[o])]
    for first, last, precision in others:
        slack = max(OVERLAP_SLACK_S[moment.precision], OVERLAP_SLACK_S[precision])
        if min(end, last) - max(start, first) > slack:
            return True
    earliest, latest = min(o[0] for o in others), max(o[1] for o in others)
    return start < earliest - JUMP_S or start > latest + JUMP_S


def _fitting(
    at: int,
    series: Sequence[int],
    trusted: set[int],
    moments: Sequence[Moment | None],
    offered: Sequence[Offered],
) -> Moment | None:
    """The first other time of a recording that lies between those of its neighbours by number."""
    before, after = _neighbours(at, series, trusted, moments)
    for moment in offered[at].moments:
        fits = (not before or moment.at >= before.at) and (not after or moment.at <= after.at)
        near = not before or not after or moment.at <= before.at + JUMP_S or moment.at >= after.at - JUMP_S
        if moment != moments[at] and moment.precision != "day" and fits and near:
            return moment
    return None


def _neighbours(
    at: int, series: Sequence[int], trusted: set[int], moments: Sequence[Moment | None]
) -> tuple[Moment | None, Moment | None]:
    """The trusted times of the nearest recordings by number, before and behind."""
    place = series.index(at)
    before = next((m for o in reversed(series[:place]) if o in trusted and (m := moments[o])), None)
    after = next((m for o in series[place + 1 :] if o in trusted and (m := moments[o])), None)
    return before, after
