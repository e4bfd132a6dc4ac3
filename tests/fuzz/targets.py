"""What is fuzzed: each target takes any bytes and ends in a value or in one of voicenotes' own errors.

`TARGETS` maps a name to a function (bytes, folder for its files) -> None; anything that it raises is a fault.
`SEEDS` gives valid content to start from. The hypothesis tests and the atheris script share both.
"""

from __future__ import annotations

import contextlib
import io
import json
import struct
from collections.abc import Callable, Iterator
from functools import lru_cache
from pathlib import Path
from tempfile import TemporaryDirectory

import hostile_files as make
from small_pack import FILES, write_pack

from voicenotes.audio import claims, refusals
from voicenotes.audio.decode import decode_blocks
from voicenotes.errors import PackError, RecordingError, VoicenotesError
from voicenotes.speech.transcript_files import read_transcript
from voicenotes.vocabulary.entry import MOST_PHRASES, phrase_count
from voicenotes.vocabulary.expand import expand
from voicenotes.vocabulary.labels import LabelledSentence
from voicenotes.vocabulary.load import load_pack
from voicenotes.vocabulary.schema import Part
from voicenotes.vocabulary.yaml_files import read_as, read_yaml

MOST_SECONDS_DECODED = 600.0


@contextlib.contextmanager
def only_our_errors(kind: type[VoicenotesError], start: str) -> Iterator[None]:
    """Lets errors of one class pass; their message is one line and begins with the file's name or place."""
    try:
        yield
    except kind as error:
        message = str(error)
        assert "\n" not in message, message
        assert message.startswith(start), message


def transcript(content: bytes, folder: Path, suffix: str) -> None:
    path = folder / f"a{suffix}"
    path.write_bytes(content)
    with only_our_errors(RecordingError, f"a{suffix}: "):
        found = read_transcript(path)
        assert found.words
        assert all(0 <= word.start <= word.end <= found.seconds for word in found.words)
        assert all(word.text and "\x1b" not in word.text for word in found.words)


def recording(content: bytes, folder: Path) -> None:
    """Decodes; the libraries see the bytes, and nothing but a RecordingError may come out."""
    path = folder / "a.m4a"
    path.write_bytes(content)
    with only_our_errors(RecordingError, "a.m4a: "):
        blocks = decode_blocks(path)
        seconds = 0.0
        with contextlib.closing(blocks):
            for block in blocks:
                assert -1.0 <= float(block.min()) <= float(block.max()) <= 1.0
                seconds += block.size / 16_000
                if seconds > MOST_SECONDS_DECODED:
                    break


def container(content: bytes, folder: Path) -> None:
    """The parsers of our own that look into containers: no error at all may come out."""
    file = io.BytesIO(content)
    refusals.refusal(file)
    assert file.tell() == 0
    for parser in (
        claims.wav_seconds, claims.caf_seconds, claims.mp3_has_length, claims.ogg_cut_off,
        claims.is_mp4_without_index,
    ):  # fmt: skip
        with contextlib.suppress(OSError, OverflowError):  # a size that points out of the file: caught above
            parser(file)


def pack_file(content: bytes, folder: Path) -> None:
    """Any bytes as a file of labelled sentences, as parts, and as YAML alone."""
    path = folder / "a.yaml"
    path.write_bytes(content)
    for read in (
        lambda: read_as(path, tuple[LabelledSentence, ...]),
        lambda: read_as(path, tuple[Part, ...]),
        lambda: read_yaml(path),
    ):
        with only_our_errors(PackError, str(path)):
            read()


def whole_pack(content: bytes, folder: Path) -> None:
    """Any bytes in place of one file of a pack that is valid but for it; the first byte says which."""
    name = sorted(FILES)[content[0] % len(FILES)] if content else "pack.yaml"
    home = write_pack(folder / "pack")
    (home / name).write_bytes(content[1:])
    with only_our_errors(PackError, ""):
        load_pack(home)


def overlay(content: bytes, folder: Path) -> None:
    """Any bytes as the user's additions to a valid pack, which are then read with."""
    home, own = write_pack(folder / "pack"), folder / "own"
    own.mkdir()
    (own / "small.yaml").write_bytes(content)
    with only_our_errors(PackError, str(own / "small.yaml")):
        pack = load_pack(home, own)
        assert all(note.startswith(str(own / "small.yaml")) for note in pack.notes)


def phrase(content: bytes, folder: Path) -> None:
    """Any text as a phrase: it is refused, or stands for as many phrases as were counted, or fewer."""
    text = content.decode("utf-8", "replace")
    path = folder / "a.yaml"
    path.write_text(json.dumps([{"id": "part", "terms": [text]}]), encoding="utf-8")
    with only_our_errors(PackError, str(path)):
        (part,) = read_as(path, tuple[Part, ...])
        count = phrase_count(part.terms[0])
        assert count <= MOST_PHRASES
        assert len(expand(part.terms[0])) <= count


TARGETS: dict[str, Callable[[bytes, Path], None]] = {
    "txt": lambda content, folder: transcript(content, folder, ".txt"),
    "srt": lambda content, folder: transcript(content, folder, ".srt"),
    "vtt": lambda content, folder: transcript(content, folder, ".vtt"),
    "json": lambda content, folder: transcript(content, folder, ".json"),
    "container": container,
    "recording": recording,
    "pack_file": pack_file,
    "whole_pack": whole_pack,
    "overlay": overlay,
    "phrase": phrase,
}


def run(target: str, content: bytes) -> None:
    """One run of a target in a folder of its own."""
    with TemporaryDirectory() as folder:
        TARGETS[target](content, Path(folder))


@lru_cache
def seeds(target: str) -> tuple[bytes, ...]:
    """Valid content of a target's kind, from which mutations start."""
    if target in ("container", "recording"):
        return tuple(_sounds())
    if target == "whole_pack":
        return tuple(bytes((n,)) + FILES[name].encode() for n, name in enumerate(sorted(FILES)))
    return _TEXTS[target]


_CUES = (
    b"1\n00:00:01,000 --> 00:00:03,500\n<i>Way covers</i> fine &amp; dry\n\n2\n00:04,0 --> 00:05,0\nquiet\n"
)
_TEXTS: dict[str, tuple[bytes, ...]] = {
    "txt": (b"Way covers fine.\n\nSpindle growls,\nno leaks\n", "Öl läuft".encode("utf-16")),
    "srt": (_CUES,),
    "vtt": (
        b"WEBVTT\n\nNOTE x\n\n00:01.000 --> 00:04.000 line:63%\nNever <00:02.000>run <c.loud>it</c>\n",
        b"WEBVTT\n\n" + _CUES,
    ),
    "json": (
        b'{"engine":"x","seconds":9,"words":[{"word":"fine","start":1,"end":2,"confidence":0.5}]}',
        b'{"segments":[{"text":"no leaks","start":0.5,"end":1e1,"words":[]}]}',
        b'[{"text":"quiet","start":"1.0","end":2.0}]',
    ),
    "pack_file": tuple(text.encode() for text in FILES.values()),
    "overlay": (
        b"pack: small\nterms:\n  - {check: tank.leaks, term: drain cock}\ndeclined: [x]\n",
        b"pack: small\nmisheard:\n  - {heard: tonk, said: tank, means: [tank, gone]}\n"
        b"pronunciations:\n  - {word: jaw, sounds: [JH AO, JH AA]}\n",
    ),
    "phrase": (b"(way|slide) <the> cover", b"=door <seal|gasket>", b"(a|b)(c|d)<e>"),
}


def _sounds() -> Iterator[bytes]:
    """A short recording of each container, and the hostile ones."""
    from make_audio import RATE, wav_bytes, write_audio

    with TemporaryDirectory() as folder:
        for name, codec, rate, kind in (
            ("a.m4a", "aac", RATE, None), ("a.mp3", "libmp3lame", RATE, None),
            ("a.ogg", "libopus", 48_000, None),
            ("b.ogg", "vorbis", RATE, None), ("a.flac", "flac", RATE, None),
            ("a.amr", "libopencore_amrnb", 8000, None),
            ("a.3gp", "libopencore_amrnb", 8000, None), ("a.caf", "pcm_s16le", RATE, None),
            ("a.aiff", "pcm_s16be", RATE, None), ("a.mka", "libopus", 48_000, "matroska"),
            ("a.wma", "wmav2", RATE, "asf"), ("a.aac", "aac", RATE, "adts"), ("b.m4a", "alac", RATE, None),
        ):  # fmt: skip
            layout = "stereo" if codec in ("vorbis", "wmav2") else "mono"
            path = write_audio(
                Path(folder) / name, codec, rate=rate, layout=layout, seconds=0.1, container=kind
            )
            yield path.read_bytes()
    yield wav_bytes(0.05)
    yield make.mp4(edits=make.edit_list(2, 9), more=make.TRACK_EXTENDS, fragments=make.fragment(4))
    yield make.matroska([bytes(320)] * 3, unknown=True)
    yield make.matroska([make.zipped_block(1000)], zipped=True)
    yield make.flac_silence(2.0, block=4096)
    yield make.opus_silence(2.0)


def mutated(content: bytes, changes: list[tuple[int, int, int]]) -> bytes:
    """Content with some changes (place, kind, value): bytes set, cut out, doubled, or sizes overwritten."""
    data = bytearray(content)
    for place, kind, value in changes:
        at = place % (len(data) or 1)
        if kind == 0 and data:
            data[at] = value & 0xFF
        elif kind == 1:
            del data[at : at + 1 + value % 64]
        elif kind == 2:
            data[at:at] = data[at : at + 1 + value % 64]
        elif kind == 3:
            data[at : at + 4] = struct.pack(">I", value & 0xFFFFFFFF)
        elif kind == 4:
            data[at : at + 4] = struct.pack("<I", value & 0xFFFFFFFF)
        else:
            data[at:at] = bytes((value & 0xFF,)) * (1 + value % 7)
    return bytes(data)
