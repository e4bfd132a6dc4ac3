"""Labelled talk, ready to be read: a sentence, a visit's recordings, or a record made of them before."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from voicenotes.findings.compare import compare
from voicenotes.findings.read import read_transcripts, recordings_of
from voicenotes.speech.raw_text import raw_transcript
from voicenotes.vocabulary.labels import VisitLabel

if TYPE_CHECKING:
    from voicenotes.findings.compare import Comparison
    from voicenotes.model import Record, RecordingEntry, Transcript
    from voicenotes.vocabulary.labels import Label, LabelledSentence
    from voicenotes.vocabulary.schema import Pack

NO_KIND = "(no kind)"


@dataclass(frozen=True)
class Case:
    """What was said and its label. `place` is file and line, or the visit's folder.

    `record` is given where it was made before; else `recordings` are read.
    """

    place: str
    label: Label
    recordings: tuple[tuple[RecordingEntry, Transcript | None], ...]
    record: Record | None = None

    @property
    def kind(self) -> str:
        """The kind of language that it tries; a whole visit is a kind of its own."""
        return self.label.kind or ("visit" if isinstance(self.label, VisitLabel) else NO_KIND)

    @property
    def words(self) -> int:
        """How many words were said."""
        return sum(entry.words for entry, _ in self.recordings)


@dataclass(frozen=True)
class CaseResult:
    """A case and how it came out."""

    case: Case
    comparison: Comparison


def sentence_case(place: str, sentence: LabelledSentence) -> Case:
    """A labelled sentence, or labelled texts of several recordings, as a case."""
    return Case(place, sentence, tuple(recordings_of(sentence.texts)))


def read_case(case: Case, pack: Pack, raw: bool = False) -> CaseResult:
    """Read a case and compare it with its label; `raw` takes punctuation and capitals away first."""
    record = case.record
    if record is None:
        recordings = [
            (entry, raw_transcript(said) if raw and said is not None else said)
            for entry, said in case.recordings
        ]
        record = read_transcripts(recordings, pack)
    return CaseResult(case, compare(case.label, record, pack))
