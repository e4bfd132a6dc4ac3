"""What may tell when a recording was made, as moments that can be compared; what can't be is left out.

Three sources, in this order: the container's metadata, a time in the file's name, the file's own time. A
container's time counts as the start (some phones write the end: this decides nothing but equal quarter
hours below). A file's time marks the end of the recording: the start is that less its length.

Left out are: anything before 1995 (clocks that were never set); a container's time more than a day after
the file's own; times of a copy or an export, which follow each other faster than the recordings last.
Exactly midnight is what writers put who know the day alone, or not even that: it counts as a date without
a time, and in a container only where nothing else tells.

Names are local time, containers mostly UTC. The distance is inferred from the recordings that have both:
the nearest quarter hour, the majority of that day, else the majority of all; then in the same way from
names and file times, where more than half agree to two minutes; else the zone of this machine counts. Where a
recording's own pair lies one hour from that, the pair counts: a clock was put forward or back.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from functools import partial
from itertools import pairwise
from typing import TYPE_CHECKING

from voicenotes.times.name_times import EARLIEST_YEAR, NameTime, Precision, iso_text, read_names

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from voicenotes.model import TimeSource

QUARTER_S = 900
# How far a pair of times may lie from a quarter hour: seconds lost by saving, clocks a minute off. Common
# practice, no source.
PAIR_SLACK_S = 120
# The zones of the world: UTC-12:00 to UTC+14:00.
LOWEST_OFFSET_S, HIGHEST_OFFSET_S = -12 * 3600, 14 * 3600
HOUR_S, DAY_S = 3600, 86_400
# File times are kept to 2 s on memory cards (FAT).
FILE_TIME_SLACK_S = 2
# So many recordings that follow each other too fast are no accident, unless they are all there are.
FEWEST_COPIES = 3


@dataclass(frozen=True)
class Clue:
    """What is known of a recording: its file, its length, the container's time and the file's.

    `container` is ISO 8601, with a zone or without (local), or a date alone; `modified` seconds since 1970. A
    transcript that was there already has `seconds` 0: its file's time says nothing of the length.
    """

    path: Path
    seconds: float = 0.0
    container: str | None = None
    modified: float | None = None


@dataclass(frozen=True)
class Moment:
    """A time that a source gives: as text for the record, and as seconds since 1970 to compare.

    `day` is the local date. A moment of precision "day" is at its local midnight.
    """

    text: str
    at: float
    day: date
    precision: Precision
    source: TimeSource


@dataclass(frozen=True)
class Offered:
    """The moments that a recording's sources offer, first choice first; what its name says beside a time.

    `unreal` tells that its container's or its file's time was left out as that of a copy.
    """

    clue: Clue
    moments: tuple[Moment, ...]
    rest: str
    dated: bool
    unreal: bool = False


def offers_of(clues: Sequence[Clue], zone: tzinfo | None = None) -> list[Offered]:
    """The plausible moments of each recording; `zone` stands in for this machine's (None: this machine's)."""
    files = [_file_time(clue) for clue in clues]
    containers = [_container_time(clue, file) for clue, file in zip(clues, files, strict=True)]
    lengths = [clue.seconds for clue in clues]
    copies = _copies(files, lengths, ends=True)
    files = [None if at in copies else file for at, file in enumerate(files)]
    utc = [when if when and when.tzinfo else None for when in containers]
    exported = _copies([when if _timed(when) else None for when in containers], lengths, ends=False)
    hints = [_local(when or file, zone) for when, file in zip(containers, files, strict=True)]
    names = read_names([clue.path.name for clue in clues], hints)
    clocks = _clocks(names, utc, files, lengths, zone)
    offered = []
    for at, clue in enumerate(clues):
        moments = []
        if (when := containers[at]) and at not in exported:
            moments.append(_moment(when, "second", "container", partial(clocks.ahead, at)))
        if name := names[at]:
            moments.append(_moment(name.when, name.precision, "file name", partial(clocks.ahead, at)))
        if file := files[at]:
            moments.append(_moment(file, "second", "file time", partial(clocks.ahead, at)))
        rest = name.rest if name else clue.path.stem
        dated = name is not None and name.dated and name.precision == "day"
        unset = "T" in (clue.container or "") and not _timed(containers[at])
        offered.append(Offered(clue, _ranked(moments, unset), rest, dated, at in copies or at in exported))
    return offered


def _ranked(moments: Sequence[Moment], unset: bool) -> tuple[Moment, ...]:
    """Moments with a time of day before bare dates; a file's time only on the day that a bare date gives.

    `unset`: the container says midnight, which a clock shows that was never set; so its date comes last.
    """
    if unset:
        last = [m for m in moments if m.source == "container"]
        return (*_ranked([m for m in moments if m not in last], False), *last)
    timed = [m for m in moments if m.precision != "day"]
    dates = [m for m in moments if m.precision == "day"]
    if dates:
        timed = [m for m in timed if m.source != "file time" or abs((m.day - dates[0].day).days) < 1]
    return (*timed, *dates)


def _file_time(clue: Clue) -> datetime | None:
    """When the recording in a file began, by the file's own time; None where that can't be."""
    if clue.modified is None:
        return None
    try:
        when = datetime.fromtimestamp(int(clue.modified - clue.seconds), UTC)
    except (ValueError, OverflowError, OSError):
        return None
    return when if when.year >= EARLIEST_YEAR else None


def _container_time(clue: Clue, file: datetime | None) -> datetime | None:
    """The container's time; None where it can't be read, or can't be."""
    try:
        when = datetime.fromisoformat(clue.container or "")
    except ValueError:
        return None
    if when.year < EARLIEST_YEAR:
        return None
    if file and when.replace(tzinfo=when.tzinfo or UTC) > file + timedelta(seconds=DAY_S + clue.seconds):
        return None
    return when.astimezone(UTC) if when.tzinfo else when


def _timed(when: datetime | None) -> bool:
    return when is not None and when.time() != time()


def _local(when: datetime | None, zone: tzinfo | None) -> datetime | None:
    return when.astimezone(zone).replace(tzinfo=None) if when and when.tzinfo else when


def _copies(times: Sequence[datetime | None], lengths: Sequence[float], *, ends: bool) -> set[int]:
    """Which times follow each other faster than the recordings last, so that they are those of a copy.

    One device records one thing at a time. `ends`: the times were reckoned back from the end, so each must
    come after the one before it is over; else they may be starts or ends, and the shorter length counts.
    """
    known = [(when.replace(tzinfo=UTC).timestamp(), at) for at, when in enumerate(times) if when]
    known = sorted((start + (lengths[at] if ends else 0.0), at) for start, at in known)
    found: set[int] = set()
    run: list[int] = [at for _, at in known[:1]]
    for (before, first), (after, second) in [*pairwise(known), ((0.0, -1), (0.0, -1))]:
        length = 0.0 if second < 0 else lengths[second] if ends else min(lengths[first], lengths[second])
        if second >= 0 and after - before < length - FILE_TIME_SLACK_S:
            run.append(second)
            continue
        if len(run) >= FEWEST_COPIES or (len(run) == len(known) > 1):
            found.update(run)
        run = [second]
    return found


def _moment(
    when: datetime, precision: Precision, source: TimeSource, offset: Callable[[datetime], float]
) -> Moment:
    """A time as a moment; `offset` gives the seconds that local time is ahead of UTC."""
    if precision != "day" and not _timed(when):
        precision, when = "day", when.replace(tzinfo=None)
    ahead = offset(when)
    at = when.timestamp() if when.tzinfo else when.replace(tzinfo=UTC).timestamp() - ahead
    day = datetime.fromtimestamp(at + ahead, UTC).date()
    return Moment(iso_text(when, precision), at, day, precision, source)


@dataclass(frozen=True)
class _Clocks:
    """How far the clocks of the devices were ahead of UTC, in seconds.

    `own` is what each recording's own pair of times says, `by_day` what those of a day say, `usual` all.
    """

    own: tuple[int | None, ...]
    by_day: dict[date, int]
    usual: int | None
    zone: tzinfo | None

    def ahead(self, at: int, when: datetime) -> int:
        """For recording number `at` at a time, local or with a zone."""
        common = self.by_day.get(when.date(), self.usual)
        if common is None:
            local = (
                when.astimezone(self.zone) if when.tzinfo or not self.zone else when.replace(tzinfo=self.zone)
            )
            common = round((local.utcoffset() or timedelta()).total_seconds())
        own = self.own[at]
        return own if own is not None and abs(own - common) == HOUR_S else common


def _clocks(
    names: Sequence[NameTime | None],
    containers: Sequence[datetime | None],
    files: Sequence[datetime | None],
    lengths: Sequence[float],
    zone: tzinfo | None,
) -> _Clocks:
    local = [n.when if n and n.precision != "day" and n.when.tzinfo is None else None for n in names]
    utc = [when if _timed(when) else None for when in containers]
    pairs = [_ahead(*three) for three in zip(local, utc, lengths, strict=True)]
    if not any(ahead is not None for ahead in pairs):
        pairs = [_ahead(*two, 0.0) for two in zip(local, files, strict=True)]
        most = max(Counter(ahead for ahead in pairs if ahead is not None).values(), default=0)
        if most < 2 or 2 * most <= sum(1 for two in zip(local, files, strict=True) if all(two)):
            pairs = [None] * len(pairs)
    by_day: dict[date, Counter[int]] = {}
    for when, ahead in zip(local, pairs, strict=True):
        if when and ahead is not None:
            by_day.setdefault(when.date(), Counter())[ahead] += 1
    days = {day: _majority(votes) for day, votes in by_day.items()}
    usual = _majority(sum(by_day.values(), Counter())) if by_day else None
    return _Clocks(tuple(pairs), days, usual, zone)


def _ahead(local: datetime | None, utc: datetime | None, seconds: float) -> int | None:
    """Seconds that a local time is ahead of UTC, to the quarter hour; None where they don't match.

    `utc` is the start of the recording, or its end, `seconds` later.
    """
    if local is None or utc is None:
        return None
    distance = (local.replace(tzinfo=UTC) - utc).total_seconds()
    best = min((distance, distance + seconds), key=lambda d: (abs(d - QUARTER_S * round(d / QUARTER_S)), d))
    ahead = QUARTER_S * round(best / QUARTER_S)
    fits = abs(best - ahead) <= PAIR_SLACK_S and LOWEST_OFFSET_S <= ahead <= HIGHEST_OFFSET_S
    return ahead if fits else None


def _majority(votes: Counter[int]) -> int:
    """The commonest; of equals the lowest."""
    return min(votes, key=lambda ahead: (-votes[ahead], ahead))
