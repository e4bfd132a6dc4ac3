"""The command that serves a visit's review page."""

from __future__ import annotations

from typing import Annotated

import typer

from voicenotes.cli.frame import OwnPack, Visit, guarded_command, show


@guarded_command
def review(
    visit: Visit,
    name: Annotated[
        str | None,
        typer.Option("--name", help="Who reviews; your user name if left out.", show_default=False),
    ] = None,
    no_browser: Annotated[bool, typer.Option("--no-browser", help="Only print the address.")] = False,
    port: Annotated[int, typer.Option("--port", min=0, max=65_535, help="Port; 0 takes a free one.")] = 0,
    pack: OwnPack = None,
) -> None:
    """Review a visit against its recordings in the browser; corrections are kept beside the record."""
    from voicenotes.cli.visits import pack_of
    from voicenotes.review.serve import serve
    from voicenotes.visit import load_record

    loaded = pack_of(load_record(visit), pack)
    serve(visit, loaded, name or _user(), not no_browser, show, port)


def _user() -> str:
    import getpass

    try:
        return getpass.getuser()
    except (OSError, KeyError):
        return "unknown"
