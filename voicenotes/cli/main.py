"""The command line: parse, one call, print. Nothing heavy is imported before a command runs."""

from __future__ import annotations

import contextlib
import sys

import typer

from voicenotes.cli.engines import engines, fetch, verify
from voicenotes.cli.frame import EXIT_CODES, INTERRUPTED
from voicenotes.cli.listening import listen, microphones
from voicenotes.cli.packs import lint, packs, schema
from voicenotes.cli.reading import explain, score
from voicenotes.cli.reports import report
from voicenotes.cli.review import review
from voicenotes.cli.suggestions import suggestions
from voicenotes.cli.visits import gaps, process
from voicenotes.cli.watching import watch

app = typer.Typer(
    name="voicenotes",
    help="Spoken inspection notes in, a findings record and the list of what was never checked out.",
    epilog=EXIT_CODES,
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)
app.command(epilog=EXIT_CODES)(process)
app.command(epilog=EXIT_CODES)(listen)
for command in (
    microphones,
    gaps,
    watch,
    review,
    report,
    suggestions,
    explain,
    score,
    packs,
    lint,
    schema,
    engines,
    fetch,
    verify,
):
    app.command()(command)


def main() -> None:
    """Run the command line; every foreseen error is one line on stderr."""
    for stream in (sys.stdout, sys.stderr):
        with contextlib.suppress(AttributeError, ValueError):
            stream.reconfigure(errors="replace")  # type: ignore[union-attr]
    try:
        app(prog_name="voicenotes")
    except KeyboardInterrupt:
        sys.exit(INTERRUPTED)
