"""Make the demonstration visit: eight spoken recordings, from the texts in `texts/`.

    python demo_recordings/make_recordings.py            writes beside this file
    python demo_recordings/make_recordings.py --out DIR  writes somewhere else

Needs Debian's `flite` (its voices `slt` and `rms`), and PyAV and NumPy, which voicenotes brings along.
Everything random has a fixed seed and nothing takes today's date, so the same flite, PyAV and NumPy
give the same bytes.
"""

from __future__ import annotations

import argparse
import re
import shutil
import subprocess
import tempfile
import wave
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import av
import numpy as np
from av.audio.stream import AudioStream
from av.codec.context import Flags
from numpy.typing import NDArray

Samples = NDArray[np.float64]

HERE = Path(__file__).resolve().parent
RATE = 16_000  # what flite's two voices give, in samples a second
SPEECH_DBFS = -20.0  # RMS of the speech itself, pauses left out
PEAK_LIMIT = 0.84  # -1.5 dBFS: room for what a lossy coding adds to a peak
ROOM_DBFS = -66.0  # hiss of a phone's microphone in a quiet place
NOISE_SNR_DB = 20.0  # speech over workshop noise, in the recordings that have it
PAUSE_SECONDS = (0.6, 1.0)  # between two sentences
LEAD_SECONDS = 0.5  # before the first sentence and after the last
SPEECH_FLOOR = 0.003  # of full scale; flite's own silence is below it

# How a technician says what flite's letter-to-sound rules say otherwise.
SAY_AS = {
    r"\brunout\b": "run out",
    r"\bthou\b": "thow",
    r"\bZ\b": "zed",
    r"\ban A two six\b": "an eigh two six",
}


@dataclass(frozen=True)
class Coding:
    """A phone's file format: PyAV's names for container and codec, samples and bits a second."""

    suffix: str
    container: str
    codec: str
    rate: int
    bits: int | None = None


M4A = Coding(".m4a", "ipod", "aac", 44_100, 40_000)
AMR = Coding(".3gp", "3gp", "libopencore_amrnb", 8_000, 12_200)
MP3 = Coding(".mp3", "mp3", "libmp3lame", 16_000, 32_000)
OPUS = Coding(".ogg", "ogg", "libopus", 48_000, 24_000)
FLAC = Coding(".flac", "flac", "flac", RATE)
WAV = Coding(".wav", "wav", "pcm_s16le", RATE)


@dataclass(frozen=True)
class Plan:
    """One recording: its text, when it was started, who speaks, whether machines run, the format."""

    text: str
    started: str
    voice: str
    coding: Coding
    noisy: bool = False

    @property
    def file_name(self) -> str:
        """The name a phone gives: the time of the start, so that order by name is the visit's order."""
        return datetime.fromisoformat(self.started).strftime("%Y-%m-%d %H-%M-%S") + self.coding.suffix


PLANS = (
    Plan("01_arrival", "2024-03-12T09:14:05", "rms", M4A),
    Plan("02_panel", "2024-03-12T09:27:48", "rms", FLAC, noisy=True),
    Plan("03_spindle", "2024-03-12T09:52:31", "rms", M4A),
    Plan("04_chuck_and_turret", "2024-03-12T10:08:16", "slt", OPUS),
    Plan("05_axes", "2024-03-12T10:31:59", "rms", M4A),
    Plan("06_tanks_and_chips", "2024-03-12T11:03:22", "rms", MP3),
    Plan("07_round_the_back", "2024-03-12T11:20:40", "rms", AMR),
    Plan("08_before_leaving", "2024-03-12T11:46:13", "rms", WAV, noisy=True),
)


def main() -> None:
    """Make every recording and print what was made."""
    parser = argparse.ArgumentParser(description="Make the demonstration visit's recordings.")
    parser.add_argument("--out", type=Path, default=HERE, help="folder to write to (default: beside this)")
    folder: Path = parser.parse_args().out
    if shutil.which("flite") is None:
        raise SystemExit("flite is not installed, so nothing can be spoken; run: apt-get install flite")
    folder.mkdir(parents=True, exist_ok=True)
    total = 0
    for number, plan in enumerate(PLANS):
        samples = recording_samples(plan, np.random.default_rng(20_240_312 + number))
        path = folder / plan.file_name
        write_recording(path, samples, plan)
        total += path.stat().st_size
        print(f"{path.name}  {samples.size / RATE:5.1f} s  {path.stat().st_size / 1000:6.0f} kB")
    print(f"{total / 1_000_000:.2f} MB in {len(PLANS)} recordings")


def recording_samples(plan: Plan, random: np.random.Generator) -> Samples:
    """One recording at 16 kHz, shape (n,), within -1..1: speech, pauses, and the sound of the place."""
    text = (HERE / "texts" / f"{plan.text}.txt").read_text(encoding="utf-8")
    spoken = [speak(sentence, plan.voice) for sentence in sentences(text)]
    level = np.sqrt(np.mean(np.concatenate(spoken) ** 2))
    gain = amplitude(SPEECH_DBFS) / level
    pieces = [silence(LEAD_SECONDS)]
    for sentence in spoken:
        pieces += [gain * sentence, silence(random.uniform(*PAUSE_SECONDS))]
    pieces[-1] = silence(LEAD_SECONDS)
    samples = np.concatenate(pieces)
    samples += amplitude(ROOM_DBFS) * random.standard_normal(samples.size)
    if plan.noisy:
        samples += amplitude(SPEECH_DBFS - NOISE_SNR_DB) * workshop_noise(samples.size, random)
    peak = np.abs(samples).max()
    limited: Samples = samples * min(1.0, PEAK_LIMIT / peak)
    return limited


def sentences(text: str) -> list[str]:
    """The text's sentences, each with its closing mark."""
    return re.split(r"(?<=[.?!])\s+", " ".join(text.split()))


def speak(sentence: str, voice: str) -> Samples:
    """flite's rendering of one sentence, shape (n,), without the silence at either end."""
    for written, sounded in SAY_AS.items():
        sentence = re.sub(written, sounded, sentence)
    with tempfile.TemporaryDirectory() as name:
        text, sound = Path(name, "sentence.txt"), Path(name, "sentence.wav")
        text.write_text(sentence, encoding="utf-8")
        done = subprocess.run(
            ["flite", "-voice", voice, "-f", str(text), "-o", str(sound)], capture_output=True, text=True
        )
        if done.returncode != 0 or not sound.exists():
            raise SystemExit(f"flite could not speak with the voice {voice}: {done.stderr.strip()}")
        with wave.open(str(sound)) as file:
            if (file.getframerate(), file.getnchannels(), file.getsampwidth()) != (RATE, 1, 2):
                raise SystemExit(f"flite's voice {voice} is not 16 kHz mono; use Debian's flite")
            samples = np.frombuffer(file.readframes(file.getnframes()), dtype="<i2") / 32768
    loud = np.flatnonzero(np.abs(samples) > SPEECH_FLOOR)
    margin = RATE // 50
    return samples[max(0, loud[0] - margin) : loud[-1] + margin]


def silence(seconds: float) -> Samples:
    """Zeros, shape (n,)."""
    return np.zeros(round(seconds * RATE))


def amplitude(decibels: float) -> float:
    """The factor that a level in decibels stands for."""
    return float(10 ** (decibels / 20))


def workshop_noise(count: int, random: np.random.Generator) -> Samples:
    """Mains hum, a pump and now and then a clank, `count` samples with an RMS of 1."""
    times = np.arange(count) / RATE
    hum = 0.8 * np.sin(2 * np.pi * 50 * times) + 0.6 * np.sin(2 * np.pi * 100 * times + 0.7)
    noise = hum + 0.9 * pump(times, random)
    for start in clank_starts(count / RATE, random):
        after = times[times >= start] - start
        noise[count - after.size :] += clank(after, random)
    levelled: Samples = noise / np.sqrt(np.mean(noise**2))
    return levelled


def pump(times: Samples, random: np.random.Generator) -> Samples:
    """Broadband rush between about 100 and 2000 Hz that throbs 24 times a second; RMS about 1."""
    spectrum = np.fft.rfft(random.standard_normal(times.size))
    hertz = np.fft.rfftfreq(times.size, 1 / RATE)
    spectrum *= (hertz / 100) ** 2 / (1 + (hertz / 100) ** 2) / (1 + (hertz / 700) ** 2)
    rush = np.fft.irfft(spectrum, times.size)
    throb = 1 + 0.4 * np.sin(2 * np.pi * 24 * times)
    throbbing: Samples = throb * rush / np.std(rush)
    return throbbing


def clank_starts(seconds: float, random: np.random.Generator) -> Iterator[float]:
    """When something is dropped, in seconds: every 4 to 10 seconds."""
    at = random.uniform(1.0, 5.0)
    while at < seconds - 0.5:
        yield at
        at += random.uniform(4.0, 10.0)


def clank(after: Samples, random: np.random.Generator) -> Samples:
    """Struck metal: a few partials that are no harmonics of each other, dying away."""
    partials = random.uniform(600, 4200, size=5)
    ring = np.sin(2 * np.pi * np.outer(partials, after)).sum(axis=0)
    struck: Samples = random.uniform(0.8, 1.8) * np.exp(-after / 0.06) * ring
    return struck


def write_recording(path: Path, samples: Samples, plan: Plan) -> None:
    """Encode the samples as the plan's format, with the time of recording where the format keeps one."""
    coding = plan.coding
    frame = av.AudioFrame.from_ndarray(samples.astype(np.float32)[None, :], format="fltp", layout="mono")
    frame.sample_rate = RATE
    frame.pts = 0
    options = {"fflags": "+bitexact"}  # no version of the encoder's library in the file
    with av.open(str(path), "w", format=coding.container, options=options) as out:
        out.metadata["creation_time"] = f"{plan.started}.000000Z"
        out.metadata["date"] = plan.started
        stream = out.add_stream(coding.codec, rate=coding.rate)
        assert isinstance(stream, AudioStream)
        stream.layout = "mono"
        if coding.bits is not None:
            stream.bit_rate = coding.bits
        context = stream.codec_context
        context.flags |= Flags.bitexact
        context.open()
        resampler = av.AudioResampler(context.format, "mono", coding.rate, frame_size=context.frame_size)
        for piece in [*resampler.resample(frame), *resampler.resample(None)]:
            out.mux(stream.encode(piece))
        out.mux(stream.encode(None))


if __name__ == "__main__":
    main()
