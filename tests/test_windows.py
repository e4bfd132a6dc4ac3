"""Windows of a recording: joined they are the whole, cut where it is quietest, whatever the blocks."""

from __future__ import annotations

from collections.abc import Generator, Iterator

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from make_audio import RATE
from numpy.typing import NDArray

from voicenotes.audio.windows import LONGEST_S, QUIET_S, SHORTEST_S, STEP_SAMPLES, Window, windows_of
from voicenotes.errors import RecordingError

Samples = NDArray[np.float32]
LONGEST, SHORTEST = 0.8, 0.6  # small ones, with a whole quiet half second less than between them: no choice
WIDE = 2.0  # a longest window that leaves room to look for quiet


def in_blocks(
    samples: Samples, sizes: list[int], problem: str | None = None
) -> Generator[Samples, None, str | None]:
    """The samples in blocks of these sizes, the last size again and again; then the problem."""
    at = 0
    for size in sizes:
        yield samples[at : at + size]
        at += size
    while at < samples.size:
        yield samples[at : at + sizes[-1]]
        at += sizes[-1]
    return problem


def cut(samples: Samples, sizes: list[int], longest: float, shortest: float = SHORTEST) -> list[Window]:
    return list(windows_of(in_blocks(samples, sizes), longest, shortest))


def noise_of(count: int, seed: int) -> Samples:
    return np.random.default_rng(seed).standard_normal(count).astype(np.float32)


block_sizes = st.lists(st.integers(1, 3 * RATE), min_size=1, max_size=8)


@given(count=st.integers(0, 10 * RATE), seed=st.integers(0, 9), sizes=block_sizes, wide=st.booleans())
def test_joined_windows_are_the_whole(count: int, seed: int, sizes: list[int], wide: bool) -> None:
    samples = noise_of(count, seed)
    longest = WIDE if wide else LONGEST
    windows = cut(samples, sizes, longest)
    assert np.array_equal(np.concatenate([window.samples for window in windows]), samples)
    lengths = [window.samples.size for window in windows]
    assert all(SHORTEST * RATE <= length <= longest * RATE for length in lengths[:-1])
    assert lengths[-1] <= longest * RATE
    assert [window.number for window in windows] == list(range(len(windows)))
    assert [window.is_last for window in windows] == [False] * (len(windows) - 1) + [True]
    starts = np.cumsum([0, *lengths[:-1]])
    assert [round(window.start_s * RATE) for window in windows] == starts.tolist()


@given(count=st.integers(0, 10 * RATE), seed=st.integers(0, 9), sizes=block_sizes)
def test_blocks_make_no_difference(count: int, seed: int, sizes: list[int]) -> None:
    samples = noise_of(count, seed)
    one, other = cut(samples, [max(1, count)], WIDE), cut(samples, sizes, WIDE)
    assert [window.samples.size for window in one] == [window.samples.size for window in other]


@given(st.integers(0, round((WIDE - SHORTEST - QUIET_S) * RATE)), st.integers(0, 99))
def test_the_cut_stands_in_the_quietest_half_second(after: int, seed: int) -> None:
    """Half a second of near silence, `after` samples behind the shortest window: the cut is inside it."""
    samples = noise_of(round(4 * RATE), seed)
    first = round(SHORTEST * RATE) + after
    quiet = round(QUIET_S * RATE)
    samples[first : first + quiet] *= 0.001
    window = cut(samples, [RATE], WIDE)[0]
    middle = first + quiet // 2
    assert abs(window.samples.size - middle) <= 2 * STEP_SAMPLES


def test_quiet_behind_loud_talk_is_still_told_from_silence() -> None:
    """Sums over a window of full scale lose nothing of what differs at -60 dB."""
    samples = np.full(4 * RATE, 1.0, np.float32)
    samples[round(1.0 * RATE) : round(1.5 * RATE)] = 0.001
    samples[round(1.2 * RATE) : round(1.9 * RATE)] = 0.0
    size = cut(samples, [RATE], WIDE)[0].samples.size
    assert 1.4 * RATE <= size <= 1.7 * RATE


def test_of_equally_quiet_places_the_first_counts() -> None:
    assert cut(np.zeros(4 * RATE, np.float32), [RATE], WIDE)[0].samples.size == round(
        (SHORTEST + QUIET_S / 2) * RATE
    )


@pytest.mark.parametrize("count", [0, 1, 159, 160, RATE])
def test_short_sounds_are_one_window(count: int) -> None:
    (window,) = windows_of(in_blocks(noise_of(count, 1), [100]))
    assert (window.number, window.start_s, window.samples.size, window.is_last) == (0, 0.0, count, True)


def test_a_recording_as_long_as_a_window_is_one() -> None:
    assert len(cut(noise_of(round(WIDE * RATE), 1), [RATE], WIDE)) == 1
    assert len(cut(noise_of(round(WIDE * RATE) + 1, 1), [RATE], WIDE)) == 2


def test_windows_are_three_to_four_minutes_long() -> None:
    def ten_minutes() -> Iterator[Samples]:
        for minute in range(10):
            yield noise_of(60 * RATE, minute)

    def blocks() -> Generator[Samples, None, str | None]:
        yield from ten_minutes()
        return None

    lengths = [window.samples.size / RATE for window in windows_of(blocks())]
    assert (SHORTEST_S, LONGEST_S) == (180, 240)
    assert all(180 <= length <= 240 for length in lengths[:-1]) and len(lengths) >= 3
    assert sum(lengths) == 600


def test_what_the_decoder_says_in_the_end_comes_through() -> None:
    windows = windows_of(in_blocks(noise_of(100, 1), [100], "ends early"))
    assert next(windows).is_last
    with pytest.raises(StopIteration) as end:
        next(windows)
    assert end.value.value == "ends early"


def test_what_the_decoder_raises_comes_through() -> None:
    def blocks() -> Generator[Samples, None, str | None]:
        yield noise_of(100, 1)
        raise RecordingError("memo.wav: breaks off")

    with pytest.raises(RecordingError, match="breaks off"):
        list(windows_of(blocks()))


def test_a_window_is_not_changed_by_what_comes_after_it() -> None:
    samples = noise_of(6 * RATE, 3)
    windows = windows_of(in_blocks(samples.copy(), [1000]), WIDE, SHORTEST)
    first = next(windows)
    before = first.samples.copy()
    list(windows)
    assert np.array_equal(first.samples, before)
