"""What passes between the visit and the processes that decode and transcribe: lines of JSON.

A child process gets an engine, then one `Task` after another; it answers with `Answer`s.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Annotated, Literal
from urllib.parse import quote_from_bytes, unquote_to_bytes

from pydantic import Field, TypeAdapter

from voicenotes.model import Frozen, Quality, Transcript


class Task(Frozen):
    """Look at a recording, or transcribe every `parts`-th window of it, beginning with number `part`.

    Windows in `known` are passed over: they were transcribed before. With a `span` only those samples of a
    recording that still grows are transcribed (first, and the one after the last), the engine fitted to the
    samples in `voice`; the answer is a Piece with the number `part`, then Ended.
    """

    place: str = Field(description="the file's path, percent-encoded: a name can be any bytes")
    look: bool = False
    part: int = 0
    parts: int = 1
    known: tuple[int, ...] = ()
    span: tuple[int, int] | None = None
    voice: tuple[tuple[int, int], ...] = ()

    @property
    def path(self) -> Path:
        """The recording's file."""
        return Path(os.fsdecode(unquote_to_bytes(self.place)))


def place_of(path: Path) -> str:
    """A path as `Task.place`."""
    return quote_from_bytes(os.fsencode(path))


class Looked(Frozen):
    """How long the container says it is; null where it says nothing."""

    kind: Literal["looked"] = "looked"
    seconds: float | None = None


class At(Frozen):
    """How many seconds of sound this task has transcribed; `busy` while the engine works on a window."""

    kind: Literal["at"] = "at"
    seconds: float
    busy: bool = False


class Piece(Frozen):
    """The transcript of one window, its times on the recording's clock."""

    kind: Literal["piece"] = "piece"
    number: int
    is_last: bool
    transcript: Transcript


class Ended(Frozen):
    """The recording was read to its end."""

    kind: Literal["ended"] = "ended"
    seconds: float
    windows: int
    problem: str | None = None
    created_at: str | None = None
    quality: Quality | None = None


class Failed(Frozen):
    """Nothing more comes of this task; `line` says why. `where` tells whose fault it is."""

    kind: Literal["failed"] = "failed"
    where: Literal["recording", "engine"]
    line: str


Answer = Annotated[Looked | At | Piece | Ended | Failed, Field(discriminator="kind")]
ANSWERS: TypeAdapter[Answer] = TypeAdapter(Answer)
