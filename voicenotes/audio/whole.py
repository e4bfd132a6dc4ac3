"""Whether a recording's file is all there, as far as its container tells, without decoding anything.

Meant for files that are still arriving. WAV, MP4 and its kin, and Ogg say how far they should go; the others
(MP3, AMR, AAC, FLAC) don't. Sources: those of claims.py, and ISO/IEC 14496-12, 4.2 (boxes; from memory).
"""

from __future__ import annotations

import struct
from typing import IO, TYPE_CHECKING, Literal

from voicenotes.audio.claims import OPEN_WAV_SIZE, is_mp4_without_index, ogg_cut_off
from voicenotes.links import leads_out

if TYPE_CHECKING:
    from pathlib import Path

Wholeness = Literal["whole", "cut off", "can't be told"]
MOST_BOXES = 10_000


def wholeness(path: Path) -> Wholeness:
    """Whether the file goes as far as its container says; what is empty or can't be read is cut off."""
    if leads_out(path) or not path.is_file():
        return "can't be told"
    try:
        with path.open("rb") as file:
            return _wholeness(file)
    except OSError:
        return "cut off"


def _wholeness(file: IO[bytes]) -> Wholeness:
    head = file.read(12)
    size = file.seek(0, 2)
    if not size:
        return "cut off"
    if head[:4] == b"RIFF":
        if len(head) < 12:
            return "cut off"
        (claimed,) = struct.unpack_from("<I", head, 4)
        if not 0 < claimed < OPEN_WAV_SIZE:
            return "can't be told"
        return "whole" if claimed + 8 <= size else "cut off"
    if head[:4] == b"OggS":
        return "cut off" if ogg_cut_off(file) else "can't be told"  # another page may follow
    if head[4:8] == b"ftyp":
        return "cut off" if is_mp4_without_index(file) or _boxes_run_out(file, size) else "whole"
    return "can't be told"


def _boxes_run_out(file: IO[bytes], size: int) -> bool:
    """Whether the last box of an MP4 goes beyond the end of the file."""
    position = 0
    for _ in range(MOST_BOXES):
        if position == size:
            return False
        file.seek(position)
        head = file.read(16)
        if len(head) < 8:
            return True
        (length,) = struct.unpack_from(">I", head)
        if length == 0:  # to the end of the file, however far that is
            return False
        if length == 1:
            if len(head) < 16:
                return True
            (length,) = struct.unpack_from(">Q", head, 8)
        if length < 8:
            return False
        position += length
        if position > size:
            return True
    return False
