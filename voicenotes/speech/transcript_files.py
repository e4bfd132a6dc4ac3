"""Transcripts somebody already has: plain text, SubRip, WebVTT, and JSON with words.

Each file type becomes words with times:

- `.txt`: no times in it, so words get pseudo-times: 0.4 s a word, one after the other, and 1.5 s of
  pause wherever a line ends (blank lines add nothing), so that lines stay apart like utterances.
- `.srt`, `.vtt`: the words of a cue share its time evenly; inline timestamps of WebVTT are kept.
- `.json`: the times are the file's own.

Sources: WebVTT, the Web Video Text Tracks Format (W3C Candidate Recommendation, 4 April 2019),
sections 4 and 6.  SubRip has no standard; commas or points before the milliseconds are both read.
"""

from __future__ import annotations

import html
import math
import re
from pathlib import Path

from voicenotes.errors import RecordingError
from voicenotes.links import no_file_because
from voicenotes.model import LeftOut, Transcript, Word
from voicenotes.speech.plain_text import words_of_text
from voicenotes.speech.timed_text import (
    NO_TEXT,
    checked_end,
    clean_text,
    refuse_endless,
    shown,
    spread_words,
)
from voicenotes.speech.transcript_json import json_left_out, json_origin, json_words, parse_json

TRANSCRIPT_SUFFIXES = frozenset((".txt", ".srt", ".vtt", ".json"))
LARGEST_FILE_BYTES = 30_000_000

_TIME = r"(?:(\d+):)?([0-5]?\d):([0-5]?\d)[.,](\d{1,3})"
_TIMING_LINE = re.compile(rf"\s*{_TIME}\s*-->\s*{_TIME}(?:\s.*)?$", re.ASCII)
_INLINE_TIME = re.compile(rf"<{_TIME}>", re.ASCII)
_TAG = re.compile(r"</?[A-Za-z][^<>]*>|</>|\{\\[^{}]*\}")


def read_transcript(path: str | Path) -> Transcript:
    """Read a ready-made transcript; the suffix says which kind it is.

    Words come in order of their start.  `engine` is the file type ("txt", "srt", "vtt", "json"), or
    what a transcript written by voicenotes says, as is `left_out`; `seconds` is the end of the last word
    or more.
    Raises RecordingError, naming the file and the entry or line, for anything it can't trust.
    """
    path = Path(path)
    kind = path.suffix.lower()
    if kind not in TRANSCRIPT_SUFFIXES:
        raise RecordingError(f"{path.name}: no transcript by its name; use .txt, .srt, .vtt or .json")
    content = _read_bytes(path)
    engine, model, seconds = kind[1:], None, 0.0
    left_out: tuple[LeftOut, ...] = ()
    if kind == ".json":
        data = parse_json(_decode_text(content, path.name, legacy=False), path.name)
        words = json_words(data, path.name)
        if isinstance(data, dict):
            engine, model, seconds = json_origin(data, path.name)
            left_out = json_left_out(data, path.name)
    else:
        text = _decode_text(content, path.name, legacy=True)
        refuse_endless(text, path.name)
        if kind == ".txt":
            words = words_of_text(clean_text(text))
        else:
            words = _cue_words(text, path.name, webvtt=kind == ".vtt")
    if not left_out and not any(character.isalnum() for word in words for character in word.text):
        raise RecordingError(f"{path.name}: has no words in it; remove it or export the transcript again")
    words.sort(key=lambda word: word.start)
    length = max([seconds, *(word.end for word in words), *(out.end for out in left_out)])
    return Transcript(words=tuple(words), engine=engine, model=model, seconds=length, left_out=left_out)


def _read_bytes(path: Path) -> bytes:
    """The file's content; RecordingError when it can't be read, is empty or far too large."""
    name = path.name
    try:
        if reason := no_file_because(path, "transcript"):
            raise RecordingError(f"{name}: {reason}")
        if path.stat().st_size > LARGEST_FILE_BYTES:
            raise RecordingError(f"{name}: is too large for a transcript; is it the right file?")
        content = path.read_bytes()
    except FileNotFoundError:
        raise RecordingError(f"{name}: no such file; check the name and the folder") from None
    except PermissionError:
        raise RecordingError(f"{name}: no permission to read it; change the file's permissions") from None
    except (OSError, ValueError) as error:
        raise RecordingError(f"{name}: can't be read ({error}); copy it again") from None
    if not content:
        raise RecordingError(f"{name}: is empty (0 bytes); export the transcript again")
    return content


def _decode_text(content: bytes, name: str, *, legacy: bool) -> str:
    """Text from bytes by byte order mark, else UTF-8, else (`legacy`) Windows code page 1252."""
    if content.startswith((b"\xff\xfe\x00\x00", b"\x00\x00\xfe\xff")):
        encodings = ["utf-32"]
    elif content.startswith((b"\xff\xfe", b"\xfe\xff")):
        encodings = ["utf-16"]
    else:
        encodings = ["utf-8-sig", "cp1252"] if legacy else ["utf-8-sig"]
    for encoding in encodings:
        try:
            text = content.decode(encoding)
        except UnicodeDecodeError:
            continue
        if not NO_TEXT.search(text):
            return text.replace("\r\n", "\n").replace("\r", "\n").replace("\x0c", "\n")
    raise RecordingError(f"{name}: is not text (or in an unknown encoding); save it as UTF-8 text")


def _cue_words(text: str, name: str, *, webvtt: bool) -> list[Word]:
    """The words of all cues, from timing line to timing line.

    WebVTT: an empty line ends a cue, and blocks without a timing line (header, NOTE, STYLE, REGION)
    are passed over.  SubRip: what stands before the next cue's number is text, empty lines or not.
    """
    lines = text.split("\n")
    if webvtt and not re.match(r"WEBVTT(?:[ \t]|$)", lines[0]):
        raise RecordingError(f"{name}: doesn't begin with WEBVTT; export it again, or name it .srt")
    words: list[Word] = []
    cue: tuple[float, float] | None = None
    block: list[str] = []  # the lines of the cue, or of the block that is no cue so far
    for number, line in enumerate(lines, start=1):
        if "-->" in line:
            if cue:
                words += _one_cue(block if webvtt else _without_number(block), *cue)
            is_note = webvtt and not cue and block and re.match(r"NOTE(?:\s|$)", block[0])
            cue = None if is_note else _timing(line, f"{name}: line {number}")
            block = block if is_note else []
        elif line or not webvtt:
            block.append(line)
        else:
            if cue:
                words += _one_cue(block, *cue)
            cue, block = None, []
    return words + _one_cue(block, *cue) if cue else words


def _without_number(lines: list[str]) -> list[str]:
    """A SubRip cue's text without the number of the next cue, which comes last."""
    filled = [index for index, line in enumerate(lines) if line.strip()]
    if filled and filled[-1] > 0 and lines[filled[-1]].strip().isdecimal():
        return lines[: filled[-1]]
    return lines


def _timing(line: str, where: str) -> tuple[float, float]:
    """Start and end in seconds of a timing line."""
    match = _TIMING_LINE.match(line)
    if not match:
        raise RecordingError(
            f"{where}: {shown(line)} is no pair of times; write them as 00:01:02.500 --> 00:01:04.000"
        )
    start, end = _clock(match.groups()[:4]), _clock(match.groups()[4:])
    return start, checked_end(start, end, where)


def _clock(parts: tuple[str | None, ...]) -> float:
    """Seconds from hours (or None), minutes, seconds and a decimal fraction."""
    hours, minutes, seconds, fraction = parts
    try:
        whole = int(hours or 0) * 3600 + int(minutes or 0) * 60 + int(seconds or 0)
        return whole + float(f"0.{fraction}")
    except (ValueError, OverflowError):  # thousands of digits
        return math.inf


def _one_cue(lines: list[str], start: float, end: float) -> list[Word]:
    """The words of one cue: spread evenly between start, the inline timestamps and end."""
    words: list[Word] = []
    pieces = _INLINE_TIME.split(" ".join(lines))  # text, then 4 groups and text for each timestamp
    begin = start
    tokens = _cue_tokens(pieces[0])
    for index in range(1, len(pieces), 5):
        moment = _clock(tuple(pieces[index : index + 4]))
        if begin < moment < end:
            words += spread_words(tokens, begin, moment)
            begin, tokens = moment, []
        tokens += _cue_tokens(pieces[index + 4])
    return words + spread_words(tokens, begin, end)


def _cue_tokens(text: str) -> list[str]:
    """Words of cue text without tags; a lone `<` is text.  Entities become characters."""
    plain = html.unescape(_TAG.sub("", text))
    return clean_text(plain).split()
