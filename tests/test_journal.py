"""The journal of corrections: what stands in it counts, whatever happens to the process that writes it."""

from __future__ import annotations

import hashlib
import json
import os
import random
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import correcting as c
import pytest
from stand_in_engine import environment

from voicenotes.corrections.journal import TORN_FILE, append, line_of, read_corrections, read_journal
from voicenotes.corrections.values import Add, Correction
from voicenotes.errors import NoRoomError, VisitError
from voicenotes.files import CORRECTIONS_FILE
from voicenotes.listing import recordings_in

KILLS = 12

# Writes corrections one after another, and says each one's id once it has been kept.
WRITER = """
import sys
import correcting as c
from voicenotes.corrections.journal import append
from voicenotes.corrections.values import Add
name, size = sys.argv[2], int(sys.argv[3])
for number in range(100_000):
    made = c.by(Add(title="x" * (1 + number * 37 % size)))
    made = made.model_copy(update={"id": f"{name}-{number:06d}"})
    append(sys.argv[1], made)
    print(made.id, flush=True)
"""


def added(title: str = "a scratch") -> Correction:
    return c.by(Add(title=title))


def writer(folder: Path, name: str, size: int = 1_500) -> subprocess.Popen[str]:
    words = [sys.executable, "-c", WRITER, str(folder), name, str(size)]
    return subprocess.Popen(words, stdout=subprocess.PIPE, text=True, env=environment())


def test_a_visit_without_a_journal_has_no_corrections(tmp_path: Path) -> None:
    assert read_corrections(tmp_path) == ()
    assert list(tmp_path.iterdir()) == []


def test_corrections_are_kept_in_order_and_the_same_one_once(tmp_path: Path) -> None:
    first, second = added("one"), added("zwei \u2028 \U0001f600 <script>")
    assert append(tmp_path, first) == (first,)
    assert append(tmp_path, second) == (first, second)
    assert append(tmp_path, first) == (first, second)
    assert read_corrections(tmp_path) == (first, second)
    assert len((tmp_path / CORRECTIONS_FILE).read_bytes().splitlines()) == 2


def test_the_journal_is_no_recording_and_no_stranger(tmp_path: Path) -> None:
    append(tmp_path, added())
    listing = recordings_in(tmp_path)
    assert (listing.recordings, listing.others) == ((), ())


def test_what_may_not_be_added_is_not(tmp_path: Path) -> None:
    first = added()
    append(tmp_path, first)

    def refuse(known: tuple[Correction, ...]) -> None:
        raise LookupError(len(known))

    with pytest.raises(LookupError, match="1"):
        append(tmp_path, added(), refuse)
    assert append(tmp_path, first, refuse) == (first,)  # it is there already
    assert read_corrections(tmp_path) == (first,)


def test_a_line_that_breaks_off_anywhere_is_kept_aside_and_never_counts(tmp_path: Path) -> None:
    first, torn, later = added("one"), added("two"), added("three")
    whole = line_of(torn)
    for length in [*range(1, len(whole) - 3, 5), *range(len(whole) - 3, len(whole))]:
        folder = tmp_path / str(length)
        folder.mkdir()
        append(folder, first)
        with (folder / CORRECTIONS_FILE).open("ab") as file:
            file.write(whole[:length])
        assert read_journal(folder).corrections == (first,)
        assert read_journal(folder).torn == length
        assert append(folder, later) == (first, later)
        assert read_journal(folder).damaged == ()
        assert (folder / ".voicenotes" / TORN_FILE).read_bytes() == whole[:length] + b"\n"


DAMAGED = [
    (b"{}\n", "is damaged"),
    (b"\x00\x00\x00\x00\n", "is damaged"),
    (b"[" * 100_000 + b"\n", "is damaged"),
    (line_of(added("one")).replace(b"one", b"two"), "was changed after it was written"),
    (line_of(added("one")).replace(b'"who": "Kim"', b'"who": "Eve"'), "was changed after it was written"),
]


@pytest.mark.parametrize(("line", "why"), DAMAGED, ids=[str(number) for number in range(len(DAMAGED))])
def test_a_line_in_the_middle_that_cannot_be_read_is_named_and_stays(
    tmp_path: Path, line: bytes, why: str
) -> None:
    first, last = added("first"), added("last")
    path = tmp_path / CORRECTIONS_FILE
    path.write_bytes(line_of(first) + line)
    append(tmp_path, last)
    journal = read_journal(tmp_path)
    assert journal.corrections == (first, last)
    assert journal.damaged == (f"line 2 of corrections.jsonl {why}, so it does not count",)
    assert path.read_bytes() == line_of(first) + line + line_of(last)


def test_a_kind_of_a_newer_version_is_named(tmp_path: Path) -> None:
    text = json.dumps(
        {"id": "12345678", "time": "t", "what": {"kind": "dance"}, "who": "Kim"}, sort_keys=True
    )
    check = hashlib.sha256(text.encode()).hexdigest()[:16]
    (tmp_path / CORRECTIONS_FILE).write_text(f'{{"check": "{check}", "correction": {text}}}\n')
    [line] = read_journal(tmp_path).damaged
    assert line.endswith("is of a kind not known here (update voicenotes), so it does not count")


@pytest.mark.skipif(os.name != "posix", reason="kills by signal")
def test_killed_at_any_moment_nothing_that_was_kept_is_lost(tmp_path: Path) -> None:
    chance = random.Random(7)
    said: list[str] = []
    for number in range(KILLS):
        process = writer(tmp_path, f"killed{number:02}", 60_000 // 40)
        assert process.stdout
        said.append(process.stdout.readline().strip())
        time.sleep(chance.uniform(0, 0.05))
        process.send_signal(signal.SIGKILL)
        said += [line.strip() for line in process.stdout if line.endswith("\n")]
        process.wait(10)
        process.stdout.close()
        journal = read_journal(tmp_path)
        known = [correction.id for correction in journal.corrections]
        assert set(said) <= set(known)
        assert len(known) <= len(said) + number + 1  # at most one that was kept and not said, for each kill
        assert journal.damaged == ()


@pytest.mark.skipif(os.name != "posix", reason="kills by signal")
def test_processes_and_threads_write_beside_each_other(tmp_path: Path) -> None:
    others = [writer(tmp_path, f"other{number}") for number in range(2)]
    mine = [added(str(number)) for number in range(20)]
    threads = [
        threading.Thread(target=lambda part=mine[n::2]: [append(tmp_path, a) for a in part]) for n in (0, 1)
    ]
    for process in others:
        assert process.stdout and process.stdout.readline()
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    said = {correction.id for correction in mine}
    for process in others:
        process.kill()
        assert process.stdout
        said |= {line.strip() for line in process.stdout if line.endswith("\n")}
        process.wait(10)
        process.stdout.close()
    journal = read_journal(tmp_path)
    assert said <= {correction.id for correction in journal.corrections}
    assert journal.damaged == ()


FULL = """
import resource, signal, sys
import correcting as c
from voicenotes.corrections.journal import append, read_corrections
from voicenotes.corrections.values import Add
from voicenotes.errors import NoRoomError
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
append(sys.argv[1], c.by(Add(title="first")))
resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[2]), resource.RLIM_INFINITY))
try:
    append(sys.argv[1], c.by(Add(title="x" * 1000)))
except NoRoomError as error:
    print(error)
resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
append(sys.argv[1], c.by(Add(title="third")))
print([correction.what.title for correction in read_corrections(sys.argv[1])])
"""


@pytest.mark.skipif(os.name != "posix", reason="limits the size of files")
@pytest.mark.parametrize("limit", [300, 700])
def test_without_room_a_correction_does_not_count_and_a_line_says_so(tmp_path: Path, limit: int) -> None:
    words = [sys.executable, "-c", FULL, str(tmp_path), str(limit)]
    ran = subprocess.run(words, capture_output=True, text=True, env=environment(), timeout=60)
    assert ran.returncode == 0, ran.stderr
    refused, titles = ran.stdout.splitlines()
    assert refused.startswith(f"{tmp_path / CORRECTIONS_FILE}: has no room (")
    assert refused.endswith("the correction was not kept: make room, try again")
    assert titles == "['first', 'third']"
    assert not (tmp_path / ".voicenotes" / TORN_FILE).exists()


def test_nothing_goes_through_links(tmp_path: Path) -> None:
    outside = tmp_path / "outside"
    outside.write_text("mine")
    visit = tmp_path / "visit"
    visit.mkdir()
    (visit / CORRECTIONS_FILE).symlink_to(outside)
    for attempt in (lambda: read_corrections(visit), lambda: append(visit, added())):
        with pytest.raises(VisitError, match="is a link"):
            attempt()
    assert outside.read_text() == "mine"
    (visit / CORRECTIONS_FILE).unlink()
    (visit / ".voicenotes" / "corrections.lock").unlink()
    (visit / ".voicenotes").rmdir()
    (visit / ".voicenotes").symlink_to(tmp_path)
    with pytest.raises(VisitError, match="is a link"):
        append(visit, added())


def test_a_folder_or_a_pipe_is_no_journal(tmp_path: Path) -> None:
    (tmp_path / CORRECTIONS_FILE).mkdir()
    with pytest.raises(VisitError, match="folder"):
        read_corrections(tmp_path)
    with pytest.raises(VisitError, match="folder"):
        append(tmp_path, added())


def test_a_visit_that_was_taken_away_is_named(tmp_path: Path) -> None:
    with pytest.raises((VisitError, NoRoomError), match="no such folder"):
        append(tmp_path / "gone", added())
