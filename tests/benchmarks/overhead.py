"""What a visit costs beside the bare engine's decoding, and what a second core brings.

    python tests/benchmarks/overhead.py [--recordings 12] [--rounds 3] [--voices slt,rms,awb] [--keep FOLDER]

The visit has spoken sentences of the pack, ten a recording, as AAC in MP4. In each round these are run one
after the other, each in a process of its own and from scratch, but with the engine's model compiled:

- bare: the embedded engine's `transcribe` over the recordings' windows, decoded before the clock starts and
  the engine loaded, on one core;
- one core: `voicenotes process` of the whole visit, from the start of Python to its end, on that core;
- two cores: the same on two cores.

Printed are seconds by the clock and processor seconds of each (children counted in), for each round the
ratios one core / bare and one core / two cores by the clock, one core / bare by processor seconds, and their
medians.
The clock's ratios are wrong where something else uses the cores at the same time: `idle` says how much of
the time on the cores was left over while "one core" ran on one of them. Linux only.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

HERE = Path(__file__).parent
ROOT = HERE.parent.parent


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--recordings", type=int, default=12)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--voices", default="slt,rms,awb")
    parser.add_argument("--keep", type=Path, help="a folder for the visit, which is not removed afterwards")
    options = parser.parse_args()
    place = options.keep or Path(tempfile.mkdtemp(prefix="overhead-"))
    try:
        visit = place / "visit"
        seconds = _speak(visit, options.recordings, options.voices.split(","))
        print(f"{options.recordings} recordings, {seconds:.0f} s", flush=True)
        _rounds(visit, options.rounds)
    finally:
        if not options.keep:
            shutil.rmtree(place, ignore_errors=True)


def _speak(visit: Path, number: int, voices: list[str]) -> float:
    """Make the visit's recordings, unless they are there; their seconds."""
    sys.path[:0] = [str(HERE), str(HERE.parent)]
    from make_audio import write_audio
    from spoken_sets import CLEAN, labelled_sentences, recordings
    from spoken_voices import RATE

    files = sorted((ROOT / "vocab" / "cnc_lathe" / "sentences").glob("*.yaml"))
    labels = [label for path in files for label in labelled_sentences(path, None)[0]]
    step = max(1, len(labels) // (10 * number))
    labels = labels[::step][: 10 * number]
    visit.mkdir(parents=True, exist_ok=True)
    seconds = 0.0
    for at in range(number):
        path = visit / f"2024-03-12 09-{at:02}-00.m4a"
        (spoken,) = recordings(labels[10 * at : 10 * at + 10], voices[at % len(voices)], CLEAN, "", 1)
        seconds += spoken.samples.size / RATE
        if not path.exists():
            write_audio(path, "aac", rate=RATE, samples=spoken.samples)
    return seconds


def _rounds(visit: Path, rounds: int) -> None:
    first, second = sorted(os.sched_getaffinity(0))[:2]
    bare = [sys.executable, str(HERE / "overhead_bare.py"), str(visit)]
    _timed(bare, {first}, visit)  # compiles the engine's model if it must be; fills the disk's cache
    over_bare, over_bare_cpu, of_two = [], [], []
    print("          bare            one core         two cores        one/bare  by cpu   one/two   idle")
    for at in range(rounds):
        said = json.loads(_timed(bare, {first}, visit)[2])
        idle = _idle((first,))
        one = _timed(_process(visit), {first}, visit)
        left = (_idle((first,)) - idle) / one[0]
        two = _timed(_process(visit), {first, second}, visit)
        over_bare.append(one[0] / said["clock"])
        over_bare_cpu.append(one[1] / said["cpu"])
        of_two.append(one[0] / two[0])
        pairs = (
            f"{said['clock']:7.1f}{said['cpu']:7.1f}s {one[0]:7.1f}{one[1]:7.1f}s {two[0]:7.1f}{two[1]:7.1f}s"
        )
        ratios = f"{over_bare[-1]:9.3f}{over_bare_cpu[-1]:9.3f}{of_two[-1]:9.3f}"
        print(f"round {at + 1} {pairs} {ratios}{left:8.1%}", flush=True)
    medians = f"{median(over_bare):.3f} by the clock, {median(over_bare_cpu):.3f} by processor seconds"
    print(f"a visit on one core / bare engine: {medians}")
    print(f"one core / two cores: {median(of_two):.3f}")


def _process(visit: Path) -> list[str]:
    return [sys.executable, "-m", "voicenotes", "process", str(visit), "--engine", "embedded", "--quiet"]


def _timed(command: list[str], cores: set[int], visit: Path) -> tuple[float, float, str]:
    """Seconds by the clock, processor seconds, and what the command printed; nothing is kept before it."""
    shutil.rmtree(visit / ".voicenotes", ignore_errors=True)
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    began = time.perf_counter()
    ran = subprocess.run(
        command,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        preexec_fn=lambda: os.sched_setaffinity(0, cores),
        stdout=subprocess.PIPE,
        text=True,
    )
    took = time.perf_counter() - began
    if ran.returncode:
        raise SystemExit(f"{command} ended with code {ran.returncode}")
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    cpu = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return took, cpu, ran.stdout


def _idle(cores: tuple[int, ...]) -> float:
    """Seconds that these cores have been idle since the machine was started."""
    lines = dict(line.split(maxsplit=1) for line in Path("/proc/stat").read_text().splitlines())
    ticks = sum(int(lines[f"cpu{core}"].split()[3]) for core in cores)
    return ticks / os.sysconf("SC_CLK_TCK")


if __name__ == "__main__":
    main()
