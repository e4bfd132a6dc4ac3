"""Recording times in real files, written by FFmpeg's own muxers with the tags of phones and recorders."""

from __future__ import annotations

import os
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from make_audio import RATE, write_audio

from voicenotes.audio.container import asf_created, created_at, read_label
from voicenotes.times.order import Clue, clue_of, in_order

UTC_TIME = {"creation_time": "2024-03-12T09:14:05Z"}
TAGGED = [
    ("a.m4a", "aac", {}, UTC_TIME, "2024-03-12T09:14:05Z"),
    ("a.mp4", "aac", {}, UTC_TIME, "2024-03-12T09:14:05Z"),
    ("a.3gp", "aac", {}, UTC_TIME, "2024-03-12T09:14:05Z"),
    ("day.m4a", "aac", {}, {"date": "2024-03-12"}, "2024-03-12"),
    ("year.m4a", "aac", {}, {"date": "2024"}, None),
    ("never set.m4a", "aac", {}, {"creation_time": "1904-01-01T00:00:00Z"}, None),
    ("1970.m4a", "aac", {}, {"creation_time": "1970-01-01T00:00:10Z"}, None),
    ("untagged.m4a", "aac", {}, {}, None),
    (
        "zone.m4a",
        "aac",
        {"container": "mov", "options": {"movflags": "use_metadata_tags"}},
        {"com.apple.quicktime.creationdate": "2024-03-12T10:14:05+0100"},
        "2024-03-12T09:14:05Z",
    ),
    ("a.mka", "flac", {"container": "matroska"}, UTC_TIME, "2024-03-12T09:14:05Z"),
    ("a.webm", "libopus", {"rate": 48_000}, UTC_TIME, "2024-03-12T09:14:05Z"),
    ("a.wma", "wmav2", {"rate": 44_100, "container": "asf"}, UTC_TIME, "2024-03-12T09:14:05Z"),
    ("a.ogg", "libopus", {"rate": 48_000}, {"date": "2024-03-12T10:14:05"}, "2024-03-12T10:14:05"),
    ("b.ogg", "libopus", {"rate": 48_000}, UTC_TIME, "2024-03-12T09:14:05Z"),
    ("a.flac", "flac", {}, {"date": "2024-03-12"}, "2024-03-12"),
    ("a.mp3", "libmp3lame", {}, {"date": "2024-03-12T10:14:05"}, "2024-03-12T10:14:05"),
    ("b.mp3", "libmp3lame", {"options": {"id3v2_version": "3"}}, {"date": "2024-03-12"}, "2024-03-12"),
    ("a.wav", "pcm_s16le", {}, {"date": "2024-03-12"}, "2024-03-12"),
    (
        "broadcast.wav",
        "pcm_s16le",
        {"options": {"write_bext": "1"}},
        {"origination_date": "2024-03-12", "origination_time": "10:14:05"},
        "2024-03-12T10:14:05",
    ),
    ("a.caf", "pcm_s16le", {}, {"recorded date": "2024-03-12T09:14:05Z"}, "2024-03-12T09:14:05Z"),
    ("a.aiff", "pcm_s16be", {}, UTC_TIME, None),
]  # fmt: skip


@pytest.mark.parametrize(("name", "codec", "more", "tags", "when"), TAGGED, ids=[case[0] for case in TAGGED])
def test_time_in_a_file(
    tmp_path: Path, name: str, codec: str, more: dict[str, object], tags: dict[str, str], when: str | None
) -> None:
    settings = {"rate": RATE, "seconds": 0.5, "metadata": tags} | more
    assert read_label(write_audio(tmp_path / name, codec, **settings)).created_at == when  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("tags", "when"),
    [
        ({"creation_time": "2024-03-12T11:14:05+02:00"}, "2024-03-12T09:14:05Z"),
        ({"date": "2024-03-12", "creation_time": "09-14-05"}, "2024-03-12T09:14:05"),
        ({"DATE": "2024:03:12 09:14:05"}, "2024-03-12T09:14:05"),
        ({"date": "20240312"}, "2024-03-12"),
        ({"date": "2024-03-12", "creation_time": "2024-03-12T09:14:05Z"}, "2024-03-12T09:14:05Z"),
        ({"creation_time": "1904-01-01T00:00:00Z", "date": "2024-03-12"}, "2024-03-12"),
        ({"creation_time": "yesterday"}, None),
        ({"creation_time": "0000-00-00 00:00:00"}, None),
    ],
)
def test_time_in_tags(tags: dict[str, str], when: str | None) -> None:
    assert created_at(tags) == when


def test_a_broken_asf_header_has_no_time(tmp_path: Path) -> None:
    path = tmp_path / "a.wma"
    for content in (b"", b"\xa1\xdc\xab\x8cG\xa9\xcf\x11\x8e\xe4\x00\xc0\x0c Se", os.urandom(40)):
        path.write_bytes(content)
        with path.open("rb") as file:
            assert asf_created(file) is None
    path.write_bytes(bytes.fromhex("a1dcab8c47a9cf118ee400c00c205365") + b"\xff" * 40)
    with path.open("rb") as file:
        assert asf_created(file) is None


def clue(path: Path) -> Clue:
    return clue_of(path, 0.5, read_label(path).created_at)


def test_a_clue_from_a_file(tmp_path: Path) -> None:
    path = write_audio(tmp_path / "memo.m4a", "aac", rate=RATE, seconds=0.5, metadata=UTC_TIME)
    os.utime(path, (1_710_240_000, 1_710_240_000))
    assert clue(path) == Clue(path, 0.5, "2024-03-12T09:14:05Z", 1_710_240_000)
    assert clue(tmp_path / "gone.m4a") == Clue(tmp_path / "gone.m4a", 0.5, None, None)


def test_a_visit_of_real_files_is_put_in_order(tmp_path: Path) -> None:
    """A phone in UTC, a recorder in local time, a note typed afterwards; the files were all written now."""
    phone = write_audio(
        tmp_path / "2024-03-12 10-14-05.m4a", "aac", rate=RATE, seconds=0.5, metadata=UTC_TIME
    )
    before = write_audio(tmp_path / "20240312_101400.wav", "pcm_s16le", rate=RATE, seconds=0.5)
    after = write_audio(
        tmp_path / "z.wav", "pcm_s16le", rate=RATE, seconds=0.5, options={"write_bext": "1"},
        metadata={"origination_date": "2024-03-12", "origination_time": "10:15:00"},
    )  # fmt: skip
    found = in_order([clue(path) for path in (after, phone, before)], ZoneInfo("Asia/Tokyo"))
    assert [one.path for one in found.recordings] == [before, phone, after]
    assert [one.recorded_at_from for one in found.recordings] == ["file name", "container", "container"]
