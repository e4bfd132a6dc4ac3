"""Recordings for the browser, by ranges: as they are where it plays them, else decoded piece by piece."""

from __future__ import annotations

import os
import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from voicenotes.links import no_file_because

if TYPE_CHECKING:
    from collections.abc import Iterator

# A minute of decoded sound; browsers ask for the next piece by themselves.
MOST_DECODED_BYTES = 1_920_000
BLOCK_BYTES = 256 * 1024
_RANGE = re.compile(r"bytes=(\d{0,15})-(\d{0,15})")


@dataclass(frozen=True)
class Range:
    """Bytes `first` to `last` of `whole`, both counted in; `partial` when the browser asked for a part."""

    first: int
    last: int
    whole: int
    partial: bool

    @property
    def size(self) -> int:
        """How many bytes they are."""
        return self.last - self.first + 1

    def headers(self) -> dict[str, str]:
        """The headers that say so."""
        found = {"accept-ranges": "bytes", "content-length": str(self.size)}
        if self.partial:
            found["content-range"] = f"bytes {self.first}-{self.last}/{self.whole}"
        return found


def asked_range(header: str | None, whole: int) -> Range | None:
    """The range that a request asks for (RFC 9110, 14.1.2); None when there is nothing of it.

    What is not understood, such as several ranges, is taken for none: then all is sent.
    """
    found = _RANGE.fullmatch(header.strip()) if header else None
    if found is None or found.group(0) == "bytes=-":
        return Range(0, whole - 1, whole, False) if whole else None
    first, last = found.groups()
    if not first:
        start, end = max(0, whole - int(last)), whole - 1
        return Range(start, end, whole, True) if int(last) and whole else None
    start, end = int(first), min(int(last) if last else whole - 1, whole - 1)
    if last and int(last) < start:
        return Range(0, whole - 1, whole, False) if whole else None
    return Range(start, end, whole, True) if start < whole else None


def file_blocks(path: Path, wanted: Range) -> Iterator[bytes]:
    """The bytes of a file in blocks."""
    with path.open("rb") as file:
        file.seek(wanted.first)
        left = wanted.size
        while left:
            block = file.read(min(BLOCK_BYTES, left))
            if not block:
                return
            left -= len(block)
            yield block


def refused_file(path: Path) -> str | None:
    """Why a recording's file is not given out: a link that leads out of the folder, or no file."""
    if not os.access(path, os.R_OK):
        return "can't be read"
    return no_file_because(path, "recording")
