"""The page that is seen while it listens: what is on it, at every size, and on a real terminal."""

from __future__ import annotations

import os
import shutil
import subprocess
import time
from pathlib import Path

import pytest
from stand_in_engine import StandInEngine, command, environment

from voicenotes.cli.live_page import terminal_size
from voicenotes.outputs.big_letters import big
from voicenotes.outputs.canvas import columns, plain
from voicenotes.outputs.live_screen import LiveView, Understood, level_line, live_lines

VIEW = LiveView(
    source="headset",
    station="Spindle",
    cautions=("Rotating spindle. Doors shut, no gloves, no loose clothing.",),
    pack_cautions=("A check that was not mentioned has not been passed.",),
    last=(
        Understood("Spindle bearing noise", "defect", "the spindle growls above two thousand", "critical"),
        Understood("Way covers", "ok", "way covers are fine"),
    ),
    open_here=tuple(f"Check number {number}" for number in range(12)),
    open_in_all=84,
    must=31,
    minutes=203.4,
    level_dbfs=-20.0,
    recorded_s=754.0,
)


def page(view: LiveView, width: int, height: int, drawn: bool = True) -> list[str]:
    return [plain(line) for line in live_lines(view, width, height, drawn)]


@pytest.mark.parametrize("drawn", [True, False])
@pytest.mark.parametrize("height", [8, 12, 18, 24, 50])
@pytest.mark.parametrize("width", [30, 40, 80, 200])
def test_what_matters_is_there_at_every_size(width: int, height: int, drawn: bool) -> None:
    lines = page(VIEW, width, height, drawn)
    assert len(lines) == height
    assert max(map(columns, lines)) <= width
    shown = "\n".join(lines)
    assert "SPINDLE" in shown
    assert "12:34 listening" in shown
    if height >= 12:
        assert "OPEN HERE 12   IN ALL 84" in shown
        assert "Spindle bearing noise" in shown
    if height >= 18:
        assert "critical" in shown


@pytest.mark.parametrize("view", [VIEW, LiveView(source="headset")])
def test_it_can_be_read_without_colour_and_in_ascii(view: LiveView) -> None:
    assert "\n".join(page(view, 60, 24, drawn=False)).isascii()
    assert "D E F E C T" in "\n".join(page(VIEW, 60, 24, drawn=False))


def test_before_anything_was_said_it_shows_the_cautions_and_asks_where_he_is() -> None:
    shown = " ".join(page(LiveView(source="headset", pack_cautions=VIEW.pack_cautions), 60, 24))
    assert "SAY WHERE YOU ARE" in shown and "listening: headset" in shown
    assert VIEW.pack_cautions[0] in shown


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        (
            {"trouble": "the microphone gives no more sound: plug it in again"},
            "!! the microphone gives no more",
        ),
        ({"behind_s": 75.0}, "1:15 behind"),
        ({"is_muted": True}, "speaking, wait"),
        ({"level_dbfs": -1.0}, "too loud"),
        ({"is_ending": True}, "ending"),
        (
            {"last": (Understood("open here", "command"),), "answer": "12 open at spindle."},
            "12 open at spindle.",
        ),
        ({"last": (Understood("kept, no check took it", "unknown", "lunch is late"),)}, '"lunch is late"'),
    ],
)
@pytest.mark.parametrize(("width", "height"), [(40, 18), (80, 24)])
def test_news_is_on_the_page(changes: dict[str, object], words: str, width: int, height: int) -> None:
    view = LiveView(**{**vars(VIEW), **changes})  # type: ignore[arg-type]
    assert words in "\n".join(page(view, width, height))


def test_what_was_said_cannot_steer_the_terminal() -> None:
    view = LiveView(source="\x1b[2J", last=(Understood("\x1b]0;x\x07", "ok", "\x1b[31m"),))
    assert "\x1b" not in "\n".join(page(view, 80, 24))


def test_big_letters() -> None:
    assert big("OK", 40) == ["▄▀▄ █ █", "█ █ █▀▄", " ▀  ▀ ▀"]
    assert big("OK", 40, drawn=False) == ["O K"]
    assert [len(big("not tested", width)[0]) <= width for width in (10, 20, 39)] == [True] * 3
    assert len({tuple(big(sign, 4)) for sign in "ABCDEFGHIJKLMNOPQRSTUVWXYZ"}) == 26


@pytest.mark.parametrize(
    ("level", "said"), [(-1.0, "too loud"), (-80.0, "hardly anything"), (-20.0, "-20 dB")]
)
def test_the_level_of_a_microphone(level: float, said: str) -> None:
    assert said in level_line(level, 80)
    assert level_line(level, 80, drawn=False).isascii()


def test_a_terminal_that_does_not_know_its_size_and_none_at_all(monkeypatch: pytest.MonkeyPatch) -> None:
    pty = pytest.importorskip("pty", reason="pseudo-terminals are POSIX's")
    ours, theirs = pty.openpty()
    with os.fdopen(ours, "rb"), os.fdopen(theirs, "w") as terminal:
        monkeypatch.setattr("sys.stdout", terminal)
        monkeypatch.delenv("COLUMNS", raising=False)
        monkeypatch.delenv("LINES", raising=False)
        assert min(terminal_size()) > 0
        with Path(os.devnull).open("w") as nowhere:
            monkeypatch.setattr("sys.stdout", nowhere)
            monkeypatch.setenv("COLUMNS", "61")
            monkeypatch.setenv("LINES", "9")
            assert terminal_size() == (61, 9)


@pytest.mark.skipif(not shutil.which("tmux"), reason="tmux, a terminal to look at, is not installed")
def test_on_a_narrow_terminal_the_page_stays_and_leaves_it_as_it_was(
    tmp_path: Path, pack: Path, log: Path
) -> None:
    from make_audio import speech_like, write_audio

    sound = write_audio(
        tmp_path / "talk.wav", "pcm_s16le", rate=16_000, samples=speech_like([(0.5, 2.0)], 30.0)
    )
    words = command(
        StandInEngine(str(log)), "listen", tmp_path / "visit", "--pack", pack, "--silent", "--play", sound
    )
    server = ["tmux", "-L", f"voicenotes-{tmp_path.name}", "-f", "/dev/null"]

    def tmux(*more: str) -> str:
        return subprocess.run([*server, *more], env=ENVIRONMENT, capture_output=True, text=True).stdout

    def until(words: str, *more: str) -> str:
        for _ in range(150):
            shown = tmux("capture-pane", "-p", *more)
            if words in shown:
                return shown
            time.sleep(0.1)
        raise AssertionError(f"{words!r} never came: {shown}")

    try:
        tmux("new-session", "-d", "-x", "40", "-y", "16", "sh")
        tmux("send-keys", "echo before; clear; echo stood here", "Enter")
        until("stood here")
        tmux("send-keys", " ".join(f"'{word}'" for word in words), "Enter")
        shown = until("0:02 listening")
        rows = shown.rstrip("\n").split("\n")
        assert rows[0] == "SAY WHERE YOU ARE" and "stood here" not in shown, shown
        assert "0:02 listening" in rows[-1] and len(rows) == 16
        tmux("resize-window", "-x", "60", "-y", "20")
        shown = until("─" * 60)
        assert shown.startswith("SAY WHERE YOU ARE")
        tmux("send-keys", "q")
        shown = until("Record:", "-S", "-")  # with what has scrolled by
        assert "SAY WHERE" not in shown
    finally:
        tmux("kill-server")


ENVIRONMENT = {**environment(), "LANG": "C.UTF-8", "LC_ALL": "C.UTF-8", "NO_COLOR": "1", "COLUMNS": "80"}
