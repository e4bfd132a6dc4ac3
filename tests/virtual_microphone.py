"""A microphone that hears what is played to it: a sound server of the test's own with a sink that goes
nowhere.

Needs PulseAudio, its ALSA plugin and PortAudio (Debian: pulseaudio pulseaudio-utils libasound2-plugins
libportaudio2).
"""

from __future__ import annotations

import contextlib
import os
import shutil
import subprocess
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ALSA = """
<{base}>
pcm.!default {{ type pulse }}
ctl.!default {{ type pulse }}
"""
MODULES = (
    "module-native-protocol-unix auth-anonymous=1 socket={socket}",
    "module-null-sink sink_name=shop rate=48000 channels=1",
)
PLUGINS = (
    "/usr/lib/*/alsa-lib/libasound_module_pcm_pulse.so",
    "/usr/lib/alsa-lib/libasound_module_pcm_pulse.so",
)


def missing() -> str | None:
    """Why there can be no virtual microphone here; None where there can."""
    for program in ("pulseaudio", "pactl", "paplay"):
        if not shutil.which(program):
            return f"no virtual microphone: {program} is not installed"
    if not any(list(Path("/").glob(pattern.lstrip("/"))) for pattern in PLUGINS):
        return "no virtual microphone: ALSA's plugin for PulseAudio is not installed"
    try:
        import sounddevice  # noqa: F401
    except (ImportError, OSError) as error:
        return f"no virtual microphone: {error}"
    return None


@dataclass
class VirtualMicrophone:
    """`environment` is that of programs which are to hear with it, and to be heard."""

    environment: dict[str, str]
    server: subprocess.Popen[bytes]

    def play(self, file: Path) -> None:
        """Play a WAV to it, and return when it has sounded."""
        subprocess.run(["paplay", "--device=shop", str(file)], env=self.environment, check=True, timeout=300)

    def until_quiet(self) -> None:
        """Wait until something has begun to sound, and has ended."""
        for wanted in (True, False):
            for _ in range(100):
                if bool(self.pactl("list", "short", "sink-inputs").strip()) == wanted:
                    break
                time.sleep(0.1)
        time.sleep(1.0)

    def pactl(self, *words: str) -> str:
        """Ask the sound server, or tell it something."""
        return subprocess.run(
            ["pactl", *words], env=self.environment, check=True, timeout=20, capture_output=True, text=True
        ).stdout


@contextlib.contextmanager
def virtual_microphone() -> Iterator[VirtualMicrophone]:
    """A sound server with this microphone as default, and its loudspeaker heard by it."""
    with tempfile.TemporaryDirectory(prefix="voicenotes-sound-") as folder:
        home = Path(folder)
        socket = home / "native"
        config = home / "alsa.conf"
        config.write_text(ALSA.format(base="/usr/share/alsa/alsa.conf"))
        environment = {
            **os.environ, "HOME": folder, "XDG_RUNTIME_DIR": folder, "PULSE_RUNTIME_PATH": folder,
            "PULSE_SERVER": f"unix:{socket}", "ALSA_CONFIG_PATH": str(config),
            "XDG_CACHE_HOME": os.environ.get("XDG_CACHE_HOME", str(Path.home() / ".cache")),
        }  # fmt: skip
        words = [
            "pulseaudio",
            "-n",
            "--daemonize=no",
            "--exit-idle-time=-1",
            "--use-pid-file=no",
            "--disable-shm=yes",
        ]
        for module in MODULES:
            words += ["-L", module.format(socket=socket)]
        server = subprocess.Popen(
            words, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        try:
            microphone = VirtualMicrophone(environment, server)
            for _ in range(100):
                if socket.exists():
                    break
                time.sleep(0.1)
            microphone.pactl("set-default-source", "shop.monitor")
            microphone.pactl("set-default-sink", "shop")
            yield microphone
        finally:
            server.terminate()
            server.wait(10)
