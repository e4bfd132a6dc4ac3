"""The date and time that a phone or recorder wrote into a file's name.

A name is local time of the device unless it carries a zone or counts seconds from 1970, which is UTC. Some
names can be read in more than one way: "05-03-2024" is 5 March or 3 May, "240312" is a date or a serial
number. `read_names` therefore decides for all names of a visit at once. The patterns are those of common
recording apps, messengers and recorders, from memory.
"""

from __future__ import annotations

import re
from collections import defaultdict
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Sequence

Precision = Literal["second", "minute", "day"]
# Recorders without a set clock write the first day of their calendar: 1904, 1970, 1980, 1990.
EARLIEST_YEAR = 1995
LATEST_YEAR = 2099
# Four digits behind a date are a time of day, but below this a counter ("240312_0001"): nobody dictates
# before five in the morning. Common practice, no source.
EARLIEST_GLUED = "0500"
MONTHS = (
    *("january", "february", "march", "april", "may", "june"),
    *("july", "august", "september", "october", "november", "december"),
)
# What the numbers of a name may be, likeliest first.
ORDERS = ("YMD", "DMY", "MDY", "month name", "counted", "alone")

_MONTH = rf"(?P<month>{'|'.join(f'{name[:3]}(?:{name[3:]})?' for name in MONTHS)})(?![a-z])"
_YEAR = r"(?:19|20)\d\d"
_NAMED = ("month name",)
_SHORT, _LONG = ("YMD", "DMY", "MDY"), ("DMY", "MDY")
_SIX = r"(?P<a>\d\d)(?P<b>\d\d)(?P<c>\d\d)"
_CLOCK_FOLLOWS = r"(?=(?:[01]\d|2[0-3])[0-5]\d(?:[0-5]\d)?(?!\d))"
# In the order in which they are tried: pattern, what its three numbers may be, and whether it may be no date
# at all (a weak one needs the file's time to agree).
_DATES = [
    (re.compile(pattern, re.IGNORECASE), orders, weak)
    for pattern, orders, weak in (
        (rf"(?<!\d)(?P<a>{_YEAR})(?P<gap>[-_. ]?)(?P<b>\d\d)(?P=gap)(?P<c>\d\d)", ("YMD",), False),
        (rf"(?<!\d)(?P<a>\d\d?)(?P<gap>[-_. ])(?P<b>\d\d?)(?P=gap)(?P<c>{_YEAR})(?!\d)", _LONG, False),
        (rf"(?<!\d)(?P<a>\d\d)(?P<b>\d\d)(?P<c>{_YEAR})(?!\d)", _LONG, False),
        (rf"(?<!\d)(?P<day>\d\d?)[-_. ]?{_MONTH}[-_., ]*(?P<year>(?:20)?\d\d)(?!\d)", _NAMED, False),
        (rf"(?<![a-z]){_MONTH}[-_. ]?(?P<day>\d\d?)(?:st|nd|rd|th)?[-_., ]+(?P<year>20\d\d)", _NAMED, False),
        (r"(?<!\d)(?P<a>\d\d)(?P<gap>[-.])(?P<b>\d\d)(?P=gap)(?P<c>\d\d)(?=[ _T,]+\d)", _SHORT, False),
        (rf"(?<![a-z\d]){_SIX}(?=[-_ T](?:\d{{3,4}}|\d{{6}})(?!\d))", _SHORT, False),
        (rf"(?<!\d){_SIX}{_CLOCK_FOLLOWS}", ("YMD",), True),
        (rf"(?<!\d){_SIX}(?!\d)", _SHORT, True),
    )
]  # fmt: skip
_AFTER = re.compile(
    r"(?P<lead>(?:[ _,T-]|at\b)*)"
    r"(?:(?P<hour>[01]\d|2[0-3])(?P<minute>[0-5]\d)"
    r"(?:(?P<second>[0-5]\d)(?:[-_.]?\d{3})?(?!\d)|(?!\d)(?!\s?[b-oq-z]))"
    r"|(?P<hour2>[01]?\d|2[0-3])[-_.:h ](?P<minute2>[0-5]\d)(?:[-_.:m ](?P<second2>[0-5]\d)s?(?!\d))?(?!\d))"
    r"(?:\s?(?P<half>[ap])\.?m\b)?(?P<zone>Z|[+-](?:0\d|1[0-4]):?(?:00|15|30|45)(?!\d))?",
    re.IGNORECASE,
)
# Before a date, or without one, only what can hardly be anything else: three numbers, "h", or "am" and "pm".
_ALONE = re.compile(
    r"(?<![\d.-])(?P<hour>[01]?\d|2[0-3])"
    r"(?:[-_.:h](?P<minute>[0-5]\d)[-_.:m](?P<second>[0-5]\d)s?(?![\d.-])(?:\s?(?P<half>[ap])\.?m\b)?"
    r"|[-_.:](?P<minute2>[0-5]\d)\s?(?P<half2>[ap])\.?m\b|h(?P<minute3>[0-5]\d)(?!\d))",
    re.IGNORECASE,
)
_COUNTED = re.compile(r"(?<!\d)(?P<count>1\d{12}|1\d{9})(?!\d)")


@dataclass(frozen=True)
class NameTime:
    """One way to read a name.

    `when` has a zone only where the name says so. `order` tells how its numbers were taken; `weak` that it
    may be no date at all. Without a date (`dated` false) `when` is on the first day of the calendar. `rest`
    is the name without its suffix and without what was read.
    """

    when: datetime
    precision: Precision
    order: str
    rest: str
    weak: bool = False
    dated: bool = True


def time_in_name(name: str) -> str | None:
    """The time in one file name as ISO 8601; a date alone where it has no time; None without a date.

    "2024-03-12 09-14-05.m4a" and "20240312_091405.wav" give "2024-03-12T09:14:05".
    """
    (found,) = read_names([name], [None])
    return iso_text(found.when, found.precision) if found else None


def iso_text(when: datetime, precision: Precision) -> str:
    """ISO 8601: in UTC with a "Z" where `when` has a zone, as it stands where not; of a day the date."""
    if precision == "day":
        return when.date().isoformat()
    if when.tzinfo is None:
        return when.isoformat(timespec="seconds")
    return when.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def read_names(names: Sequence[str], hints: Sequence[datetime | None]) -> list[NameTime | None]:
    """What each name says, names of one pattern read in one way.

    `hints` are what else is known of each recording's time, local and without zone, or None. Of several ways
    to read names that one counts that suits most of them; then the one on whose days most hints lie; then the
    one that puts fewest names after their hint; then the one that puts the days closest together; then
    year-month-day before day-month-year before month-day-year.
    """
    ways = [_readings(name) for name in names]
    patterns: dict[int, list[int]] = defaultdict(list)
    for at, (pattern, _) in enumerate(ways):
        patterns[pattern].append(at)
    chosen: list[NameTime | None] = [None] * len(ways)
    for members in patterns.values():
        orders = sorted({r.order for at in members for r in ways[at][1]}, key=ORDERS.index)
        if not orders:
            continue
        best = min(orders, key=lambda order: _badness(order, [(ways[at][1], hints[at]) for at in members]))
        for at in members:
            found = [reading for reading in ways[at][1] if reading.order == best] or ways[at][1]
            chosen[at] = _checked(found[0], hints[at])
    return chosen


def _badness(
    order: str, members: list[tuple[tuple[NameTime, ...], datetime | None]]
) -> tuple[int, int, int, int]:
    """How badly an order of year, month and day suits the names of one pattern: the lowest is best."""
    fitting = [(r, hint) for readings, hint in members for r in readings if r.order == order]
    near = sum(1 for reading, hint in fitting if hint and _same_day(reading, hint))
    late = sum(1 for reading, hint in fitting if hint and _after(reading, hint))
    days = [reading.when.toordinal() for reading, _ in fitting]
    return -len(fitting), -near, late, max(days) - min(days)


def _same_day(reading: NameTime, hint: datetime) -> bool:
    return abs(reading.when.toordinal() - hint.toordinal()) <= 1


def _after(reading: NameTime, hint: datetime) -> bool:
    return reading.when.toordinal() > hint.toordinal() + 1


def _checked(reading: NameTime, hint: datetime | None) -> NameTime | None:
    """The reading, or None where it may be no date and nothing else says that it is one.

    A time of day without a date is put on the hint's day, or the day before where it would come after it.
    """
    if reading.dated:
        return reading if not reading.weak or (hint and _same_day(reading, hint)) else None
    if hint is None:
        return None
    when = datetime.combine(hint.date(), reading.when.time())
    return replace(reading, when=when if when <= hint + timedelta(minutes=1) else when - timedelta(days=1))


def _readings(name: str) -> tuple[int, tuple[NameTime, ...]]:
    """The pattern that fits a name, and the ways to read it in the order of ORDERS; (-1, ()) if none fits."""
    stem = Path(name).stem
    for number, (pattern, orders, weak) in enumerate(_DATES):
        for found in pattern.finditer(stem):
            dates = [(order, day) for order in orders if (day := _date_of(found, order))]
            if dates:
                return number, tuple(_with_time(stem, found, order, day, weak) for order, day in dates)
    if counted := _COUNTED.search(stem):
        seconds = int(counted["count"]) / (1000 if len(counted["count"]) == 13 else 1)
        when = datetime.fromtimestamp(int(seconds), UTC)
        weak = len(counted["count"]) == 10
        return len(_DATES), (NameTime(when, "second", "counted", _without(stem, counted), weak),)
    if (alone := _ALONE.search(stem)) and (clock := _clock(alone)):
        when = datetime.combine(date.min, clock[0])
        return len(_DATES) + 1, (NameTime(when, clock[1], "alone", _without(stem, alone), dated=False),)
    return -1, ()


def _date_of(found: re.Match[str], order: str) -> date | None:
    """The date that a match says when its numbers are taken in this order; None when there is no such day."""
    if order == "month name":
        month = [name[:3] for name in MONTHS].index(found["month"].lower()[:3]) + 1
        year, day = int(found["year"]), int(found["day"])
    else:
        parts = dict(zip(order, (int(found[group]) for group in "abc"), strict=True))
        year, month, day = parts["Y"], parts["M"], parts["D"]
    year += 2000 if year < 100 else 0
    try:
        return date(year, month, day) if EARLIEST_YEAR <= year <= LATEST_YEAR else None
    except ValueError:  # 31 April
        return None


def _with_time(stem: str, found: re.Match[str], order: str, day: date, weak: bool) -> NameTime:
    """The reading of a date with the time of day behind it, or before it, where there is one."""
    after = _AFTER.match(stem, found.end())
    if after and not _is_counter(after) and (clock := _clock(after)):
        when = datetime.combine(day, clock[0])
        zone = after["zone"] if "t" in after["lead"].lower().replace("at", "") else None
        if zone:
            offset = "+0000" if zone.upper() == "Z" else zone.replace(":", "")
            when = datetime.strptime(f"{when:%Y%m%d%H%M%S}{offset}", "%Y%m%d%H%M%S%z")
        end = after.end() if zone or not after["zone"] else after.start("zone")
        return NameTime(when, clock[1], order, f"{stem[: found.start()]} {stem[end:]}", weak)
    before = _ALONE.search(stem[: found.start()])
    if before and (clock := _clock(before)):
        rest = f"{_without(stem[: found.start()], before)} {stem[found.end() :]}"
        return NameTime(datetime.combine(day, clock[0]), clock[1], order, rest, weak)
    return NameTime(datetime.combine(day, time()), "day", order, _without(stem, found), weak)


def _is_counter(found: re.Match[str]) -> bool:
    """Whether four digits behind a date are a running number and no time of day."""
    glued = found["hour"] is not None and found["second"] is None and not found["half"]
    return glued and f"{found['hour']}{found['minute']}" < EARLIEST_GLUED


def _clock(found: re.Match[str]) -> tuple[time, Precision] | None:
    """The time of day in a match of _AFTER or _ALONE, and how exact it is; None if there is no such time."""
    said = {key.rstrip("234"): value for key, value in found.groupdict().items() if value}
    hour = int(said["hour"])
    if said.get("half"):
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if said["half"].lower() == "p" else 0)
    second = said.get("second")
    return time(hour, int(said["minute"]), int(second or 0)), "second" if second else "minute"


def _without(stem: str, found: re.Match[str]) -> str:
    return f"{stem[: found.start()]} {stem[found.end() :]}"
