"""kill -9 at many moments of a run: what was finished is kept, and the record comes out the same to the byte.

`tests/benchmarks/kills.py` does the same hundreds of times at random, with the embedded engine.
"""

from __future__ import annotations

import contextlib
import json
import os
import signal
import subprocess
import time
from pathlib import Path

import numpy as np
import pytest
from make_audio import RATE, speech_like, write_audio
from stand_in_engine import StandInEngine, calls, command, environment
from test_kept import memo

from voicenotes.visit import load_record

pytestmark = pytest.mark.skipif(os.name != "posix", reason="process groups of POSIX")
MOMENTS = 12


def fill(visit: Path) -> Path:
    """Eight memos, two of them twins, a recording of two windows, and a transcript."""
    visit.mkdir()
    for seed in range(7):
        memo(visit / f"2024-03-12 09-00-{seed:02}.wav", seed)
    (visit / "2024-03-12 09-00-09.wav").write_bytes((visit / "2024-03-12 09-00-03.wav").read_bytes())
    voice = np.tile(speech_like([(0.2, 9.8)], 10.0, 0.2), 30)
    voice[::RATE] = np.linspace(0.1, 0.7, 300)
    write_audio(visit / "2024-03-12 09-10-00.wav", "pcm_s16le", rate=RATE, samples=voice)
    (visit / "2024-03-12 09-20-00.txt").write_text("Spindle growls. The coolant tank is dry.")
    return visit


def start(engine: StandInEngine, visit: Path, pack: Path) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        command(engine, "process", visit, "--pack", pack, "--quiet"),
        env=environment(), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True,
    )  # fmt: skip


def test_killed_at_many_moments_the_record_is_that_of_an_undisturbed_run(tmp_path: Path, pack: Path) -> None:
    """Each kill comes a little later in the run than the last; every third time nothing was kept before."""
    undisturbed = fill(tmp_path / "undisturbed")
    log = tmp_path / "log"
    engine = StandInEngine(str(log), delay_s=0.1)
    began = time.monotonic()
    assert start(engine, undisturbed, pack).wait(60) == 0
    took = time.monotonic() - began
    in_all = calls(log)
    assert in_all == 9
    expected = (undisturbed / "record.json").read_bytes()

    visit = fill(tmp_path / "visit")
    before = {path.name: path.read_bytes() for path in visit.iterdir()}
    killed = 0
    for moment in range(MOMENTS):
        if moment % 3 == 0:
            for path in (visit / ".voicenotes").glob("*-*.json"):
                path.unlink()
        kept = kept_seconds(visit)
        process = start(engine, visit, pack)
        try:
            process.wait(0.2 + (took - 0.2) * moment / MOMENTS)
        except subprocess.TimeoutExpired:
            killed += 1
        with contextlib.suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)
        process.wait()
        assert kept_seconds(visit) >= kept
        if (visit / "record.json").exists():
            assert (visit / "record.json").read_bytes() == expected
    assert killed >= MOMENTS / 2

    log.unlink()
    kept_now = kept_windows(visit)
    assert start(engine, visit, pack).wait(60) == 0
    assert (visit / "record.json").read_bytes() == expected
    assert calls(log) == in_all - kept_now
    assert {path.name: path.read_bytes() for path in visit.iterdir() if path.name in before} == before
    assert not list(visit.rglob(".*.tmp"))
    assert load_record(visit).recordings[0].problem is None


def kept_windows(visit: Path) -> int:
    """How many windows need not be heard again."""
    found = 0
    for path in (visit / ".voicenotes").glob("*-*.json"):
        kept = json.loads(path.read_bytes())
        found += 1 if "piece" in kept or kept["heard"]["seconds"] < 240 else 2
    return found


def kept_seconds(visit: Path) -> float:
    """How much sound need not be heard again."""
    found = 0.0
    for path in (visit / ".voicenotes").glob("*-*.json"):
        kept = json.loads(path.read_bytes())
        found += kept["heard"]["seconds"] if "heard" in kept else 0.25
    return found
