"""From text or transcripts to a findings record."""

from __future__ import annotations

import threading
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING

from voicenotes.findings.gaps import gaps_of
from voicenotes.findings.settle import (
    SpokenRemark,
    settle_checks,
    settle_facts,
    settle_fittings,
    untagged_of,
)
from voicenotes.model import CommandHeard, LeftOutQuote, PackStamp, Record, RecordingEntry, Transcript
from voicenotes.speech.plain_text import words_of_text

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from voicenotes.language.clause_view import Context
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


@contextmanager
def ready_to_read(pack: Pack) -> Iterator[None]:
    """Compile the pack's phrases while the block does something else; at its end they are there.

    That takes seconds. What goes wrong with it goes wrong again, and is told, when something is read.
    """
    from voicenotes.language.compile_lexicon import lexicon_of

    def compile_them() -> None:
        with suppress(Exception):
            lexicon_of(pack)

    thread = threading.Thread(target=compile_them, daemon=True)
    thread.start()
    yield
    thread.join()


@dataclass(frozen=True)
class ReadSoFar:
    """What the recordings so far say: their remarks with the file of each, commands, and the context."""

    remarks: tuple[Remark, ...] = ()
    files: tuple[str, ...] = ()
    commands: tuple[CommandHeard, ...] = ()
    context: Context | None = None


def read_on(
    before: ReadSoFar, file: str, transcript: Transcript, pack: Pack, metric: bool | None
) -> ReadSoFar:
    """Read one more recording. `metric` is whether its speaker works metric, None where unknown."""
    from voicenotes.language.clause_view import Context, Heard
    from voicenotes.language.reader import read_transcript
    from voicenotes.language.spoken_commands import without_commands

    said, found = without_commands(transcript, pack.commands)
    context = before.context or Context(heard=Heard(metric=metric))
    remarks, context = read_transcript(said, pack, before.remarks, context)
    commands = tuple(
        CommandHeard(recording=file, start=c.start, end=c.end, quote=c.quote, command=c.does) for c in found
    )
    return ReadSoFar(
        remarks=tuple(remarks),
        files=(*before.files, *[file] * (len(remarks) - len(before.files))),
        commands=before.commands + commands,
        context=context,
    )


def settled(
    read: ReadSoFar, recordings: Sequence[tuple[RecordingEntry, Transcript | None]], pack: Pack
) -> Record:
    """The record of what was read."""
    spoken = [SpokenRemark(file, remark) for file, remark in zip(read.files, read.remarks, strict=True)]
    fittings = settle_fittings(pack, spoken)
    checks = settle_checks(pack, spoken, fittings)
    orders = {(command.recording, command.end) for command in read.commands}
    return Record(
        pack=PackStamp(id=pack.id, version=pack.version),
        recordings=tuple(entry for entry, _ in recordings),
        facts=settle_facts(pack, spoken),
        fittings=fittings,
        checks=checks,
        untagged=tuple(each for each in untagged_of(spoken) if (each.recording, each.end) not in orders),
        left_out=_left_out(recordings),
        commands=read.commands,
        gaps=gaps_of(checks, spoken),
    )


def _read(recordings: Sequence[tuple[RecordingEntry, Transcript | None]], pack: Pack) -> Record:
    from voicenotes.language.reader import speaks_metric

    read = ReadSoFar()
    metric = speaks_metric([transcript for _, transcript in recordings if transcript])
    for entry, transcript in recordings:
        if transcript is not None:
            read = read_on(read, entry.file, transcript, pack, metric)
    return settled(read, recordings, pack)


def _left_out(recordings: Sequence[tuple[RecordingEntry, Transcript | None]]) -> tuple[LeftOutQuote, ...]:
    """What the engines wrote and nobody said, by recording and time."""
    return tuple(
        LeftOutQuote(recording=entry.file, start=left.start, end=left.end, quote=left.text, why=left.why)
        for entry, transcript in recordings
        for left in (transcript.left_out if transcript else ())
    )
