"""From text or transcripts to a findings record."""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicenotes.findings.gaps import gaps_of
from voicenotes.findings.settle import (
    SpokenRemark,
    settle_checks,
    settle_facts,
    settle_fittings,
    untagged_of,
)
from voicenotes.model import LeftOutQuote, PackStamp, Record, RecordingEntry, Transcript
from voicenotes.speech.plain_text import words_of_text

if TYPE_CHECKING:
    from collections.abc import Sequence

    from voicenotes.language.mentions import Remark
    from voicenotes.vocabulary.schema import Pack


def transcript_of_text(text: str) -> Transcript:
    """Plain text as a transcript; `speech.plain_text` says how it is given times."""
    words = words_of_text(text)
    return Transcript(words=tuple(words), seconds=words[-1].end if words else 0.0)


def read_text(text: str | Transcript, pack: Pack) -> Record:
    """Read plain text (punctuated or not, any case) or one transcript into a record."""
    return read_texts([text], pack)


def read_texts(texts: Sequence[str | Transcript], pack: Pack) -> Record:
    """Read what each recording of one visit says, in the order they were spoken, into one record."""
    return read_transcripts(recordings_of(texts), pack)


def recordings_of(texts: Sequence[str | Transcript]) -> list[tuple[RecordingEntry, Transcript]]:
    """Texts as the recordings of a visit, listed as "text", or as "text 1", "text 2" and so on."""
    found = []
    for number, text in enumerate(texts, 1):
        transcript = text if isinstance(text, Transcript) else transcript_of_text(text)
        entry = RecordingEntry(
            file="text" if len(texts) == 1 else f"text {number}",
            seconds=transcript.seconds,
            engine=transcript.engine,
            model=transcript.model,
            words=len(transcript.words),
        )
        found.append((entry, transcript))
    return found


def read_transcripts(recordings: Sequence[tuple[RecordingEntry, Transcript | None]], pack: Pack) -> Record:
    """The record of a visit from its recordings' transcripts, in the order they were spoken.

    A recording without a transcript (it couldn't be read) stays listed with its problem.
    """
    from voicenotes.language.collection import no_collecting

    with no_collecting():
        return _read(recordings, pack)


def _read(recordings: Sequence[tuple[RecordingEntry, Transcript | None]], pack: Pack) -> Record:
    from voicenotes.language.clause_view import Context, Heard
    from voicenotes.language.reader import read_transcript, speaks_metric

    files: list[str] = []
    remarks: list[Remark] = []
    metric = speaks_metric([transcript for _, transcript in recordings if transcript])
    context = Context(heard=Heard(metric=metric))
    for entry, transcript in recordings:
        if transcript is None:
            continue
        remarks, context = read_transcript(transcript, pack, remarks, context)
        files += [entry.file] * (len(remarks) - len(files))
    spoken = [SpokenRemark(file, remark) for file, remark in zip(files, remarks, strict=True)]
    fittings = settle_fittings(pack, spoken)
    checks = settle_checks(pack, spoken, fittings)
    return Record(
        pack=PackStamp(id=pack.id, version=pack.version),
        recordings=tuple(entry for entry, _ in recordings),
        facts=settle_facts(pack, spoken),
        fittings=fittings,
        checks=checks,
        untagged=untagged_of(spoken),
        left_out=_left_out(recordings),
        gaps=gaps_of(checks, spoken),
    )


def _left_out(recordings: Sequence[tuple[RecordingEntry, Transcript | None]]) -> tuple[LeftOutQuote, ...]:
    """What the engines wrote and nobody said, by recording and time."""
    return tuple(
        LeftOutQuote(recording=entry.file, start=left.start, end=left.end, quote=left.text, why=left.why)
        for entry, transcript in recordings
        for left in (transcript.left_out if transcript else ())
    )
