"""Checks a pack's labelled sentences against the pack: that they parse and name only what it has."""

from __future__ import annotations

from typing import TYPE_CHECKING, get_args

from voicenotes.errors import PackError
from voicenotes.model import Outcome, Severity
from voicenotes.vocabulary.homes import pack_folder
from voicenotes.vocabulary.load import load_sentences

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from voicenotes.vocabulary.schema import LabelledSentence, Pack


def checked_sentences(name_or_folder: str | Path, pack: Pack) -> list[LabelledSentence]:
    """The pack's labelled sentences; PackError with file and line for the first that can't be right."""
    folder = pack_folder(name_or_folder) / "sentences"
    found = []
    for file, line, sentence in load_sentences(name_or_folder):
        for fault in _faults(sentence, pack):
            raise PackError(f"{folder / file}.yaml, line {line}: {fault}")
        found.append(sentence)
    return found


def _faults(sentence: LabelledSentence, pack: Pack) -> Iterator[str]:
    """What is wrong with a sentence: blank, or naming what the pack doesn't have."""
    if not sentence.say.strip():
        yield "say is blank"
    checks = {check.id for check in pack.checks}
    for kind, names, known in (
        ("check", sentence.expect, checks),
        ("check", sentence.readings, checks),
        ("fitting", sentence.fittings, {fitting.id for fitting in pack.head.fittings}),
        ("fact", sentence.facts, {fact.id for fact in pack.facts}),
    ):
        for name in names:
            if name not in known:
                yield f"there is no {kind} '{name}' in this pack"
    for check, outcome in sentence.expect.items():
        if not _is_outcome(outcome):
            yield f"{check}: '{outcome}' is no outcome"


def _is_outcome(said: str) -> bool:
    outcome, _, severity = said.partition(" ")
    if severity:
        return outcome == "defect" and severity in get_args(Severity)
    return outcome in get_args(Outcome)
