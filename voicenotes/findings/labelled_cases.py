"""Labelled talk, ready to be read: a sentence, the recordings of a visit, or a record already made of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from voicenotes.errors import PackError
from voicenotes.findings.compare import compare
from voicenotes.findings.read import entry_of, read_transcripts
from voicenotes.speech.raw_text import raw_transcript

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
        """The kind of language that it tries."""
        return self.label.kind or NO_KIND

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
    names = (
        ["text"] if len(sentence.texts) == 1 else [f"recording {n + 1}" for n in range(len(sentence.texts))]
    )
    recordings = tuple(entry_of(name, text) for name, text in zip(names, sentence.texts, strict=True))
    return Case(place, sentence, recordings)


def read_case(case: Case, pack: Pack, raw: bool = False) -> CaseResult:
    """Read a case and compare it with its label; `raw` takes punctuation and capitals away first.

    Raises PackError naming the place when a labelled quantity can't be understood.
    """
    record = case.record
    if record is None:
        recordings = [
            (entry, raw_transcript(said) if raw and said is not None else said)
            for entry, said in case.recordings
        ]
        record = read_transcripts(recordings, pack)
    try:
        return CaseResult(case, compare(case.label, record, pack))
    except PackError as error:
        raise PackError(f"{case.place}: {error}") from None
