"""What all commands share: the app, exit codes, how errors end, options and printing."""

from __future__ import annotations

import contextlib
import functools
import os
import sys
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, TypeVar

import typer

from voicenotes.errors import VoicenotesError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from voicenotes.vocabulary.schema import Pack

SOME_UNREAD, REFUSED, INTERRUPTED, PIPE_CLOSED = 1, 2, 130, 141
EXIT_CODES = (
    "Exit codes: 0 every recording was read; 1 some recording could not be read, or only in part, and "
    "the record says which, or some visit of several failed; 2 wrong use or nothing to read; 130 interrupted."
)

Command = TypeVar("Command", bound="Callable[..., None]")


class Engine(StrEnum):
    """The speech engines to choose from."""

    auto = "auto"
    whisper = "whisper"
    moonshine = "moonshine"
    embedded = "embedded"


class Paper(StrEnum):
    """The papers that pages are set for."""

    a4 = "a4"
    letter = "letter"


Visit = Annotated[Path, typer.Argument(help="Folder with the recordings of one visit.", show_default=False)]
Visits = Annotated[
    list[Path],
    typer.Argument(
        metavar="VISIT...", help="Folders with the recordings of one visit each.", show_default=False
    ),
]
PackName = Annotated[str, typer.Option("--pack", help="A pack that came with voicenotes, or a folder.")]
EngineName = Annotated[
    Engine, typer.Option("--engine", help="Speech engine; auto takes the best on this machine.")
]
ModelName = Annotated[
    str | None,
    typer.Option("--model", metavar="NAME_OR_FOLDER", help="Whisper model to use.", show_default=False),
]
OwnPack = Annotated[
    str | None,
    typer.Option("--pack", help="The pack's folder, if it is one of your own.", show_default=False),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print JSON for other programs.")]


def guarded_command(function: Command) -> Command:
    """Turns foreseen errors, an interrupt and a closed pipe into exit codes."""

    @functools.wraps(function)
    def guarded(*args: Any, **kwargs: Any) -> None:
        try:
            function(*args, **kwargs)
            sys.stdout.flush()
        except VoicenotesError as error:
            show(f"voicenotes: {' '.join(str(error).split())}", err=True)
            raise typer.Exit(REFUSED) from None
        except KeyboardInterrupt:
            typer.echo("voicenotes: interrupted", err=True)
            raise typer.Exit(INTERRUPTED) from None
        except BrokenPipeError:
            _close_stdout()
            raise typer.Exit(PIPE_CLOSED) from None

    return guarded  # type: ignore[return-value]


def _close_stdout() -> None:
    """Nobody reads on: let what is left in the buffer go nowhere, without a message."""
    with contextlib.suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())


def show(line: str, err: bool = False) -> None:
    """Print one line; file names and quotes in it can't make the terminal do anything."""
    from voicenotes.outputs.wording import printable

    typer.echo(printable(line), err=err)


def loaded_pack(name_or_folder: str | Path) -> Pack:
    """A pack with the user's additions; lines on those of them that can't be used go to stderr."""
    from voicenotes.vocabulary.load import load_pack

    pack = load_pack(name_or_folder)
    for line in pack.notes:
        show(line, err=True)
    return pack


def print_lines(lines: Iterable[str]) -> None:
    for line in lines:
        show(line.rstrip())


def write_bytes(path: Path, content: bytes) -> None:
    """Write a file that the user asked for, whole or not at all; VoicenotesError when that can't be done."""
    temporary = path.with_name(f".{path.name}.{os.getpid()}.tmp")
    try:
        temporary.write_bytes(content)
        temporary.replace(path)
    except OSError as error:
        with contextlib.suppress(OSError):
            temporary.unlink(missing_ok=True)
        raise VoicenotesError(
            f"{path}: can't be written ({error.strerror}); name a file in a folder that you may change"
        ) from None


def print_json(data: object) -> None:
    import json

    from voicenotes.outputs.wording import printable_json

    typer.echo(printable_json(json.dumps(data, indent=2, ensure_ascii=False)))
