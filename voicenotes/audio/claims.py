"""How long a recording says it is, read from its container, to notice one that was cut short.

A container that promises more than the file holds is the mark of a copy that was broken off.  Some
formats promise nothing (AMR, ADTS AAC, MP3 without a Xing header): for those nothing is claimed.

Sources: RIFF/WAVE (Microsoft/IBM, Multimedia Programming Interface and Data Specifications 1.0),
Core Audio Format specification 1.0 (chunks `desc` and `data`), RFC 3533 (Ogg pages), ID3v2.4.0
section 3.1 (tag size), and the Xing/Info and VBRI headers as MP3 encoders write them.
"""

from __future__ import annotations

import struct
from typing import IO, Any

# A recorder that can't go back to its header leaves the size open: 0, or the largest it can write.
OPEN_WAV_SIZE = 0x7FFF_0000
OGG_PAGE_LIMIT_BYTES = 65_307
# Chunks looked at before the one that holds the sound; recorders write a handful.
MOST_CHUNKS = 10_000


def claimed_seconds(file: IO[bytes], format_name: str, container: Any, stream: Any) -> float | None:
    """Length in seconds that the container claims for its audio; None where it claims none.

    `file` is open for reading and is left at any position; `container` and `stream` are PyAV's.
    """
    names = set(format_name.split(","))
    if "wav" in names:
        return wav_seconds(file)
    if "caf" in names:
        return caf_seconds(file)
    if names & {"aac", "amr", "amrnb", "amrwb", "ogg"}:
        return None
    if "mp3" in names and not mp3_has_length(file):
        return None
    if stream.duration is not None and stream.time_base is not None:
        return float(stream.duration * stream.time_base)
    if container.duration is not None:
        return float(container.duration) / 1_000_000
    return None


def wav_seconds(file: IO[bytes]) -> float | None:
    """Seconds by the size in a WAV header; None when the recorder left the size open."""
    file.seek(0)
    if file.read(12)[:4] != b"RIFF":
        return None
    bytes_per_second = 0
    for _ in range(MOST_CHUNKS):
        if len(head := file.read(8)) < 8:
            return None
        kind, size = struct.unpack("<4sI", head)
        if kind == b"data":
            known = bytes_per_second > 0 and 0 < size < OPEN_WAV_SIZE
            return size / bytes_per_second if known else None
        if kind == b"fmt " and size >= 16:
            bytes_per_second = _fmt_rate(file.read(16))
            size -= 16
        file.seek(size + size % 2, 1)
    return None


def _fmt_rate(body: bytes) -> int:
    """Bytes per second from a WAV fmt chunk; 0 when it is incomplete."""
    return int(struct.unpack_from("<I", body, 8)[0]) if len(body) == 16 else 0


def caf_seconds(file: IO[bytes]) -> float | None:
    """Seconds by the data chunk's size in a CAF with packets of constant size; else None."""
    file.seek(0)
    if file.read(8)[:4] != b"caff":
        return None
    seconds_per_byte = 0.0
    for _ in range(MOST_CHUNKS):
        if len(head := file.read(12)) < 12:
            return None
        kind, size = struct.unpack(">4sq", head)
        if kind == b"data":
            # -1: open to the end of the file.  The first 4 bytes are an edit count.
            return (size - 4) * seconds_per_byte if size > 4 and seconds_per_byte > 0 else None
        if size < 0:
            return None
        if kind == b"desc" and size >= 32:
            body = file.read(32)
            if len(body) < 32:
                return None
            rate, packet_bytes, packet_frames = struct.unpack(">d8xII8x", body)
            if rate > 0 and packet_bytes > 0:
                seconds_per_byte = packet_frames / (rate * packet_bytes)
            size -= 32
        file.seek(size, 1)
    return None


def mp3_has_length(file: IO[bytes]) -> bool:
    """Whether an MP3's first frame carries a Xing, Info or VBRI header, which counts the frames."""
    file.seek(0)
    head = file.read(10)
    start = 0
    if len(head) == 10 and head[:3] == b"ID3":
        a, b, c, d = head[6:10]
        start = 10 + (a << 21 | b << 14 | c << 7 | d)
    file.seek(start)
    first = file.read(2048)
    return any(mark in first for mark in (b"Xing", b"Info", b"VBRI"))


def ogg_cut_off(file: IO[bytes]) -> bool:
    """Whether an Ogg file ends in the middle of a page."""
    size = file.seek(0, 2)
    start = max(0, size - 2 * OGG_PAGE_LIMIT_BYTES)
    file.seek(start)
    tail = file.read()
    page = tail.rfind(b"OggS\x00")
    if page < 0:
        return False
    segments = tail[page + 26] if page + 26 < len(tail) else 256
    table = tail[page + 27 : page + 27 + segments]
    return len(table) < segments or page + 27 + segments + sum(table) > len(tail)


def is_mp4_without_index(file: IO[bytes]) -> bool:
    """Whether an MP4 family file (M4A, 3GP) holds no `moov` box, which is written last."""
    size = file.seek(0, 2)
    position = 0
    kinds: list[bytes] = []
    while position + 8 <= size and len(kinds) < 1000:
        file.seek(position)
        length, kind = struct.unpack(">I4s", file.read(8))
        if length == 1:
            wide = file.read(8)
            length = struct.unpack(">Q", wide)[0] if len(wide) == 8 else size
        kinds.append(kind)
        if length < 8:
            break
        position += length
    return bool(kinds) and kinds[0] in (b"ftyp", b"mdat", b"wide") and b"moov" not in kinds
