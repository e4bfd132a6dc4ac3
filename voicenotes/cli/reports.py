"""The command that writes the report of a visit."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from voicenotes.cli.frame import OwnPack, Paper, Visit, guarded_command, show
from voicenotes.cli.visits import pack_of
from voicenotes.errors import VisitError

FORMATS = ("html", "pdf", "xlsx", "csv", "md", "json")


@guarded_command
def report(
    visit: Visit,
    to: Annotated[
        Path | None,
        typer.Option("--to", metavar="FOLDER", help="Where to write it; VISIT/report.", show_default=False),
    ] = None,
    formats: Annotated[
        str, typer.Option("--formats", metavar="LIST", help="Which files to write, with commas between.")
    ] = ",".join(FORMATS),
    costs: Annotated[
        Path | None,
        typer.Option(
            "--costs", metavar="FILE", help="Your table of repair costs (YAML).", show_default=False
        ),
    ] = None,
    paper: Annotated[Paper, typer.Option("--paper", help="Paper of the PDF.")] = Paper.a4,
    pack: OwnPack = None,
) -> None:
    """Write the report of a visit for a buyer: what was found, what was not checked, what was only told."""
    from voicenotes.report.words import troubles
    from voicenotes.report.write import visit_report, write_report
    from voicenotes.visit import load_record, what_changed

    wanted = _formats(formats)
    record = load_record(visit)
    loaded = pack_of(record, pack)
    for line in what_changed(visit, record):
        show(line, err=True)
    made, pictures = visit_report(visit, record, loaded, costs)
    for line in troubles(made):
        show(line, err=True)
    for path in write_report(visit, to, made, pictures, wanted, paper.value):
        show(str(path))


def _formats(given: str) -> list[str]:
    wanted = list(dict.fromkeys(part.strip().lower() for part in given.split(",") if part.strip()))
    unknown = [name for name in wanted if name not in FORMATS]
    if unknown or not wanted:
        raise VisitError(
            f"--formats: '{', '.join(unknown)}' is no format; choose from {', '.join(FORMATS)}, "
            "with commas between"
        )
    return wanted
