"""Ready-made transcripts: plain text, SubRip, WebVTT and JSON become words with times."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from voicenotes.errors import RecordingError
from voicenotes.model import LeftOut, Transcript, Word
from voicenotes.speech.transcript_files import TRANSCRIPT_SUFFIXES, read_transcript


def read(folder: Path, name: str, content: str | bytes) -> Transcript:
    """Write a file and read it as a transcript."""
    path = folder / name
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return read_transcript(path)


def times(transcript: Transcript) -> list[tuple[str, float, float]]:
    """Words with start and end, for comparison."""
    return [(word.text, word.start, word.end) for word in transcript.words]


def refusal(folder: Path, name: str, content: str | bytes) -> str:
    """The one line with which a file is refused; it names the file, and not its folder."""
    with pytest.raises(RecordingError) as caught:
        read(folder, name, content)
    message = str(caught.value)
    assert message.startswith(f"{name}: ")
    assert "\n" not in message
    assert str(folder) not in message
    return message


# Plain text


def test_plain_text_gets_pseudo_times(tmp_path: Path) -> None:
    found = read(tmp_path, "a.txt", "Way covers fine.\n\n\nSpindle growls,\nno leaks\n")
    assert times(found) == [
        ("Way", 0.0, 0.4),
        ("covers", 0.4, 0.8),
        ("fine.", 0.8, 1.2),
        ("Spindle", 2.7, 3.1),
        ("growls,", 3.1, 3.5),
        ("no", 5.0, 5.4),
        ("leaks", 5.4, 5.8),
    ]
    assert found.engine == "txt"
    assert found.model is None
    assert found.seconds == 5.8
    assert {word.confidence for word in found.words} == {1.0}


SAID = "Öl läuft \u2013 5 µm.\r\nfine"


@pytest.mark.parametrize(
    "content",
    [
        SAID.encode("utf-8"),
        SAID.encode("utf-8-sig"),
        SAID.encode("utf-16"),
        b"\xff\xfe" + SAID.encode("utf-16-le"),
        b"\xfe\xff" + SAID.encode("utf-16-be"),
        SAID.encode("utf-32"),
        SAID.encode("cp1252"),
        SAID.replace("\r\n", "\r").encode("utf-8"),
    ],
    ids=["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "cp1252", "cr"],
)
def test_encodings_of_plain_text(tmp_path: Path, content: bytes) -> None:
    found = read(tmp_path, "a.TXT", content)
    assert found.text == "Öl läuft \u2013 5 µm. fine"
    assert found.words[-1].start == pytest.approx(5 * 0.4 + 1.5)


@pytest.mark.parametrize("content", ["\n \n", "...\n--\n", "\ufeff", "\u200e \u200b"])
def test_text_without_words_is_refused(tmp_path: Path, content: str) -> None:
    assert "has no words in it" in refusal(tmp_path, "a.txt", content)


@pytest.mark.parametrize("suffix", sorted(TRANSCRIPT_SUFFIXES))
def test_empty_missing_binary_and_folder_are_refused(tmp_path: Path, suffix: str) -> None:
    assert "is empty (0 bytes)" in refusal(tmp_path, f"a{suffix}", b"")
    assert "is not text" in refusal(tmp_path, f"b{suffix}", b"RIFF\x24\x00\x00\x00WAVEfmt \x10\x00\x81\x8d")
    assert "is not text" in refusal(tmp_path, f"c{suffix}", b"\xff\xfea")
    with pytest.raises(RecordingError, match=r"^gone\.\w+: no such file"):
        read_transcript(tmp_path / f"gone{suffix}")
    (tmp_path / f"d{suffix}").mkdir()
    with pytest.raises(RecordingError, match="is a folder"):
        read_transcript(tmp_path / f"d{suffix}")


def test_other_suffixes_are_refused(tmp_path: Path) -> None:
    assert "no transcript by its name" in refusal(tmp_path, "a.docx", "spindle fine")


def test_a_file_without_permission_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def closed(_: Path) -> bytes:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "read_bytes", closed)
    assert "no permission to read it" in refusal_at(tmp_path / "a.txt")


def refusal_at(path: Path) -> str:
    """The message for a path whose content does not matter."""
    path.touch()
    with pytest.raises(RecordingError) as caught:
        read_transcript(path)
    return str(caught.value)


# SubRip


def test_subrip(tmp_path: Path) -> None:
    content = (
        "\ufeff1\r\n00:00:01,000 --> 00:00:03,000\r\n<i>Way covers</i> are\r\n{\\an8}fine &amp; dry\r\n\r\n"
        '2\r\n01:00:04.500 --> 01:00:05.000 X1:10 X2:20\r\n<font color="#fff">Spindle</font> growls\r\n'
    )
    found = read(tmp_path, "a.srt", content)
    assert found.engine == "srt"
    assert found.text == "Way covers are fine & dry Spindle growls"
    assert times(found)[:2] == [("Way", 1.0, 1.333), ("covers", 1.333, 1.667)]
    assert times(found)[-2:] == [("Spindle", 3604.5, 3604.75), ("growls", 3604.75, 3605.0)]
    assert found.words[5].end == 3.0


def test_subrip_keeps_text_after_an_empty_line(tmp_path: Path) -> None:
    content = "1\n00:00:01,000 --> 00:00:02,000\nchuck\n\nfine\n\n2\n00:00:03,000 --> 00:00:04,000\nten\n7\n"
    assert read(tmp_path, "a.srt", content).text == "chuck fine ten 7"


def test_subrip_without_numbers_and_out_of_order_is_sorted(tmp_path: Path) -> None:
    content = "00:05,0 --> 00:06,0\nsecond\n00:01,5 --> 00:02,5\nfirst\n"
    assert times(read(tmp_path, "a.srt", content)) == [("first", 1.5, 2.5), ("second", 5.0, 6.0)]


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("00:00:05,000 --> 00:00:04,000", "ends at 4 s, before its start at 5 s"),
        ("00:00:61,000 --> 00:01:04,000", "is no pair of times"),
        ("-00:00:01,000 --> 00:00:04,000", "is no pair of times"),
        ("00:00:01,000 --> ", "is no pair of times"),
        ("NaN --> NaN", "is no pair of times"),
        ("9" * 900 + ":00:01,000 --> 00:00:04,000", "too large"),
    ],
)
@pytest.mark.parametrize("name", ["a.srt", "a.vtt"])
def test_bad_cue_times_are_refused_with_their_line(tmp_path: Path, name: str, line: str, words: str) -> None:
    message = refusal(tmp_path, name, f"WEBVTT\n\n{line}\nspindle\n")
    assert "line 3" in message
    assert words in message


def test_a_cue_that_ends_a_rounding_early_is_put_right(tmp_path: Path) -> None:
    content = "1\n00:00:05,000 --> 00:00:04,990\nfine\n"
    assert times(read(tmp_path, "a.srt", content)) == [("fine", 5.0, 5.0)]


# WebVTT.  Cases after the examples and the parsing rules in WebVTT: The Web Video Text Tracks Format
# (W3C Candidate Recommendation, https://www.w3.org/TR/webvtt1/, sections 1, 4 and 6), in words of the shop.

WEBVTT_CASES: list[tuple[str, str, list[tuple[str, float, float]]]] = [
    (
        "cues, hours optional",
        "WEBVTT\n\n00:01.000 --> 00:04.000\nNever run it\n\n00:00:05.000 --> 00:00:09.000\n- One.\n- Two.\n",
        [
            ("Never", 1.0, 2.0),
            ("run", 2.0, 3.0),
            ("it", 3.0, 4.0),
            ("-", 5.0, 6.0),
            ("One.", 6.0, 7.0),
            ("-", 7.0, 8.0),
            ("Two.", 8.0, 9.0),
        ],
    ),
    (
        "header text, notes, style, region and names of cues",
        "WEBVTT - Machine 7\nKind: captions\n\nNOTE\nnot this\nnor this\n\nSTYLE\n::cue(b) { color: red }\n\n"
        "REGION\nid:low\n\nintro 1\n00:01.000 --> 00:02.000\nfine\n\nNOTE over\n",
        [("fine", 1.0, 2.0)],
    ),
    (
        "cue settings",
        "WEBVTT\n\n00:00:01.000 --> 00:00:02.000 line:63% position:72% align:start\nfine\n",
        [("fine", 1.0, 2.0)],
    ),
    (
        "voice, class, language and ruby tags",
        "WEBVTT\n\n00:01.000 --> 00:05.000\n<v.loud Anna B>Worn <c.yellow.bg>gib</c> <lang en-GB>on</lang> "
        "<ruby>X<rt></rt></ruby></v>\n",
        [("Worn", 1.0, 2.0), ("gib", 2.0, 3.0), ("on", 3.0, 4.0), ("X", 4.0, 5.0)],
    ),
    (
        "timestamps inside a cue",
        "WEBVTT\n\n00:10.000 --> 00:20.000\nno <00:00:12.000>leak <00:13.500><c>at</c> all\n",
        [("no", 10.0, 12.0), ("leak", 12.0, 13.5), ("at", 13.5, 16.75), ("all", 16.75, 20.0)],
    ),
    (
        "a timestamp out of its cue is passed over",
        "WEBVTT\n\n00:10.000 --> 00:12.000\nno <00:00:30.000>leak\n",
        [("no", 10.0, 11.0), ("leak", 11.0, 12.0)],
    ),
    (
        "entities",
        "WEBVTT\n\n00:00.000 --> 00:03.000\nAT&amp;C &lt;5&gt;&nbsp;bar&lrm;\n",
        [("AT&C", 0.0, 1.0), ("<5>", 1.0, 2.0), ("bar", 2.0, 3.0)],
    ),
    (
        "a lone less-than sign is text",
        "WEBVTT\n\n00:00.000 --> 00:03.000\npressure < 5\n",
        [("pressure", 0.0, 1.0), ("<", 1.0, 2.0), ("5", 2.0, 3.0)],
    ),
    (
        "byte order mark, CRLF, tab after the signature",
        "\ufeffWEBVTT\tx\r\n\r\n00:00.000 --> 00:01.000\r\nfine\r\n",
        [("fine", 0.0, 1.0)],
    ),
    (
        "a timing line ends the cue before it",
        "WEBVTT\n\n00:00.000 --> 00:01.000\none\n00:01.000 --> 00:02.000\ntwo",
        [("one", 0.0, 1.0), ("two", 1.0, 2.0)],
    ),
    (
        "cues that overlap",
        "WEBVTT\n\n00:00.000 --> 00:04.000\na\n\n00:01.000 --> 00:02.000\nb\n",
        [("a", 0.0, 4.0), ("b", 1.0, 2.0)],
    ),
    (
        "hours of three digits",
        "WEBVTT\n\n100:00:00.000 --> 100:00:01.000\nlate\n",
        [("late", 360_000.0, 360_001.0)],
    ),
    (
        "an arrow in a note",
        "WEBVTT\n\nNOTE\nfrom a --> b\n\n00:00.000 --> 00:01.000\nfine\n",
        [("fine", 0.0, 1.0)],
    ),
    (
        "a cue without text",
        "WEBVTT\n\n00:00.000 --> 00:01.000\n\n00:01.000 --> 00:02.000\nfine\n",
        [("fine", 1.0, 2.0)],
    ),
]


@pytest.mark.parametrize(
    ("content", "expected"), [c[1:] for c in WEBVTT_CASES], ids=[c[0] for c in WEBVTT_CASES]
)
def test_webvtt(tmp_path: Path, content: str, expected: list[tuple[str, float, float]]) -> None:
    found = read(tmp_path, "a.vtt", content)
    assert times(found) == expected
    assert found.engine == "vtt"


@pytest.mark.parametrize("first", ["", "WEBVTTX", "webvtt", "1", " WEBVTT"])
def test_webvtt_needs_its_signature(tmp_path: Path, first: str) -> None:
    message = refusal(tmp_path, "a.vtt", f"{first}\n\n00:00.000 --> 00:01.000\nfine\n")
    assert "doesn't begin with WEBVTT" in message


@pytest.mark.parametrize(
    "content", ["WEBVTT", "WEBVTT\n\nNOTE nothing\n", "WEBVTT\n\n00:00.000 --> 00:01.000\n<b></b>\n"]
)
def test_webvtt_without_words_is_refused(tmp_path: Path, content: str) -> None:
    assert "has no words in it" in refusal(tmp_path, "a.vtt", content)


# JSON


def word(text: str = "fine", start: Any = 1.0, end: Any = 2.0, **more: Any) -> dict[str, Any]:
    """A word as JSON has it."""
    return {"word": text, "start": start, "end": end, **more}


@pytest.mark.parametrize(
    "wrap", [lambda w: w, lambda w: {"words": w}, lambda w: {"segments": [{"words": w}]}]
)
@pytest.mark.parametrize("key", ["confidence", "probability", "conf", "score"])
def test_json_words(tmp_path: Path, wrap: Any, key: str) -> None:
    entries = [{"text": " chuck", "start": 3, "end": "3.5", key: 0.25}, word(), word("  ", 2.0, 2.1)]
    found = read(tmp_path, "a.json", json.dumps(wrap(entries)))
    assert found.words == (
        Word(text="fine", start=1.0, end=2.0),
        Word(text="chuck", start=3.0, end=3.5, confidence=0.25),
    )
    assert found.engine == "json"
    assert found.seconds == 3.5


def test_json_segments_without_words_are_spread(tmp_path: Path) -> None:
    data = {
        "text": "ignored",
        "duration": 9.5,
        "segments": [
            {"start": 1.0, "end": 3.0, "text": " way covers", "words": []},
            {"start": 4.0, "end": 5.0, "text": "fine", "words": [word("dry", 4.0, 4.5, probability=0.5)]},
        ],
    }
    found = read(tmp_path, "a.json", json.dumps(data))
    assert times(found) == [("way", 1.0, 2.0), ("covers", 2.0, 3.0), ("dry", 4.0, 4.5)]
    assert found.seconds == 9.5


def test_a_word_with_a_space_becomes_two(tmp_path: Path) -> None:
    found = read(tmp_path, "a.json", json.dumps([word("ball screw", 1.0, 2.0, conf=0.5)]))
    assert times(found) == [("ball", 1.0, 1.5), ("screw", 1.5, 2.0)]
    assert [w.confidence for w in found.words] == [0.5, 0.5]


def test_a_broken_surrogate_is_replaced(tmp_path: Path) -> None:
    assert read(tmp_path, "a.json", r'[{"word": "fi\ud800ne", "start": 0, "end": 1}]').text == "fi?ne"


WORDS = st.builds(
    lambda text, start, length, confidence: Word(
        text=text, start=start, end=start + length, confidence=confidence
    ),
    st.text(st.characters(codec="ascii", categories=("L", "N", "P")), min_size=1).map(lambda t: "a" + t),
    st.floats(0, 1e6),
    st.floats(0, 100),
    st.floats(0, 1),
)


@settings(max_examples=60, deadline=None)
@given(
    words=st.lists(WORDS, min_size=0, max_size=8),
    out=st.lists(WORDS, min_size=1, max_size=3),
    engine=st.sampled_from(["whisper", "embedded"]),
)
def test_a_transcript_comes_back_as_it_was_written(words: list[Word], out: list[Word], engine: str) -> None:
    words.sort(key=lambda w: w.start)
    seconds = max(w.end for w in (*words, *out)) + 1.0
    left_out = tuple(LeftOut(text=w.text, start=w.start, end=w.end, why="nobody is heard") for w in out)
    transcript = Transcript(
        words=tuple(words), engine=engine, model="small", seconds=seconds, left_out=left_out
    )
    with TemporaryDirectory() as folder:
        assert read(Path(folder), "a.json", transcript.model_dump_json()) == transcript


@pytest.mark.parametrize(
    ("data", "words"),
    [
        ([word(), word(start=-1.0)], "word|entry 2: start -1 is below 0"),
        ({"words": [word(), word(), word(end=float("nan"))]}, "word 3: end nan is not a number"),
        ({"words": [word(start=float("inf"))]}, "word 1: start inf is not a number"),
        ({"words": [word(start=True)]}, "word 1: start True is not a number"),
        ({"words": [word(start="soon")]}, "word 1: start 'soon' is not a number"),
        ({"words": [word(start=[1])]}, r"word 1: start \[1\] is not a number"),
        ({"words": [{"word": "fine", "end": 1}]}, "word 1 has no start"),
        ({"words": [{"word": "fine", "start": 1}]}, "word 1 has no end"),
        ({"words": [{"start": 1, "end": 2}]}, 'word 1 has no "word" or "text"'),
        ({"words": [word(text=5)]}, 'word 1 has no "word" or "text"'),  # type: ignore[arg-type]
        ({"words": ["fine"]}, "word 1 is no object"),
        ({"words": [word(start=3.0)]}, "word 1: ends at 2 s, before its start at 3 s"),
        ({"words": [word(confidence=87)]}, "word 1: confidence 87 is above 1"),
        ({"words": [word(score=-0.3)]}, "word 1: confidence -0.3 is below 0"),
        (
            {"segments": [{"words": [word()]}, {"words": [word(), word(end=0)]}]},
            "segment 2, word 2: ends at 0 s",
        ),
        ({"segments": [{"text": "fine", "start": 1}]}, "segment 1 has no end"),
        ({"segments": [3]}, "segment 1 is no object"),
        ({"words": [word()], "seconds": "long"}, "seconds 'long' is not a number"),
        ({"text": "fine"}, 'neither "words" nor "segments"'),
        ("fine", 'neither "words" nor "segments"'),
        (None, 'neither "words" nor "segments"'),
        ({"words": [word()], "left_out": ["fine"]}, "left out 1 is no object"),
        ({"words": [word()], "left_out": [{"text": "fine", "end": 1}]}, "left out 1 has no start"),
        ({"words": [word()], "left_out": [{"text": "x", "start": 2, "end": 1}]}, "left out 1: ends at 1 s"),
        ({"words": []}, "has no words in it"),
        ([], "has no words in it"),
        ([word("...")], "has no words in it"),
    ],
)
def test_bad_json_entries_are_refused_by_name(tmp_path: Path, data: Any, words: str) -> None:
    import re

    assert re.search(words, refusal(tmp_path, "a.json", json.dumps(data)))


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ('{"words": [', "is not JSON (line 1, column 12"),
        ("spindle fine", "is not JSON (line 1, column 1"),
        ("[" * 100_000, "is not JSON"),
        ('[{"word": "a", "start": ' + "9" * 5000 + ', "end": 1}]', "is not JSON"),
        ('[{"word": "a", "start": 1e999, "end": 1}]', "entry 1: start inf is not a number"),
        ('[{"word": "fine", "start": 0, "end": 1}]'.encode("cp1252") + b"\xe9", "is not text"),
    ],
)
def test_what_is_no_json_is_refused(tmp_path: Path, content: str | bytes, words: str) -> None:
    assert words in refusal(tmp_path, "a.json", content)


def test_times_a_little_apart_are_put_right(tmp_path: Path) -> None:
    found = read(tmp_path, "a.json", json.dumps([word(start=1.0, end=0.98, conf=1.0000001)]))
    assert times(found) == [("fine", 1.0, 1.0)]
    assert found.words[0].confidence == 1.0


# Any bytes at all

PIECES = st.sampled_from(
    [
        b"WEBVTT",
        b"\n",
        b"\n\n",
        b"00:00:01.000",
        b" --> ",
        b"00:02.000",
        b"<v A>",
        b"<00:01.500>",
        b"1",
        b"fine",
        b'{"words":',
        b"[",
        b"]",
        b"}",
        b'{"word":"a","start":',
        b'"end":',
        b"0",
        b",",
        b"NaN",
        b"\xff\xfe",
        b"&#0;",
        b"NOTE",
        b"\r",
        b"\xe9",
        b"-",
        b'"segments":',
        b"{",
        b"&#xD800;",
        b"1e308",
    ]
)


@settings(max_examples=300, deadline=None)
@given(
    suffix=st.sampled_from(sorted(TRANSCRIPT_SUFFIXES)),
    content=st.binary(max_size=200) | st.lists(PIECES, max_size=25).map(b"".join),
)
def test_any_bytes_are_read_or_refused(suffix: str, content: bytes) -> None:
    with TemporaryDirectory() as folder:
        try:
            found = read(Path(folder), f"a{suffix}", content)
        except RecordingError as error:
            assert str(error).startswith(f"a{suffix}: ")
            assert "\n" not in str(error)
            return
    assert found.words
    assert all(0 <= w.start <= w.end <= found.seconds for w in found.words)
    assert all(a.start <= b.start for a, b in zip(found.words, found.words[1:], strict=False))
    assert all(w.text == w.text.strip() != "" for w in found.words)


JSON = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=5),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(
            st.sampled_from(["words", "segments", "word", "text", "start", "end", "conf"]), inner
        )
    ),
    max_leaves=20,
)


@settings(max_examples=300, deadline=None)
@given(data=JSON)
def test_any_json_is_read_or_refused(data: Any) -> None:
    with TemporaryDirectory() as folder:
        try:
            found = read(Path(folder), "a.json", json.dumps(data))
        except RecordingError as error:
            assert "\n" not in str(error)
        else:
            assert found.words


def test_reading_text_loads_no_heavy_library() -> None:
    code = (
        "import sys, voicenotes.speech.transcript_files;"
        "print([m for m in ('av', 'numpy', 'spacy') if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, env={**os.environ}
    )
    assert done.stdout.strip() == "[]"
