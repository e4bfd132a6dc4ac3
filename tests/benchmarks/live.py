"""Listening measured: how long after an utterance its line comes, and whether live and afterwards agree.

    python tests/benchmarks/live.py                       # demo texts in flite voices, at real speed
    python tests/benchmarks/live.py --engine moonshine    # by another engine than the embedded one
    python tests/benchmarks/live.py --visit 20            # a visit of so many minutes with 12 spoken commands

Speech comes from flite, one remark after another with pauses between, played through the path of `voicenotes
listen` (listening/sources.py, Playback). Latency is the time from the end of the speech itself, known from
how the sound was put together, to the moment when its line is there to be shown; utterances up to 10 s.
Speech that goes on while the last utterance is transcribed is the rule here: pauses are 0.7 to 1.6 s.
"""

from __future__ import annotations

import argparse
import random
import statistics
import tempfile
import time
import wave
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from spoken_voices import spoken

from voicenotes import load_pack, process_visit
from voicenotes.audio.growing_wav import HEADER_BYTES
from voicenotes.listening.aloud import Silent
from voicenotes.listening.begin import listening_in
from voicenotes.listening.hearing_on import Stretch
from voicenotes.listening.live_record import Brought
from voicenotes.listening.session import Session
from voicenotes.listening.sources import Playback, as_16_bits
from voicenotes.visit import record_text

ROOT = Path(__file__).parent.parent.parent
LONGEST_S = 10.0
COMMANDS = ("open_here", "open_in_all", "take_back", "mark", "open_here", "mark") * 2
RATE = 16_000


@dataclass(frozen=True)
class Talk:
    """Sound put together of remarks: its samples, and where each of them ends, in seconds."""

    samples: NDArray[np.float32]
    said: tuple[tuple[str, float, float], ...]


def talk_of(remarks: list[str], voice: str, draw: random.Random, snr_db: float | None) -> Talk:
    """The remarks spoken one after the other."""
    parts, said, at = [np.zeros(RATE, np.float32)], [], 1.0
    for remark in remarks:
        sound = spoken(remark, voice)
        said.append((remark, at, at + sound.size / RATE))
        pause = np.zeros(round(draw.uniform(0.7, 1.6) * RATE), np.float32)
        parts += [sound, pause]
        at += (sound.size + pause.size) / RATE
    samples = np.concatenate(parts)
    level = float(np.sqrt(np.mean(samples[samples != 0] ** 2)))
    noise = np.random.default_rng(1).standard_normal(samples.size).astype(np.float32)
    return Talk(samples + noise * level * np.float32(10 ** (-(snr_db or 50) / 20)), tuple(said))


def as_wav(samples: NDArray[np.float32], path: Path) -> Path:
    """A WAV of the samples."""
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE)
        file.writeframes(as_16_bits(samples).tobytes())
    return path


def listened(
    talk: Talk, folder: Path, speed: float, engine: str
) -> tuple[list[tuple[Stretch, Brought, float]], float, str]:
    """What each utterance brought and when, seconds after the sound began; the largest lag; the record."""
    pack = load_pack("cnc_lathe")
    came: list[tuple[Stretch, Brought, float]] = []
    source = Playback([as_wav(talk.samples, folder / "talk.wav.tmp")], speed)
    with listening_in(folder / "visit", pack, engine) as (visit, ear, recordings):
        session = Session(
            visit, pack, ear, source, Silent(), recordings,
            brought=lambda stretch, brought: came.append((stretch, brought, time.monotonic())),
        )  # fmt: skip
        time.sleep(4.0)  # the engine loads, as it does before anybody speaks
        begun = time.monotonic()
        session.start()
        lag = 0.0
        while not session.is_over(0.2):
            lag = max(lag, session.view.behind_s)
        assert session.fault is None, session.fault
    record = record_text(process_visit(folder / "visit", pack, engine))
    starts, start = {}, 0
    for file in sorted(visit.glob("*.wav")):  # their names are times
        starts[file], start = start, start + (file.stat().st_size - HEADER_BYTES) // 2
    return [(placed(stretch, starts), brought, at - begun) for stretch, brought, at in came], lag, record


def placed(stretch: Stretch, starts: dict[Path, int]) -> Stretch:
    """A stretch with its place in the whole talk, in which its file begins at that sample."""
    start = starts[stretch.file]
    cut = replace(stretch.cut, first=stretch.cut.first + start, last=stretch.cut.last + start)
    return replace(stretch, cut=cut)


def latencies(talk: Talk, came: list[tuple[Stretch, Brought, float]]) -> list[float]:
    """For each utterance of at most LONGEST_S: from the end of the last speech in it to its line."""
    found = []
    for stretch, _, at in came:
        first, last = stretch.cut.first / RATE, stretch.cut.last / RATE
        inside = [(begin, end) for _, begin, end in talk.said if begin < last and end > first and end <= last]
        if inside and inside[-1][1] - inside[0][0] <= LONGEST_S:
            found.append(at - inside[-1][1])
    return found


def measure(remarks: list[str], voice: str, snr_db: float | None, engine: str) -> None:
    """One voice at real speed: latencies, lag, and the record made anew from the sound alone."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        talk = talk_of(remarks, voice, random.Random(3), snr_db)
        came, lag, record = listened(talk, folder, 1.0, engine)
        late = sorted(latencies(talk, came))
        for kept in (folder / "visit" / ".voicenotes").glob("*.json"):
            kept.unlink()
        again = record_text(process_visit(folder / "visit", "cnc_lathe", engine))
        agree = "equal" if record == again else "DIFFER"
        print(
            f"{voice:8} {talk.samples.size / RATE:5.0f} s  {len(late):3} utterances  "
            f"median {statistics.median(late):.2f} s  95 % {late[int(0.95 * len(late))]:.2f} s  "
            f"most {late[-1]:.2f} s  lag at most {lag:.1f} s  records {agree}",
            flush=True,
        )


def visit_with_commands(
    lines: list[str], minutes: float, voice: str, snr_db: float | None, engine: str
) -> None:
    """A voice visit of some minutes with commands strewn in, played as fast as it is taken."""
    draw = random.Random(11)
    pack = load_pack("cnc_lathe")
    asked = {command.does: command.example for command in pack.commands.commands}
    remarks = [draw.choice(lines) for _ in range(round(minutes * 60 / 4.2))]
    places = sorted(draw.sample(range(5, len(remarks)), len(COMMANDS)), reverse=True)
    for place, does in zip(places, COMMANDS, strict=True):
        remarks.insert(place, asked[does])
    with tempfile.TemporaryDirectory() as name:
        talk = talk_of(remarks, voice, draw, snr_db)
        came, _, _ = listened(talk, Path(name), 0.0, engine)
        truth = [
            (end, does) for said, _, end in talk.said for does, example in asked.items() if said == example
        ]
        obeyed, invented = 0, 0
        for stretch, brought, _ in came:
            if brought.command is None:
                continue
            end = stretch.cut.last / RATE
            if any(does == brought.command.does and 0 <= end - at < 1.5 for at, does in truth):
                obeyed += 1
            else:
                invented += 1
                print(f"  invented: {brought.words}")
        print(
            f"{voice:8} {talk.samples.size / RATE / 60:.1f} min  {obeyed} of {len(truth)} commands obeyed, "
            f"{invented} invented"
        )


def main() -> None:
    """Measure as the options say."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    options.add_argument("--engine", default="embedded")
    options.add_argument("--voices", default="slt,rms")
    options.add_argument("--snr", type=float, default=None, help="white noise so many dB below the speech")
    options.add_argument("--visit", type=float, default=0.0, help="minutes of a visit with commands")
    options.add_argument("--remarks", type=int, default=60)
    chosen = options.parse_args()
    texts = sorted((ROOT / "demo_recordings/texts").glob("*.txt"))
    lines = [line for text in texts for line in text.read_text(encoding="utf-8").splitlines() if line.strip()]
    for voice in chosen.voices.split(","):
        if chosen.visit:
            visit_with_commands(lines, chosen.visit, voice, chosen.snr, chosen.engine)
        else:
            measure(lines[: chosen.remarks], voice, chosen.snr, chosen.engine)


if __name__ == "__main__":
    main()
