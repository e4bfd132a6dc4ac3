"""Listening: what is recorded, what becomes of it live, and that `process` makes the same of it
afterwards."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import time
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from stand_in_engine import StandInEngine, calls, command, environment, put_in

from voicenotes.audio.decode import decode
from voicenotes.errors import MicrophoneError, VisitError
from voicenotes.listening import recorder
from voicenotes.listening.aloud import Silent, Tone
from voicenotes.listening.begin import listening_in
from voicenotes.listening.hearing_on import Stretch
from voicenotes.listening.live_record import Brought
from voicenotes.listening.session import Session
from voicenotes.listening.sources import Playback, Source
from voicenotes.model import Record
from voicenotes.outputs.live_screen import LiveView
from voicenotes.times.name_times import time_in_name
from voicenotes.visit import process_visit, record_text
from voicenotes.vocabulary.load import load_pack

RATE = 16_000
BEGUN = datetime(2024, 3, 12, 9, 14, 5)
pytestmark = pytest.mark.skipif(not shutil.which("flite"), reason="flite, which speaks, is not installed")


@pytest.fixture(scope="module")
def talk(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Six remarks with pauses, as a WAV of some 20 s."""
    folder = tmp_path_factory.mktemp("talk")
    parts: list[NDArray[np.float32]] = [np.zeros(RATE, np.float32)]
    for number, remark in enumerate(
        ("the spindle is quiet", "no leaks at the coolant tank", "the way covers are dented",
         "runout is one tenth", "nothing else to see here", "that is all there is"),
    ):  # fmt: skip
        file = folder / f"{number}.wav"
        subprocess.run(["flite", "-voice", "slt", "-t", remark, "-o", str(file)], check=True)
        parts += [decode(file).samples, np.zeros(round(0.8 * RATE), np.float32)]
    from make_audio import write_audio

    return write_audio(folder / "talk.wav", "pcm_s16le", rate=RATE, samples=np.concatenate(parts))


class Heard:
    """What a session told and brought."""

    def __init__(self) -> None:
        self.lines: list[str] = []
        self.brought: list[tuple[Stretch, Brought]] = []
        self.views: list[LiveView] = []


def listen(
    visit: Path, pack: Path, source: Source, aloud: Silent | None = None, heard: Heard | None = None
) -> tuple[Heard, Record]:
    """A whole session with whatever engine was put in, and the record it ends with."""
    heard = heard or Heard()
    loaded = load_pack(pack)
    with listening_in(visit, loaded) as (folder, ear, recordings):
        session = Session(
            folder, loaded, ear, source, aloud or Silent(), recordings,
            heard.lines.append, lambda *one: heard.brought.append(one), processes=0,
        )  # fmt: skip
        session.start()
        while not session.is_over(0.05):
            heard.views.append(session.view)
        heard.views.append(session.view)
        if session.fault:
            raise session.fault
    return heard, process_visit(visit, pack)


@pytest.mark.parametrize("speed", [0.0, 8.0])
def test_live_and_afterwards_are_equal(
    tmp_path: Path, pack: Path, log: Path, talk: Path, monkeypatch: pytest.MonkeyPatch, speed: float
) -> None:
    put_in(StandInEngine(str(log)), monkeypatch)
    visit = tmp_path / "visit"
    heard, record = listen(visit, pack, Playback([talk], speed, BEGUN))
    (entry,) = record.recordings
    assert (entry.file, entry.recorded_at) == ("2024-03-12 09-14-05.wav", "2024-03-12T09:14:05")
    assert entry.words > 0 and entry.problem is None
    spoken = calls(log)
    assert record_text(process_visit(visit, pack)) == record_text(record)
    assert calls(log) == spoken  # all of it was kept
    shutil.rmtree(visit / ".voicenotes")
    assert record_text(process_visit(visit, pack)) == record_text(record)
    assert calls(log) > spoken
    assert len(heard.brought) >= 4


def test_the_same_sound_is_on_the_disk(
    tmp_path: Path, pack: Path, log: Path, talk: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put_in(StandInEngine(str(log)), monkeypatch)
    listen(tmp_path / "visit", pack, Playback([talk], 0.0))
    (file,) = (tmp_path / "visit").glob("*.wav")
    assert np.array_equal(decode(file).samples, decode(talk).samples)
    assert time_in_name(file.name) is not None


def test_hours_are_cut_into_files_at_pauses(
    tmp_path: Path, pack: Path, log: Path, talk: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put_in(StandInEngine(str(log)), monkeypatch)
    monkeypatch.setattr(recorder, "LONG_ENOUGH_S", 5.0)
    visit = tmp_path / "visit"
    _, record = listen(visit, pack, Playback([talk, talk], 0.0, BEGUN))
    assert len(record.recordings) > 3
    whole = np.concatenate([decode(visit / entry.file).samples for entry in record.recordings])
    assert np.array_equal(whole, np.concatenate([decode(talk).samples] * 2))
    ends = BEGUN
    for entry in record.recordings:  # each is named after its first sample
        assert entry.recorded_at == ends.replace(microsecond=0).isoformat()
        ends += timedelta(seconds=entry.seconds)
    shutil.rmtree(visit / ".voicenotes")
    assert record_text(process_visit(visit, pack)) == record_text(record)


def test_listening_goes_on_where_it_ended(
    tmp_path: Path, pack: Path, log: Path, talk: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put_in(StandInEngine(str(log)), monkeypatch)
    visit = tmp_path / "visit"
    from make_audio import write_audio

    hush = write_audio(tmp_path / "hush.wav", "pcm_s16le", rate=RATE, samples=np.zeros(3 * RATE, np.float32))
    (first, _), later = listen(visit, pack, Playback([talk], 0.0, BEGUN)), BEGUN + timedelta(hours=1)
    second, record = listen(visit, pack, Playback([hush], 0.0, later))
    assert [entry.file for entry in record.recordings] == [
        "2024-03-12 09-14-05.wav",
        "2024-03-12 10-14-05.wav",
    ]
    assert second.views[-1].open_in_all == first.views[-1].open_in_all > 0


def test_a_slow_engine_falls_behind_says_so_and_loses_nothing(
    tmp_path: Path, pack: Path, log: Path, talk: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put_in(StandInEngine(str(log), delay_s=0.15), monkeypatch)
    heard, record = listen(tmp_path / "visit", pack, Playback([talk], 0.0, BEGUN))
    assert max(view.behind_s for view in heard.views) > 5
    assert heard.views[-1].behind_s == 0
    assert any(line.startswith("Behind by 0:") for line in heard.lines)
    shutil.rmtree(tmp_path / "visit/.voicenotes")
    assert record_text(process_visit(tmp_path / "visit", pack)) == record_text(record)


class Unplugged(Playback):
    """Its cable is pulled after three seconds, and put back."""

    hears_the_room = True
    looked = 0

    def blocks(self) -> Iterator[NDArray[np.int16]]:
        for number, block in enumerate(super().blocks()):
            if number == 30 and not self.looked:
                raise MicrophoneError("the microphone gives no more sound: plug it in again")
            yield block

    def look_again(self) -> None:
        self.looked += 1
        self.name = "another one"


class Spoken(Silent):
    """Keeps what would be said aloud; `is_speaking` for so many blocks after each line."""

    def __init__(self) -> None:
        self.lines: list[str] = []
        self.tones: list[Tone] = []

    def say(self, line: str) -> None:
        self.lines.append(line)

    def tone(self, tone: Tone) -> None:
        self.tones.append(tone)


def test_an_unplugged_microphone_is_said_and_what_was_recorded_is_kept(
    tmp_path: Path, pack: Path, log: Path, talk: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put_in(StandInEngine(str(log)), monkeypatch)
    monkeypatch.setattr("voicenotes.listening.session.AGAIN_S", 0.01)
    source, aloud = Unplugged([talk], 0.0, BEGUN), Spoken()
    heard, record = listen(tmp_path / "visit", pack, source, aloud)
    assert source.looked == 1
    assert aloud.lines == ["The microphone is gone. What was recorded is kept.", "Listening again."]
    assert "Listening again: another one" in heard.lines
    assert [entry.file for entry in record.recordings] == [
        "2024-03-12 09-14-05.wav",
        "2024-03-12 09-14-08.wav",
    ]
    assert [entry.problem for entry in record.recordings] == [None, None]
    before, after = (decode(tmp_path / "visit" / entry.file).samples for entry in record.recordings)
    assert np.array_equal(before, decode(talk).samples[: before.size])
    assert np.array_equal(after, decode(talk).samples)


def test_its_own_voice_is_not_recorded(
    tmp_path: Path, pack: Path, log: Path, talk: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """While it speaks silence is written, so that neither it nor `process` hears a remark there."""
    put_in(StandInEngine(str(log)), monkeypatch)

    class Speaking(Spoken):
        is_speaking = True

    class Room(Playback):
        hears_the_room = True

    heard, record = listen(tmp_path / "visit", pack, Room([talk], 0.0, BEGUN), Speaking())
    assert heard.brought == [] and record.recordings[0].words == 0
    sound = decode(tmp_path / "visit" / record.recordings[0].file)
    assert sound.samples.size == decode(talk).samples.size and not sound.samples.any()
    assert any(view.is_muted for view in heard.views)


def test_a_full_disk_is_said_and_what_was_recorded_is_kept(
    tmp_path: Path, pack: Path, log: Path, talk: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put_in(StandInEngine(str(log)), monkeypatch)
    monkeypatch.setattr("voicenotes.listening.session.AGAIN_S", 0.0)
    full = {"from": 4.0, "to": 6.0}
    write = recorder.GrowingWav.write
    written = 0

    def sometimes(wav: recorder.GrowingWav, samples: NDArray[np.int16]) -> None:
        nonlocal written
        written += samples.size
        if full["from"] < written / RATE < full["to"]:
            raise OSError(28, os.strerror(28))
        write(wav, samples)

    monkeypatch.setattr(recorder.GrowingWav, "write", sometimes)
    aloud = Spoken()
    heard, record = listen(tmp_path / "visit", pack, Playback([talk], 0.0, BEGUN), aloud)
    assert aloud.lines == ["The disk is full. Nothing is recorded any more.", "Listening again."]
    assert any("No space left on device" in line and "make room" in line for line in heard.lines)
    sounds = [decode(tmp_path / "visit" / entry.file).samples for entry in record.recordings if entry.seconds]
    whole = decode(talk).samples
    assert np.array_equal(sounds[0], whole[: sounds[0].size]) and sounds[0].size >= 3.8 * RATE
    assert np.array_equal(sounds[-1], whole[-sounds[-1].size :])


def test_kill_9_loses_no_more_than_a_second(tmp_path: Path, pack: Path, log: Path, talk: Path) -> None:
    visit = tmp_path / "visit"
    words = command(StandInEngine(str(log)), "listen", visit, "--pack", pack, "--silent", "--play", talk)
    process = subprocess.Popen(words, env=environment(), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        files: list[Path] = []
        while not files and process.poll() is None:
            time.sleep(0.01)
            files = list(visit.glob("*.wav"))
        began = time.monotonic()
        time.sleep(3.3)
        lasted = time.monotonic() - began
    finally:
        process.kill()
        process.wait(20)
    kept = decode(files[0])
    assert kept.problem is None
    assert kept.seconds > lasted - 1.0
    assert np.array_equal(kept.samples, decode(talk).samples[: kept.samples.size])
    words = command(StandInEngine(str(log)), "process", visit, "--pack", pack, "--quiet")
    assert subprocess.run(words, env=environment(), timeout=60).returncode == 0
    assert (visit / "record.json").is_file()


def test_a_recording_that_is_not_there_is_told_before_anything_begins(
    tmp_path: Path, pack: Path, log: Path
) -> None:
    visit, missing = tmp_path / "visit", tmp_path / "gone" / "talk.wav"
    words = command(StandInEngine(str(log)), "listen", visit, "--pack", pack, "--silent", "--play", missing)
    ran = subprocess.run(words, env=environment(), capture_output=True, text=True, timeout=60)
    assert ran.returncode != 0 and ran.stdout == ""
    assert ran.stderr == f"voicenotes: {missing}: no such file; name a recording to listen to\n"
    assert not visit.exists()


def test_a_first_interrupt_ends_the_recording_and_reads_the_rest(
    tmp_path: Path, pack: Path, log: Path, talk: Path
) -> None:
    visit = tmp_path / "visit"
    words = command(StandInEngine(str(log)), "listen", visit, "--pack", pack, "--silent", "--play", talk)
    process = subprocess.Popen(
        words, env=environment(), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    while not list(visit.glob("*.wav")):
        time.sleep(0.05)
    time.sleep(1.5)
    process.send_signal(signal.SIGINT)
    shown, errors = process.communicate(timeout=60)
    assert process.returncode == 0, errors
    assert "Record:" in shown
    assert (visit / "record.json").is_file()


def test_one_at_a_time_listens_or_processes(
    tmp_path: Path, pack: Path, log: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put_in(StandInEngine(str(log)), monkeypatch)
    loaded = load_pack(pack)
    with (
        listening_in(tmp_path / "visit", loaded) as (folder, _, _),
        pytest.raises(VisitError, match="is being processed by process"),
        listening_in(folder, loaded),
    ):
        pass
