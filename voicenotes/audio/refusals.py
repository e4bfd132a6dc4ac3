"""Files that no decoder is let near: other things named like recordings, encrypted sound, absurd claims.

`refusal` looks at the content alone, reads a bounded part of it, and says in a few words what is wrong.
Signatures are those of the `file` program's public list (from memory).
"""

from __future__ import annotations

from typing import IO

from voicenotes.audio.mp4_boxes import MOST_BOXES, MOST_EDITS, MOST_SAMPLES, looks_like_mp4, mp4_claims

_UNPACK = "unpack it and put the recording itself into the folder"
_EXPORT = "export the recording as WAV, M4A, MP3, OGG or FLAC"
_SAVE = "save the recording itself, not what leads to it"
SIGNATURES = (
    (b"PK\x03\x04", 0, "a ZIP archive", _UNPACK),
    (b"PK\x05\x06", 0, "an empty ZIP archive", _UNPACK),
    (b"\x1f\x8b", 0, "a gzip archive", _UNPACK),
    (b"ustar", 257, "a tar archive", _UNPACK),
    (b"7z\xbc\xaf\x27\x1c", 0, "a 7z archive", _UNPACK),
    (b"Rar!\x1a\x07", 0, "a RAR archive", _UNPACK),
    (b"\xfd7zXZ\x00", 0, "an xz archive", _UNPACK),
    (b"BZh", 0, "a bzip2 archive", _UNPACK),
    (b"\x28\xb5\x2f\xfd", 0, "a zstd archive", _UNPACK),
    (b"%PDF-", 0, "a PDF document", _EXPORT),
    (b"\x89PNG\r\n\x1a\n", 0, "a picture", _EXPORT),
    (b"\xff\xd8\xff", 0, "a picture", _EXPORT),
    (b"GIF8", 0, "a picture", _EXPORT),
    (b"\x7fELF", 0, "a program", _EXPORT),
    (b"MZ", 0, "a program", _EXPORT),
    (b"#!/", 0, "a program", _EXPORT),
    (b"SQLite format 3\x00", 0, "a database", _EXPORT),
)
# How texts begin, in lower case and without blanks before it.
TEXTS = (
    (b"#extm3u", "a playlist", _SAVE),
    (b"ffconcat", "a playlist", _SAVE),
    (b"[playlist]", "a playlist", _SAVE),
    (b"v=0\r\no=", "a playlist", _SAVE),
    (b"v=0\no=", "a playlist", _SAVE),
    (b"<!doctype", "a web page", _SAVE),
    (b"<html", "a web page", _SAVE),
    (b"<?xml", "an XML text", _EXPORT),
    (b"<svg", "a picture", _EXPORT),
)
_ASF = bytes.fromhex("3026b2758e66cf11a6d900aa0062ce6c")
# Content Encryption, Extended Content Encryption and Advanced Content Encryption Objects of ASF headers.
_ASF_ENCRYPTION = (
    bytes.fromhex("fbb3112223bdd211b4b700a0c955fc6e"),
    bytes.fromhex("14e68a292226174cb935dae07ee9289c"),
    bytes.fromhex("338505438169e6499b74ad12cb86d58c"),
)
_EBML = b"\x1a\x45\xdf\xa3"
_MATROSKA_PARENTS = frozenset((0x18538067, 0x1654AE6B, 0xAE, 0x6D80, 0x6240))  # Segment ... ContentEncoding
_CONTENT_ENCRYPTION, _CLUSTER = 0x5035, 0x1F43B675
_MOST_ELEMENTS = 10_000
_HEAD_BYTES = 65_536


def refusal(file: IO[bytes]) -> str | None:
    """What is wrong with a file and what to do, without its name; None where a decoder may try it.

    `file` is open for reading and is left at its start.
    """
    try:
        file.seek(0)
        head = file.read(_HEAD_BYTES)
        return _disguise(head) or _locked(file, head) or _absurd(file)
    finally:
        file.seek(0)


def _disguise(head: bytes) -> str | None:
    for mark, at, what, remedy in SIGNATURES:
        if head[at : at + len(mark)] == mark:
            return f"is {what}, whatever its name says; {remedy}"
    start = head[:512].removeprefix(b"\xef\xbb\xbf").lstrip().lower()
    for mark, what, remedy in TEXTS:
        if start.startswith(mark):
            return f"is {what}, whatever its name says; {remedy}"
    return None


def _locked(file: IO[bytes], head: bytes) -> str | None:
    asf = head.startswith(_ASF) and any(mark in head for mark in _ASF_ENCRYPTION)
    if asf or (head.startswith(_EBML) and _matroska_encrypted(file)):
        return f"is encrypted (copy-protected), so its sound can't be read; {_EXPORT} without protection"
    return None


def _absurd(file: IO[bytes]) -> str | None:
    if not looks_like_mp4(file):
        return None
    claims = mp4_claims(file)
    if claims.encrypted:
        return f"is encrypted (copy-protected), so its sound can't be read; {_EXPORT} without protection"
    if claims.packed:
        return f"has a compressed index, which no recorder writes today; {_EXPORT}"
    if claims.samples > MOST_SAMPLES or claims.boxes > MOST_BOXES:
        return "claims more pieces of sound than a day can hold; copy it again from the phone or recorder"
    if claims.edits > MOST_EDITS:
        return f"claims {claims.edits} cuts, more than any recorder makes; {_EXPORT}"
    return None


def _matroska_encrypted(file: IO[bytes]) -> bool:
    """Whether a track's content encodings hold an encryption; looks no further than the first cluster."""
    file.seek(0)
    for _ in range(_MOST_ELEMENTS):
        number, size = _ebml_number(file, keep_mark=True), _ebml_number(file)
        if number is None or size is None or number == _CLUSTER:
            return False
        if number == _CONTENT_ENCRYPTION:
            return True
        if number not in _MATROSKA_PARENTS:
            file.seek(size, 1)
    return False


def _ebml_number(file: IO[bytes], keep_mark: bool = False) -> int | None:
    """A number of 1 to 8 bytes whose first set bit tells its length; None where there is none."""
    first = file.read(1)
    if not first or not first[0]:
        return None
    length = 9 - first[0].bit_length()
    rest = file.read(length - 1)
    if len(rest) < length - 1:
        return None
    value = int.from_bytes(first + rest, "big")
    return value if keep_mark else value & ((1 << 7 * length) - 1)
