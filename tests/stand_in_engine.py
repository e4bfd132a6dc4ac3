"""A speech engine for tests: it hears the same in the same sound, notes what it is given, and can go wrong.

As a program it is the command line with this engine in place of the real ones:

    python tests/stand_in_engine.py '{"log": "/tmp/log"}' process VISIT --pack PACK
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import signal
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from voicenotes.model import Transcript, Word

if TYPE_CHECKING:
    import pytest

    from voicenotes.speech.engine import SpeechEngine

SAID = ("spindle is quiet", "coolant tank is dry", "the runout is one tenth", "nothing else to see here")
LOUD = 0.75


@dataclass
class StandInEngine:
    """Says one of four things for every two seconds of sound, which one depends on the samples.

    `log` is a file that gets a line for each call: process, hash of the samples, threads it may use.
    `trouble` happens in a sound with a peak above LOUD, the first `times` times: crash, leave (exit code 3),
    silence, rubbish (a line that is no answer), or half (the process is killed in the middle of a line).
    """

    log: str
    delay_s: float = 0.0
    trouble: str = ""
    times: int = 1
    name: str = "stand-in"
    model: str | None = "one"
    settings: str = "one"
    processes: bool = True

    def transcribe(
        self, samples: NDArray[np.float32], progress: Callable[[float], None] | None = None
    ) -> Transcript:
        mark = hashlib.sha256(samples.tobytes()).hexdigest()[:16]
        with Path(self.log).open("a") as log:
            log.write(f"{os.getpid()} {mark} {os.environ.get('OMP_NUM_THREADS', '')}\n")
        if self.trouble and samples.size and float(np.abs(samples).max()) > LOUD:
            self._go_wrong()
        time.sleep(self.delay_s)
        seconds = samples.size / 16_000
        if progress:
            progress(seconds)
        return Transcript(words=tuple(_words(samples)), engine=self.name, model=self.model, seconds=seconds)

    def _go_wrong(self) -> None:
        marker = Path(f"{self.log}.troubles")
        with marker.open("a") as troubles:
            troubles.write("x")
        if marker.stat().st_size > self.times:
            return
        if self.trouble == "crash":
            os.kill(os.getpid(), signal.SIGSEGV)
        elif self.trouble == "leave":
            os._exit(3)
        elif self.trouble == "silence":
            time.sleep(600)
        elif self.trouble == "rubbish":
            _to_answers(b"ALSA lib: cannot find card 0\n")
        elif self.trouble == "half":
            _to_answers(b'{"kind": "piece", "number"')
            os.kill(os.getpid(), signal.SIGKILL)


def _words(samples: NDArray[np.float32]) -> Iterator[Word]:
    for start in range(0, samples.size, 32_000):
        piece = samples[start : start + 32_000]
        if float(np.abs(piece).max()) < 0.01:
            continue
        said = SAID[int(hashlib.sha256(piece.tobytes()).hexdigest(), 16) % len(SAID)].split()
        at = start / 16_000
        for place, text in enumerate(said):
            begin = round(at + 0.2 * place, 3)
            yield Word(text=text, start=begin, end=round(begin + 0.2, 3), confidence=0.9)


def _to_answers(content: bytes) -> None:
    """Write where the answers go: the one open pipe that is not standard input."""
    for number in range(3, 64):
        with contextlib.suppress(OSError):
            if os.readlink(f"/proc/self/fd/{number}").startswith("pipe:"):  # noqa: PTH115
                os.write(number, content)
                return


def put_in(engine: SpeechEngine, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let visits be heard by this engine, in this process."""
    from voicenotes.hearing import hear
    from voicenotes.speech import choose

    line = f"Speech engine: {engine.name}."
    monkeypatch.setattr(choose, "choose_engine", lambda *_, **__: (engine, line))
    monkeypatch.setattr(hear, "processes_for", lambda _: 0)


def calls(log: Path) -> int:
    """How often engines with this log were called."""
    return len(log.read_text().splitlines()) if log.exists() else 0


def marks(log: Path) -> list[str]:
    """What each call was given, as short hashes of the samples."""
    return [line.split()[1] for line in log.read_text().splitlines()] if log.exists() else []


def environment() -> dict[str, str]:
    """This process's environment, in which workers find this module and the checkout's voicenotes."""
    here = Path(__file__).parent
    return {**os.environ, "PYTHONPATH": os.pathsep.join((str(here), str(here.parent)))}


def command(engine: StandInEngine, *words: str | Path) -> list[str]:
    """The command line with this engine."""
    return [sys.executable, str(Path(__file__)), json.dumps(asdict(engine)), *map(str, words)]


def main() -> None:
    from stand_in_engine import StandInEngine  # not __main__'s: workers must find it too

    from voicenotes.cli.main import main as voicenotes
    from voicenotes.speech import choose

    engine = StandInEngine(**json.loads(sys.argv.pop(1)))
    choose.choose_engine = lambda *_, **__: (engine, "Speech engine: stand-in.")  # type: ignore[assignment]
    voicenotes()


if __name__ == "__main__":
    main()
