"""The commands on a visit: process it, list its gaps."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from voicenotes.cli.frame import (
    SOME_UNREAD,
    AsJson,
    PackName,
    Visit,
    guarded_command,
    print_json,
    print_lines,
    show,
)
from voicenotes.cli.progress import progress_shown
from voicenotes.errors import VisitError

if TYPE_CHECKING:
    from voicenotes.model import Record
    from voicenotes.vocabulary.schema import Pack


class Engine(StrEnum):
    """The speech engines to choose from."""

    auto = "auto"
    whisper = "whisper"
    embedded = "embedded"


@guarded_command
def process(
    visit: Visit,
    pack: PackName = "cnc_lathe",
    engine: Annotated[
        Engine, typer.Option(help="Speech engine; auto takes the best on this machine.")
    ] = Engine.auto,
    model: Annotated[
        str | None, typer.Option(metavar="NAME_OR_FOLDER", help="Whisper model to use.", show_default=False)
    ] = None,
    download: Annotated[
        bool, typer.Option("--download", help="Fetch the Whisper model if it is not on this machine.")
    ] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help="Print only what went wrong.")] = False,
) -> None:
    """Transcribe and read a visit's recordings; write record.json beside them."""
    from voicenotes.outputs.screen import doubt_lines, problem_lines, summary_lines, unread
    from voicenotes.visit import process_visit
    from voicenotes.vocabulary.load import load_pack

    loaded = load_pack(pack)
    with progress_shown(quiet) as (progress, say):
        record = process_visit(visit, loaded, engine.value, model, download, progress, say)
    for line in [*problem_lines(record), *doubt_lines(record)]:
        show(line, err=True)
    if len(unread(record)) == len(record.recordings):
        raise VisitError(
            f"{visit}: nothing could be read from any of its recordings; nothing was checked off"
        )
    if not quiet:
        print_lines(summary_lines(record, loaded))
        show(f"Record: {visit / 'record.json'}")
        show(f"Gap list: {_gaps_command(visit, pack)}")
    if problem_lines(record):
        raise typer.Exit(SOME_UNREAD)


@guarded_command
def gaps(
    visit: Visit,
    pack: Annotated[
        str | None,
        typer.Option("--pack", help="The pack's folder, if it is one of your own.", show_default=False),
    ] = None,
    as_json: AsJson = False,
    must: Annotated[bool, typer.Option("--must", help="Only what must be settled before leaving.")] = False,
) -> None:
    """List what was not checked, in walking order."""
    from voicenotes.outputs.gap_sheet import gap_data, gap_lines
    from voicenotes.visit import load_record, what_changed

    record = load_record(visit)
    loaded = pack_of(record, pack)
    for line in what_changed(visit, record):
        show(line, err=True)
    if as_json:
        print_json(gap_data(record, loaded, must))
    else:
        print_lines(gap_lines(record, loaded, must))


def _gaps_command(visit: Path, pack: str) -> str:
    """The command that lists this visit's gaps, as it can be pasted."""
    import shlex

    from voicenotes.vocabulary.homes import shipped_packs

    own = [] if pack in shipped_packs() else ["--pack", pack]
    return shlex.join(["voicenotes", "gaps", str(visit), *own])


def pack_of(record: Record, given: str | None) -> Pack:
    """The pack that a record was made with; VoicenotesError when it is another one or not at hand."""
    from voicenotes.vocabulary.homes import shipped_packs
    from voicenotes.vocabulary.load import load_pack

    wanted = record.pack.id
    if given is None and wanted not in shipped_packs():
        raise VisitError(f"this visit was read with the pack '{wanted}': name its folder with --pack")
    loaded = load_pack(given or wanted)
    if loaded.id != wanted:
        raise VisitError(f"this visit was read with the pack '{wanted}', not with '{loaded.id}'")
    return loaded
