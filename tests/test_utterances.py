"""Sound is cut into the same utterances live and afterwards, whatever the pieces in which it comes."""

from __future__ import annotations

import shutil
import subprocess
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from voicenotes.audio.decode import decode
from voicenotes.listening.aloud import TONES, Tone, tone_samples
from voicenotes.speech.utterances import LONGEST_SAMPLES, UtteranceCutter, VoiceStream, utterance_windows
from voicenotes.speech.voice_activity import FRAME_SAMPLES, voice_activity

RATE = 16_000
needs_flite = pytest.mark.skipif(not shutil.which("flite"), reason="flite, which speaks, is not installed")


@lru_cache
def spoken(text: str, folder: Path = Path("/tmp")) -> NDArray[np.float32]:
    import tempfile

    with tempfile.TemporaryDirectory() as name:
        file = Path(name) / "said.wav"
        subprocess.run(["flite", "-voice", "slt", "-t", text, "-o", str(file)], check=True)
        return decode(file).samples


def pause(seconds: float) -> NDArray[np.float32]:
    return np.zeros(round(seconds * RATE), np.float32)


def talk(*parts: str | float) -> NDArray[np.float32]:
    """Remarks and pauses in seconds, over a little noise."""
    sound = np.concatenate([spoken(part) if isinstance(part, str) else pause(part) for part in parts])
    return sound + np.random.default_rng(1).standard_normal(sound.size).astype(np.float32) * np.float32(0.001)


def spans(samples: NDArray[np.float32], piece: int) -> list[tuple[int, int, bool]]:
    cutter = UtteranceCutter()
    cuts = [cut for at in range(0, samples.size, piece) for cut in cutter.add(samples[at : at + piece])]
    return [(cut.first, cut.last, cut.spoken) for cut in (*cuts, *cutter.finish())]


@needs_flite
def test_cuts_are_those_of_the_talk() -> None:
    samples = talk(2.0, "the way covers are dented", 0.9, "spindle is quiet", 1.5)
    found = spans(samples, 1600)
    ends = np.cumsum([2.0, spoken("the way covers are dented").size / RATE, 0.9])
    said = [(first / RATE, last / RATE) for first, last, is_spoken in found if is_spoken]
    assert len(said) == 2
    assert said[0][0] < 2.2 and ends[1] - 0.4 < said[0][1] < ends[1] + 0.45
    assert said[0][1] <= said[1][0] < ends[2] + 0.2


@needs_flite
@pytest.mark.parametrize("piece", [1, 7, 511, 513, 4096, 1_000_000])
def test_cuts_are_the_same_however_the_sound_comes(piece: int) -> None:
    samples = talk(1.5, "the way covers are dented", 0.8, "spindle is quiet", 0.7)
    samples = samples[:8_000] if piece == 1 else samples
    assert spans(samples, piece) == spans(samples, 1600)


@needs_flite
def test_cuts_follow_one_another_without_a_hole() -> None:
    samples = talk(12.0, "the way covers are dented", 25.0, "spindle is quiet", 0.2)
    found = spans(samples, 1600)
    assert [first for first, _, _ in found] == [0, *(last for _, last, _ in found[:-1])]
    assert found[-1][1] == samples.size
    assert max(last - first for first, last, is_spoken in found if not is_spoken) <= 10 * RATE


@needs_flite
def test_talk_without_a_pause_is_cut_all_the_same() -> None:
    samples = talk(0.5, *["the way covers are dented and torn"] * 20, 1.0)
    found = [last - first for first, last, is_spoken in spans(samples, 1600) if is_spoken]
    assert len(found) >= 2
    assert max(found) <= LONGEST_SAMPLES


@needs_flite
def test_what_is_on_trial_is_what_it_will_be() -> None:
    """The samples of an utterance on trial are all there, and if the pause goes on it comes out just so."""
    samples = talk(1.0, "the way covers are dented", 1.0)
    cutter, tried, cuts = UtteranceCutter(), [], []
    for at in range(0, samples.size, 800):
        cuts += cutter.add(samples[at : at + 800])
        trial = cutter.on_trial()
        if trial and not cuts[1:]:
            assert trial.last <= at + 800
            tried.append(trial)
    (spoken_cut,) = [cut for cut in cuts if cut.spoken]
    assert tried[-1] == spoken_cut


@needs_flite
def test_a_recording_has_the_windows_that_were_cut_live() -> None:
    samples = talk(
        2.0, "the way covers are dented", 0.9, "spindle is quiet", 1.5, "no leaks at the pump", 3.0
    )

    def blocks():  # type: ignore[no-untyped-def]
        yield from np.array_split(samples, 3)
        return "a problem"

    windows, problem = [], None
    generator = utterance_windows(blocks())
    while True:
        try:
            windows.append(next(generator))
        except StopIteration as end:
            problem = end.value
            break
    assert problem == "a problem"
    found = spans(samples, 1600)
    assert [(w.start_s, w.samples.size, w.spoken) for w in windows] == [
        (a / RATE, b - a, s) for a, b, s in found
    ]
    assert np.array_equal(np.concatenate([w.samples for w in windows]), samples)
    assert [w.is_last for w in windows] == [False] * (len(windows) - 1) + [True]
    said = [w for w in windows if w.spoken]
    assert said[0].voice is None
    assert said[1].voice is not None and np.array_equal(said[1].voice, said[0].samples)
    assert said[2].voice is not None
    assert np.array_equal(said[2].voice, np.concatenate([said[0].samples, said[1].samples]))


def test_nothing_at_all_is_one_silent_window() -> None:
    (window,) = utterance_windows(iter([]))  # type: ignore[arg-type]
    assert (window.number, window.samples.size, window.is_last, window.spoken) == (0, 0, True, False)


@needs_flite
def test_levels_come_near_those_of_the_whole_sound() -> None:
    """Against Silero as faster-whisper runs it on a whole recording: the same model, told in one go."""
    samples = talk(0.5, "the way covers are dented", 0.5)
    samples = samples[: samples.size // FRAME_SAMPLES * FRAME_SAMPLES] / np.float32(2 * np.abs(samples).max())
    stream = VoiceStream()
    levels = np.array(
        [stream.level(samples[at : at + FRAME_SAMPLES]) for at in range(0, samples.size, FRAME_SAMPLES)]
    )
    whole = voice_activity(samples).levels
    agree = (levels >= 0.35) == (whole >= 0.35)
    assert agree.mean() > 0.95


@pytest.mark.parametrize("tone", TONES)
def test_its_own_tones_are_no_speech(tone: Tone) -> None:
    sound = np.concatenate([pause(1.0), tone_samples(tone) / np.float32(32768), pause(2.0)])
    sound += np.random.default_rng(2).standard_normal(sound.size).astype(np.float32) * np.float32(0.001)
    assert [is_spoken for _, _, is_spoken in spans(sound.astype(np.float32), 1600)] == [False]
