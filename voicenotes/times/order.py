"""The order of a visit's recordings, and when each was made.

Recordings follow their times. Equal times, and recordings without any, go by name in natural order: one
without a time stands behind the one before it in its numbered series, else behind the one before it by name.
A recording with a date alone stands in the same way among those of its day. The order doesn't depend on the
order in which the recordings are listed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from voicenotes.files import natural_key, shown_name
from voicenotes.times.series import off_the_clock, series_of
from voicenotes.times.sources import Clue, Moment, Offered, offers_of

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import tzinfo
    from pathlib import Path

    from voicenotes.model import TimeSource

MOST_NAMES = 3


@dataclass(frozen=True)
class Placed:
    """A recording in its place: when it began (ISO 8601; None where nothing tells), and what says so."""

    path: Path
    recorded_at: str | None
    recorded_at_from: TimeSource | None


@dataclass(frozen=True)
class InOrder:
    """A visit's recordings in the order in which they were made; `note` is one line for the user, or None."""

    recordings: tuple[Placed, ...]
    note: str | None = None


def clue_of(path: Path, seconds: float = 0.0, container: str | None = None) -> Clue:
    """What is known of the time of a file: its name, its own time, and what its container said (ISO 8601).

    `seconds` is the recording's length; 0 for a ready transcript, whose file tells when it was written.
    """
    try:
        modified = path.stat().st_mtime
    except OSError:
        modified = None
    return Clue(path, seconds, container, modified)


def in_order(clues: Sequence[Clue], zone: tzinfo | None = None) -> InOrder:
    """Recordings in the order in which they were made, each with its time and what that time is from.

    `zone` stands in for the zone of this machine, which counts where nothing else tells the zone of a name.
    """
    offered = offers_of(sorted(clues, key=lambda clue: natural_key(clue.path.name)), zone)
    moments: list[Moment | None] = [one.moments[0] if one.moments else None for one in offered]
    series = series_of(offered)
    wrong: dict[int, Moment | None] = {}
    for numbers in series:
        wrong |= off_the_clock(numbers, moments, offered)
    for at, better in wrong.items():
        moments[at] = better
    places = _placed(moments, series)
    placed = [
        Placed(offered[at].clue.path, moment.text if moment else None, moment.source if moment else None)
        for at in places
        for moment in [moments[at]]
    ]
    return InOrder(tuple(placed), _note(offered, moments, [at for at in places if at in wrong]))


def _placed(moments: Sequence[Moment | None], series: Sequence[Sequence[int]]) -> list[int]:
    """The order of recordings given in natural order of their names; `moments` holds the time of each."""
    rank = {at: (number, place) for number, members in enumerate(series) for place, at in enumerate(members)}
    by_time = sorted((moment.at, at) for at, moment in enumerate(moments) if moment)
    timed_days = {moment.day for moment in moments if moment and moment.precision != "day"}
    bare = {at for at, m in enumerate(moments) if m and m.precision == "day" and m.day in timed_days}
    order = [at for _, at in by_time if at not in bare]
    waiting = sorted(
        (*bare, *(at for at, moment in enumerate(moments) if not moment)), key=lambda at: _turn(at, rank)
    )
    for at in waiting:
        moment = moments[at]
        pool = [o for o in order if not moment or ((m := moments[o]) and m.day == moment.day)]
        order.insert(_place_for(at, pool, order, rank), at)
    return order


def _turn(at: int, rank: dict[int, tuple[int, int]]) -> tuple[int, int, int]:
    number, place = rank.get(at, (-1, 0))
    return number, place, at


def _place_for(at: int, pool: Sequence[int], order: Sequence[int], rank: dict[int, tuple[int, int]]) -> int:
    """Where to put a recording in `order`, going by those of `pool`: by its series, else by its name."""
    number, place = rank.get(at, (-1, 0))
    kin = [o for o in pool if number >= 0 and rank.get(o, (-1, 0))[0] == number]
    before = [o for o in kin if rank[o][1] < place]
    if before:
        return order.index(max(before, key=lambda o: rank[o][1])) + 1
    if kin:
        return order.index(min(kin, key=lambda o: rank[o][1]))
    before = [o for o in pool if o < at]
    if before:
        return order.index(max(before)) + 1
    return order.index(pool[0]) if pool else 0


def _note(offered: Sequence[Offered], moments: Sequence[Moment | None], wrong: Sequence[int]) -> str | None:
    """One line on what was not believed; None where every time was."""
    parts = []
    if wrong:
        stand = "it stands where the number in its name puts it" if len(wrong) == 1 else (
            "they stand where the numbers in their names put them"
        )  # fmt: skip
        names = _names([offered[at].clue.path for at in wrong])
        parts.append(f"The recorder's clock was wrong for {names}; {stand}.")
    copies = [at for at, one in enumerate(offered) if one.unreal and moments[at] is None and at not in wrong]
    if copies:
        names = _names([offered[at].clue.path for at in copies])
        parts.append(f"Nothing but the time of copying is known of {names}; in order of their names.")
    return " ".join(parts) or None


def _names(paths: Sequence[Path]) -> str:
    names = [shown_name(path) for path in paths]
    return ", ".join(names[:MOST_NAMES]) + (
        f" and {len(names) - MOST_NAMES} more" if len(names) > MOST_NAMES else ""
    )
