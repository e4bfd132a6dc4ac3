"""What a recording's container says of itself, without decoding it: when it was made, how long it is."""

from __future__ import annotations

import re
import struct
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import IO, TYPE_CHECKING, Any

from voicenotes.audio.growing_wav import made_by_listening
from voicenotes.audio.opening import open_container, opened
from voicenotes.errors import RecordingError

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

# Recorders without a set clock write the first day of their calendar.
EARLIEST_YEAR = 1995
# Where containers keep the time, in FFmpeg's words; the first that has a time of day counts.
TIME_TAGS = ("creation_time", "com.apple.quicktime.creationdate", "recorded date", "date")
ASF_FILE_PROPERTIES = bytes.fromhex("a1dcab8c47a9cf118ee400c00c205365")
ASF_HEADER_BYTES = 65_536


@dataclass(frozen=True)
class Label:
    """`seconds` is the length it claims, `created_at` ISO 8601; None where it says nothing.

    `by_utterances` tells that it was listened to live, and is to be cut as it was then.
    """

    seconds: float | None = None
    created_at: str | None = None
    by_utterances: bool = False


def read_label(path: Path) -> Label:
    """The container's own word on a recording; an empty Label when it can't be read."""
    try:
        with opened(path) as file, open_container(file, path.name) as container:
            metadata = {**_audio_metadata(container), **dict(container.metadata)}
            seconds = float(container.duration) / 1_000_000 if container.duration else None
            if container.format.name == "asf" and (when := asf_created(file)):
                metadata.setdefault("creation_time", when.isoformat())
    except (RecordingError, OSError, ValueError, RuntimeError):
        return Label()
    return Label(seconds, created_at(metadata), made_by_listening(metadata.get("encoder")))


def created_at(metadata: Mapping[str, str]) -> str | None:
    """When the recording was made: in UTC if a zone is given ("Z" at the end), else local, as it stands.

    A date without a time of day is given as that ("2024-03-12") where no tag has more. Tags by FFmpeg's
    names: `creation_time` (MP4, Matroska, WMA: UTC), QuickTime's creation date (with its zone), `date` (ID3
    TDRC or TYER with TDAT and TIME, Vorbis comments, RIFF ICRD). Broadcast WAV keeps day and time of day
    apart: FFmpeg gives them as `date` and `creation_time`.
    """
    tags = {key.lower(): " ".join(value.split()) for key, value in metadata.items()}
    said = tags.get("creation_time", "")
    if re.fullmatch(r"\d\d[:.-]\d\d[:.-]\d\d", said):
        tags["creation_time"] = f"{tags.get('date', '')[:10]}T{re.sub('[.-]', ':', said)}"
    found = [when for key in TIME_TAGS if (when := _moment(tags.get(key, "")))]
    return next((when for when in found if "T" in when), found[0] if found else None)


def _moment(said: str) -> str | None:
    """A tag's value as ISO 8601, a date alone where it says no more; None where it can't be a time."""
    said = re.sub(r"^(\d{4})[:/.](\d\d)[:/.](\d\d)", r"\1-\2-\3", said)
    try:
        when = datetime.fromisoformat(said)
    except ValueError:
        return None
    if when.year < EARLIEST_YEAR:
        return None
    if re.fullmatch(r"\d{4}-?\d\d-?\d\d", said):
        return when.date().isoformat()
    if when.tzinfo is None:
        return when.isoformat(timespec="seconds")
    return when.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def asf_created(file: IO[bytes]) -> datetime | None:
    """The creation date of a WMA file in UTC, which FFmpeg leaves out; None when there is none.

    Advanced Systems Format, section 3.2: the File Properties Object holds it in units of 100 ns since 1601,
    behind the object's own GUID and size, a file GUID and the file's size.
    """
    file.seek(0)
    head = file.read(ASF_HEADER_BYTES)
    at = head.find(ASF_FILE_PROPERTIES)
    if at < 0 or len(head) < at + 56:
        return None
    (ticks,) = struct.unpack_from("<Q", head, at + 48)
    try:
        return datetime(1601, 1, 1, tzinfo=UTC) + timedelta(microseconds=ticks // 10)
    except OverflowError:
        return None


def _audio_metadata(container: Any) -> dict[str, str]:
    return dict(container.streams.audio[0].metadata) if container.streams.audio else {}
