"""The command on what corrections suggest: list it, accept some of it, turn some of it down."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from voicenotes.cli.frame import AsJson, Visits, guarded_command, print_json, print_lines, show


@guarded_command
def suggestions(
    visits: Visits,
    accept: Annotated[
        list[str] | None,
        typer.Option("--accept", metavar="ID", help="Add this one to your own.", show_default=False),
    ] = None,
    decline: Annotated[
        list[str] | None,
        typer.Option("--decline", metavar="ID", help="Turn this one down for good.", show_default=False),
    ] = None,
    even_so: Annotated[
        bool, typer.Option("--even-so", help="Accept although labelled sentences would be misread.")
    ] = False,
    pack: Annotated[
        list[Path] | None,
        typer.Option("--pack", help="Folder of a pack of your own; may be repeated.", show_default=False),
    ] = None,
    overlays: Annotated[
        Path | None,
        typer.Option(
            "--overlays", metavar="FOLDER", help="Where your own additions stand.", show_default=False
        ),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """List what corrections teach: terms, mis-hearings, how words sound; and what each would change."""
    from voicenotes.learning import learn
    from voicenotes.outputs.suggestion_sheet import suggestion_lines

    packs = pack or []
    if not accept and not decline:
        found = learn.suggestions(visits, packs, overlays)
        if as_json:
            print_json(found.model_dump(mode="json"))
        else:
            print_lines(suggestion_lines(found))
        return
    if accept:
        for path, taken in learn.accept(visits, accept, packs, overlays, even_so):
            show(f'{taken.id}  "{taken.phrase}" added: {path}')
        show("Process the visits again to have it used: voicenotes process VISIT")
    if decline:
        for path, taken in learn.decline(visits, decline, packs, overlays):
            show(f'{taken.id}  "{taken.phrase}" turned down: {path}')
