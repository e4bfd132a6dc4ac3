"""A real way of sound: what is played to a virtual microphone is heard, answered and obeyed."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from pathlib import Path

import pytest
from virtual_microphone import missing, virtual_microphone

from voicenotes.audio.decode import decode
from voicenotes.listening import microphone

pytestmark = [
    pytest.mark.audio,
    pytest.mark.skipif(missing() is not None, reason=str(missing())),
]
ROOT = Path(__file__).parent.parent


def said(text: str, file: Path) -> Path:
    subprocess.run(["flite", "-voice", "slt", "-t", text, "-o", str(file)], check=True)
    return file


def test_a_walk_with_a_microphone(tmp_path: Path) -> None:
    """He speaks, asks, is answered aloud, and ends it by word of mouth; its own voice is no remark."""
    remark = said("the spindle growls above two thousand", tmp_path / "remark.wav")
    asks = said("hey notebook, what is open in all", tmp_path / "asks.wav")
    stop = said("hey notebook, stop listening", tmp_path / "stop.wav")
    visit, shown = tmp_path / "visit", tmp_path / "shown"
    with virtual_microphone() as sound, shown.open("w") as out:
        program = [sys.executable, "-m", "voicenotes"]
        environment = sound.environment

        def run(*words: str) -> subprocess.CompletedProcess[str]:
            return subprocess.run(
                [*program, *words], env=environment, cwd=ROOT, capture_output=True, text=True, timeout=30
            )

        listed = run("microphones")
        assert listed.returncode == 0 and "(default)" in listed.stdout
        level = run("microphones", "--test", "pulse", "--seconds", "1")
        assert level.returncode == 0 and "hardly anything" in level.stdout
        words = [*program, "listen", str(visit), "--engine", "embedded", "--microphone", "pulse"]
        process = subprocess.Popen(
            words, env=environment, cwd=ROOT, stdout=out, stderr=subprocess.PIPE, text=True
        )

        def until(line: str) -> None:
            for _ in range(300):
                if line in shown.read_text():
                    return
                time.sleep(0.1)
            raise AssertionError(f"{line!r} never came: {shown.read_text()}")

        try:
            until("not been passed")
            time.sleep(1.0)
            sound.play(remark)
            until("DEFECT critical")
            sound.play(asks)
            until("checks open, ")
            sound.until_quiet()  # while it speaks it does not hear
            sound.play(stop)
            _, errors = process.communicate(timeout=40)
        finally:
            process.kill()
            process.wait(10)
    assert process.returncode == 0, errors
    record = json.loads((visit / "record.json").read_text())
    assert [command["command"] for command in record["commands"]] == ["open_in_all", "stop"]
    assert record["untagged"] == []  # nor did its answers or tones become remarks
    (entry,) = record["recordings"]
    assert entry["problem"] is None
    answered = record["commands"][0]["end"] + 1.2
    sound_there = decode(visit / entry["file"]).samples[round(answered * 16_000) :][: 16_000 * 2]
    assert not sound_there.any()


def test_one_that_is_not_there_is_named(tmp_path: Path) -> None:
    visit = tmp_path / "visit"
    with virtual_microphone() as sound:
        words = [sys.executable, "-m", "voicenotes", "listen", str(visit), "--microphone", "moon"]
        ran = subprocess.run(
            words, env=sound.environment, cwd=ROOT, capture_output=True, text=True, timeout=30
        )
    assert ran.returncode == 2
    assert "no microphone fits 'moon': name one of 0 pulse" in ran.stderr
    assert not visit.exists()


@pytest.mark.parametrize(
    ("wanted", "found"),
    [
        ("1", "Headset Pro"),
        ("headset pro", "Headset Pro"),
        ("webcam", "Webcam"),
        ("Headset", None),
        ("x", None),
    ],
)
def test_which_is_meant(monkeypatch: pytest.MonkeyPatch, wanted: str, found: str | None) -> None:
    names = ("Webcam", "Headset Pro", "Headset Plus")
    here = [microphone.Device(number, name, number == 0) for number, name in enumerate(names)]
    monkeypatch.setattr(
        microphone, "microphones", lambda: here if wanted != "Headset" else [*here[:2], here[1]]
    )
    if found is None:
        with pytest.raises(microphone.MicrophoneError, match="name one of"):
            microphone.chosen(wanted)
    else:
        device = microphone.chosen(wanted)
        assert device is not None and device.name == found
