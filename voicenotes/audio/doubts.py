"""When a recording can't be trusted, and what to do about it while he is still there: one plain line."""

from __future__ import annotations

from dataclasses import dataclass

# Whoever changes a limit raises FORMAT in hearing/kept.py: kept transcripts hold their doubts.
#
# What the embedded engine bears: about where its word error rate on flite speech is twice that of a quiet
# room. Drawn from the very run of tests/benchmarks/quality_limits.py that DEVELOPERS.md shows.
LOWEST_SNR_DB = 13.0
MOST_CLIPPED_OF_SPEECH = 0.12
LOWEST_LEVEL_DBFS = -60.0
LOWEST_EDGE_DB = -28.0
# Common practice, no source: so much wind, so many breaks a minute of speech, and what counts as nobody
# speaking, as silence, and as long enough to expect words in it.
MOST_WIND = 0.4
MOST_DROPOUTS_A_MINUTE, FEWEST_DROPOUTS = 3.0, 3
LOWEST_SPEECH_SHARE, LOWEST_SPEECH_S = 0.02, 0.5
SILENT_DBFS = -60.0


@dataclass(frozen=True)
class Heard:
    """The measures that a doubt rests on; shares 0..1, levels in dB relative to full scale, None if unknown.

    `edge_db` is the speech between 1.5 and 3.5 kHz against that between 0.3 and 1 kHz.
    """

    seconds: float
    speech_share: float
    level_dbfs: float | None
    peak_dbfs: float
    noise_dbfs: float | None
    snr_db: float | None
    clipped_share: float
    wind_share: float
    edge_db: float | None
    dropouts: int


def doubt_of(heard: Heard) -> str | None:
    """Why this recording can't be trusted and what to do; None where nothing speaks against it.

    The first that holds: nothing to hear, wind, nobody speaks, clipped, too quiet, noise, breaks, muffled.
    """
    speech_s = heard.seconds * heard.speech_share
    little = heard.speech_share < LOWEST_SPEECH_SHARE and speech_s < LOWEST_SPEECH_S
    if heard.peak_dbfs < SILENT_DBFS:
        return "silence: uncover the microphone, or choose another, and say it again"
    if heard.wind_share > MOST_WIND:
        return f"wind over {_percent(heard.wind_share)} of it: say it again out of the wind"
    if heard.level_dbfs is None or little:
        if heard.noise_dbfs is not None and heard.noise_dbfs > SILENT_DBFS:
            return "no voice can be told from the noise: say it again away from what is loud"
        return "nobody speaks: say it again if something was meant to be in it"
    if heard.clipped_share > MOST_CLIPPED_OF_SPEECH * heard.speech_share:
        clipped = _percent(heard.clipped_share / heard.speech_share)
        return f"too loud, {clipped} of the speech is clipped: say it again with the phone further away"
    if heard.level_dbfs < LOWEST_LEVEL_DBFS:
        return f"too quiet ({-heard.level_dbfs:.0f} dB below full scale): say it again closer to the phone"
    if heard.snr_db is not None and heard.snr_db < LOWEST_SNR_DB:
        snr = f"{heard.snr_db:.0f} dB"
        return f"the voice hardly stands out from the noise ({snr}): say it again closer to the phone"
    if heard.dropouts >= FEWEST_DROPOUTS and heard.dropouts * 60 > MOST_DROPOUTS_A_MINUTE * speech_s:
        return (
            f"it breaks off inside words {heard.dropouts} times: say it again without a wireless microphone"
        )
    if heard.edge_db is not None and heard.edge_db < LOWEST_EDGE_DB:
        return "muffled: take the phone out of the pocket, uncover its microphone, and say it again"
    return None


def _percent(share: float) -> str:
    return f"{100 * min(1.0, share):.0f} %"
