"""The record as it grows: transcripts of utterances in, and what each of them brought.

What stands in finished recordings is read once; only the recording that is being made is read anew with each
utterance, all of it, as `process` will read it. So what is shown live is what will be in the record.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from voicenotes.findings.read import ReadSoFar, read_on, read_text, settled
from voicenotes.hearing.messages import Piece
from voicenotes.hearing.recording import joined
from voicenotes.language.quantities import detect_metric
from voicenotes.language.spoken_commands import is_addressed, without_commands
from voicenotes.language.words import words_of
from voicenotes.model import Record, RecordingEntry, Transcript

if TYPE_CHECKING:
    from collections.abc import Sequence

    from voicenotes.language.spoken_commands import SpokenCommand
    from voicenotes.model import CheckFinding
    from voicenotes.vocabulary.schema import Pack

Recordings = list[tuple[RecordingEntry, Transcript | None]]


@dataclass(frozen=True)
class Brought:
    """What one utterance brought: its words, the findings that rest on it, titles of facts and fittings
    noted, the command in it, and whether it was a call to voicenotes that it doesn't know.
    """

    words: str
    findings: tuple[CheckFinding, ...] = ()
    noted: tuple[str, ...] = ()
    command: SpokenCommand | None = None
    unknown_call: bool = False
    took_back: tuple[str, ...] = ()

    @property
    def is_understood(self) -> bool:
        """Whether anything came of it."""
        return bool(self.findings or self.noted or self.took_back or self.command)


@dataclass
class LiveRecord:
    """Takes utterances in order. `recordings` are those of the visit so far, in the order of the record."""

    pack: Pack
    recordings: Recordings
    record: Record = field(init=False)
    station: str | None = None

    def __post_init__(self) -> None:
        self._file: str | None = None
        self._pieces: dict[int, Piece] = {}
        self._norms: list[str] = []
        self._metric: bool | None = None
        self._before = ReadSoFar()
        read_text("ready", self.pack)  # loads what reading needs, before the first words come
        self._read_finished()
        self.record = settled(self._before, self.recordings, self.pack)
        self.station = self._station_of(self._before)

    def add(self, file: str, number: int, transcript: Transcript) -> Brought | None:
        """The next stretch of the recording with this name; None when nothing was said in it."""
        if file != self._file:
            self._finish()
            self._file = file
        self._pieces[number] = Piece(number=number, is_last=False, transcript=transcript)
        if not transcript.words:
            return None
        before = self.record
        read = self._reread()
        start = transcript.utterances[0] if transcript.utterances else transcript.words[0].start
        self.station = self._station_of(read) or self.station
        return self._brought(before, file, start - 1e-6, transcript)

    def whole(self, file: str, seconds: float, pieces: int) -> Transcript | None:
        """The transcript of the recording that came last, of this length; None when a piece is missing."""
        if file != self._file or set(self._pieces) != set(range(pieces)):
            return None
        return joined(self._pieces, seconds)

    def _finish(self) -> None:
        """What was being made is finished: read no more."""
        if self._file is not None and self._pieces:
            transcript = joined(self._pieces, 0.0)
            self.recordings.append((RecordingEntry(file=self._file), transcript))
            self._read_finished()
        self._file, self._pieces = None, {}

    def _read_finished(self) -> None:
        self._norms = [
            norm
            for _, transcript in self.recordings
            if transcript
            for norm in (*words_of(transcript).norms, "")
        ]
        self._metric = detect_metric(self._norms)
        self._before = self._read_all(self._metric)

    def _read_all(self, metric: bool | None) -> ReadSoFar:
        read = ReadSoFar()
        for entry, transcript in self.recordings:
            if transcript is not None:
                read = read_on(read, entry.file, transcript, self.pack, metric)
        return read

    def _reread(self) -> ReadSoFar:
        assert self._file
        now = joined(self._pieces, 0.0)
        metric = detect_metric([*self._norms, *words_of(now).norms, ""])
        before = self._before if metric == self._metric else self._read_all(metric)
        self._before, self._metric = before, metric
        read = read_on(before, self._file, now, self.pack, metric)
        self.record = settled(read, [*self.recordings, (RecordingEntry(file=self._file), now)], self.pack)
        return read

    def _station_of(self, read: ReadSoFar) -> str | None:
        """Where he is: the place he announced last, else that of the check judged last."""
        if read.context is None:
            return None
        if read.context.station:
            return read.context.station
        stations = {check.id: check.station for check in self.pack.checks}
        judged = [mention.check for remark in read.remarks[-5:] for mention in remark.mentions]
        return stations[judged[-1]] if judged else read.context.hint

    def _brought(self, before: Record, file: str, start: float, transcript: Transcript) -> Brought:
        commands = without_commands(transcript, self.pack.commands)[1]
        texts = [word.text.lower() for word in transcript.words]
        record = self.record
        resting = [
            check
            for check in record.checks
            if any(e.recording == file and e.start >= start and e.polarity != "named" for e in check.evidence)
        ]
        resting_on = {fact.title: record.facts[fact.id].evidence for fact in self.pack.facts}
        for fitting in self.pack.head.fittings:
            resting_on[fitting.title] = record.fittings[fitting.id].evidence
        noted = [
            title
            for title, evidence in resting_on.items()
            if any(e.recording == file and e.start >= start for e in evidence)
        ]
        return Brought(
            words=transcript.text,
            findings=tuple(resting),
            noted=tuple(noted),
            command=commands[0] if commands else None,
            unknown_call=not commands and is_addressed(texts, self.pack.commands),
            took_back=_taken_back(before, record),
        )


def _taken_back(before: Record, now: Record) -> tuple[str, ...]:
    """Titles of the checks of which something was taken back."""
    earlier = {check.id: _withdrawn(check) for check in before.checks}
    return tuple(check.title for check in now.checks if _withdrawn(check) > earlier.get(check.id, 0))


def _withdrawn(check: CheckFinding) -> int:
    return sum(evidence.polarity == "withdrawn" for evidence in check.evidence)


def open_at(record: Record, station: str | None) -> Sequence[CheckFinding]:
    """The checks still open at a station, in walking order."""
    gaps = {gap.id for gap in record.gaps}
    return [check for check in record.checks if check.id in gaps and check.station == station]
