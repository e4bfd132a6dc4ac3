"""kill -9 at random moments of processing a visit: is the record afterwards that of an undisturbed run?

    python tests/benchmarks/kills.py [--kills 200] [--recordings 30] [--seed 1] [--keep FOLDER]

The visit has short recordings that flite speaks, and the embedded engine hears them. First it is processed
undisturbed, which gives the record and the time that takes, and once more with all transcripts kept. Then it
is processed in rounds: started, killed with all its processes, started again, until a run ends by itself; its
record is compared byte for byte, what was kept is thrown away, and the next round begins. The moment of each
kill is drawn evenly from the time that the run should take, by what is kept already, and a fifth more. After
each kill the record, if there is one, must be whole. Printed are kills and where in the work they fell,
rounds, records that differ, recordings that changed, and how many transcriptions were begun more than once.
POSIX only.
"""

from __future__ import annotations

import argparse
import contextlib
import hashlib
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

HERE = Path(__file__).parent
THINGS = ("spindle", "turret", "tailstock", "chuck", "coolant tank", "conveyor", "way covers", "door", "pump")
SAID = ("{} is fine", "{} is worn out and leaks", "{} was not tested")


@dataclass
class Counted:
    """An engine that notes each sound it is given; it hears what the engine in it hears."""

    engine: object
    log: str

    def __getattr__(self, name: str) -> object:
        if name.startswith("__") or name == "engine":
            raise AttributeError(name)
        return getattr(self.engine, name)

    def transcribe(self, samples: object, progress: Callable[[float], None] | None = None) -> object:
        mark = hashlib.sha256(samples.tobytes()).hexdigest()[:16]  # type: ignore[attr-defined]
        with Path(self.log).open("a") as log:
            log.write(f"{mark}\n")
        return self.engine.transcribe(samples, progress)  # type: ignore[attr-defined]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--recordings", type=int, default=30)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", type=Path, help="a folder for the visit, which is not removed afterwards")
    options = parser.parse_args()
    place = options.keep or Path(tempfile.mkdtemp(prefix="kills-"))
    try:
        _benchmark(place, options.kills, options.recordings, options.seed)
    finally:
        if not options.keep:
            shutil.rmtree(place, ignore_errors=True)


def _benchmark(place: Path, kills: int, recordings: int, seed: int) -> None:
    visit, log = place / "visit", place / "log"
    _speak(visit, recordings)
    before = _hashes(visit)
    _forget(visit, log)
    if _run(visit, log, None):  # compiles the engine's model, if it must be
        raise SystemExit("the undisturbed run failed")
    _forget(visit, log)
    began = time.monotonic()
    _run(visit, log, None)
    took = time.monotonic() - began
    expected, whole = (
        (visit / "record.json").read_bytes(),
        _kept(visit),
    )  # fewer than recordings: some are twins
    began = time.monotonic()
    _run(visit, log, None)
    least = time.monotonic() - began
    print(
        f"{recordings} recordings, {took:.1f} s undisturbed, {least:.1f} s with all kept, "
        f"{len(expected)} bytes of record",
        flush=True,
    )
    draw = random.Random(seed)
    done = rounds = differ = torn = repeated = transcribed = 0
    kept: Counter[str] = Counter()
    _forget(visit, log)
    while done < kills:
        there = _kept(visit)
        length = least + (took - least) * (1 - there / whole)
        killed = _run(visit, log, draw.uniform(0, 1.2 * length)) is None
        done += killed
        if killed:
            now = _kept(visit)
            kept["nothing kept" if not now else "all kept" if now == whole else "some kept"] += 1
        record = visit / "record.json"
        if killed:
            torn += record.exists() and record.read_bytes() != expected
        if killed and done < kills:
            continue
        if killed:
            _run(visit, log, None)
        rounds += 1
        differ += not record.exists() or record.read_bytes() != expected
        counts = Counter(log.read_text().split())
        transcribed += sum(counts.values())
        repeated += sum(counts.values()) - len(counts)
        if rounds % 5 == 0 or done == kills:
            print(f"{done} kills, {rounds} rounds, {differ} records differ", flush=True)
        _forget(visit, log)
    changed = sum(_hashes(visit).get(name) != sha256 for name, sha256 in before.items())
    print(f"kills {done}, rounds {rounds}, records that differ {differ}, torn after a kill {torn}")
    print(f"kills with {dict(kept)}")
    print(f"recordings changed {changed}, transcriptions {transcribed}, of them repeated {repeated}")
    print(f"left over: {len(list(visit.rglob('.*.tmp')))} temporary files")


def _speak(visit: Path, number: int) -> None:
    if visit.exists():
        return
    visit.mkdir(parents=True)
    for at in range(number):
        said = SAID[at // len(THINGS) % len(SAID)].format(THINGS[at % len(THINGS)])
        path = visit / f"2024-03-12 09-{at:02}-00.wav"
        voice = ("slt", "rms", "awb")[at % 3]
        subprocess.run(["flite", "-voice", voice, "-t", said, "-o", str(path)], check=True)


def _hashes(visit: Path) -> dict[str, str]:
    return {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in visit.glob("*.wav")}


def _kept(visit: Path) -> int:
    """How many recordings need not be heard again."""
    return len(list((visit / ".voicenotes").glob("*-*.json")))


def _forget(visit: Path, log: Path) -> None:
    """Throw away the record and all that was kept."""
    shutil.rmtree(visit / ".voicenotes", ignore_errors=True)
    (visit / "record.json").unlink(missing_ok=True)
    log.unlink(missing_ok=True)
    log.touch()


def _run(visit: Path, log: Path, seconds: float | None) -> int | None:
    """Process the visit; the exit code, or None when it was killed after so many seconds."""
    paths = os.pathsep.join((str(HERE), str(HERE.parent.parent)))
    process = subprocess.Popen(
        [sys.executable, "-c", "import kills; kills.process()", str(visit), str(log)],
        env={**os.environ, "PYTHONPATH": paths},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )
    try:
        return process.wait(seconds)
    except subprocess.TimeoutExpired:
        with contextlib.suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)
        process.wait()
        return None


def process() -> None:
    """The command line, with an engine that notes what it is given."""
    from voicenotes.cli.main import main as voicenotes
    from voicenotes.speech import choose

    visit, log = sys.argv[1:]
    real = choose.choose_engine

    def chosen(*args: object, **options: object) -> object:
        engine, line = real(*args, **options)  # type: ignore[arg-type]
        return Counted(engine, log), line

    choose.choose_engine = chosen  # type: ignore[assignment]
    sys.argv = ["voicenotes", "process", visit, "--engine", "embedded"]
    voicenotes()


if __name__ == "__main__":
    main()
