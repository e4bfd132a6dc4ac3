"""How well a recording can be heard, measured while its sound streams by: level, noise, clipping, wind.

`QualityMeter` takes blocks of any length and gives the same result however the sound is cut; it keeps some
20 s of measures, whatever the length. Speech is found by its level over the noise of the 20 s around it, as
in `pauses.py`, and by its voicing, so hammering and pumps are none. The signal-to-noise ratio follows the
method of NIST's STNR tool (SPQA package: two peaks of the histogram of frame energies, from memory),
adapted: noise is the mean power of the frames without speech nearby, speech that of the frames with it, less
the noise; both above 150 Hz, so that rumble and wind don't count. Below 0 dB no speech is found any more.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

import numpy as np

from voicenotes.audio.doubts import Heard, doubt_of
from voicenotes.audio.frame_measures import (
    CHUNK_SAMPLES,
    HOP_SAMPLES,
    HUM,
    NO_FRAMES,
    TINY,
    WINDOW_SAMPLES,
    Frames,
    clipped_samples,
    dropouts,
    frames_of,
    runs_of,
)
from voicenotes.model import Quality

if TYPE_CHECKING:
    from numpy.typing import NDArray

LOWEST_DBFS = -120.0
# Frames of 20 ms: noise is learnt from the last ten seconds and those before.
BLOCK_FRAMES = 500
SMOOTHING_FRAMES = 3
NOISE_PERCENTILE = 10.0
# The quiet tenth of steady noise, smoothed over 60 ms, lies so much below its mean (measured on white noise).
NOISE_BIAS_DB = 1.0
DIGITAL_SILENCE_DBFS = -90.0
# Speech rises so far above the noise somewhere, and stays above half of that: as in pauses.py, but lower, for
# a measure may take in less than everything and must still find speech as weak as the noise.
LOWEST_RISE_DB, HIGHEST_RISE_DB, RISE_SHARE = 5.0, 12.0, 0.3
LOWEST_SPEECH_DBFS = -65.0
# A run of speech has so many frames that are periodic at a voice's pitch, by so much.
VOICED, FEWEST_VOICED = 0.5, 3
# Gaps up to 200 ms belong to the speech around them, as in ITU-T P.56 (hangover time).
HANGOVER_FRAMES = 10
# Noise is measured that far from speech, so that neither its onset nor the room's echo counts.
APART_FRAMES = 5
# Wind: stronger than the voice's band by so much, loud enough to matter, and gusty: its level ranges over so
# many dB within 20 s, where motors and hum keep within 3. Common practice, no source.
WIND_OVER_VOICE_DB, WIND_LOWEST_DBFS, WIND_RANGE_DB = 12.0, -55.0, 8.0
WIND_SMOOTHING_FRAMES = 25
# A break into digital silence counts between pieces of sound louder than that, relative to the speech so far.
DROPOUT_BELOW_SPEECH_DB = 15.0


@dataclass
class _Sums:
    """What is kept of all that was heard: counts of frames, and sums of their powers."""

    frames: int = 0
    speech: int = 0
    speech_power: float = 0.0
    speech_noise: float = 0.0
    quiet: int = 0
    quiet_power: float = 0.0
    sounding: int = 0
    windy: int = 0
    body: float = 0.0
    edge: float = 0.0
    quiet_body: float = 0.0
    quiet_edge: float = 0.0


class QualityMeter:
    """Measures a recording block by block; `result` may be asked at any time, and again later."""

    def __init__(self) -> None:
        self._sums = _Sums()
        self._samples = self._clipped = self._dropouts = 0
        self._peak = 0.0
        self._rest = np.zeros(0, dtype=np.float32)
        self._tail = np.zeros(WINDOW_SAMPLES - HOP_SAMPLES, dtype=np.float32)
        self._before, self._block = NO_FRAMES, NO_FRAMES

    def add(self, block: NDArray[np.float32]) -> None:
        """Take in the next samples: float32, shape (n,), mono, 16 kHz, any n."""
        joined = np.concatenate([self._rest, block])
        whole = joined.size - joined.size % CHUNK_SAMPLES
        for start in range(0, whole, CHUNK_SAMPLES):
            self._second(joined[start : start + CHUNK_SAMPLES])
        self._rest = joined[whole:].copy()

    def result(self) -> Quality:
        """The quality of what was added so far."""
        whole = self._twin()
        whole._second(self._rest)
        if len(whole._block):
            _decide(whole._sums, whole._before, whole._block)
        return _quality(whole._sums, whole)

    def _twin(self) -> QualityMeter:
        twin = QualityMeter()
        vars(twin).update(vars(self))
        twin._sums = _Sums(*(getattr(self._sums, field.name) for field in fields(_Sums)))
        return twin

    def _second(self, samples: NDArray[np.float32]) -> None:
        """Take in a second, or what is left at the end."""
        self._samples += samples.size
        self._peak = max(self._peak, float(np.abs(samples).max(initial=0.0)))
        level = self._sums.speech_power / self._sums.speech if self._sums.speech else 0.0
        if level:
            self._dropouts += dropouts(samples, float(np.sqrt(level)) * 10 ** (-DROPOUT_BELOW_SPEECH_DB / 20))
        usable = samples[: samples.size - samples.size % HOP_SAMPLES]
        if usable.size:
            frames = frames_of(usable, self._tail)
            if frames.rumble.sum() <= HUM * frames.voice.sum():
                self._clipped += clipped_samples(samples)
            self._block = self._block + frames
            self._tail = usable[usable.size - self._tail.size :].copy()
        if len(self._block) >= BLOCK_FRAMES:
            _decide(self._sums, self._before, self._block)
            self._before, self._block = self._block, NO_FRAMES


def _decide(sums: _Sums, before: Frames, block: Frames) -> None:
    """Tell speech from noise in the frames of `block`, those before it to learn from, and add them up."""
    both = before + block
    level = _db(_smooth(both.voice, SMOOTHING_FRAMES))
    sounding = level > DIGITAL_SILENCE_DBFS
    speech, cut = _speech(level, sounding, both.voicing)
    noise = ~_widened(speech | cut, APART_FRAMES) & sounding
    floor = 0.0
    if noise.any():
        floor = float(both.voice[noise].mean())
    elif speech.any() and np.count_nonzero(sounding) > 0.9 * level.size:
        floor = 10 ** ((float(np.percentile(level[sounding], NOISE_PERCENTILE)) + NOISE_BIAS_DB) / 10)
    new = slice(len(before), None)
    said, still = speech[new], noise[new]
    sums.frames += len(block)
    sums.sounding += int(np.count_nonzero(sounding[new]))
    sums.speech += int(np.count_nonzero(said))
    sums.speech_power += float(block.voice[said].sum())
    sums.speech_noise += floor * np.count_nonzero(said)
    sums.body += float(block.body[said].sum())
    sums.edge += float(block.edge[said].sum())
    sums.quiet += int(np.count_nonzero(still))
    sums.quiet_power += float(block.voice[still].sum())
    sums.quiet_body += float(block.body[still].sum())
    sums.quiet_edge += float(block.edge[still].sum())
    sums.windy += int(np.count_nonzero(_windy(both)[new]))


def _speech(
    level: NDArray[np.float64], sounding: NDArray[np.bool_], voicing: NDArray[np.float64]
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """The frames of speech, gaps of up to 200 ms included; and those at the ends that may belong to some."""
    heard = level[sounding]
    found, cut = np.zeros((2, level.size), dtype=np.bool_)
    if heard.size == 0:
        return found, cut
    # Where a tenth is digital silence (a noise gate, a synthetic voice) there is no noise to rise from.
    gated = heard.size < (1 - NOISE_PERCENTILE / 100) * level.size
    low = DIGITAL_SILENCE_DBFS if gated else float(np.percentile(heard, NOISE_PERCENTILE))
    low = max(low + NOISE_BIAS_DB, LOWEST_SPEECH_DBFS - LOWEST_RISE_DB)
    rise = float(np.clip(RISE_SHARE * (np.percentile(heard, 99.5) - low), LOWEST_RISE_DB, HIGHEST_RISE_DB))
    runs = list(zip(*runs_of(level > low + 0.5 * rise), strict=True))
    for begin, end in runs:
        voiced = (voicing[begin:end] > VOICED) & (level[begin:end] > low + rise)
        found[begin:end] = np.count_nonzero(voiced) >= FEWEST_VOICED
    near = _widened(found, HANGOVER_FRAMES)
    for begin, end in runs:  # an "s" or "t" beside a vowel; one cut off by the end may have its vowel there
        found[begin:end] |= bool(near[begin:end].any())
        cut[begin:end] = not found[begin] and (begin == 0 or end == level.size)
    for end, begin in zip(*runs_of(~found), strict=True):
        if end > 0 and begin < found.size and begin - end <= HANGOVER_FRAMES:
            found[end:begin] = True
    return found, cut


def _windy(frames: Frames) -> NDArray[np.bool_]:
    """The frames in which gusts below 100 Hz are stronger than everything above."""
    rumble = _db(_smooth(frames.rumble, WIND_SMOOTHING_FRAMES))
    low, high = np.percentile(rumble, [10, 90])
    strong = rumble > np.maximum(
        _db(_smooth(frames.voice, WIND_SMOOTHING_FRAMES)) + WIND_OVER_VOICE_DB, WIND_LOWEST_DBFS
    )
    gusty: NDArray[np.bool_] = strong & bool(high - low > WIND_RANGE_DB)
    return gusty


def _quality(sums: _Sums, meter: QualityMeter) -> Quality:
    speech = 10 * np.log10(max(sums.speech_power / sums.speech, 1e-12)) if sums.speech else None
    noise = sums.quiet_power / sums.quiet if sums.quiet else None
    snr = None
    if sums.speech and sums.speech_noise > 0:
        clean = max(sums.speech_power - sums.speech_noise, 0.05 * sums.speech_noise)
        snr = float(10 * np.log10(clean / sums.speech_noise))
    share = sums.speech / sums.frames if sums.frames else 0.0
    body = sums.body - sums.speech * (sums.quiet_body / sums.quiet if sums.quiet else 0.0)
    edge = sums.edge - sums.speech * (sums.quiet_edge / sums.quiet if sums.quiet else 0.0)
    peak = max(LOWEST_DBFS, 20 * float(np.log10(max(meter._peak, 1e-9))))
    noise_db = float(10 * np.log10(max(noise, 1e-12))) if noise is not None else None
    heard = Heard(
        seconds=sums.frames * HOP_SAMPLES / 16_000,
        speech_share=share,
        level_dbfs=None if speech is None else float(speech),
        peak_dbfs=peak,
        noise_dbfs=noise_db,
        snr_db=snr,
        clipped_share=meter._clipped / meter._samples if meter._samples else 0.0,
        wind_share=sums.windy / sums.frames if sums.frames else 0.0,
        edge_db=float(10 * np.log10(max(edge, TINY) / body)) if body > TINY else None,
        dropouts=meter._dropouts,
    )
    return Quality(
        level_dbfs=_tenth(heard.level_dbfs),
        peak_dbfs=round(peak, 1),
        clipped_share=round(heard.clipped_share, 4),
        noise_dbfs=_tenth(noise_db),
        snr_db=_tenth(snr),
        speech_share=round(share, 3),
        doubt=doubt_of(heard),
    )


def _tenth(value: float | None) -> float | None:
    return None if value is None else round(value, 1) + 0.0


def _db(power: NDArray[np.float64]) -> NDArray[np.float64]:
    return 10 * np.log10(np.maximum(power, 1e-12))


def _smooth(power: NDArray[np.float64], width: int) -> NDArray[np.float64]:
    """The running mean over `width` frames, ends held."""
    ends = np.pad(power, (width // 2, width - 1 - width // 2), mode="edge")
    return np.convolve(ends, np.full(width, 1 / width), mode="valid")


def _widened(mask: NDArray[np.bool_], by: int) -> NDArray[np.bool_]:
    """The mask with `by` frames more on either side of each run."""
    return np.convolve(mask, np.ones(2 * by + 1))[by : by + mask.size] > 0.5
