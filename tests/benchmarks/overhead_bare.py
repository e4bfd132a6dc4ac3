"""The bare embedded engine over a visit's recordings, for overhead.py: prints its seconds as JSON."""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path

import numpy as np

from voicenotes.audio.decode import decode_blocks
from voicenotes.audio.windows import windows_of
from voicenotes.speech.embedded import EmbeddedEngine
from voicenotes.vocabulary.load import load_pack
from voicenotes.vocabulary.material import speech_material


def main() -> None:
    visit = Path(sys.argv[1])
    windows = [
        window.samples for path in sorted(visit.glob("*.m4a")) for window in windows_of(decode_blocks(path))
    ]
    engine = EmbeddedEngine(speech_material(load_pack("cnc_lathe")))
    engine.transcribe(np.zeros(16_000, np.float32))  # loads it
    clock, cpu = time.perf_counter(), time.process_time()
    for samples in windows:
        engine.transcribe(samples)
    print(json.dumps({"clock": time.perf_counter() - clock, "cpu": time.process_time() - cpu}))


if __name__ == "__main__":
    main()
