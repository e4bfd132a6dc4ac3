"""The commands on a visit: process it, list its gaps."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from voicenotes.cli.frame import (
    SOME_UNREAD,
    AsJson,
    Engine,
    EngineName,
    ModelName,
    OwnPack,
    PackName,
    Paper,
    Visit,
    Visits,
    guarded_command,
    loaded_pack,
    print_json,
    print_lines,
    show,
    write_bytes,
)
from voicenotes.cli.progress import progress_shown
from voicenotes.errors import BacklogError, VisitError

if TYPE_CHECKING:
    from voicenotes.backlog.outcomes import Orders
    from voicenotes.model import Record
    from voicenotes.vocabulary.schema import Pack


@guarded_command
def process(
    visits: Visits,
    pack: PackName = "cnc_lathe",
    engine: EngineName = Engine.auto,
    model: ModelName = None,
    download: Annotated[
        bool, typer.Option("--download", help="Fetch the Whisper model if it is not on this machine.")
    ] = False,
    scheduler: Annotated[
        str | None,
        typer.Option(
            metavar="ADDRESS", help="Spread the visits over this Dask cluster's workers.", show_default=False
        ),
    ] = None,
    quiet: Annotated[bool, typer.Option("--quiet", help="Print only what went wrong.")] = False,
) -> None:
    """Transcribe and read each visit's recordings; write record.json beside them."""
    from voicenotes.backlog.outcomes import Orders
    from voicenotes.cli.backlog import process_backlog

    if scheduler is not None and download:
        raise BacklogError(
            "--download fetches to this machine: run 'voicenotes fetch' on each worker's instead"
        )
    orders = Orders(loaded_pack(pack), engine.value, model, download)
    if scheduler is None and len(visits) == 1:
        _process_one(visits[0], pack, orders, quiet)
    else:
        process_backlog(visits, orders, scheduler, quiet)


def _process_one(visit: Path, pack: str, orders: Orders, quiet: bool) -> None:
    """Process one visit on this machine, and show what was found."""
    from voicenotes.backlog.outcomes import NOTHING_READ
    from voicenotes.corrections.still_open import still_open
    from voicenotes.outputs.gap_sheet import gap_lines
    from voicenotes.outputs.screen import doubt_lines, problem_lines, summary_lines, unread
    from voicenotes.visit import process_visit

    with progress_shown(quiet) as (progress, say):
        record = process_visit(
            visit, orders.pack, orders.engine, orders.model, orders.download, progress, say
        )
    for line in [*problem_lines(record), *doubt_lines(record)]:
        show(line, err=True)
    if len(unread(record)) == len(record.recordings):
        raise VisitError(f"{visit}: {NOTHING_READ}")
    if not quiet:
        print_lines([*summary_lines(record, orders.pack), ""])
        show(f"Record: {visit / 'record.json'}")
        show(f"Gap list, again at any time: {_gaps_command(visit, pack)}")
        now = still_open(visit, record, orders.pack)
        for line in now.troubles:
            show(line, err=True)
        print_lines(["", *gap_lines(now.gaps, orders.pack)])
    if problem_lines(record):
        raise typer.Exit(SOME_UNREAD)


@guarded_command
def gaps(
    visit: Visit,
    pack: OwnPack = None,
    as_json: AsJson = False,
    must: Annotated[bool, typer.Option("--must", help="Only what must be settled before leaving.")] = False,
    minutes: Annotated[
        float | None,
        typer.Option(
            metavar="N",
            min=0,
            max=1440,
            show_default=False,
            help="Only what removes the most risk in N minutes, and what that leaves out.",
        ),
    ] = None,
    pdf: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Write it as a page to print too.", show_default=False),
    ] = None,
    paper: Annotated[Paper, typer.Option(help="The page's paper.")] = Paper.a4,
) -> None:
    """List what was not checked, in walking order, with questions about fittings first."""
    from voicenotes.corrections.still_open import still_open
    from voicenotes.findings.time_left import with_plan
    from voicenotes.outputs.gap_page import gap_page
    from voicenotes.outputs.gap_sheet import gap_lines
    from voicenotes.visit import load_record, what_changed

    record = load_record(visit)
    loaded = pack_of(record, pack)
    for line in what_changed(visit, record):
        show(line, err=True)
    now = still_open(visit, record, loaded, must)
    for line in now.troubles:
        show(line, err=True)
    found = now.gaps
    if minutes is not None:
        found = with_plan(found, loaded, minutes)
    if pdf is not None:
        write_bytes(pdf, gap_page(found, loaded, now.record, visit.resolve().name, paper.value))
    if as_json:
        print_json(found.model_dump(mode="json"))
    else:
        print_lines(gap_lines(found, loaded))
    if pdf is not None:
        show(f"Page to print: {pdf}", err=True)


def _gaps_command(visit: Path, pack: str) -> str:
    """The command that lists this visit's gaps, as it can be pasted."""
    import shlex

    from voicenotes.vocabulary.homes import shipped_packs

    own = [] if pack in shipped_packs() else ["--pack", pack]
    return shlex.join(["voicenotes", "gaps", str(visit), *own])


def pack_of(record: Record, given: str | None) -> Pack:
    """The pack that a record was made with; VoicenotesError when it is another one or not at hand."""
    from voicenotes.vocabulary.homes import shipped_packs

    wanted = record.pack.id
    if given is None and wanted not in shipped_packs():
        raise VisitError(f"this visit was read with the pack '{wanted}': name its folder with --pack")
    loaded = loaded_pack(given or wanted)
    if loaded.id != wanted:
        raise VisitError(f"this visit was read with the pack '{wanted}', not with '{loaded.id}'")
    return loaded
