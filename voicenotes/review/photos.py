"""Photos that a technician adds: known by their content, limited in size, under names of our own."""

from __future__ import annotations

import hashlib
import os
import stat
from typing import TYPE_CHECKING

from voicenotes.files import PHOTO_NAME, write_atomically

if TYPE_CHECKING:
    from pathlib import Path

MOST_PIXELS = 120_000_000
TYPES = {"jpg": "image/jpeg", "png": "image/png", "webp": "image/webp"}


def kind_of(content: bytes) -> str | None:
    """ "jpg", "png" or "webp" by the content; None for anything else, or for sizes that no camera gives."""
    size = None
    kind = None
    if content.startswith(b"\xff\xd8\xff"):
        kind, size = "jpg", _jpeg_size(content)
    elif content.startswith(b"\x89PNG\r\n\x1a\n") and content[12:16] == b"IHDR":
        kind, size = "png", (int.from_bytes(content[16:20]), int.from_bytes(content[20:24]))
    elif content[:4] == b"RIFF" and content[8:12] == b"WEBP":
        kind, size = "webp", _webp_size(content)
    if size is None or not (0 < size[0] * size[1] <= MOST_PIXELS):
        return None
    return kind


def _jpeg_size(content: bytes) -> tuple[int, int] | None:
    """Width and height from the frame header; None when there is none (ITU-T T.81, B.2.2)."""
    at = 2
    while at + 9 < len(content):
        if content[at] != 0xFF:
            return None
        marker = content[at + 1]
        if marker == 0xFF:
            at += 1
            continue
        if 0xC0 <= marker <= 0xCF and marker not in (0xC4, 0xC8, 0xCC):
            height, width = content[at + 5 : at + 7], content[at + 7 : at + 9]
            return int.from_bytes(width), int.from_bytes(height)
        if marker in (0xD9, 0xDA):
            return None
        length = int.from_bytes(content[at + 2 : at + 4])
        if length < 2:
            return None
        at += 2 + length
    return None


def _webp_size(content: bytes) -> tuple[int, int] | None:
    """Width and height from the first chunk (RFC 9649)."""
    chunk = content[12:16]
    if chunk == b"VP8X" and len(content) >= 30:
        return 1 + int.from_bytes(content[24:27], "little"), 1 + int.from_bytes(content[27:30], "little")
    if chunk == b"VP8L" and len(content) >= 25 and content[20] == 0x2F:
        bits = int.from_bytes(content[21:25], "little")
        return 1 + (bits & 0x3FFF), 1 + (bits >> 14 & 0x3FFF)
    if chunk == b"VP8 " and len(content) >= 30 and content[23:26] == b"\x9d\x01\x2a":
        width, height = content[26:28], content[28:30]
        return int.from_bytes(width, "little") & 0x3FFF, int.from_bytes(height, "little") & 0x3FFF
    return None


def keep_photo(folder: Path, content: bytes) -> str | None:
    """Put a photo into the visit's folder; its name there, or None when it is no photo. Raises VisitError."""
    kind = kind_of(content)
    if kind is None:
        return None
    name = f"photo-{hashlib.sha256(content).hexdigest()[:16]}.{kind}"
    if read_photo(folder, name) != content:
        write_atomically(folder / name, content)
    return name


def read_photo(folder: Path, name: str) -> bytes | None:
    """A photo of the visit; None for any other name, for links and for what is no file."""
    if PHOTO_NAME.fullmatch(name) is None:
        return None
    try:
        flags = os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)
        handle = os.open(folder / name, flags | getattr(os, "O_BINARY", 0))
    except OSError:
        return None
    with os.fdopen(handle, "rb") as file:
        if not stat.S_ISREG(os.fstat(handle).st_mode):
            return None
        return file.read()
