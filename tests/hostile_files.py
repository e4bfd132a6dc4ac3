"""Makes recordings that claim what can't be, expand without end, or are something else: bytes, for tests.

Formats from memory of FLAC (RFC 9639), Ogg (RFC 3533), Opus (RFC 6716, RFC 7845), RIFF/WAVE, ISO base media
file format (ISO/IEC 14496-12), Core Audio Format, Matroska (RFC 9559) and ID3v2.3; each file but the ones
meant to be broken is one that the decoders take.
"""

from __future__ import annotations

import gzip
import io
import struct
import tarfile
import zipfile
import zlib

# FLAC


def _crc(data: bytes, bits: int, polynomial: int) -> int:
    value, top, mask = 0, 1 << (bits - 1), (1 << bits) - 1
    for byte in data:
        value ^= byte << (bits - 8)
        for _ in range(8):
            value = (value << 1 ^ polynomial) & mask if value & top else value << 1 & mask
    return value


def _utf8_number(number: int) -> bytes:
    return chr(number).encode("utf-8") if not 0xD800 <= number < 0xE000 else b"\xed\xa0\x80"


def flac_silence(seconds: float, rate: int = 8000, block: int = 65_535) -> bytes:
    """Digital silence in FLAC: 15 bytes for each block of `block` samples."""
    count = max(1, round(seconds * rate / block))
    rate_bits = rate << 12 | 0 << 9 | 15 << 4  # mono, 16 bits
    info = struct.pack(">HH6x", block, block) + rate_bits.to_bytes(4, "big") + bytes(4) + bytes(16)
    out = [b"fLaC", b"\x80", len(info).to_bytes(3, "big"), info]
    for index in range(count):
        head = b"\xff\xf8" + bytes((0x7D, 0x08)) + _utf8_number(index % 0xD800)
        head += struct.pack(">HH", block - 1, rate)
        head += bytes((_crc(head, 8, 0x07),))
        frame = head + b"\x00\x00\x00"  # one constant subframe: zero
        out.append(frame + struct.pack(">H", _crc(frame, 16, 0x8005)))
    return b"".join(out)


# Ogg and Opus


def _ogg_table() -> list[int]:
    table = []
    for byte in range(256):
        value = byte << 24
        for _ in range(8):
            value = (value << 1 ^ 0x04C11DB7) & 0xFFFFFFFF if value & 0x80000000 else value << 1
        table.append(value)
    return table


_OGG_TABLE = _ogg_table()


def ogg_page(packets: list[bytes], serial: int, number: int, granule: int, flags: int = 0) -> bytes:
    """One Ogg page of whole packets, each shorter than 255 bytes."""
    lacing = bytes(len(packet) for packet in packets)
    page = struct.pack("<4sBBqIIIB", b"OggS", 0, flags, granule, serial, number, 0, len(lacing))
    page += lacing + b"".join(packets)
    value = 0
    for byte in page:
        value = (value << 8 & 0xFFFFFFFF) ^ _OGG_TABLE[value >> 24 ^ byte]
    return page[:22] + struct.pack("<I", value) + page[26:]


def opus_stream(packets: list[bytes], serial: int = 1, ticks: int = 5760, channels: int = 1) -> bytes:
    """An Ogg Opus stream of the given packets, each of `ticks` samples at 48 kHz."""
    head = b"OpusHead" + struct.pack("<BBHIhB", 1, channels, 0, 48_000, 0, 0)
    tags = b"OpusTags" + struct.pack("<I", 0) + struct.pack("<I", 0)
    out = [ogg_page([head], serial, 0, 0, 2), ogg_page([tags], serial, 1, 0)]
    groups = [packets[at : at + 255] for at in range(0, len(packets), 255)]
    for number, group in enumerate(groups, start=2):
        granule = min((number - 1) * 255, len(packets)) * ticks
        out.append(ogg_page(group, serial, number, granule, 4 if number == len(groups) + 1 else 0))
    return b"".join(out)


def opus_silence(seconds: float) -> bytes:
    """Opus packets of 2 bytes that each stand for 120 ms: six frames with nothing in them."""
    page = [b"\xfb\x06"] * round(seconds / 0.12)
    return opus_stream(page)


def chained_opus(streams: int) -> bytes:
    """Many short Ogg Opus streams one after the other, each with a serial number of its own."""
    return b"".join(opus_stream([b"\xfb\x06"] * 2, serial=serial) for serial in range(1, streams + 1))


# WAV


def wav(
    body: bytes = b"\0\0" * 8000,
    *,
    rate: int = 16_000,
    channels: int = 1,
    bits: int = 16,
    coding: int = 1,
    claims: int | None = None,
    block: int | None = None,
) -> bytes:
    """A WAV with any header; `claims` is the size that its data chunk gives."""
    align = (channels * bits // 8) & 0xFFFF if block is None else block
    fmt = struct.pack("<HHIIHH", coding, channels, rate, rate * align & 0xFFFFFFFF, align, bits)
    size = len(body) if claims is None else claims
    head = struct.pack("<4sI4s4sI", b"RIFF", min(36 + size, 0xFFFFFFFF), b"WAVE", b"fmt ", 16)
    return head + fmt + struct.pack("<4sI", b"data", size) + body


# MP4


def box(kind: bytes, *content: bytes) -> bytes:
    """A box of the ISO base media file format."""
    body = b"".join(content)
    return struct.pack(">I4s", 8 + len(body), kind) + body


def full_box(kind: bytes, *content: bytes, flags: int = 0) -> bytes:
    """A box with version 0 and flags."""
    return box(kind, struct.pack(">I", flags), *content)


# MPEG-4 audio, AAC LC, 16 kHz, mono.
_ESDS = bytes.fromhex("03190001000411401500000000000000000000000005021408060102")


def mp4(
    *,
    samples: int = 4,
    sample_bytes: int = 8,
    ticks: int = 1024,
    rate: int = 16_000,
    chunk_samples: int | None = None,
    duration: int = 4096,
    entry: bytes = b"mp4a",
    in_entry: bytes | None = None,
    edits: bytes = b"",
    more: bytes = b"",
    fragments: bytes = b"",
    media: bytes = bytes(64),
    channels: int = 1,
) -> bytes:
    """An M4A with one track whose tables say what they are told to say; the media are zeros."""
    file_type = box(b"ftyp", b"M4A \0\0\0\0M4A mp42isom")
    media_box = box(b"mdat", media)
    sound = struct.pack(">6xH8xHHHHI", 1, channels, 16, 0, 0, (rate << 16) & 0xFFFFFFFF)
    described = box(entry, sound, full_box(b"esds", _ESDS) if in_entry is None else in_entry)
    table = box(
        b"stbl",
        full_box(b"stsd", struct.pack(">I", 1), described),
        full_box(b"stts", struct.pack(">III", 1, samples, ticks) if samples else bytes(4)),
        full_box(b"stsc", struct.pack(">IIII", 1, 1, chunk_samples or samples, 1) if samples else bytes(4)),
        full_box(b"stsz", struct.pack(">II", sample_bytes, samples)),
        full_box(b"stco", struct.pack(">II", 1, len(file_type) + 8) if samples else bytes(4)),
    )
    header = struct.pack(">IIII", 0, 0, rate, duration)
    track = box(
        b"trak",
        full_box(b"tkhd", struct.pack(">IIIII", 0, 0, 1, 0, duration), bytes(60), flags=7),
        edits,
        box(
            b"mdia",
            full_box(b"mdhd", header, bytes(4)),
            full_box(b"hdlr", b"\0\0\0\0soun", bytes(13)),
            box(b"minf", full_box(b"smhd", bytes(4)), table),
        ),
    )
    movie = box(b"moov", full_box(b"mvhd", header, bytes(80)), track, more)
    return file_type + media_box + movie + fragments


def edit_list(count: int, ticks: int) -> bytes:
    """An edit list of `count` entries that play the same stretch again and again."""
    return box(
        b"edts", full_box(b"elst", struct.pack(">I", count), struct.pack(">IiI", ticks, 0, 1 << 16) * count)
    )


def fragment(samples: int) -> bytes:
    """A movie fragment that claims `samples` samples without a table of them."""
    return box(
        b"moof",
        full_box(b"mfhd", struct.pack(">I", 1)),
        box(
            b"traf",
            full_box(b"tfhd", struct.pack(">III", 1, 1024, 8), flags=0x18),
            full_box(b"trun", struct.pack(">I", samples)),
        ),
    ) + box(b"mdat", bytes(64))


TRACK_EXTENDS = box(b"mvex", full_box(b"trex", struct.pack(">IIIII", 1, 1, 1024, 8, 0)))


def alac_bomb(frames: int = 3) -> bytes:
    """ALAC whose cookie allows 16 million samples a frame: zeros that need next to no bytes."""
    most = 4096 * 4096
    cookie = struct.pack(">IBBBBBBHIII", most, 0, 16, 40, 10, 14, 1, 255, 0, 0, 16_000)
    return mp4(
        samples=frames, sample_bytes=40, ticks=most, entry=b"alac",
        in_entry=full_box(b"alac", cookie), media=bytes(40 * frames),
    )  # fmt: skip


# Matroska


def element(number: int, content: bytes, unknown: bool = False) -> bytes:
    """An EBML element; `unknown` leaves its size open."""
    name = number.to_bytes((number.bit_length() + 7) // 8, "big")
    size = b"\x01" + b"\xff" * 7 if unknown else b"\x01" + len(content).to_bytes(7, "big")
    return name + size + content


def matroska(
    blocks: list[bytes], *, rate: float = 16_000.0, channels: int = 1, codec: bytes = b"A_PCM/INT/LIT",
    zipped: bool = False, unknown: bool = False, duration: float | None = None, encrypted: bool = False,
) -> bytes:  # fmt: skip
    """A Matroska file with one sound track; `zipped` says that its blocks are zlib streams."""
    head = element(
        0x1A45DFA3, element(0x4282, b"matroska") + element(0x4287, b"\x02") + element(0x4285, b"\x02")
    )
    sound = element(0xB5, struct.pack(">d", rate)) + element(0x9F, channels.to_bytes(4, "big"))
    sound += element(0x6264, b"\x10")
    track = element(0xD7, b"\x01") + element(0x73C5, b"\x01") + element(0x83, b"\x02")
    track += element(0x86, codec) + element(0xE1, sound)
    if zipped or encrypted:
        how = element(0x5033, b"\x01") + element(0x5035, element(0x47E1, b"\x05"))
        if not encrypted:
            how = element(0x5033, b"\x00") + element(0x5034, element(0x4254, b"\x00"))
        track += element(0x6D80, element(0x6240, element(0x5031, b"\x00") + element(0x5032, b"\x01") + how))
    info = element(0x2AD7B1, (1_000_000).to_bytes(4, "big"))
    if duration is not None:
        info += element(0x4489, struct.pack(">d", duration))
    simple = b"".join(element(0xA3, b"\x81" + struct.pack(">hB", 0, 0x80) + block) for block in blocks)
    cluster = element(0x1F43B675, element(0xE7, b"\x00") + simple, unknown)
    inside = element(0x1549A966, info) + element(0x1654AE6B, element(0xAE, track)) + cluster
    return head + element(0x18538067, inside, unknown)


def zipped_block(size: int = 9_000_000) -> bytes:
    """A zlib stream that expands to `size` zeros."""
    return zlib.compress(bytes(size), 9)


# ID3


def id3_bomb(pictures: int, size: int, sound: bytes) -> bytes:
    """An MP3's tag with compressed pictures, each `size` bytes when unpacked, before the sound."""
    body = b"\0image/png\0\x03\0" + bytes(size)
    packed = struct.pack(">I", len(body)) + zlib.compress(body, 9)
    frames = b"".join(b"APIC" + struct.pack(">IH", len(packed), 0x0080) + packed for _ in range(pictures))
    total = len(frames)
    synchsafe = bytes((total >> shift) & 0x7F for shift in (21, 14, 7, 0))
    return b"ID3\x03\0\0" + synchsafe + frames + sound


# Something else


def disguises() -> dict[str, bytes]:
    """Files that are no sound at all, by what they are."""
    zipped, tarred = io.BytesIO(), io.BytesIO()
    with zipfile.ZipFile(zipped, "w") as archive:
        archive.writestr("memo.wav", wav())
    with tarfile.open(fileobj=tarred, mode="w") as tar:
        member = tarfile.TarInfo("memo.wav")
        member.size = 1000
        tar.addfile(member, io.BytesIO(bytes(1000)))
    return {
        "zip": zipped.getvalue(),
        "gzip": gzip.compress(wav(), mtime=0),
        "tar": tarred.getvalue(),
        "7z": b"7z\xbc\xaf\x27\x1c\0\x04" + bytes(200),
        "rar": b"Rar!\x1a\x07\x01\x00" + bytes(200),
        "xz": b"\xfd7zXZ\x00" + bytes(200),
        "bzip2": b"BZh91AY&SY" + bytes(200),
        "zstd": b"\x28\xb5\x2f\xfd" + bytes(200),
        "pdf": b"%PDF-1.7\n1 0 obj\n<<>>\nendobj\n" * 20,
        "html": b"<!DOCTYPE html><html><body>Sign in to go on</body></html>" * 20,
        "svg": b"<?xml version='1.0'?><svg xmlns='http://www.w3.org/2000/svg'><script/></svg>" * 20,
        "m3u8": b"#EXTM3U\n#EXT-X-TARGETDURATION:10\n#EXTINF:10,\nreal.wav\n#EXT-X-ENDLIST\n",
        "concat": b"ffconcat version 1.0\nfile real.wav\nduration 99999\n" * 20,
        "sdp": b"v=0\no=- 0 0 IN IP4 127.0.0.1\ns=x\nc=IN IP4 127.0.0.1\nt=0 0\nm=audio 5004 RTP/AVP 96\n",
        "elf": b"\x7fELF\x02\x01\x01" + bytes(400),
        "exe": b"MZ\x90\x00" + bytes(400),
        "script": b'#!/bin/sh\nrm -rf "$HOME"\n' * 20,
        "png": b"\x89PNG\r\n\x1a\n" + bytes(400),
        "jpeg": b"\xff\xd8\xff\xe0\x00\x10JFIF" + bytes(400),
        "gif": b"GIF89a" + bytes(400),
        "sqlite": b"SQLite format 3\x00" + bytes(400),
        "json": b'{"error": "not found", "code": 404}' * 20,
        "zeros": bytes(100_000),
        "ones": b"\xff" * 100_000,
    }
