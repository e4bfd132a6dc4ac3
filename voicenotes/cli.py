"""The command line: parse, one call, print. Nothing heavy is imported before a command runs."""

from __future__ import annotations

import contextlib
import functools
import os
import sys
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, TypeVar

import typer

from voicenotes.errors import VisitError, VoicenotesError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from voicenotes.model import Record
    from voicenotes.vocabulary.schema import Pack

    Progress = Callable[[str, float, float], None]
    Say = Callable[[str], None]


class Engine(StrEnum):
    """The speech engines to choose from."""

    auto = "auto"
    whisper = "whisper"
    embedded = "embedded"


SOME_UNREAD, REFUSED, INTERRUPTED, PIPE_CLOSED = 1, 2, 130, 141
EXIT_CODES = (
    "Exit codes: 0 every recording was read; 1 some recording could not be read, or only in part, and "
    "the record says which; 2 wrong use or nothing to read; 130 interrupted."
)

app = typer.Typer(
    name="voicenotes",
    help="Spoken inspection notes in, a findings record and the list of what was never checked out.",
    epilog=EXIT_CODES,
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)
Command = TypeVar("Command", bound="Callable[..., None]")

Visit = Annotated[Path, typer.Argument(help="Folder with the recordings of one visit.", show_default=False)]
PackName = Annotated[str, typer.Option("--pack", help="A pack that came with voicenotes, or a folder.")]
AsJson = Annotated[bool, typer.Option("--json", help="Print JSON for other programs.")]


def main() -> None:
    """Run the command line; every foreseen error is one line on stderr."""
    for stream in (sys.stdout, sys.stderr):
        with contextlib.suppress(AttributeError, ValueError):
            stream.reconfigure(errors="replace")  # type: ignore[union-attr]
    try:
        app(prog_name="voicenotes")
    except KeyboardInterrupt:
        sys.exit(INTERRUPTED)


def _command(function: Command) -> Command:
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


@app.command(epilog=EXIT_CODES)
@_command
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
    from voicenotes.outputs.screen import problem_lines, summary_lines, unread
    from voicenotes.visit import process_visit
    from voicenotes.vocabulary.load import load_pack

    loaded = load_pack(pack)
    with _progress(quiet) as (progress, say):
        record = process_visit(visit, loaded, engine.value, model, download, progress, say)
    for line in problem_lines(record):
        typer.echo(line, err=True)
    if len(unread(record)) == len(record.recordings):
        raise VisitError(
            f"{visit}: nothing could be read from any of its recordings; nothing was checked off"
        )
    if not quiet:
        _print(summary_lines(record, loaded))
        typer.echo(f"Record: {visit / 'record.json'}")
        typer.echo(f"Gap list: {_gaps_command(visit, pack)}")
    if problem_lines(record):
        raise typer.Exit(SOME_UNREAD)


@app.command()
@_command
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
    from voicenotes.visit import load_record

    record = load_record(visit)
    loaded = _pack_of(record, pack)
    if as_json:
        _print_json(gap_data(record, loaded, must))
    else:
        _print(gap_lines(record, loaded, must))


@app.command()
@_command
def explain(
    sentence: Annotated[str, typer.Argument(help="What was said, in quotation marks.", show_default=False)],
    pack: PackName = "cnc_lathe",
    as_json: AsJson = False,
) -> None:
    """Show how a sentence is read, and which words decided."""
    from voicenotes.outputs import explanation, terminal
    from voicenotes.outputs.canvas import signs_for
    from voicenotes.outputs.explanation_sheet import explanation_lines
    from voicenotes.vocabulary.load import load_pack

    explained = explanation.explain(sentence, load_pack(pack))
    if as_json:
        _print_json(explained.model_dump(mode="json"))
    else:
        lines = explanation_lines(explained, terminal.width(), signs_for(sys.stdout.encoding))
        terminal.print_styled(lines, _print)


@app.command()
@_command
def score(
    sets: Annotated[
        list[Path],
        typer.Argument(
            metavar="SET...",
            help="Labelled sentences (a YAML file, or a folder of them) or labelled visits.",
            show_default=False,
        ),
    ],
    pack: PackName = "cnc_lathe",
    raw: Annotated[
        bool, typer.Option("--raw", help="Also read without punctuation and capitals; say what that loses.")
    ] = False,
    as_json: AsJson = False,
    worst: Annotated[int, typer.Option(min=0, metavar="N", help="How many misreadings to show.")] = 10,
) -> None:
    """Count how well labelled sentences and visits are read."""
    from voicenotes.outputs.score_sheet import score_lines
    from voicenotes.scoring import score_sets

    scored = score_sets(sets, pack, raw)
    if as_json:
        _print_json(scored.model_dump(mode="json"))
    else:
        _print(score_lines(scored, worst))


@app.command()
@_command
def packs() -> None:
    """List the packs that came with voicenotes."""
    from voicenotes.vocabulary.homes import pack_folder, shipped_packs
    from voicenotes.vocabulary.schema import PackHead
    from voicenotes.vocabulary.yaml_files import read_as

    for name in shipped_packs():
        head = read_as(pack_folder(name) / "pack.yaml", PackHead)
        typer.echo(f"{name}  {head.title}, version {head.version}, {len(head.stations)} stations")


@app.command()
@_command
def lint(
    pack: Annotated[str, typer.Argument(help="A pack's name or folder.", show_default=False)],
) -> None:
    """Check a pack's files; name the file and line of the first fault."""
    from voicenotes.outputs.wording import count
    from voicenotes.vocabulary.lint import checked_sentences
    from voicenotes.vocabulary.load import load_pack

    loaded = load_pack(pack)
    sentences = checked_sentences(pack, loaded)
    typer.echo(
        f"{loaded.id}: {len(loaded.checks)} checks at {len(loaded.head.stations)} stations, "
        f"{count(len(sentences), 'labelled sentence')}, no faults"
    )


@app.command()
@_command
def schema(
    name: Annotated[
        str,
        typer.Argument(
            help="record, explanation, transcript, score, pack, check, part, aspect, cue, fact, sentence "
            "or visit-label."
        ),
    ] = "record",
) -> None:
    """Print the JSON Schema of the record, an explanation, a transcript, a score or an entry of a pack."""
    from voicenotes.outputs.schemas import schema_of

    _print_json(schema_of(name))


def _gaps_command(visit: Path, pack: str) -> str:
    """The command that lists this visit's gaps, as it can be pasted."""
    import shlex

    from voicenotes.vocabulary.homes import shipped_packs

    own = [] if pack in shipped_packs() else ["--pack", pack]
    return shlex.join(["voicenotes", "gaps", str(visit), *own])


def _pack_of(record: Record, given: str | None) -> Pack:
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


def _print(lines: Iterable[str]) -> None:
    for line in lines:
        typer.echo(line.rstrip())


def _print_json(data: object) -> None:
    import json

    typer.echo(json.dumps(data, indent=2, ensure_ascii=False))


@contextlib.contextmanager
def _progress(quiet: bool) -> Iterator[tuple[Progress | None, Say | None]]:
    """What `process_visit` tells its progress to: a bar on a terminal, plain lines elsewhere."""
    if quiet:
        yield None, None
    elif not sys.stderr.isatty():
        yield None, functools.partial(typer.echo, err=True)
    else:
        with _bar() as telling:
            yield telling


@contextlib.contextmanager
def _bar() -> Iterator[tuple[Progress, Say]]:
    from rich.console import Console
    from rich.progress import (
        BarColumn,
        Progress,
        SpinnerColumn,
        TaskProgressColumn,
        TextColumn,
        TimeRemainingColumn,
    )

    console = Console(stderr=True, highlight=False, markup=False)
    file_name = TextColumn("{task.description}", markup=False)
    columns = (SpinnerColumn(), file_name, BarColumn(), TaskProgressColumn(), TimeRemainingColumn())
    with Progress(*columns, console=console, transient=True) as bar:
        task = bar.add_task("", total=None, visible=False)

        def progress(file: str, done: float, in_all: float) -> None:
            bar.update(task, description=file, completed=done, total=in_all or None, visible=True)

        def say(line: str) -> None:
            bar.console.print(line, soft_wrap=True)

        yield progress, say
