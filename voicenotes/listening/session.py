"""One time of listening: sound in, files and a growing record out, answers and a view to glance at beside it.

Three threads: one writes what comes (`recorder.py`), one has it transcribed and reads it (`hearing_on.py`),
one speaks (`aloud.py`); whoever runs the session looks at `view` now and then. Nothing that goes wrong with
hearing, reading or speaking stops the writing.
"""

from __future__ import annotations

import threading
import time
from dataclasses import replace
from typing import TYPE_CHECKING

from voicenotes.errors import MicrophoneError, NoRoomError, RecordingError, VisitError
from voicenotes.files import sha256_of
from voicenotes.hearing.kept import Heard, keep
from voicenotes.listening.answers import answer
from voicenotes.listening.hearing_on import HearingOn
from voicenotes.listening.live_record import LiveRecord, open_at
from voicenotes.listening.recorder import Recorder
from voicenotes.listening.sources import level_dbfs
from voicenotes.outputs.live_screen import LiveView, Understood, understood
from voicenotes.outputs.wording import length

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from voicenotes.hearing.kept import Ear
    from voicenotes.listening.aloud import Aloud, Silent
    from voicenotes.listening.hearing_on import Stretch
    from voicenotes.listening.live_record import Brought, Recordings
    from voicenotes.listening.recorder import Closed
    from voicenotes.listening.sources import Source
    from voicenotes.model import Transcript
    from voicenotes.vocabulary.schema import Pack

AGAIN_S = 2.0  # after something was lost: until it is tried again
MOST_SHOWN = 4
BEHIND_S = 5.0
LEVEL_FALL_DB = 1.5  # a block: the meter falls slowly enough to be seen


class Session:
    """Listens to a source and fills a visit's folder. `recordings` are those that it has already.

    `tell` gets a line for whatever happens; `brought` each utterance once it is read.
    """

    def __init__(
        self,
        folder: Path,
        pack: Pack,
        ear: Ear,
        source: Source,
        aloud: Aloud | Silent,
        recordings: Recordings | None = None,
        tell: Callable[[str], None] = lambda _: None,
        brought: Callable[[Stretch, Brought], None] = lambda *_: None,
        processes: int = 1,
    ) -> None:
        self._folder, self._pack, self._ear, self._source, self._aloud = folder, pack, ear, source, aloud
        self._tell, self._brought = tell, brought
        self._live = LiveRecord(pack, recordings or [])
        self._lock = threading.Lock()
        self._stop = threading.Event()
        self._view = LiveView(source=source.name, pack_cautions=pack.head.cautions)
        self._hearing = HearingOn(ear.engine, self._take, self._whole, processes)
        self._recorder = Recorder(folder, self._hearing)
        self._recording = threading.Thread(target=self._record, name="recording", daemon=True)
        self._samples = 0
        self.fault: BaseException | None = None
        self._show_record()

    def start(self) -> None:
        """Begin to listen."""
        self._recording.start()

    def stop(self) -> None:
        """End the recording; what was said until now is still transcribed and read."""
        self._stop.set()
        self._source.stop()

    def abandon(self) -> None:
        """End at once: what is not yet transcribed waits on the disk for `process`."""
        self.stop()
        self._hearing.abandon()

    def is_over(self, wait_s: float = 0.0) -> bool:
        """Whether all is recorded, transcribed and read, after waiting at most so long."""
        self._recording.join(wait_s)
        over = not self._recording.is_alive() and self._hearing.is_over(0.0)
        if over:
            self.fault = self.fault or self._hearing.fault
        return over

    @property
    def view(self) -> LiveView:
        """What there is to see now."""
        behind = self._hearing.behind_s
        with self._lock:
            seconds = self._samples / 16_000
            speaks = self._aloud.is_speaking and self._source.hears_the_room
            return replace(
                self._view,
                behind_s=behind,
                recorded_s=seconds,
                is_muted=speaks,
                is_ending=self._stop.is_set(),
            )

    # --- recording ---------------------------------------------------------------------------------

    def _record(self) -> None:
        try:
            while not self._stop.is_set():
                try:
                    self._listen()
                    break
                except MicrophoneError as error:
                    self._recorder.close()
                    self._in_trouble(str(error), "The microphone is gone. What was recorded is kept.")
                    self._stop.wait(AGAIN_S)
                    look_again = getattr(self._source, "look_again", None)
                    if look_again:
                        look_again()
        except RecordingError as error:
            self.fault = error
        except BaseException as error:
            self.fault = error
            self._in_trouble(f"recording has ended by a fault: {error}", "Recording has ended by a fault.")
        finally:
            self._recorder.close()
            self._hearing.finish()

    def _listen(self) -> None:
        not_before = 0.0
        for block in self._source.blocks():
            if self._stop.is_set():
                return
            level = level_dbfs(block)
            with self._lock:
                self._samples += block.size
                shown = max(level, self._view.level_dbfs - LEVEL_FALL_DB)
                self._view = replace(self._view, level_dbfs=shown, source=self._source.name)
            if time.monotonic() < not_before:
                continue
            muted = self._source.hears_the_room and self._aloud.is_speaking
            try:
                self._recorder.take(block, self._source.now(), muted)
            except NoRoomError as error:
                not_before = time.monotonic() + AGAIN_S
                self._in_trouble(str(error), "The disk is full. Nothing is recorded any more.")
            else:
                self._out_of_trouble()

    def _in_trouble(self, line: str, spoken: str) -> None:
        with self._lock:
            is_new = self._view.trouble != line
            self._view = replace(self._view, trouble=line)
        if is_new:
            self._tell(line)
            self._aloud.say(spoken)

    def _out_of_trouble(self) -> None:
        with self._lock:
            was, self._view = self._view.trouble, replace(self._view, trouble=None)
        if was:
            self._tell(f"Listening again: {self._source.name}")
            self._aloud.say("Listening again.")

    # --- hearing and reading, in the thread of HearingOn -----------------------------------------------

    def _take(self, stretch: Stretch, transcript: Transcript | None, line: str | None) -> None:
        if transcript is None:
            self._tell(f"An utterance was not transcribed ({line}); process the visit when you are done.")
            return
        brought = self._live.add(stretch.file.name, stretch.number, transcript)
        if brought is None:
            return
        self._show(brought)
        self._brought(stretch, brought)
        if brought.command:
            self._obey(brought)
        elif not self._recorder.is_speech:
            self._sound(brought)

    def _whole(self, closed: Closed) -> None:
        """All of a file is transcribed: keep it, so that `process` has it."""
        transcript = self._live.whole(closed.file.name, closed.seconds, closed.cuts)
        sha256 = sha256_of(closed.file)
        if transcript is None or sha256 is None:
            return
        heard = Heard(transcript=transcript, seconds=closed.seconds, quality=closed.quality, sha256=sha256)
        try:
            keep(self._ear, sha256, heard)
        except VisitError as error:
            self._tell(f"Transcripts can't be kept for the next time: {error}")

    def _obey(self, brought: Brought) -> None:
        assert brought.command
        said = answer(brought, self._live.record, self._live.station, self._pack)
        self._tell(said)
        with self._lock:
            self._view = replace(self._view, answer=said)
        if brought.command.does == "mark":
            self._aloud.tone("marked")
        else:
            self._aloud.say(said)
        if brought.command.does == "stop":
            self.stop()

    def _sound(self, brought: Brought) -> None:
        if any(check.outcome == "defect" for check in brought.findings):
            self._aloud.tone("defect")
        else:
            self._aloud.tone("understood" if brought.is_understood else "not understood")

    def _show(self, brought: Brought) -> None:
        now = self._now_understood(brought)
        self._show_record(now)
        for one in now:
            self._tell(one.line)
        if self._hearing.behind_s > BEHIND_S:
            self._tell(f"Behind by {length(self._hearing.behind_s)}; nothing is lost.")

    def _now_understood(self, brought: Brought) -> tuple[Understood, ...]:
        if brought.command:
            return (Understood(brought.words, "command", brought.command.does.replace("_", " ")),)
        if brought.unknown_call:
            return (Understood("not a command that it knows", "unknown", brought.words),)
        found = [understood(check, brought.words) for check in brought.findings]
        found += [Understood(title, "noted", brought.words) for title in brought.noted]
        if not found and brought.took_back:
            found = [Understood(title, "taken back", brought.words) for title in brought.took_back]
        return tuple(found) or (Understood("kept, no check took it", "unknown", brought.words),)

    def _show_record(self, now: tuple[Understood, ...] = ()) -> None:
        record, station = self._live.record, self._live.station
        titles = {place.id: place for place in self._pack.head.stations}
        place = titles.get(station or "")
        gaps = {gap.id for gap in record.gaps}
        waiting = [check for check in record.checks if check.id in gaps]
        with self._lock:
            last = (*reversed(now), *self._view.last)[:MOST_SHOWN] if now else self._view.last
            self._view = replace(
                self._view,
                station=place.title if place else None,
                cautions=place.cautions if place else (),
                last=last,
                open_here=tuple(check.title for check in open_at(record, station)),
                open_in_all=len(waiting),
                must=sum(check.must_before_leaving for check in waiting),
                minutes=sum(check.minutes for check in waiting),
            )
