"""What all commands share: the app, exit codes, how errors end, options and printing."""

from __future__ import annotations

import contextlib
import functools
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, TypeVar

import typer

from voicenotes.errors import VoicenotesError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

SOME_UNREAD, REFUSED, INTERRUPTED, PIPE_CLOSED = 1, 2, 130, 141
EXIT_CODES = (
    "Exit codes: 0 every recording was read; 1 some recording could not be read, or only in part, and "
    "the record says which; 2 wrong use or nothing to read; 130 interrupted."
)

Command = TypeVar("Command", bound="Callable[..., None]")

Visit = Annotated[Path, typer.Argument(help="Folder with the recordings of one visit.", show_default=False)]
PackName = Annotated[str, typer.Option("--pack", help="A pack that came with voicenotes, or a folder.")]
AsJson = Annotated[bool, typer.Option("--json", help="Print JSON for other programs.")]


def guarded_command(function: Command) -> Command:
    """Turns foreseen errors, an interrupt and a closed pipe into exit codes."""

    @functools.wraps(function)
    def guarded(*args: Any, **kwargs: Any) -> None:
        try:
            function(*args, **kwargs)
            sys.stdout.flush()
        except VoicenotesError as error:
            typer.echo(f"voicenotes: {' '.join(str(error).split())}", err=True)
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


def print_lines(lines: Iterable[str]) -> None:
    for line in lines:
        typer.echo(line.rstrip())


def print_json(data: object) -> None:
    import json

    typer.echo(json.dumps(data, indent=2, ensure_ascii=False))
