"""Peak memory for a ten-minute and a ten-hour recording, and their ratio.

    python tests/benchmarks/memory.py [--engine fake] [--hours 10] [--processes 2] [--keep FOLDER]

Both recordings repeat a minute that flite speaks, as FLAC. They are processed by `voicenotes process` in a
process of its own, with the pack cnc_lathe. The engine `fake` decodes nothing: it says 130 words a minute of
the pack's example dictation, so that all but the recogniser does its full work; `embedded` is the real one
(ten hours of it take some twenty minutes on two cores). Printed are the largest resident sizes (VmHWM of
/proc, Linux only): of the visit's own process, of the largest worker, and of all together, sampled.
"""

from __future__ import annotations

import argparse
import contextlib
import itertools
import os
import subprocess
import sys
import tempfile
import time
import wave
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import av
import numpy as np
from numpy.typing import NDArray

from voicenotes.model import Transcript, Word

HERE = Path(__file__).parent
RATE = 16_000
WORDS_A_MINUTE = 130
SAID = (
    "right the spindle is quiet and the runout at the nose is two tenths. there are chips everywhere. "
    "i can not get the cabinet open. the way covers are dented near the chuck but the wipers are fine. "
    "somebody left a sandwich on the tailstock. the turret clunks when it clamps at station seven. "
    "the coolant is at six percent and it smells. that is the seller on the phone again."
)


@dataclass
class Talker:
    """Says the pack's example dictation at 130 words a minute, whatever the sound."""

    dictation: tuple[str, ...]
    name: str = "fake"
    model: str | None = None
    settings: str = "one"
    processes: bool = True

    def transcribe(
        self, samples: NDArray[np.float32], progress: Callable[[float], None] | None = None
    ) -> Transcript:
        seconds = samples.size / RATE
        said = itertools.cycle(self.dictation)
        words: list[Word] = []
        at = 0.0
        while at < seconds - 1.0:
            for text in next(said).split():
                words.append(Word(text=text, start=round(at, 3), end=round(at + 0.3, 3), confidence=0.8))
                at += 0.36
            at += 0.9  # a pause
        fitting = tuple(word for word in words if word.end <= seconds)
        return Transcript(words=fitting, engine=self.name, model=self.model, seconds=seconds)


@dataclass(frozen=True)
class Peak:
    """Largest resident sizes in MB, and the seconds it took."""

    parent: float
    worker: float
    together: float
    seconds: float


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--engine", choices=("fake", "embedded"), default="fake")
    parser.add_argument("--hours", type=float, default=10.0)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--keep", type=Path, help="a folder for the recordings, which are kept there")
    options = parser.parse_args()
    with contextlib.ExitStack() as stack:
        place = options.keep or Path(stack.enter_context(tempfile.TemporaryDirectory()))
        found = [_measured(place, minutes, options) for minutes in (10.0, 60 * options.hours)]
    short, long = found
    print(
        f"ratio: visit's process {long.parent / short.parent:.2f}, worker {long.worker / short.worker:.2f}, "
        f"all together {long.together / short.together:.2f}"
    )


def _measured(place: Path, minutes: float, options: argparse.Namespace) -> Peak:
    visit = place / f"{minutes:g} minutes"
    visit.mkdir(parents=True, exist_ok=True)
    path = visit / "2024-03-12 09-14-05.flac"
    if not path.exists():
        _write(path, minutes)
    for kept in (visit / ".voicenotes").glob("*-*.json"):
        kept.unlink()
    peak = _peak(visit, options.engine, options.processes)
    print(
        f"{minutes:g} min, {options.engine}: visit's process {peak.parent:.0f} MB, largest worker "
        f"{peak.worker:.0f} MB, all together {peak.together:.0f} MB, {peak.seconds:.0f} s",
        flush=True,
    )
    return peak


def _write(path: Path, minutes: float) -> None:
    """A minute of speech and silence, again and again."""
    with tempfile.TemporaryDirectory() as folder:
        spoken = Path(folder) / "said.wav"
        subprocess.run(["flite", "-voice", "slt", "-t", SAID, "-o", str(spoken)], check=True)
        with wave.open(str(spoken)) as file:
            samples = np.frombuffer(file.readframes(file.getnframes()), dtype="<i2")
    minute = np.zeros(60 * RATE, np.int16)
    minute[: min(samples.size, minute.size)] = samples[: minute.size]
    with av.open(str(path), "w") as out:
        stream = out.add_stream("flac", rate=RATE)
        stream.layout = "mono"
        for at in range(round(minutes)):
            frame = av.AudioFrame.from_ndarray(minute[None, :], format="s16", layout="mono")
            frame.sample_rate, frame.pts = RATE, at * minute.size
            out.mux(stream.encode(frame))
        out.mux(stream.encode(None))


def _peak(visit: Path, engine: str, processes: int) -> Peak:
    paths = os.pathsep.join((str(HERE), str(HERE.parent.parent)))
    began = time.monotonic()
    started = subprocess.Popen(
        [sys.executable, "-c", "import memory; memory.process()", str(visit), engine, str(processes)],
        env={**os.environ, "PYTHONPATH": paths},
    )
    largest: dict[int, float] = {}
    together = 0.0
    while started.poll() is None:
        now = [_sizes(pid) for pid in (started.pid, *_children(started.pid))]
        for pid, (peak, _) in zip((started.pid, *_children(started.pid)), now, strict=False):
            largest[pid] = max(largest.get(pid, 0.0), peak)
        together = max(together, sum(size for _, size in now))
        time.sleep(0.2)
    if started.returncode:
        raise SystemExit(f"processing ended with code {started.returncode}")
    parent = largest.pop(started.pid)
    return Peak(parent, max(largest.values(), default=0.0), together, time.monotonic() - began)


def _children(process: int) -> list[int]:
    found: list[int] = []
    for tasks in Path(f"/proc/{process}/task").glob("*/children"):
        with contextlib.suppress(OSError):
            found += [int(number) for number in tasks.read_text().split()]
    return found


def _sizes(process: int) -> tuple[float, float]:
    """Largest and present resident size, in MB; zeros when the process is gone."""
    try:
        lines = Path(f"/proc/{process}/status").read_text().splitlines()
    except OSError:
        return 0.0, 0.0
    sizes = {line.split(":")[0]: float(line.split()[1]) / 1024 for line in lines if line.startswith("Vm")}
    return sizes.get("VmHWM", 0.0), sizes.get("VmRSS", 0.0)


def process() -> None:
    """Process a visit with the engine of that name."""
    from memory import Talker  # not __main__'s: workers must find it too

    from voicenotes.speech import choose
    from voicenotes.visit import process_visit
    from voicenotes.vocabulary.homes import pack_folder

    visit, engine, processes = sys.argv[1:]
    if engine == "fake":
        folder = pack_folder("cnc_lathe") / "dictation"
        lines = [
            line for path in sorted(folder.glob("*.txt")) for line in path.read_text().splitlines() if line
        ]
        talker = Talker(tuple(lines))
        choose.choose_engine = lambda *_, **__: (talker, "")  # type: ignore[assignment]
    process_visit(visit, engine="embedded", processes=int(processes))


if __name__ == "__main__":
    main()
