"""One task on one recording: decode it window by window, transcribe each, tell what came of it.

`python -m voicenotes.hearing.work` does so in a process of its own. Foreign files meet the decoders only
there: one that crashes them, or never ends, costs that process and not the visit.
"""

from __future__ import annotations

import contextlib
import os
import sys
import threading
from typing import TYPE_CHECKING

from voicenotes.errors import EngineError, RecordingError, without_name
from voicenotes.hearing.messages import Answer, At, Ended, Failed, Looked, Piece, Task
from voicenotes.model import SAMPLE_RATE_HZ, Transcript

if TYPE_CHECKING:
    import queue
    from collections.abc import Callable
    from pathlib import Path
    from typing import BinaryIO

    from voicenotes.audio.container import Label
    from voicenotes.audio.windows import Window
    from voicenotes.speech.engine import SpeechEngine

NO_MEMORY = "is too much for this machine's memory; cut it into shorter recordings"
PROGRESS_STEP_S = 5.0
# Far more than a window and an engine that shares the machine need; a decoder that wants more is led astray.
MOST_BYTES = 4 << 30


def work(engine: SpeechEngine, task: Task, tell: Callable[[Answer], None]) -> None:
    """Do the task; each answer goes to `tell`, the last one Looked, Ended or Failed.

    Only what `tell` raises, an interrupt, and faults of voicenotes itself get out of here.
    """
    path = task.path
    try:
        if task.look:
            tell(Looked(seconds=_label(path).seconds))
        elif task.span:
            tell(_hear_span(engine, task, task.span, tell))
        else:
            tell(_hear(engine, task, path, tell))
    except RecordingError as error:
        tell(Failed(where="recording", line=without_name(error, path.name)))
    except EngineError as error:
        tell(Failed(where="engine", line=str(error)))
    except MemoryError:
        tell(Failed(where="recording", line=NO_MEMORY))


def _label(path: Path) -> Label:
    from voicenotes.audio.container import read_label

    return read_label(path)


def _hear(engine: SpeechEngine, task: Task, path: Path, tell: Callable[[Answer], None]) -> Ended:
    from voicenotes.audio.decode import decode_blocks
    from voicenotes.audio.quality import QualityMeter
    from voicenotes.audio.windows import windows_of
    from voicenotes.speech.utterances import utterance_windows

    meter = QualityMeter() if task.part == 0 else None
    label = _label(path)
    blocks = decode_blocks(path)
    windows = utterance_windows(blocks) if label.by_utterances else windows_of(blocks)
    done, count, end = 0.0, 0, 0.0
    problem: str | None = None
    while True:
        tell(At(seconds=done))
        try:
            window = next(windows)
        except StopIteration as stop:
            problem = stop.value
            break
        count = window.number + 1
        seconds = window.samples.size / SAMPLE_RATE_HZ
        end = window.start_s + seconds
        if meter:
            meter.add(window.samples)
        if window.number % task.parts != task.part:
            continue
        if window.number not in task.known:
            tell(At(seconds=done, busy=True))
            transcript = _transcribed(engine, window, _stepwise(tell, done), label.by_utterances)
            tell(Piece(number=window.number, is_last=window.is_last, transcript=transcript))
        done += seconds
    quality = meter.result() if meter else None
    return Ended(
        seconds=round(end, 3), windows=count, problem=problem, created_at=label.created_at, quality=quality
    )


def _hear_span(
    engine: SpeechEngine, task: Task, span: tuple[int, int], tell: Callable[[Answer], None]
) -> Ended:
    """Transcribe one utterance of a recording that still grows, as `_hear` will when it is whole."""
    import numpy as np

    from voicenotes.audio.growing_wav import read_span
    from voicenotes.audio.windows import Window

    first, last = span
    tell(At(seconds=0.0, busy=True))
    voice = [read_span(task.path, *each) for each in task.voice]
    window = Window(
        task.part, first / SAMPLE_RATE_HZ, read_span(task.path, first, last), False, True,
        np.concatenate(voice) if voice else None,
    )  # fmt: skip
    transcript = _transcribed(engine, window, lambda _: None, True)
    tell(Piece(number=task.part, is_last=False, transcript=transcript))
    return Ended(seconds=round(last / SAMPLE_RATE_HZ, 3), windows=1)


def _transcribed(
    engine: SpeechEngine, window: Window, progress: Callable[[float], None], is_utterance: bool
) -> Transcript:
    if not window.spoken:
        return Transcript(engine=engine.name, model=engine.model)
    fitted = getattr(engine, "transcribe_utterance", None) if is_utterance else None
    if fitted:
        heard: Transcript = fitted(window.samples, window.voice)
    else:
        heard = engine.transcribe(window.samples, progress)
    if is_utterance:
        heard = heard.model_copy(update={"utterances": (round(window.start_s, 3),)})
    if not window.start_s:
        return heard
    words = tuple(
        word.model_copy(update=_moved(word.start, word.end, window.start_s)) for word in heard.words
    )
    left_out = tuple(
        left.model_copy(update=_moved(left.start, left.end, window.start_s)) for left in heard.left_out
    )
    return heard.model_copy(update={"words": words, "left_out": left_out})


def _moved(start: float, end: float, by: float) -> dict[str, float]:
    return {"start": round(start + by, 3), "end": round(end + by, 3)}


def _stepwise(tell: Callable[[Answer], None], done: float) -> Callable[[float], None]:
    """A progress function that speaks only every few seconds of sound."""
    told = 0.0

    def progress(seconds: float) -> None:
        nonlocal told
        if seconds - told >= PROGRESS_STEP_S:
            told = seconds
            tell(At(seconds=done + seconds, busy=True))

    return progress


def main() -> None:
    """Read an engine and then tasks from standard input; write answers to standard output."""
    import base64
    import pickle
    import queue
    import signal

    signal.signal(signal.SIGINT, signal.SIG_IGN)  # whoever started this process ends it
    answers = _own_output()
    lines: queue.Queue[bytes] = queue.Queue()
    threading.Thread(target=_watch, args=(sys.stdin.buffer, lines), daemon=True).start()
    engine: SpeechEngine = pickle.loads(base64.b64decode(lines.get()))
    if engine.processes:
        _limit_memory()

    def tell(answer: Answer) -> None:
        try:
            answers.write(answer.model_dump_json().encode() + b"\n")
            answers.flush()
        except OSError:  # nobody listens any more
            os._exit(1)

    while True:
        task = Task.model_validate_json(lines.get())
        try:
            work(engine, task, tell)
        except Exception as error:
            line = f"could not be read, a fault of voicenotes itself ({type(error).__name__}: {error})"
            tell(Failed(where="recording", line=" ".join(line.split())))


def _limit_memory() -> None:
    """Refuse this process more memory of its own than `MOST_BYTES`, where the system can."""
    try:
        import resource
    except ImportError:  # Windows
        return
    _, hard = resource.getrlimit(resource.RLIMIT_DATA)
    most = MOST_BYTES if hard == resource.RLIM_INFINITY else min(MOST_BYTES, hard)
    with contextlib.suppress(OSError, ValueError):
        resource.setrlimit(resource.RLIMIT_DATA, (most, hard))


def _watch(source: BinaryIO, lines: queue.Queue[bytes]) -> None:
    """Pass lines on; when there are no more, the visit's process is gone, and so is this one."""
    for line in source:
        lines.put(line)
    os._exit(1)


def _own_output() -> BinaryIO:
    """Standard output for answers alone: what libraries print goes nowhere."""
    answers = os.fdopen(os.dup(1), "wb")
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)
    return answers


if __name__ == "__main__":
    main()
