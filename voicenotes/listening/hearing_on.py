"""Transcribes utterances while the next ones are spoken, in a process of its own, and falls behind in order.

What waits are places on the disk, so memory stays small however far behind it is. An utterance that will be
one if the pause goes on is transcribed on trial, when nothing else waits: then its words are there when the
pause is over.
"""

from __future__ import annotations

import threading
from collections import deque
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from voicenotes.hearing.messages import Failed, Piece, Task, place_of
from voicenotes.hearing.pool import Pool
from voicenotes.model import SAMPLE_RATE_HZ, Transcript

if TYPE_CHECKING:
    from collections.abc import Callable

    from voicenotes.hearing.messages import Answer
    from voicenotes.listening.recorder import Closed
    from voicenotes.speech.engine import SpeechEngine
    from voicenotes.speech.utterances import Cut


@dataclass(frozen=True)
class Stretch:
    """A stretch of a file: its number there, and where it is."""

    file: Path
    number: int
    cut: Cut

    @property
    def seconds(self) -> float:
        """How long it is, where somebody speaks in it."""
        return (self.cut.last - self.cut.first) / SAMPLE_RATE_HZ if self.cut.spoken else 0.0


class HearingOn:
    """A Listener that hands transcripts on, in order, in a thread of its own.

    `take(stretch, transcript, line)` gets each; without a transcript the line says why. `whole(closed)` comes
    when all of a file was handed on. With `processes` 0 the engine works in this process.
    """

    def __init__(
        self,
        engine: SpeechEngine,
        take: Callable[[Stretch, Transcript | None, str | None], None],
        whole: Callable[[Closed], None],
        processes: int = 1,
    ) -> None:
        self._engine, self._take, self._whole, self._processes = engine, take, whole, processes
        self._waiting: deque[Stretch | Closed] = deque()
        self._trial: Stretch | None = None
        self._tried: tuple[Stretch, Transcript | None, str | None] | None = None
        self._busy: Stretch | None = None
        self._change = threading.Condition()
        self._ending = self._abandoned = False
        self.fault: BaseException | None = None
        self._thread = threading.Thread(target=self._run, name="hearing", daemon=True)
        self._thread.start()

    @property
    def behind_s(self) -> float:
        """How many seconds of speech wait to be transcribed."""
        with self._change:
            waiting = [one for one in self._waiting if isinstance(one, Stretch)]
            return sum(one.seconds for one in waiting) + (self._busy.seconds if self._busy else 0.0)

    def cut(self, file: Path, number: int, cut: Cut) -> None:
        """See Listener."""
        self._put(Stretch(file, number, cut))

    def closed(self, closed: Closed) -> None:
        """See Listener."""
        self._put(closed)

    def on_trial(self, file: Path, number: int, cut: Cut) -> None:
        """See Listener."""
        stretch = Stretch(file, number, cut)
        with self._change:
            if self._trial != stretch:
                self._trial = stretch
                self._change.notify_all()

    def finish(self) -> None:
        """Nothing more comes; `is_over` when all is handed on."""
        with self._change:
            self._ending = True
            self._change.notify_all()

    def abandon(self) -> None:
        """Leave what waits: it is on the disk."""
        with self._change:
            self._abandoned = self._ending = True
            self._waiting.clear()
            self._change.notify_all()

    def is_over(self, wait_s: float) -> bool:
        """Whether the thread has ended, after waiting so long for it."""
        self._thread.join(wait_s)
        return not self._thread.is_alive()

    def _put(self, thing: Stretch | Closed) -> None:
        with self._change:
            self._waiting.append(thing)
            self._change.notify_all()

    def _run(self) -> None:
        try:
            with Pool(self._engine, self._processes) as pool:
                # no samples, of any file: so that the engine is loaded when the first words come
                pool.do([Task(place=place_of(Path(__file__)), span=(0, 0))], lambda *_: None)
                while (thing := self._next()) is not None:
                    self._do(pool, thing)
        except BaseException as error:
            self.fault = error

    def _next(self) -> Stretch | Closed | None:
        with self._change:
            self._busy = None
            while not self._waiting and not self._ending and not self._is_untried():
                self._change.wait()
            if self._waiting:
                first = self._waiting.popleft()
                self._busy = first if isinstance(first, Stretch) else None
                return first
            return None if self._ending else self._trial

    def _is_untried(self) -> bool:
        return self._trial is not None and (self._tried is None or self._tried[0] != self._trial)

    def _do(self, pool: Pool, thing: Stretch | Closed) -> None:
        if not isinstance(thing, Stretch):
            self._whole(thing)
        elif thing is self._trial and thing is not self._busy:
            self._tried = (thing, *self._heard(pool, thing))
        else:
            tried, self._tried, self._trial = self._tried, None, None
            if tried and tried[0] == thing:
                self._take(*tried)
            else:
                self._take(thing, *self._heard(pool, thing))

    def _heard(self, pool: Pool, stretch: Stretch) -> tuple[Transcript | None, str | None]:
        engine, cut = self._engine, stretch.cut
        if not cut.spoken:
            return Transcript(engine=engine.name, model=engine.model), None
        found: list[Transcript | str] = []

        def take(_: Task, answer: Answer) -> None:
            if isinstance(answer, Piece):
                found.append(answer.transcript)
            elif isinstance(answer, Failed):
                found.append(answer.line)

        task = Task(
            place=place_of(stretch.file), part=stretch.number, span=(cut.first, cut.last), voice=cut.voice
        )
        pool.do([task], take)
        transcripts = [one for one in found if isinstance(one, Transcript)]
        lines = [one for one in found if isinstance(one, str)]
        return (transcripts[0] if transcripts else None), (lines[0] if lines else None)
