"""What the boxes of an MP4 family file (M4A, MP4, 3GP) claim, read before a decoder believes it.

A few hundred bytes can claim a hundred million samples, for which a decoder would set aside gigabytes.
Source: ISO/IEC 14496-12, ISO base media file format (boxes, sample tables, fragments; from memory).
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import IO, TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

# 24 h of the shortest AAC frames (1024 samples at 96 kHz) are 8.1 million samples.
MOST_SAMPLES = 10_000_000
# A decoder's work grows with the square of this; a recorder that pauses writes one entry a pause.
MOST_EDITS = 10_000
# A day in fragments of a second each has about 700,000.
MOST_BOXES = 1_000_000
ENCRYPTED_ENTRIES = frozenset((b"enca", b"encv", b"drms", b"drmi", b"encs", b"enct"))
_FIRST_KINDS = frozenset((b"ftyp", b"styp", b"mdat", b"wide", b"moov", b"free", b"skip", b"moof"))
# Boxes that decoders look for other boxes in, whether or not the standard has any there.
_PARENTS = frozenset(
    (
        *(b"moov", b"trak", b"mdia", b"minf", b"stbl", b"moof", b"traf", b"edts", b"mvex", b"udta", b"dinf"),
        *(b"tref", b"gmhd", b"wave", b"sinf", b"schi", b"clip", b"aven", b"matt", b"mfra", b"rmra", b"tapt"),
    )
)


@dataclass
class Mp4Claims:
    """`samples` that need a table entry each, `edits` (entries of edit lists), and `boxes` seen.

    `encrypted` when a track is; `packed` tells of a compressed index, which can't be looked into.
    """

    samples: int = 0
    edits: int = 0
    boxes: int = 0
    encrypted: bool = False
    packed: bool = False


@dataclass(frozen=True)
class Box:
    """Kind, first byte of the content and the byte after it."""

    kind: bytes
    start: int
    end: int


def boxes(file: IO[bytes], start: int, end: int) -> Iterator[Box]:
    """The boxes from `start` to `end`, until one doesn't fit its length; one may claim more than is there."""
    while start + 8 <= end:
        file.seek(start)
        head = file.read(16)
        if len(head) < 8:
            return
        length, kind = struct.unpack(">I4s", head[:8])
        inside = start + 8
        if length == 1 and len(head) == 16:
            length, inside = struct.unpack(">Q", head[8:])[0], start + 16
        elif length == 0:
            length = end - start
        if start + length < inside:
            return
        yield Box(kind, inside, min(start + length, end))
        start += length


def looks_like_mp4(file: IO[bytes]) -> bool:
    """Whether the file begins with a box that such a file may begin with."""
    file.seek(4)
    return file.read(4) in _FIRST_KINDS


def mp4_claims(file: IO[bytes]) -> Mp4Claims:
    """What the tables of all tracks and fragments claim, without believing it."""
    claims = Mp4Claims()
    waiting = [(0, file.seek(0, 2))]
    while waiting and claims.boxes <= MOST_BOXES:
        for box in boxes(file, *waiting.pop()):
            claims.boxes += 1
            if claims.boxes > MOST_BOXES:
                break
            if box.kind in _PARENTS:
                waiting.append((box.start, box.end))
            if box.kind == b"stbl":
                claims.samples += _table_samples(file, box)
            elif box.kind == b"cmov":
                claims.packed = True
            elif box.kind == b"trun":
                claims.samples += _number(file, box, 4)
            elif box.kind == b"elst":
                claims.edits += _number(file, box, 4)
            elif box.kind == b"stsd":
                claims.encrypted |= _bytes(file, box, 12, 4) in ENCRYPTED_ENTRIES
    return claims


def _table_samples(file: IO[bytes], table: Box) -> int:
    """Samples of one track that a decoder lists one by one: not those of uncompressed sound, a tick each."""
    count, each_a_tick = 0, False
    for box in boxes(file, table.start, table.end):
        if box.kind in (b"stsz", b"stz2"):
            count = max(count, _number(file, box, 8))
        elif box.kind == b"stts":
            each_a_tick = _number(file, box, 4) == 1 and _number(file, box, 12) == 1
    return 0 if each_a_tick else count


def _number(file: IO[bytes], box: Box, at: int) -> int:
    """The 32-bit number `at` bytes into a box's content; 0 where the box is too short."""
    return int.from_bytes(_bytes(file, box, at, 4), "big")


def _bytes(file: IO[bytes], box: Box, at: int, count: int) -> bytes:
    if box.start + at + count > box.end:
        return b""
    file.seek(box.start + at)
    return file.read(count)
