"""The one protocol that every speech engine stands behind."""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

from voicenotes.model import SAMPLE_RATE_HZ
from voicenotes.vocabulary.material import SpeechMaterial

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy as np
    from numpy.typing import NDArray

    from voicenotes.model import Transcript

__all__ = ["SAMPLE_RATE_HZ", "SpeechEngine", "SpeechMaterial"]


class SpeechEngine(Protocol):
    """Turns samples into words with times and confidences."""

    name: str
    model: str | None
    processes: bool
    """Whether several processes, each with an engine of its own, get more done on one machine."""

    @property
    def settings(self) -> str:
        """A short digest of all else that shapes its transcripts: versions, options, everyday English."""
        ...

    def transcribe(
        self, samples: NDArray[np.float32], progress: Callable[[float], None] | None = None
    ) -> Transcript:
        """Transcribe mono samples (float32 in -1..1, 16 kHz), a few minutes of them at most.

        The same samples give the same words, whatever was transcribed before. Before its first call an
        engine has loaded nothing and can be pickled.
        `progress` is called with the seconds of audio done so far.
        Raises EngineError when the engine can't run.
        """
        ...
