"""The order of recordings and their times: tables of visits, and recorders simulated with their faults."""

from __future__ import annotations

import random
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from voicenotes.times.order import Clue, InOrder, in_order

ZURICH = ZoneInfo("Europe/Zurich")
OLD, DAY, AT_10_14, MESSAGE = "2010-01-01", "2024-03-12", "20240312_1014.m4a", "AUD-20240312-WA0007.opus"


def stamp(text: str) -> float:
    """Seconds since 1970 of a UTC time; a time of day alone is on 2024-03-12."""
    return (
        datetime.fromisoformat(text if "-" in text else f"2024-03-12T{text}").replace(tzinfo=UTC).timestamp()
    )


def clue(name: str, seconds: float = 60.0, container: str | None = None, file: str | None = None) -> Clue:
    """A recording; a time of day alone is on 2024-03-12, in the container in UTC."""
    if container and "-" not in container:
        container = f"2024-03-12T{container}Z"
    return Clue(Path("visit") / name, seconds, container, stamp(file) if file else None)


def names_of(found: InOrder) -> list[str]:
    return [one.path.name for one in found.recordings]


def ordered(*clues: Clue) -> list[str]:
    return names_of(in_order(clues, ZURICH))


# --- where the time of one recording is from


SOURCES = [
    ("the container first", clue("2024-03-12 11-00-00.m4a", container="09:14:05"), "09:14:05Z", "container"),
    ("then the name", clue("2024-03-12 10-14-05.m4a", file="15:00:00"), "10:14:05", "file name"),
    ("then the file, less the length", clue("a.m4a", 65, file="09:15:10"), "09:14:05Z", "file time"),
    ("nothing", clue("a.m4a"), None, None),
    ("a container without a zone", clue("a.wav", container=f"{DAY}T10:14:05"), "10:14:05", "container"),
    ("another zone", clue("a.wav", container=f"{DAY}T10:14:05+01:00"), "09:14:05Z", "container"),
    ("a container of 1904", clue("a.m4a", 0, "1904-01-01T00:00:00Z", "09:14:05"), "09:14:05Z", "file time"),
    ("a container of 1970", clue("a.m4a", container="1970-01-01T00:03:00Z"), None, None),
    ("a file of 1980", clue("a.m4a", file="1980-01-01T00:00:00"), None, None),
    ("one after the file", clue(AT_10_14, 0, "2031-01-01T05:00:00Z", "09:14:05"), "10:14:00", "file name"),
    ("one that can't be read", clue(AT_10_14, container="soon-"), "10:14:00", "file name"),
    ("a container's midnight", clue(AT_10_14, container="00:00:00"), "10:14:00", "file name"),
    ("its midnight, a later file", clue("a.m4a", 0, f"{OLD}T00:00Z", "09:14:05"), "09:14:05Z", "file time"),
    ("its midnight, nothing else", clue("a.m4a", container="00:00:00"), "", "container"),
    ("its date, a file of that day", clue("a.mp3", 0, DAY, "09:14:05"), "09:14:05Z", "file time"),
    ("its date, a later file", clue("a.mp3", 0, DAY, "2024-04-01T08:00:00"), "", "container"),
    ("a name's date, a file of that day", clue(MESSAGE, file="09:15:05"), "09:14:05Z", "file time"),
    ("a name's date, a later file", clue(MESSAGE, file="2024-03-20T08:00:00"), "", "file name"),
    ("a name's time, the file's date", clue("10-14-05.wav", file="09:15:05"), "10:14:05", "file name"),
    ("milliseconds since 1970", clue("1710234845123.m4a"), "09:14:05Z", "file name"),
]  # fmt: skip


@pytest.mark.parametrize(("why", "given_clue", "when", "source"), SOURCES, ids=[case[0] for case in SOURCES])
def test_where_a_time_is_from(why: str, given_clue: Clue, when: str | None, source: str | None) -> None:
    (placed,) = in_order([given_clue], ZURICH).recordings
    full = when if when is None else f"{DAY}T{when}".rstrip("T")
    assert (placed.recorded_at, placed.recorded_at_from) == (full, source)


# --- the order of several, each table in the true order


ORDERS = {
    "by time, whatever the names": [clue("z.m4a", container="09:00:00"), clue("a.m4a", container="09:05:00")],
    "equal times go by name, as numbers": [
        clue("memo 2.m4a", container="09:00:00"),
        clue("memo 10.m4a", container="09:00:00"),
    ],
    "no times at all": [clue("memo 2.txt"), clue("memo 10.txt"), clue("Memo 11.txt")],
    "one without a time stands by its number": [
        clue("memo 1.m4a", container="09:00:00"),
        clue("memo 2.m4a"),
        clue("memo 3.m4a", container="09:10:00"),
    ],
    "the first without a time too": [clue("memo 1.m4a"), clue("memo 2.m4a", container="09:00:00")],
    "minutes, and the counter of a messenger": [
        clue("AUD-20240312-WA0002.opus"),
        clue("AUD-20240312-WA0010.opus"),
        clue("AUD-20240313-WA0001.opus"),
    ],
    "local names and UTC containers, by the zone of the machine": [
        clue("20240312_095900.wav"),
        clue("a.m4a", container="09:00:00"),
        clue("20240312_100100.wav"),
    ],
    "local names and UTC containers, by those that have both": [
        clue("20240312_165900.wav"),
        clue("a.m4a", container="09:00:00"),
        clue("20240312_170100.m4a", container="09:01:00"),
        clue("20240312_170200.wav"),
        clue("20240312_170300.m4a", 200, container="09:06:20"),
    ],
    "half-hour zones": [
        clue("20240312_142900.wav"),
        clue("a.m4a", container="09:00:00"),
        clue("20240312_143100.m4a", container="09:01:00"),
    ],
    "local names and file times": [
        clue("20240312_165900.wav", file="09:00:01"),
        clue("a.m4a", 30, file="09:01:30"),
        clue("20240312_170300.wav", file="09:04:02"),
    ],
    "clocks put back an hour for the winter, by the file times": [
        clue("2024-10-27 02-30-00.wav", file="2024-10-27T00:31:00"),
        clue("2024-10-27 02-55-00.wav", file="2024-10-27T00:56:00"),
        clue("2024-10-27 02-10-00.wav", file="2024-10-27T01:11:00"),
    ],
    "a file time marks the end": [clue("b.wav", 600, file="09:20:00"), clue("a.wav", 30, file="09:25:00")],
    "times of a copy, so by name": [
        clue("memo 1.wav", file="12:00:02"),
        clue("memo 2.wav", file="12:00:00"),
        clue("memo 10.wav", file="12:00:01"),
    ],
    "one memo of another place in between": [
        clue("Shop Street 1.m4a", container="09:00:00"),
        clue("New Recording 8.m4a", container="09:05:00"),
        clue("Shop Street 2.m4a", container="09:10:00"),
    ],
    "a clock reset midway": [
        *(clue(f"REC{number:04}.wav", container=f"09:0{number}:00") for number in range(1, 6)),
        *(clue(f"REC{number:04}.wav", container=f"2010-01-01T00:0{number}:00Z") for number in range(6, 9)),
    ],
    "one recording in the future": [
        clue("memo 1.m4a", container="09:00:00"),
        clue("memo 2.m4a", container="2036-01-01T05:00:00Z"),
        clue("memo 3.m4a", container="09:10:00"),
    ],
    "a counter's clock put back twenty minutes": [
        clue("REC0001.wav", container="09:00:00"),
        clue("REC0002.wav", container="09:40:00"),
        clue("REC0003.wav", container="09:25:00"),
    ],
    "a memo inside another one can't be": [
        clue("memo 1.m4a", container="09:00:00"),
        clue("memo 2.m4a", 600, container="09:20:00"),
        clue("memo 3.m4a", container="09:25:00"),
        clue("memo 4.m4a", container="09:21:00"),
        clue("memo 5.m4a", container="09:50:00"),
    ],
    "a transcript typed the day after": [
        clue("memo 1.m4a", container="09:00:00"),
        clue("memo 2.txt", 0, file="2024-03-13T20:00:00"),
        clue("memo 3.m4a", container="09:10:00"),
    ],
    "a deleted memo's number given again": [
        clue("memo 1.m4a", container="09:00:00"),
        clue("memo 3.m4a", container="09:10:00"),
        clue("memo 2.m4a", container="09:20:00"),
        clue("memo 4.m4a", container="09:30:00"),
    ],
    "a counter that starts anew": [
        clue("REC9998.wav", container="09:00:00"),
        clue("REC9999.wav", container="09:10:00"),
        clue("REC0001.wav", container="09:20:00"),
        clue("REC0002.wav"),
    ],
    "a date alone among times of its day": [
        clue("240312_001.wav", container="09:00:00"),
        clue("240312_002.wav"),
        clue("240312_003.wav", container="09:10:00"),
        clue("240313_001.wav"),
    ],
}  # fmt: skip


@pytest.mark.parametrize("why", ORDERS)
def test_order(why: str) -> None:
    clues = ORDERS[why]
    true = [one.path.name for one in clues]
    assert ordered(*clues) == true
    assert ordered(*reversed(clues)) == true


def test_a_note_tells_of_copies() -> None:
    found = in_order([clue(f"{name}.wav", file=f"12:00:0{at}") for at, name in enumerate("cab")], ZURICH)
    assert names_of(found) == ["a.wav", "b.wav", "c.wav"]
    assert found.note == (
        "Nothing but the time of copying is known of a.wav, b.wav, c.wav; in order of their names."
    )
    assert all(one.recorded_at is None for one in found.recordings)


def test_an_export_of_all_memos_is_a_copy_too() -> None:
    clues = [clue(f"memo {n}.m4a", container=f"12:00:0{9 - n}", file=f"09:1{n}:05") for n in range(1, 5)]
    found = in_order(clues, ZURICH)
    assert [(one.path.name, one.recorded_at_from) for one in found.recordings] == [
        (f"memo {n}.m4a", "file time") for n in range(1, 5)
    ]
    assert found.note is None


def test_a_note_tells_of_a_clock_that_jumped() -> None:
    found = in_order(ORDERS["a clock reset midway"], ZURICH)
    assert found.note == (
        "The recorder's clock was wrong for REC0006.wav, REC0007.wav, REC0008.wav; "
        "they stand where the numbers in their names put them."
    )
    assert [one.recorded_at for one in found.recordings][4:] == ["2024-03-12T09:05:00Z", None, None, None]


def test_the_next_source_may_be_right() -> None:
    clues = [
        clue("REC0001.m4a", container="09:00:00"),
        clue("REC0002.m4a", container="2010-01-01T05:00:00Z", file="09:06:00"),
        clue("REC0003.m4a", container="09:10:00"),
    ]
    found = in_order(clues, ZURICH)
    assert [one.recorded_at_from for one in found.recordings] == ["container", "file time", "container"]
    assert found.recordings[1].recorded_at == "2024-03-12T09:05:00Z"
    assert found.note == (
        "The recorder's clock was wrong for REC0002.m4a; it stands where the number in its name puts it."
    )


def test_believed_times_need_no_note() -> None:
    clues = ORDERS["a deleted memo's number given again"] + ORDERS["half-hour zones"]
    assert in_order(clues, ZURICH).note is None


# --- properties


CONTAINERS = ["2024-03-12T09:00:00Z", "2024-03-12T10:00:00", "2024-03-12", "1904-01-01T00:00:00Z", "x", None]
NAMES = ["memo", "REC", "2024-03-12 10-0", "240312_00", "Recording (", "20240312_10000", "09-14-0"]
ANY_CLUE = st.builds(
    lambda name, number, padded, seconds, container, file: Clue(
        Path(f"{name}{number:04}.wav" if padded else f"{name}{number}.m4a"), seconds, container, file
    ),
    st.sampled_from(NAMES),
    st.integers(0, 12),
    st.booleans(),
    st.floats(0, 4000),
    st.sampled_from(CONTAINERS)
    | st.datetimes(datetime(2024, 3, 11), datetime(2024, 3, 13)).map(lambda when: when.isoformat() + "Z"),
    st.none() | st.floats(stamp("00:00:00"), stamp("23:00:00")) | st.floats(),
)


@given(
    st.lists(ANY_CLUE, max_size=12, unique_by=lambda one: one.path.name), st.randoms(use_true_random=False)
)
@settings(max_examples=300, deadline=None)
def test_any_listing_gives_the_same_order(clues: list[Clue], shuffler: random.Random) -> None:
    found = in_order(clues, ZURICH)
    mixed = list(clues)
    shuffler.shuffle(mixed)
    assert in_order(mixed, ZURICH) == found
    assert sorted(names_of(found)) == sorted(one.path.name for one in clues)
    assert all((one.recorded_at is None) == (one.recorded_at_from is None) for one in found.recordings)


@st.composite
def recorders(draw: st.DrawFn) -> tuple[list[Clue], int]:
    """A recorder with a counter whose clock is set wrong, by more than half a day, from some recording on.

    Returns its recordings in their true order and how many are timed wrong at most.
    """
    count = draw(st.integers(3, 15))
    now = datetime(2024, 3, 12, 7, tzinfo=UTC)
    wrong_from, wrong_to = sorted((draw(st.integers(0, count)), draw(st.integers(0, count))))
    # Back by up to twenty years, or forward by up to ten; a clock far ahead is put right again.
    jump = timedelta(hours=draw(st.integers(-20 * 8766, -12) | st.integers(12, 10 * 8766)))
    clues = []
    for number in range(count):
        seconds = draw(st.integers(2, 600))
        shown = now + jump if wrong_from <= number < wrong_to else now
        where = draw(st.sampled_from(["container", "file", "none"]))
        container = shown.isoformat() if where == "container" else None
        file = (shown + timedelta(seconds=seconds)).timestamp() if where == "file" else None
        clues.append(Clue(Path(f"REC{number + 1:04}.wav"), seconds, container, file))
        now += timedelta(seconds=seconds + draw(st.integers(5, 900)))
    return clues, wrong_to - wrong_from


@given(recorders(), st.randoms(use_true_random=False))
@settings(max_examples=300, deadline=None)
def test_the_true_order_of_a_recorder_whose_clock_jumps(
    recorder: tuple[list[Clue], int], shuffler: random.Random
) -> None:
    clues, _ = recorder
    mixed = list(clues)
    shuffler.shuffle(mixed)
    assert ordered(*mixed) == [one.path.name for one in clues]


@given(st.data())
@settings(max_examples=200, deadline=None)
def test_the_true_order_of_two_devices_in_any_zone(data: st.DataObject) -> None:
    """A phone with UTC containers and local names, and a recorder with local names alone."""
    zone = timedelta(minutes=15 * data.draw(st.integers(-48, 56)))
    now = datetime(2024, 3, 12, 7, 0, 7, tzinfo=UTC)
    clues = []
    for number in range(data.draw(st.integers(2, 12))):
        seconds = data.draw(st.integers(2, 240))
        local = (now + zone).replace(tzinfo=None)
        phone = number < 2 or data.draw(st.booleans())
        made = now + timedelta(seconds=seconds * data.draw(st.booleans()))  # its start, or its end
        name = f"{local:%Y-%m-%d %H-%M-%S}.m4a" if phone else f"{local:%Y%m%d_%H%M%S}.wav"
        clues.append(Clue(Path(name), seconds, made.isoformat() if phone else None, None))
        now += timedelta(seconds=2 * seconds + data.draw(st.integers(5, 900)))
    assert names_of(in_order(clues[::-1], ZURICH)) == [one.path.name for one in clues]


@given(st.lists(st.integers(2, 900), min_size=2, max_size=12), st.randoms(use_true_random=False))
def test_times_of_a_copy_never_decide(lengths: list[int], shuffler: random.Random) -> None:
    """Copied within a second for every ten that they last, in any order."""
    seconds = [max(30, length) for length in lengths]
    shuffler.shuffle(order := list(range(len(seconds))))
    written = stamp("12:00:00")
    clues = []
    for at in order:
        written += seconds[at] / 10
        clues.append(Clue(Path(f"memo {at + 1}.m4a"), seconds[at], None, written))
    assert ordered(*clues) == [f"memo {at + 1}.m4a" for at in range(len(seconds))]
