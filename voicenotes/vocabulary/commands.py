"""The commands that can be spoken while voicenotes listens: `vocab/english/commands.yaml`, checked."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING, Literal

from pydantic import BaseModel, ConfigDict

from voicenotes.errors import PackError
from voicenotes.vocabulary.entry import Phrases
from voicenotes.vocabulary.expand import expand, plain_phrases

if TYPE_CHECKING:
    from collections.abc import Iterable

Does = Literal["open_here", "open_in_all", "take_back", "mark", "stop"]
KINDS: tuple[Does, ...] = ("open_here", "open_in_all", "take_back", "mark", "stop")
FEWEST_WORDS = 3  # of wake phrase and command together: fewer come by chance


class Command(BaseModel):
    """One thing to ask for: what it does, the phrases that ask for it, and how they are misheard."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    does: Does
    phrases: Phrases
    misheard: Phrases = ()
    example: str


class Commands(BaseModel):
    """`commands.yaml`: the phrases that wake it, how they are misheard, and what can follow them."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    wake: Phrases = ()
    misheard: Phrases = ()
    commands: tuple[Command, ...] = ()

    @cached_property
    def meanings(self) -> dict[tuple[str, ...], Does]:
        """What each whole utterance of wake phrase and command does, by its words."""
        waking = _worded((*self.wake, *self.misheard))
        return {
            (*wake, *said): command.does
            for command in self.commands
            for said in _worded((*command.phrases, *command.misheard))
            for wake in waking
        }

    @cached_property
    def waking(self) -> frozenset[tuple[str, ...]]:
        """The wake phrases, as words."""
        return frozenset(_worded((*self.wake, *self.misheard)))

    def sentences(self) -> list[str]:
        """Every command as it should be said, wake phrase and all: what an engine is told to expect."""
        return [
            f"{wake} {said}"
            for command in self.commands
            for said in plain_phrases(command.phrases)
            for wake in plain_phrases(self.wake)
        ]


def check_commands(commands: Commands, retracting: Iterable[str], where: object) -> None:
    """PackError for commands that can't be right: one missing, two alike, one that is too short.

    `retracting` are the phrases of the reader's retracting cues: those that take back must be among them.
    """
    missing = [kind for kind in KINDS if kind not in {command.does for command in commands.commands}]
    if missing:
        raise PackError(f"{where}: no phrase does '{missing[0]}'; add a command for it")
    if not commands.wake:
        raise PackError(f"{where}: has no wake phrase; add one under 'wake'")
    known: dict[str, Does] = {}
    for command in commands.commands:
        for phrase in (
            phrase for template in (*command.phrases, *command.misheard) for phrase in expand(template)
        ):
            if known.setdefault(phrase, command.does) != command.does:
                raise PackError(
                    f"{where}: '{phrase}' does {known[phrase]} and {command.does}; keep it for one"
                )
    for words in commands.meanings:
        if len(words) < FEWEST_WORDS:
            raise PackError(f"{where}: '{' '.join(words)}' comes by chance; use {FEWEST_WORDS} words")
    cues = {phrase for template in retracting for phrase in expand(template)}
    for command in commands.commands:
        for phrase in plain_phrases(command.phrases):
            if command.does == "take_back" and phrase not in cues:
                raise PackError(f"{where}: '{phrase}' takes nothing back; add it to retract in cues.yaml")


def _worded(templates: Iterable[str]) -> list[tuple[str, ...]]:
    return list(dict.fromkeys(tuple(phrase.split()) for template in templates for phrase in expand(template)))
