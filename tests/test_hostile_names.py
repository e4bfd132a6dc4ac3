"""Names that nobody would choose, links, and things that are no files, all the way to record and screen."""

from __future__ import annotations

import json
import os
import socket
import subprocess
import sys
import unicodedata
from pathlib import Path

import pytest
from make_audio import tone, wav_bytes
from test_cli import run

from voicenotes.audio.decode import decode
from voicenotes.errors import RecordingError, VisitError
from voicenotes.files import files_in, sha256_of, shown_name, write_atomically
from voicenotes.links import leads_out
from voicenotes.outputs.wording import printable, printable_json
from voicenotes.speech.transcript_files import read_transcript
from voicenotes.visit import load_record, process_visit

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="names and links as POSIX has them")

SAID = "The spindle growls."
# name on the disk, name in the record, name on the screen where that differs
NAMES: list[tuple[bytes, str, str | None]] = [
    (b"line\nbreak.txt", "line\nbreak.txt", r"line\nbreak.txt"),
    (b"tab\tand\rreturn.txt", "tab\tand\rreturn.txt", r"tab\tand\rreturn.txt"),
    (b"$(rm -rf ~);`id`|&>x.txt", "$(rm -rf ~);`id`|&>x.txt", None),
    (b'it\'s "quoted".txt', 'it\'s "quoted".txt', None),
    (b"back\\slash.txt", "back\\slash.txt", None),
    (b"\x1b[2J\x1b]0;owned\x07.txt", "\x1b[2J\x1b]0;owned\x07.txt", r"\x1b[2J\x1b]0;owned\x07.txt"),
    ("\u202etxt.4am.txt".encode(), "\u202etxt.4am.txt", r"\u202etxt.4am.txt"),
    ("\u2066isolated.txt".encode(), "\u2066isolated.txt", r"\u2066isolated.txt"),
    ("\x9b31mred.txt".encode(), "\x9b31mred.txt", r"\x9b31mred.txt"),
    (b"not \xff utf.txt", r"not \xff utf.txt", None),
    (b"not \xfe utf.txt", r"not \xfe utf.txt", None),
    (rb"not \xff utf.txt", r"not \x5cxff utf.txt", None),
    ("Прослушано.txt".encode(), "Прослушано.txt", None),
    ("דוגמה.txt".encode(), "דוגמה.txt", None),
    ("检查.txt".encode(), "检查.txt", None),
    ("🔧🔊.txt".encode(), "🔧🔊.txt", None),
    (unicodedata.normalize("NFC", "café.txt").encode(), "caf\u00e9.txt", None),
    (unicodedata.normalize("NFD", "café.txt").encode(), "cafe\u0301.txt", None),
    (b"Memo.txt", "Memo.txt", None),
    (b"memo.txt", "memo.txt", None),
    (b"memo.TXT", "memo.TXT", None),
    (b"-rf.txt", "-rf.txt", None),
    (b"--help.txt", "--help.txt", None),
    (b" .txt", " .txt", None),
    (b"a" * 251 + b".txt", "a" * 251 + ".txt", None),
    (b"9" * 251 + b".txt", "9" * 251 + ".txt", None),
    ("ä".encode() * 125 + b".txt", "ä" * 125 + ".txt", None),
    (b"%s%n{0}.txt", "%s%n{0}.txt", None),
    (b"[bold red]x[bold].txt", "[bold red]x[bold].txt", None),
]


@pytest.fixture
def visit(tmp_path: Path) -> Path:
    folder = tmp_path / "visit"
    folder.mkdir()
    return folder


def test_every_name_goes_through_to_the_record_and_back(visit: Path, pack: Path) -> None:
    for name, _, _ in NAMES:
        (visit / os.fsdecode(name)).write_text(SAID)
    record = process_visit(visit, pack)
    assert {entry.file for entry in record.recordings} == {listed for _, listed, _ in NAMES}
    assert len(record.recordings) == len(NAMES)  # each has a name of its own in the record
    assert all(entry.words == 3 and entry.problem is None for entry in record.recordings)
    heard = {evidence.recording for evidence in record.check("head.noise").evidence}
    assert heard == {listed for _, listed, _ in NAMES}
    assert load_record(visit) == record
    assert [path.name for path in files_in(visit)] == [path.name for path in files_in(visit)]


def test_no_name_reaches_the_terminal_as_a_command(visit: Path, pack: Path) -> None:
    """Every name is that of a recording that can't be read, so every name is printed."""
    for name, _, _ in NAMES:
        (visit / os.fsdecode(name)).write_bytes(b"RIFF\x00\x00")
    (visit / "said.txt").write_text(SAID)
    code, out, err = run("process", visit, "--pack", pack)
    assert code == 1
    lines = err.splitlines()
    for _, listed, shown in NAMES:
        assert [line for line in lines if line.startswith(f"{shown or listed}: ")], listed
    for text in (out, err):
        assert printable(text.replace("\n", "")) == text.replace("\n", "")


def test_words_of_a_transcript_reach_the_terminal_as_words(visit: Path, pack: Path) -> None:
    (visit / "a.txt").write_text("The \x1b[31mspindle\x1b[0m growls \u202eand\u202c rumbles. \x9b2Jx\n")
    words = json.dumps({"words": [{"word": "tank\u001b]0;x\u0007", "start": 0, "end": 1}]})
    (visit / "b.json").write_text(words)
    record = process_visit(visit, pack)
    quotes = [evidence.quote for evidence in record.check("head.noise").evidence]
    assert quotes == ["The spindle growls and rumbles."]
    for command in (["process", visit, "--pack", pack], ["gaps", visit, "--pack", pack, "--json"]):
        for text in run(*command)[1:]:
            assert printable(text.replace("\n", "")) == text.replace("\n", "")


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("plain ünïcode 检查 🔧", "plain ünïcode 检查 🔧"),
        ("\x1b[0m\x07\x7f\x9b", r"\x1b[0m\x07\x7f\x9b"),
        ("a\nb\tc", r"a\nb\tc"),
        ("\u202eabc\u2069\u2028", r"\u202eabc\u2069\u2028"),
        ("\udcff", r"\udcff"),
    ],
)
def test_printable(text: str, shown: str) -> None:
    assert printable(text) == shown


def test_printable_json_is_the_same_value() -> None:
    value = {"\x9bname\x7f": ["\u202e", "ä", "\x1b", "\u2028\n"]}
    text = printable_json(json.dumps(value, ensure_ascii=False, indent=2))
    assert json.loads(text) == value
    assert printable(text.replace("\n", "")) == text.replace("\n", "")
    assert "ä" in text


def test_shown_names_differ_where_names_do() -> None:
    names = [b"\xff", b"\xfe", rb"\xff", rb"\x5cxff", b"\\", b"x", b"\xc3\xa9", b"\xc3"]
    shown = [shown_name(Path(os.fsdecode(name))) for name in names]
    assert len(set(shown)) == len(names)
    assert shown[-2] == "é"


# --- links and things that are no files -----------------------------------------------------------------


def test_links_inside_the_folder_are_read_and_links_out_of_it_are_not(visit: Path, pack: Path) -> None:
    outside = visit.parent / "outside"
    outside.mkdir()
    (outside / "secret.txt").write_text("The quill is stuck.")
    (outside / "secret.wav").write_bytes(wav_bytes())
    (visit / "real.txt").write_text(SAID)
    (visit / "inside.txt").symlink_to("real.txt")
    (visit / "out.txt").symlink_to(outside / "secret.txt")
    (visit / "sound.wav").symlink_to("../outside/secret.wav")
    (visit / "passwd.txt").symlink_to("/etc/passwd")
    (visit / "broken.txt").symlink_to("nowhere.txt")
    (visit / "round.txt").symlink_to("about.txt")
    (visit / "about.txt").symlink_to("round.txt")
    (visit / "folder").symlink_to(outside)
    os.link(outside / "secret.txt", visit / "hard.txt")
    os.mkfifo(visit / "pipe.txt")
    with socket.socket(socket.AF_UNIX) as server:
        here = os.open(visit, os.O_RDONLY)  # the path of a socket may be no longer than 107 bytes
        server.bind(f"/proc/self/fd/{here}/socket.txt")
        os.close(here)
        record = process_visit(visit, pack, "embedded")
    found = {entry.file: entry.problem or "" for entry in record.recordings}
    assert found["real.txt"] == found["inside.txt"] == found["hard.txt"] == ""
    for name in ("out.txt", "sound.wav", "passwd.txt", "round.txt", "about.txt"):
        assert "is a link that leads out of its folder, so it is not read" in found[name]
    assert "no such file" in found["broken.txt"]
    for name in ("pipe.txt", "socket.txt"):
        assert "is not an ordinary file" in found[name]
    assert "secret.txt" not in found
    unhashed = {entry.file for entry in record.recordings if entry.sha256 is None}
    assert {"out.txt", "sound.wav", "passwd.txt", "pipe.txt", "socket.txt"} <= unhashed
    quoted = [evidence.recording for evidence in record.check("tail.quill").evidence]
    assert quoted == ["hard.txt"]


def test_a_device_is_refused(tmp_path: Path) -> None:
    for read in (decode, read_transcript):
        with pytest.raises(RecordingError, match=r"is not an ordinary file|no transcript by its name"):
            read(Path("/dev/zero"))
    (tmp_path / "zero.txt").symlink_to("/dev/zero")
    with pytest.raises(RecordingError, match=r"leads out of its folder"):
        read_transcript(tmp_path / "zero.txt")


def test_a_chain_of_links_that_ends_outside_leads_out(tmp_path: Path) -> None:
    (tmp_path / "in").mkdir()
    (tmp_path / "a.txt").write_text("x")
    (tmp_path / "in" / "first.txt").symlink_to("second.txt")
    (tmp_path / "in" / "second.txt").symlink_to("../a.txt")
    assert leads_out(tmp_path / "in" / "first.txt")
    assert sha256_of(tmp_path / "in" / "first.txt") is None


def test_a_visit_reached_through_a_link_is_as_good(tmp_path: Path, pack: Path) -> None:
    (tmp_path / "real").mkdir()
    (tmp_path / "real" / "a.txt").write_text(SAID)
    (tmp_path / "real" / "b.txt").symlink_to("a.txt")
    (tmp_path / "link").symlink_to("real")
    record = process_visit(tmp_path / "link", pack)
    assert [entry.problem for entry in record.recordings] == [None, None]


def test_the_record_is_not_written_through_a_link(visit: Path, pack: Path) -> None:
    """Neither through one at its own name nor through one laid at the name of the temporary file."""
    treasure = visit.parent / "treasure"
    treasure.write_text("gold")
    (visit / "a.txt").write_text(SAID)
    (visit / "record.json").symlink_to(treasure)
    (visit / f".record.json.{os.getpid()}.tmp").symlink_to(treasure)
    process_visit(visit, pack)
    assert treasure.read_text() == "gold"
    assert not (visit / "record.json").is_symlink()
    (visit / f".b.{os.getpid()}.tmp").symlink_to(treasure)
    write_atomically(visit / "b", "new")
    assert (treasure.read_text(), (visit / "b").read_text()) == ("gold", "new")


def test_sound_with_an_odd_name_is_decoded(tmp_path: Path) -> None:
    for name in (b"-i.wav", b"\n\x1b[1m\xff.wav", b"concat:a|b.wav", b"http:x.wav", b"a" * 251 + b".wav"):
        path = tmp_path / os.fsdecode(name)
        path.write_bytes(wav_bytes())
        assert decode(path).samples.size == tone(0.5, 16_000).size


@pytest.mark.audio
def test_python_files_in_a_visit_are_never_run(visit: Path, pack: Path) -> None:
    """Named like modules, beside the recordings, with the visit as the current folder of all processes.

    `-P` stands for the installed command, which doesn't look for modules in the current folder either.
    """
    (visit / "a.wav").write_bytes(wav_bytes(2.0))
    (visit / "said.txt").write_text(SAID)
    names = ("json", "pickle", "queue", "wave", "av", "numpy", "pydantic", "sitecustomize", "voicenotes")
    for name in names:
        (visit / f"{name}.py").write_text("import os; os.mkdir('owned'); raise SystemExit('owned')")
    environment = {**os.environ, "PYTHONPATH": str(Path(__file__).parent.parent)}
    command = [sys.executable, "-P", "-m", "voicenotes", "process", ".", "--pack", str(pack)]
    done = subprocess.run(
        [*command, "--engine", "embedded"], cwd=visit, env=environment, capture_output=True, check=False
    )
    assert not (visit / "owned").exists()
    assert b"owned" not in done.stderr
    entries = {entry.file: entry.problem for entry in load_record(visit).recordings}
    assert "no speech found" in str(entries["a.wav"])
    assert entries["said.txt"] is None


def test_such_a_file_is_run_where_the_current_folder_is_looked_in(visit: Path) -> None:
    """The control: Python itself looks there when it is started with -m and without -P."""
    (visit / "json.py").write_text("import os; os.mkdir('owned')")
    subprocess.run([sys.executable, "-m", "json"], cwd=visit, capture_output=True, check=False)
    assert (visit / "owned").exists()


def test_nothing_is_kept_where_a_link_leads(visit: Path, pack: Path, tmp_path: Path) -> None:
    (visit / "said.txt").write_text(SAID)
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    (visit / ".voicenotes").symlink_to(elsewhere)
    with pytest.raises(VisitError, match="is a link"):
        process_visit(visit, pack)
    assert list(elsewhere.iterdir()) == []


def test_a_transcript_stands_for_its_recording_however_its_accents_are_written(
    visit: Path, pack: Path
) -> None:
    """One accented letter is one character here, a letter and a mark there (Unicode Annex 15)."""
    (visit / (unicodedata.normalize("NFC", "café") + ".wav")).write_bytes(b"never read")
    (visit / (unicodedata.normalize("NFD", "café") + ".txt")).write_text(SAID)
    (entry,) = process_visit(visit, pack).recordings
    assert (entry.problem, entry.words) == (None, len(SAID.split()))
