"""Sound that comes in blocks, brought to 16 kHz."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from voicenotes.model import SAMPLE_RATE_HZ

if TYPE_CHECKING:
    from numpy.typing import NDArray


class Resampled:
    """Blocks of mono 16-bit samples at `rate` Hz in, at 16 kHz out; FFmpeg's resampler, by PyAV."""

    def __init__(self, rate: int) -> None:
        import av

        self._rate = rate
        self._resampler: Any = av.AudioResampler(format="s16", layout="mono", rate=SAMPLE_RATE_HZ)

    def __call__(self, block: NDArray[np.int16]) -> NDArray[np.int16]:
        """int16 of shape (n,) to int16 of about n * 16000 / rate; what the filter holds comes later."""
        import av

        frame = av.AudioFrame.from_ndarray(np.ascontiguousarray(block)[None], format="s16", layout="mono")
        frame.sample_rate = self._rate
        pieces = [piece.to_ndarray().ravel() for piece in self._resampler.resample(frame)]
        return np.concatenate(pieces) if pieces else np.zeros(0, np.int16)
