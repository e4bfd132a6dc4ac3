"""Transcripts as JSON: `{"words": [...]}`, `{"segments": [...]}` or a bare list of timed words."""

from __future__ import annotations

import json
import math
from typing import Any

from voicenotes.errors import RecordingError
from voicenotes.model import LeftOut, Word
from voicenotes.speech.timed_text import (
    MOST_WORDS,
    checked_end,
    clean_text,
    refuse_endless,
    refuse_many,
    shown,
    spread_words,
)


def parse_json(text: str, name: str) -> Any:
    """The JSON value; RecordingError with line and column when it is none."""
    refuse_many(text.count("{") - MOST_WORDS, name)  # an object a word, one a segment, one in all
    try:
        return json.loads(text)
    except json.JSONDecodeError as error:
        raise RecordingError(
            f"{name}: is not JSON (line {error.lineno}, column {error.colno}: {error.msg}); export it again"
        ) from None
    except (ValueError, RecursionError):
        raise RecordingError(f"{name}: is not JSON that can be read; export it again") from None


def json_origin(data: dict[str, Any], name: str) -> tuple[str, str | None, float]:
    """Engine, model and length of the recording, where the file says them."""
    engine, model = data.get("engine"), data.get("model")
    seconds = data.get("seconds", data.get("duration"))
    return (
        clean_text(engine) if isinstance(engine, str) and engine else "json",
        clean_text(model) if isinstance(model, str) else None,
        0.0 if seconds is None else _number(seconds, "seconds", name),
    )


def json_left_out(data: dict[str, Any], name: str) -> tuple[LeftOut, ...]:
    """What a transcript written by voicenotes says was not taken for speech; nothing in any other file."""
    entries = data.get("left_out")
    return tuple(
        _left_out(entry, f"{name}: left out {index}")
        for index, entry in enumerate(entries if isinstance(entries, list) else (), start=1)
    )


def json_words(data: Any, name: str) -> list[Word]:
    """Words of `{"words": [...]}`, `{"segments": [...]}` or a bare list of words."""
    words = _any_words(data, name)
    refuse_many(len(words), name)
    return words


def _any_words(data: Any, name: str) -> list[Word]:
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
    end = checked_end(start, _number(entry.get("end"), "end", where), where)
    named = (entry.get(key) for key in ("confidence", "probability", "conf", "score"))
    given = next((value for value in named if value is not None), 1.0)
    confidence = _number(given, "confidence", where)
    if confidence > 1.0 + 1e-6:
        raise RecordingError(f"{where}: confidence {confidence:g} is above 1; write it between 0 and 1")
    refuse_endless(text, where)
    tokens = clean_text(text).split()
    if len(tokens) == 1:
        return [Word(text=tokens[0], start=start, end=end, confidence=min(1.0, confidence))]
    return spread_words(tokens, start, end, min(1.0, confidence))


def _left_out(entry: Any, where: str) -> LeftOut:
    if not isinstance(entry, dict) or not isinstance(entry.get("text"), str):
        raise RecordingError(f"{where} is no object with text and times; correct it")
    start = _number(entry.get("start"), "start", where)
    end = checked_end(start, _number(entry.get("end"), "end", where), where)
    why = entry.get("why")
    said_why = clean_text(why) if isinstance(why, str) else ""
    return LeftOut(text=clean_text(entry["text"]), start=start, end=end, why=said_why)


def _number(value: Any, what: str, where: str) -> float:
    """A finite number of at least 0 (also as a string, which some exporters write)."""
    if value is None:
        raise RecordingError(f"{where} has no {what}; export it with word times")
    try:
        number = math.nan if isinstance(value, bool) else float(value)
    except (TypeError, ValueError, OverflowError):
        number = math.nan
    if not math.isfinite(number):
        raise RecordingError(f"{where}: {what} {shown(value)} is not a number; correct it")
    if number < 0:
        raise RecordingError(f"{where}: {what} {number:g} is below 0; correct it")
    return number
