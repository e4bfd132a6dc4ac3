"""Times in file names, as phones, recorders and messengers write them.

The patterns are from memory; each line of a table is a name and what a person would read in it.
"""

from __future__ import annotations

from datetime import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from voicenotes.times.name_times import read_names, time_in_name

NAMES = [
    # year first, with all kinds of separators
    ("2024-03-12 09-14-05.m4a", "2024-03-12T09:14:05"),
    ("20240312_091405.wav", "2024-03-12T09:14:05"),
    ("20240312-091405.wav", "2024-03-12T09:14:05"),
    ("20240312091405.amr", "2024-03-12T09:14:05"),
    ("20240312091405123.m4a", "2024-03-12T09:14:05"),
    ("20240312_091405.123.m4a", "2024-03-12T09:14:05"),
    ("2024_03_12_09_14_05.mp3", "2024-03-12T09:14:05"),
    ("Recording 2024.03.12 09.14.mp3", "2024-03-12T09:14:00"),
    ("memo_2024-03-12T09:14:05.ogg", "2024-03-12T09:14:05"),
    ("2024-03-12_09h14m05s.wav", "2024-03-12T09:14:05"),
    ("2024-03-12 9h14.wav", "2024-03-12T09:14:00"),
    ("audio_2024-03-12_09-14-05.ogg", "2024-03-12T09:14:05"),
    ("message-2024-03-12-091405.aac", "2024-03-12T09:14:05"),
    ("REC0004_20240312_091405.wav", "2024-03-12T09:14:05"),
    ("20240312 091405-spindle.wav", "2024-03-12T09:14:05"),
    ("20240312-091405-0001.wav", "2024-03-12T09:14:05"),
    # twelve hours
    ("Audio 2024-03-12 at 9.14.05 PM.opus", "2024-03-12T21:14:05"),
    ("2024-03-12 12.05 AM.m4a", "2024-03-12T00:05:00"),
    ("2024-03-12 12.05 pm.m4a", "2024-03-12T12:05:00"),
    ("Mar 12, 2024 at 2.14 PM.m4a", "2024-03-12T14:14:00"),
    ("12 Mar 2024, 9.14 am.m4a", "2024-03-12T09:14:00"),
    ("12 March 2024 09.14.m4a", "2024-03-12T09:14:00"),
    ("12Mar24_0914.wav", "2024-03-12T09:14:00"),
    # a zone, and seconds or milliseconds since 1970
    ("20240312T091405Z.wav", "2024-03-12T09:14:05Z"),
    ("20240312T111405+0200.wav", "2024-03-12T09:14:05Z"),
    ("1710234845123.m4a", "2024-03-12T09:14:05Z"),
    ("recording-1710234845123.3gp", "2024-03-12T09:14:05Z"),
    # day first, and two-digit years
    ("12-03-2024 09.14.05.wav", "2024-03-12T09:14:05"),
    ("20032024 0914.wav", "2024-03-20T09:14:00"),
    ("13.03.2024.wav", "2024-03-13"),
    ("240312_0914.mp3", "2024-03-12T09:14:00"),
    ("24-03-12 09-14-05.wav", "2024-03-12T09:14:05"),
    ("Voice 9h14 12-03-2024.wav", "2024-03-12T09:14:00"),
    # a date and a counter, or no time
    ("240312_001.wav", "2024-03-12"),
    ("240312_0001.wav", "2024-03-12"),
    ("20240312_0001.wav", "2024-03-12"),
    ("AUD-20240312-WA0007.opus", "2024-03-12"),
    ("2024-03-12 spindle.wav", "2024-03-12"),
    ("2024-03-12 120 psi.wav", "2024-03-12"),
    ("2024-03-12 1250 rpm.wav", "2024-03-12"),
    # no time at all
    ("2024-02-31 09-14-05.wav", None),
    ("serial 120240312.wav", None),
    ("serial 240312.wav", None),
    ("0301234567.wav", None),
    ("3 marks 20.wav", None),
    ("19040101_000000.wav", None),
    ("memo 7.wav", None),
    ("Recording (3).m4a", None),
    ("REC0004.wav", None),
    ("unit 12.30.wav", None),
    ("ISO 10816-3.wav", None),
]


@pytest.mark.parametrize(("name", "when"), NAMES)
def test_time_in_a_name(name: str, when: str | None) -> None:
    assert time_in_name(name) == when


def at(*numbers: int) -> datetime:
    return datetime(*numbers)  # type: ignore[arg-type]


# What the names of a visit say together; hints are times known from elsewhere.
TOGETHER = [
    ("a day over twelve settles it for all", ["05-03-2024.wav", "13-03-2024.wav"], [None, None], [5, 13]),
    ("a month over twelve too", ["03-05-2024.wav", "03-13-2024.wav"], [None, None], [5, 13]),
    ("days of one visit lie close together", ["03-05-2024.wav", "03-06-2024.wav"], [None, None], [5, 6]),
    ("so they do with the day first", ["05-03-2024.wav", "06-03-2024.wav"], [None, None], [5, 6]),
    ("a file's time decides", ["03-05-2024.wav"], [at(2024, 3, 5, 11)], [5]),
    ("unless it is that of a later copy", ["05-03-2024.wav"], [at(2024, 9, 9, 11)], [5]),
    ("six digits are a date if the file agrees", ["memo 240312.wav"], [at(2024, 3, 12, 9)], [12]),
    ("and else none", ["memo 240312.wav"], [at(2024, 6, 12, 9)], [None]),
    ("ten digits as well", ["1710234845.amr"], [at(2024, 3, 12, 10)], [12]),
    ("year, month, day, hour and minute", ["2403120914.amr"], [at(2024, 3, 12, 10)], [12]),
    ("a time without a date is on the file's day", ["09-14-05.wav"], [at(2024, 3, 12, 9, 15)], [12]),
    ("or the day before", ["23.50.00.wav"], [at(2024, 3, 12, 0, 20)], [11]),
    ("2.14 PM too", ["Memo 2.14 PM.wav"], [at(2024, 3, 12, 14, 14)], [12]),
    ("and without a file's time nothing", ["09-14-05.wav"], [None], [None]),
]  # fmt: skip


@pytest.mark.parametrize(("why", "names", "hints", "days"), TOGETHER, ids=[case[0] for case in TOGETHER])
def test_names_read_together(
    why: str, names: list[str], hints: list[datetime | None], days: list[int | None]
) -> None:
    found = read_names(names, hints)
    assert [one.when.day if one else None for one in found] == days
    assert all(one.when.month == 3 and one.when.year == 2024 for one in found if one)


@pytest.mark.parametrize(
    ("name", "rest"),
    [
        ("REC0004_20240312_091405.wav", "REC0004_ "),
        ("20240312_091405.wav", " "),
        ("240312_001.wav", " _001"),
        ("Recording (3).m4a", None),
    ],
)
def test_what_is_left_of_a_name(name: str, rest: str | None) -> None:
    (found,) = read_names([name], [None])
    assert (found.rest if found else None) == rest


FORMATS = [
    "%Y-%m-%d %H-%M-%S",
    "%Y%m%d_%H%M%S",
    "memo %Y.%m.%d %H.%M.%S",
    "%d %b %Y %I.%M.%S %p",
    "%Y%m%dT%H%M%S",
]


@given(st.datetimes(at(2000, 1, 1), at(2090, 1, 1)), st.sampled_from(FORMATS))
def test_every_time_written_is_read_back(when: datetime, form: str) -> None:
    exact = when.replace(microsecond=0)
    assert time_in_name(f"{exact.strftime(form)}.wav") == exact.isoformat()


@given(st.text(max_size=60))
def test_no_name_breaks_it(name: str) -> None:
    read_names([name, f"{name}.wav"], [None, at(2024, 3, 12)])
