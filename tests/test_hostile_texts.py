"""Transcripts and packs that are made to cost memory or time, or to mislead: one line each."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import pytest

from voicenotes import read_text
from voicenotes.errors import PackError, RecordingError
from voicenotes.findings.read import transcript_of_text
from voicenotes.language.words import LONGEST_SENTENCE_WORDS, STRONG, words_of
from voicenotes.speech.timed_text import LONGEST_WORD, MOST_WORDS
from voicenotes.speech.transcript_files import LARGEST_FILE_BYTES, read_transcript
from voicenotes.vocabulary.entry import MOST_PHRASES, phrase_count
from voicenotes.vocabulary.expand import expand
from voicenotes.vocabulary.load import load_pack
from voicenotes.vocabulary.schema import Check, Part
from voicenotes.vocabulary.yaml_files import read_as, read_yaml

WORD = '{"word":"fine","start":1,"end":2}'
CUE = "00:00:01,000 --> 00:00:02,000\nfine\n"

TRANSCRIPTS: list[tuple[str, str, Callable[[], bytes], str]] = [
    ("a file of many megabytes", "a.txt",
     lambda: b"a" * (LARGEST_FILE_BYTES + 1), "too large for a transcript"),
    ("a million words", "a.txt", lambda: b"a " * (MOST_WORDS + 1), "more than 500,000 words"),
    ("a million cues", "a.srt", lambda: CUE.encode() * (MOST_WORDS // 4 + 1), "more than 500,000 words"),
    ("a word without end", "a.txt",
     lambda: b"a" * (LONGEST_WORD + 1), "a word of more than 1,000 characters"),
    ("a word without end in a cue", "a.vtt",
     lambda: b"WEBVTT\n\n" + CUE.encode() + b"b" * 2000, "more than 1,000"),
    ("a word without end in JSON", "a.json",
     lambda: WORD.replace("fine", "x" * 2000).encode().join((b"[", b"]")),
     "entry 1: has a word of more than 1,000 characters"),
    ("a million words in JSON", "a.json", lambda: b"[" + b",".join([WORD.encode()] * 2 * MOST_WORDS) + b"]",
     "too large|more than 500,000 words"),
    ("a million words in one entry", "a.json", lambda: WORD.replace("fine", "x " * (MOST_WORDS + 1))
     .encode().join((b"[", b"]")), "more than 500,000 words"),
    ("objects without end", "a.json",
     lambda: b"[" + b"{}," * (2 * MOST_WORDS) + b"{}]", "more than 500,000 words"),
    ("lists in lists", "a.json", lambda: b"[" * 100_000, "is not JSON that can be read"),
    ("objects in objects", "a.json", lambda: b'{"a":' * 100_000, "is not JSON that can be read"),
    ("a deep value for a time", "a.json",
     lambda: b'[{"word":"a","start":' + b"[" * 900 + b"]" * 900 + b',"end":1}]',
     "is not a number|not JSON"),
    ("a number of 5000 digits", "a.json",
     lambda: WORD.replace("1", "9" * 5000).join("[]").encode(), "is not JSON"),
    ("a number of 4000 digits", "a.json",
     lambda: WORD.replace("1", "9" * 4000).join("[]").encode(), "not a number"),
    ("a time beyond all", "a.json", lambda: b'[{"word":"fine","start":1e12,"end":2e12}]',
     "a time is too large"),
    ("a time beyond all in a cue", "a.srt", lambda: b"9999999:00:01,000 --> 99999999:00:02,000\nfine\n",
     "line 1: a time is too large"),
    ("no number", "a.json", lambda: WORD.replace("1", "NaN").join("[]").encode(), "is not a number"),
    ("no number as a text", "a.json",
     lambda: WORD.replace("1", '"nan"').join("[]").encode(), "is not a number"),
    ("infinite", "a.json", lambda: WORD.replace("2", "Infinity").join("[]").encode(), "is not a number"),
    ("before the start", "a.json", lambda: WORD.replace("1", "-1").join("[]").encode(), "is below 0"),
    ("a NUL byte", "a.txt", lambda: b"spindle\0fine", "is not text"),
    ("UTF-16 without its mark", "a.txt", lambda: "fine".encode("utf-16-le"), "is not text"),
    ("UTF-32 cut off", "a.txt", lambda: "fine".encode("utf-32")[:-1], "is not text"),
    ("a lone surrogate in UTF-16", "a.txt", lambda: b"\xff\xfe\x00\xd8a\x00", "is not text"),
    ("a program", "a.txt", lambda: b"\x7fELF\x02\x01\x01" + bytes(100), "is not text"),
]  # fmt: skip


def refusal(path: Path) -> str:
    with pytest.raises(RecordingError) as caught:
        read_transcript(path)
    message = str(caught.value)
    assert message.startswith(f"{path.name}: ")
    assert "\n" not in message
    assert len(message) < 300
    return message


@pytest.mark.parametrize(
    ("name", "build", "says"), [t[1:] for t in TRANSCRIPTS], ids=[t[0] for t in TRANSCRIPTS]
)
def test_a_transcript_that_cannot_be_one_is_refused(
    tmp_path: Path, name: str, build: Callable[[], bytes], says: str
) -> None:
    path = tmp_path / name
    path.write_bytes(build())
    message = refusal(path)
    assert any(words in message for words in says.split("|")), message


def test_text_in_utf_7_is_read_as_the_letters_that_stand_there(tmp_path: Path) -> None:
    (tmp_path / "a.txt").write_bytes("+AGE-fine".encode("ascii"))
    assert read_transcript(tmp_path / "a.txt").text == "+AGE-fine"


def test_cues_out_of_order_and_over_one_another_are_sorted(tmp_path: Path) -> None:
    times = [(5, 9), (1, 8), (3, 4), (1, 2)]
    cues = [f"00:00:0{a},0 --> 00:00:0{b},0\nword{a}{b}\n" for a, b in times]
    (tmp_path / "a.srt").write_text("\n".join(cues))
    words = read_transcript(tmp_path / "a.srt").words
    assert [word.text for word in words] == ["word18", "word12", "word34", "word59"]


def test_a_day_of_talk_is_no_absurd_transcript(tmp_path: Path) -> None:
    """24 h at three words a second would be 260,000 words, which must be let in."""
    words = [{"word": f"w{n}", "start": n / 3, "end": n / 3 + 0.3} for n in range(260_000)]
    (tmp_path / "a.json").write_text(json.dumps({"words": words}, separators=(",", ":")))
    assert (tmp_path / "a.json").stat().st_size < LARGEST_FILE_BYTES
    assert len(read_transcript(tmp_path / "a.json").words) == 260_000


# --- packs ------------------------------------------------------------------------------------------------

ALIASES = "a: &a [x,x,x,x,x,x,x,x,x,x]\n" + "".join(
    f"{chr(98 + n)}: &{chr(98 + n)} [{','.join(['*' + chr(97 + n)] * 10)}]\n" for n in range(9)
)
YAMLS = [
    ("a thousand million values by aliases", ALIASES, "stands for more than 500,000 values"),
    ("an alias of itself", "&a [*a]", "is nested too deeply"),
    ("an alias of itself in a mapping", "&a {b: *a}", "is nested too deeply"),
    ("lists in lists", "[" * 200_000, "exceeded maximum nesting depth"),
    ("lists in lists, closed", "[" * 900 + "]" * 900, "is nested too deeply"),
    ("mappings in mappings", "\n".join(" " * n + "a:" for n in range(2000)), "nest"),
    ("a key twice", "a: 1\nb: 2\na: 3", "line 3: 'a' stands here twice"),
    ("a list for a key", "? [a]\n: b", "a key is no plain word"),
    ("a mapping for a key", "? {a: b}\n: c", "a key is no plain word"),
    ("a call", "!!python/object/apply:os.system ['true']", "could not determine a constructor"),
    ("an object", "!!python/object:os.stat_result {}", "could not determine a constructor"),
    ("a date that is none", "!!timestamp soon", "can't be read as what its tag says"),
    ("a number that is none", '!!int ""', "can't be read as what its tag says"),
    ("a yes that is none", "!!bool perhaps", "can't be read as what its tag says"),
    ("a number of 5000 digits", "9" * 5000, "not YAML"),
    ("a NUL byte", "a\0b", "not YAML"),
    ("two documents", "a: 1\n---\nb: 2", "another document"),
]


@pytest.mark.parametrize(("text", "says"), [y[1:] for y in YAMLS], ids=[y[0] for y in YAMLS])
def test_yaml_that_cannot_be_a_packs_is_refused(tmp_path: Path, text: str, says: str) -> None:
    path = tmp_path / "a.yaml"
    path.write_text(text)
    with pytest.raises(PackError) as caught:
        read_yaml(path)
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


def test_aliases_within_bounds_are_read(tmp_path: Path) -> None:
    (tmp_path / "a.yaml").write_text("a: &a [x, y]\nb: *a\n")
    assert read_yaml(tmp_path / "a.yaml").value == {"a": ["x", "y"], "b": ["x", "y"]}


def test_a_file_of_many_megabytes_is_refused(tmp_path: Path) -> None:
    (tmp_path / "a.yaml").write_bytes(b"- a\n" * 3_000_000)
    with pytest.raises(PackError, match="is too large for a file of a pack"):
        read_yaml(tmp_path / "a.yaml")


PHRASES = [
    ("(a|b)" * 40, "stands for more than 20,000 phrases"),
    ("<a> " * 15, "stands for more than 20,000 phrases"),
    ("(" + "|".join("abcdefghij") + ")" + " <x|y|z>" * 7, "stands for more than 20,000 phrases"),
    ("((a|b)|c)", "stands inside another"),
    ("(a|b", "is never closed"),
    ("a " * 1500, "at most 2000 characters"),
    ("way\ncover", "match pattern"),
    ("\x1b[31m", "match pattern"),
]


@pytest.mark.parametrize(("phrase", "says"), PHRASES, ids=[p[0][:20].strip() for p in PHRASES])
def test_a_phrase_that_stands_for_too_much_is_refused(tmp_path: Path, phrase: str, says: str) -> None:
    path = tmp_path / "parts.yaml"
    path.write_text("\n" + json.dumps([{"id": "part", "terms": [phrase]}]))
    with pytest.raises(PackError) as caught:
        read_as(path, tuple[Part, ...])
    message = str(caught.value)
    assert message.startswith(f"{path}, line 2: terms: ")
    assert says in message
    assert "\n" not in message


@pytest.mark.parametrize(
    "phrase",
    ["(a|b)" * 14, "(a|b) c <d>", "<a|b> (c|d|e)", "plain words", "<>", "()", "(|)x", "=fixed <one>"],
)
def test_the_count_of_phrases_is_that_of_the_phrases(phrase: str) -> None:
    """`expand` merges phrases that come out the same and drops the empty one; else the count is exact."""
    assert len(expand(phrase)) <= phrase_count(phrase) <= MOST_PHRASES
    if "<>" not in phrase and "|)" not in phrase and "()" not in phrase:
        assert len(expand(phrase)) == phrase_count(phrase)


def test_many_templates_that_stand_for_too_much_together_are_refused(pack: Path) -> None:
    many = [f"{chr(97 + n % 26)} " + "(a|b)" * 14 for n in range(70)]
    (pack / "cues.yaml").write_text(json.dumps([{"kind": "hedge", "phrases": many, "example": "x"}]))
    with pytest.raises(PackError, match=r"stand for more than 1,000,000; write fewer choices"):
        load_pack(pack)


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("minutes", "nan"), ("minutes", "inf"), ("minutes", "-1"), ("minutes", "1e300"), ("minutes", "0"),
        ("readings", '[{quantity: q, dimension: length, unit: in, source: s, at_most: "inf"}]'),
        ("readings", '[{quantity: q, dimension: length, unit: in, source: s, at_least: "nan"}]'),
        ("readings", '[{quantity: q, dimension: length, unit: in, source: s, per: -1, at_most: 1}]'),
        ("readings", '[{quantity: q, dimension: length, unit: in, source: s, zones: {a: 1e999, b: ~}}]'),
    ],
)  # fmt: skip
def test_limits_and_times_that_cannot_be_are_refused(tmp_path: Path, key: str, value: str) -> None:
    entry = {"id": "head.x", "title": "X", "judged": "x", "severity": "minor", "must_before_leaving": "true"}
    lines = {**entry, "minutes": "1", "readings": "[]", key: value}
    path = tmp_path / "checks.yaml"
    path.write_text("- {" + ", ".join(f"{name}: {text}" for name, text in lines.items()) + "}\n")
    with pytest.raises(PackError, match=f"line 1: {key}"):
        read_as(path, tuple[Check, ...])


# --- talk without an end ------------------------------------------------------------------------------------


def test_talk_without_marks_and_pauses_is_cut_at_a_joining_word_and_nothing_is_lost() -> None:
    text = " ".join(["the spindle growls and the chuck is fine then"] * 300)
    words = words_of(transcript_of_text(text))
    cuts = [at for at, mark in enumerate(words.breaks) if mark == STRONG]
    assert all(0 < after - at <= LONGEST_SENTENCE_WORDS for at, after in pairwise([*cuts, len(words)]))
    assert {words.norms[at] for at in cuts[1:]} <= {"and", "then"}
    record = read_text(text, load_pack("cnc_lathe"))
    assert record.check("spindle.noise").outcome == "defect"


def test_talk_with_pauses_is_not_cut_anew() -> None:
    text = " ".join(["The spindle growls."] * 400)
    assert [at for at, mark in enumerate(words_of(transcript_of_text(text)).breaks) if mark] == list(
        range(0, 1200, 3)
    )


READ_IN_A_CAGE = """
import resource
from voicenotes import load_pack, read_text
resource.setrlimit(resource.RLIMIT_CPU, (60, 60))
for text in ("serial number alpha ", "neither nor ", "scratch that. ", "growls. scratch that. ", "don't "):
    words = len(text.split())
    print(len(read_text(text * (9_000 // words), load_pack("cnc_lathe")).untagged) >= 0, flush=True)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="limits of work are set as POSIX has them")
def test_reading_grows_with_the_length_of_the_talk_and_not_with_its_square() -> None:
    """Five texts of 9,000 words in 60 s of a processor: one that grew with the square would need minutes."""
    run = subprocess.run([sys.executable, "-c", READ_IN_A_CAGE], capture_output=True, text=True)
    assert run.stderr == ""
    assert run.stdout.split() == ["True"] * 5


IN_A_CAGE = """
import re, resource, sys
from pathlib import Path
from voicenotes.errors import VoicenotesError
from voicenotes.speech.transcript_files import read_transcript
from voicenotes.vocabulary.yaml_files import read_yaml
def peak():  # in kB, of this program alone: ru_maxrss would count the parent's too
    return int(re.search(r"VmHWM:\\s+(\\d+)", Path("/proc/self/status").read_text())[1])
resource.setrlimit(resource.RLIMIT_CPU, (120, 120))
for name in sys.argv[1:]:
    try:
        read_yaml(Path(name)) if name.endswith("yaml") else read_transcript(name)
    except VoicenotesError:
        print(peak())
"""


@pytest.mark.skipif(sys.platform != "linux", reason="memory is read as Linux tells it")
def test_all_of_them_stay_within_memory_and_work(tmp_path: Path) -> None:
    """In turn, in one process that may use 120 s of a processor; none needs half a gigabyte (in kB)."""
    paths = []
    for number, (_, name, build, _) in enumerate(TRANSCRIPTS):
        paths.append(tmp_path / f"{number}{name}")
        paths[-1].write_bytes(build())
    for number, (_, text, _) in enumerate(YAMLS):
        paths.append(tmp_path / f"{number}.yaml")
        paths[-1].write_text(text)
    run = subprocess.run([sys.executable, "-c", IN_A_CAGE, *map(str, paths)], capture_output=True, text=True)
    assert run.stderr == ""
    peaks = [int(line) for line in run.stdout.split()]
    assert len(peaks) == len(paths)
    assert max(peaks) < 500_000
