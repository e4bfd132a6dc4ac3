"""Microphones of this machine, through sounddevice (PortAudio): which there are, and the sound of one."""

from __future__ import annotations

import contextlib
import queue
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

import numpy as np

from voicenotes.errors import MicrophoneError
from voicenotes.model import SAMPLE_RATE_HZ

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

# Without a block for so long the microphone is taken for gone: PortAudio doesn't say when one is unplugged.
SILENT_LIMIT_S = 2.0
BLOCK_S = 0.05


@dataclass(frozen=True)
class Device:
    """A microphone: its number and name, and whether the system takes it by default."""

    number: int
    name: str
    is_default: bool


def microphones() -> list[Device]:
    """The microphones there are now. MicrophoneError when sound can't be asked for at all."""
    sound = _library()
    default = sound.default.device[0]
    return [
        Device(number, str(found["name"]), number == default)
        for number, found in enumerate(sound.query_devices())
        if found["max_input_channels"] > 0
    ]


def chosen(wanted: str | None) -> Device | None:
    """The microphone of that number or with that in its name; None for the system's own choice.

    Raises MicrophoneError when there is none, or when several fit.
    """
    here = microphones()
    if not here:
        raise MicrophoneError("no microphone is on this machine: plug one in, then try again")
    if wanted is None:
        return None
    by_number = [device for device in here if wanted.isdecimal() and device.number == int(wanted)]
    exact = [device for device in here if device.name.casefold() == wanted.casefold()]
    found = by_number or exact or [d for d in here if wanted.casefold() in d.name.casefold()]
    if len(found) == 1:
        return found[0]
    names = ", ".join(f"{device.number} {device.name}" for device in found or here)
    trouble = "several microphones fit" if found else "no microphone fits"
    raise MicrophoneError(f"{trouble} {wanted!r}: name one of {names}")


class Microphone:
    """The sound of a microphone; see Source. `wanted` as in `chosen`."""

    hears_the_room = True

    def __init__(self, wanted: str | None = None) -> None:
        self._wanted = wanted
        self._stopped = False
        device = chosen(wanted)
        self.name = device.name if device else _default_name()

    def blocks(self) -> Iterator[NDArray[np.int16]]:
        """See Source. After a MicrophoneError the list of devices is taken anew."""
        waiting: queue.SimpleQueue[bytes | None] = queue.SimpleQueue()

        def take(content: Any, _frames: int, _time: Any, _status: Any) -> None:
            waiting.put(bytes(content))

        stream, rate = self._opened(take, lambda: waiting.put(None))
        try:
            to_rate = _resampling(rate)
            while not self._stopped:
                try:
                    content = waiting.get(timeout=SILENT_LIMIT_S)
                except queue.Empty:
                    content = None
                if self._stopped:
                    return
                if content is None:
                    raise MicrophoneError(f"the microphone {self.name} gives no more sound: plug it in again")
                yield to_rate(np.frombuffer(content, np.int16))
        finally:
            with contextlib.suppress(Exception):  # whatever a library says of a device that is gone
                stream.close()

    def now(self) -> datetime:
        """See Source."""
        return datetime.now()

    def stop(self) -> None:
        """See Source."""
        self._stopped = True

    def look_again(self) -> None:
        """Take the list of devices anew: PortAudio makes it once."""
        sound = _library()
        with contextlib.suppress(Exception):
            sound._terminate()
            sound._initialize()

    def _opened(self, take: Any, ended: Any) -> tuple[Any, int]:
        sound = _library()
        device = chosen(self._wanted)
        self.name = device.name if device else _default_name()
        number = device.number if device else None
        try:
            own = int(sound.query_devices(number, "input")["default_samplerate"])
        except (sound.PortAudioError, ValueError) as error:
            raise MicrophoneError(f"{self.name}: can't be asked ({_one_line(error)})") from None
        trouble = ""
        for rate in dict.fromkeys((SAMPLE_RATE_HZ, own)):
            try:
                stream = sound.RawInputStream(
                    samplerate=rate, blocksize=round(rate * BLOCK_S), device=number, channels=1,
                    dtype="int16", latency="low", callback=take, finished_callback=ended,
                )  # fmt: skip
                stream.start()
            except (sound.PortAudioError, ValueError) as error:
                trouble = _one_line(error)
                continue
            return stream, rate
        raise MicrophoneError(
            f"the microphone {self.name} can't be opened ({trouble}): choose another with --microphone"
        )


def _resampling(rate: int) -> Any:
    """From 16-bit samples at the device's rate to 16 kHz; as they are where that is its rate."""
    if rate == SAMPLE_RATE_HZ:
        return lambda block: block
    from voicenotes.audio.rates import Resampled

    return Resampled(rate)


def _default_name() -> str:
    sound = _library()
    try:
        return str(sound.query_devices(kind="input")["name"])
    except (sound.PortAudioError, ValueError):
        raise MicrophoneError("no microphone is on this machine: plug one in, then try again") from None


def _library() -> Any:
    try:
        import sounddevice
    except (ImportError, OSError) as error:
        raise MicrophoneError(
            f"sound can't be recorded here ({_one_line(error)}): install sounddevice and PortAudio "
            "(Debian: apt-get install libportaudio2)"
        ) from None
    return sounddevice


def _one_line(error: Exception) -> str:
    return " ".join(str(error).split())
