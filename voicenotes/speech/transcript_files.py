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
import json
import math
import re
from pathlib import Path
from typing import Any

from voicenotes.errors import RecordingError
from voicenotes.model import Transcript, Word
from voicenotes.speech.plain_text import words_of_text

TRANSCRIPT_SUFFIXES = frozenset((".txt", ".srt", ".vtt", ".json"))
# Recognisers round start and end apart: an end this little before its start is put right.
ROUNDING_SECONDS = 0.05
LARGEST_FILE_BYTES = 50_000_000

_TIME = r"(?:(\d+):)?([0-5]?\d):([0-5]?\d)[.,](\d{1,3})"
_TIMING_LINE = re.compile(rf"\s*{_TIME}\s*-->\s*{_TIME}(?:\s.*)?$", re.ASCII)
_INLINE_TIME = re.compile(rf"<{_TIME}>", re.ASCII)
_TAG = re.compile(r"</?[A-Za-z][^<>]*>|</>|\{\\[^{}]*\}")
_DIRECTION_MARKS = dict.fromkeys(map(ord, "\u200b\u200e\u200f\u2060\ufeff"))
_CONTROL = re.compile(r"[\x00-\x08\x0e-\x1a\x1c-\x1f\x7f]")


def read_transcript(path: str | Path) -> Transcript:
    """Read a ready-made transcript; the suffix says which kind it is.

    Words come in order of their start.  `engine` is the file type ("txt", "srt", "vtt", "json"), or
    what a transcript written by voicenotes says; `seconds` is the end of the last word or more.
    Raises RecordingError, naming the file and the entry or line, for anything it can't trust.
    """
    path = Path(path)
    kind = path.suffix.lower()
    if kind not in TRANSCRIPT_SUFFIXES:
        raise RecordingError(f"{path.name}: no transcript by its name; use .txt, .srt, .vtt or .json")
    content = _read_bytes(path)
    engine, model, seconds = kind[1:], None, 0.0
    if kind == ".json":
        data = _parse_json(_decode_text(content, path.name, legacy=False), path.name)
        words = _json_words(data, path.name)
        if isinstance(data, dict):
            engine, model, seconds = _json_origin(data, path.name)
    else:
        text = _decode_text(content, path.name, legacy=True)
        words = words_of_text(text) if kind == ".txt" else _cue_words(text, path.name, webvtt=kind == ".vtt")
    if not any(character.isalnum() for word in words for character in word.text):
        raise RecordingError(f"{path.name}: has no words in it; remove it or export the transcript again")
    words.sort(key=lambda word: word.start)
    length = max(seconds, *(word.end for word in words))
    return Transcript(words=tuple(words), engine=engine, model=model, seconds=length)


def _read_bytes(path: Path) -> bytes:
    """The file's content; RecordingError when it can't be read, is empty or far too large."""
    name = path.name
    try:
        if path.is_dir():
            raise RecordingError(f"{name}: is a folder, not a transcript; name a file in it")
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
        if not _CONTROL.search(text):
            return text.replace("\r\n", "\n").replace("\r", "\n").replace("\x0c", "\n")
    raise RecordingError(f"{name}: is not text (or in an unknown encoding); save it as UTF-8 text")


def _spread(tokens: list[str], start: float, end: float, confidence: float = 1.0) -> list[Word]:
    """Give each token an equal share of start..end (seconds)."""
    if not tokens:
        return []
    share = (end - start) / len(tokens)
    times = [round(start + index * share, 3) for index in range(len(tokens))]
    ends = [*times[1:], round(end, 3)]
    return [
        Word(text=token, start=begin, end=max(begin, finish), confidence=confidence)
        for token, begin, finish in zip(tokens, times, ends, strict=True)
    ]


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
            f"{where}: {_shown(line)} is no pair of times; write them as 00:01:02.500 --> 00:01:04.000"
        )
    start, end = _clock(match.groups()[:4]), _clock(match.groups()[4:])
    return start, _checked_end(start, end, where)


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
            words += _spread(tokens, begin, moment)
            begin, tokens = moment, []
        tokens += _cue_tokens(pieces[index + 4])
    return words + _spread(tokens, begin, end)


def _cue_tokens(text: str) -> list[str]:
    """Words of cue text without tags; a lone `<` is text.  Entities become characters."""
    plain = html.unescape(_TAG.sub("", text))
    return _clean(plain).split()


def _clean(text: str) -> str:
    """Text without invisible direction marks, control characters and broken surrogates."""
    whole = text.encode("utf-8", "replace").decode("utf-8")
    return _CONTROL.sub(" ", whole.translate(_DIRECTION_MARKS))


def _parse_json(text: str, name: str) -> Any:
    """The JSON value; RecordingError with line and column when it is none."""
    try:
        return json.loads(text)
    except json.JSONDecodeError as error:
        raise RecordingError(
            f"{name}: is not JSON (line {error.lineno}, column {error.colno}: {error.msg}); export it again"
        ) from None
    except (ValueError, RecursionError):
        raise RecordingError(f"{name}: is not JSON that can be read; export it again") from None


def _json_origin(data: dict[str, Any], name: str) -> tuple[str, str | None, float]:
    """Engine, model and length of the recording, where the file says them."""
    engine, model = data.get("engine"), data.get("model")
    seconds = data.get("seconds", data.get("duration"))
    return (
        _clean(engine) if isinstance(engine, str) and engine else "json",
        _clean(model) if isinstance(model, str) else None,
        0.0 if seconds is None else _number(seconds, "seconds", name),
    )


def _json_words(data: Any, name: str) -> list[Word]:
    """Words of `{"words": [...]}`, `{"segments": [...]}` or a bare list of words."""
    if isinstance(data, list):
        return _word_list(data, name, "entry")
    if isinstance(data, dict):
        if isinstance(data.get("words"), list) and (data["words"] or not data.get("segments")):
            return _word_list(data["words"], name, "word")
        if isinstance(data.get("segments"), list):
            return [
                word
                for index, segment in enumerate(data["segments"], start=1)
                for word in _segment_words(segment, name, f"segment {index}")
            ]
    raise RecordingError(f'{name}: has neither "words" nor "segments"; export it with word times')


def _word_list(entries: list[Any], name: str, noun: str) -> list[Word]:
    """Words of a list of {"word" or "text", "start", "end", and perhaps a confidence}."""
    return [
        word
        for index, entry in enumerate(entries, start=1)
        for word in _timed_words(entry, f"{name}: {noun} {index}")
    ]


def _segment_words(segment: Any, name: str, where: str) -> list[Word]:
    """A segment's own words, or its text spread evenly over its time."""
    if isinstance(segment, dict) and isinstance(segment.get("words"), list) and segment["words"]:
        return _word_list(segment["words"], name, f"{where}, word")
    return _timed_words(segment, f"{name}: {where}")


def _timed_words(entry: Any, where: str) -> list[Word]:
    """The words of one timed entry: usually one, more if its text has spaces, none if it is blank."""
    if not isinstance(entry, dict):
        raise RecordingError(f"{where} is no object with text and times; export it with word times")
    text = entry.get("word", entry.get("text"))
    if not isinstance(text, str):
        raise RecordingError(f'{where} has no "word" or "text"; export it with word times')
    start = _number(entry.get("start"), "start", where)
    end = _checked_end(start, _number(entry.get("end"), "end", where), where)
    named = (entry.get(key) for key in ("confidence", "probability", "conf", "score"))
    given = next((value for value in named if value is not None), 1.0)
    confidence = _number(given, "confidence", where)
    if confidence > 1.0 + 1e-6:
        raise RecordingError(f"{where}: confidence {confidence:g} is above 1; write it between 0 and 1")
    tokens = _clean(text).split()
    if len(tokens) == 1:
        return [Word(text=tokens[0], start=start, end=end, confidence=min(1.0, confidence))]
    return _spread(tokens, start, end, min(1.0, confidence))


def _number(value: Any, what: str, where: str) -> float:
    """A finite number of at least 0 (also as a string, which some exporters write)."""
    if value is None:
        raise RecordingError(f"{where} has no {what}; export it with word times")
    try:
        number = math.nan if isinstance(value, bool) else float(value)
    except (TypeError, ValueError, OverflowError):
        number = math.nan
    if not math.isfinite(number):
        raise RecordingError(f"{where}: {what} {_shown(value)} is not a number; correct it")
    if number < 0:
        raise RecordingError(f"{where}: {what} {number:g} is below 0; correct it")
    return number


def _checked_end(start: float, end: float, where: str) -> float:
    """The end, not before the start; a difference of rounding is put right."""
    if not math.isfinite(start) or not math.isfinite(end):
        raise RecordingError(f"{where}: a time is too large; correct it")
    if end < start - ROUNDING_SECONDS:
        raise RecordingError(f"{where}: ends at {end:g} s, before its start at {start:g} s; correct it")
    return max(start, end)


def _shown(value: object) -> str:
    """A value as it stands in the file, on one short line of printable characters."""
    text = ascii(value)
    return text if len(text) <= 40 else text[:37] + "..."
