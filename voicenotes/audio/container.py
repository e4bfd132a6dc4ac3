"""What a recording's container says of itself, without decoding it: when it was made, how long it is."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from voicenotes.audio.opening import open_container, opened
from voicenotes.errors import RecordingError

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

# Recorders without a set clock write the first day of their calendar.
EARLIEST_YEAR = 1995


@dataclass(frozen=True)
class Label:
    """`seconds` is the length it claims, `created_at` ISO 8601; None where it says nothing."""

    seconds: float | None = None
    created_at: str | None = None


def read_label(path: Path) -> Label:
    """The container's own word on a recording; an empty Label when it can't be read."""
    try:
        with opened(path) as file, open_container(file, path.name) as container:
            metadata = {**_audio_metadata(container), **dict(container.metadata)}
            seconds = float(container.duration) / 1_000_000 if container.duration else None
    except (RecordingError, OSError, ValueError, RuntimeError):
        return Label()
    return Label(seconds, created_at(metadata))


def created_at(metadata: Mapping[str, str]) -> str | None:
    """When the recording was made: in UTC if a zone is given ("Z" at the end), else as it stands.

    Broadcast WAV keeps day and time of day apart: FFmpeg gives them as `date` and `creation_time`.
    """
    said = metadata.get("creation_time", "")
    if re.fullmatch(r"\d\d[:.-]\d\d[:.-]\d\d", said):
        said = f"{metadata.get('date', '')[:10]}T{re.sub('[.-]', ':', said)}"
    try:
        when = datetime.fromisoformat(said)
    except ValueError:
        return None
    if when.year < EARLIEST_YEAR:
        return None
    if when.tzinfo is None:
        return when.isoformat(timespec="seconds")
    return when.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def _audio_metadata(container: Any) -> dict[str, str]:
    return dict(container.streams.audio[0].metadata) if container.streams.audio else {}
