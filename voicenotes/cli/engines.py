"""The commands on speech engines and their models: list, fetch, verify."""

from __future__ import annotations

from typing import Annotated

import typer

from voicenotes.cli.frame import AsJson, guarded_command, print_json, print_lines
from voicenotes.cli.progress import progress_shown
from voicenotes.errors import EngineError


@guarded_command
def engines(as_json: AsJson = False) -> None:
    """List the speech engines and models on this machine, and which one auto takes."""
    from voicenotes.outputs.engine_sheet import engine_lines, engines_here

    here = engines_here()
    if as_json:
        print_json(here.model_dump(mode="json"))
    else:
        print_lines(engine_lines(here))


@guarded_command
def fetch(
    name: Annotated[
        str, typer.Argument(help="A model's name, such as small, or its repository.", show_default=False)
    ],
    quiet: Annotated[bool, typer.Option("--quiet", help="Print only what went wrong.")] = False,
) -> None:
    """Fetch a Whisper model while there is a network; goes on where it broke off."""
    from voicenotes.speech.model_fetch import fetch_model

    with progress_shown(quiet) as (progress, say):
        folder = fetch_model(name, progress, say)
    if not quiet:
        typer.echo(f"Model: {folder}")


@guarded_command
def verify(
    model: Annotated[
        str, typer.Argument(metavar="NAME_OR_FOLDER", help="A model here, or a folder.", show_default=False)
    ],
) -> None:
    """Check a Whisper model's files, hashes and layout, and decode a second with it."""
    from voicenotes.speech.model_check import check_model

    last = check_model(model, typer.echo)[-1]
    if last.problem:
        raise EngineError(f"the model {model} can't be used: {last.what}: {last.problem}")
    typer.echo("The model can be used.")
