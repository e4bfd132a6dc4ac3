"""Spoken commands: what is one, what is none, and what becomes of it in the record."""

from __future__ import annotations

from pathlib import Path

import pytest

from voicenotes.errors import PackError
from voicenotes.findings.read import read_text
from voicenotes.language.spoken_commands import meaning_of, without_commands
from voicenotes.model import Record, Transcript, Word
from voicenotes.vocabulary.commands import KINDS, Command, Commands, check_commands
from voicenotes.vocabulary.load import load_pack
from voicenotes.vocabulary.schema import Pack

RETRACTING = ("take that back", "(scratch|strike) that")


@pytest.fixture(scope="module")
def lathe() -> Pack:
    return load_pack("cnc_lathe")


def said(*utterances: str, gap_s: float = 1.0) -> Transcript:
    """Utterances one after the other, each with a pause behind it, as when they were listened to."""
    words: list[Word] = []
    starts, at = [], 0.0
    for utterance in utterances:
        starts.append(round(at, 3))
        for text in utterance.split():
            words.append(Word(text=text, start=round(at + 0.1, 3), end=round(at + 0.3, 3)))
            at += 0.25
        at += gap_s
    return Transcript(words=tuple(words), engine="test", seconds=at, utterances=tuple(starts))


@pytest.mark.parametrize(
    ("utterance", "does"),
    [
        ("hey notebook what is open here", "open_here"),
        ("okay notebook what's missing here", "open_here"),
        ("notebook what is open in all", "open_in_all"),
        ("note book take that back", "take_back"),
        ("hello notebook mark this moment", "mark"),
        ("hey notebook stop listening", "stop"),
        # one word of a longer command misheard
        ("hey notebook what is open there", "open_here"),
        ("hey notebook what was open in all", "open_in_all"),
        # but not of what takes back or ends, and not two
        ("hey notebook take it back", None),
        ("hey notebook stop whistling", None),
        ("hey notebook what was open there", None),
        # merely contains the words, or is only called
        ("the notebook says what is open here", None),
        ("hey notebook what is open here by the door", None),
        ("so hey notebook what is open here", None),
        ("what is open here", None),
        ("hey notebook", None),
        ("hey notebook the way covers are dented", None),
        ("mark this", None),
    ],
)
def test_what_is_a_command(lathe: Pack, utterance: str, does: str | None) -> None:
    assert meaning_of(utterance.split(), lathe.commands) == does


def read(lathe: Pack, *utterances: str) -> Record:
    return read_text(said(*utterances), lathe)


def test_a_command_is_no_remark_and_stands_in_the_record(lathe: Pack) -> None:
    record = read(lathe, "way covers are fine", "hey notebook mark this moment", "spindle growls")
    assert [(c.command, c.quote) for c in record.commands] == [("mark", "hey notebook mark this moment")]
    assert (record.commands[0].start, record.commands[0].end) == (2.1, 3.3)
    assert record.untagged == ()
    assert record.check("spindle.noise").outcome == "defect"
    quotes = " ".join(e.quote for check in record.checks for e in check.evidence)
    assert "notebook" not in quotes and "moment" not in quotes


def test_without_the_commands_the_record_is_the_same_but_for_times(lathe: Pack) -> None:
    with_them = read(lathe, "way covers are fine", "hey notebook what is open here", "spindle growls")
    without = read(lathe, "way covers are fine", "spindle growls")
    assert [(c.id, c.outcome) for c in with_them.checks] == [(c.id, c.outcome) for c in without.checks]
    assert with_them.gaps == without.gaps


def test_taking_back_is_what_the_reader_knows_it_as(lathe: Pack) -> None:
    record = read(lathe, "way covers are fine", "spindle growls", "hey notebook take that back")
    assert record.check("spindle.noise").outcome == "not_mentioned"
    (evidence,) = record.check("spindle.noise").evidence
    assert evidence.polarity == "withdrawn" and "take that back" in evidence.why
    assert record.check("axes.way_covers").outcome == "ok"
    assert record.untagged == ()


def test_in_a_memo_there_are_no_commands(lathe: Pack) -> None:
    memo = said("way covers are fine", "hey notebook mark this").model_copy(update={"utterances": ()})
    assert without_commands(memo, lathe.commands) == (memo, ())
    assert read_text(memo, lathe).commands == ()


def test_a_call_that_is_no_command_stays_what_was_said(lathe: Pack) -> None:
    record = read(lathe, "hey notebook make me some tea")
    assert [each.quote for each in record.untagged] == ["hey notebook make me some tea"]


def test_words_said_across_a_pause_are_no_command(lathe: Pack) -> None:
    record = read(lathe, "hey notebook", "what is open here")
    assert record.commands == ()


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_has_an_example_that_does_it(lathe: Pack, kind: str) -> None:
    (command,) = [command for command in lathe.commands.commands if command.does == kind]
    assert meaning_of(command.example.replace(",", "").split(), lathe.commands) == kind


def test_no_line_of_the_example_dictation_is_a_command(lathe: Pack) -> None:
    files = sorted((Path(lathe.home) / "dictation").glob("*.txt"))
    lines = [line for file in files for line in file.read_text(encoding="utf-8").splitlines()]
    assert len(lines) > 2000
    assert [line for line in lines if meaning_of(line.lower().split(), lathe.commands)] == []


SAID = {
    "open_here": "do here",
    "open_in_all": "all of it",
    "take_back": "take that back",
    "mark": "do mark",
    "stop": "stop now",
}
COMMANDS = Commands(
    wake=("hey notebook",),
    commands=tuple(Command(does=kind, phrases=(SAID[kind],), example="") for kind in KINDS),
)
SHORT = COMMANDS.model_copy(update={"wake": ("hey",)})


def changed(place: int, base: Commands = COMMANDS, **changes: object) -> Commands:
    commands = list(base.commands)
    commands[place] = commands[place].model_copy(update=changes)
    return base.model_copy(update={"commands": tuple(commands)})


@pytest.mark.parametrize(
    ("commands", "fault"),
    [
        (COMMANDS.model_copy(update={"commands": COMMANDS.commands[1:]}), "no phrase does 'open_here'"),
        (COMMANDS.model_copy(update={"wake": ()}), "has no wake phrase"),
        (changed(0, phrases=("stop now",)), "'stop now' does open_here and stop"),
        (changed(0, SHORT, phrases=("go",)), "comes by chance"),
        (changed(2, phrases=("never mind that",)), "'never mind that' takes nothing back"),
    ],
)
def test_faults_of_commands_are_named(commands: Commands, fault: str) -> None:
    check_commands(COMMANDS, RETRACTING, "commands.yaml")
    with pytest.raises(PackError, match=fault):
        check_commands(commands, RETRACTING, "commands.yaml")
