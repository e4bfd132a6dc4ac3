"""The command that watches a visit's folder."""

from __future__ import annotations

import contextlib
import signal
import sys
from typing import TYPE_CHECKING, Annotated

import typer

from voicenotes.cli.frame import (
    Engine,
    EngineName,
    ModelName,
    PackName,
    Visit,
    guarded_command,
    loaded_pack,
    print_lines,
    show,
)
from voicenotes.cli.progress import progress_shown

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator
    from pathlib import Path

    from voicenotes.model import Record


@guarded_command
def watch(
    visit: Visit,
    pack: PackName = "cnc_lathe",
    engine: EngineName = Engine.auto,
    model: ModelName = None,
    must: Annotated[bool, typer.Option("--must", help="List only what must be settled first.")] = False,
) -> None:
    """Wait for memos to arrive in a visit's folder; process each, and show what is still open."""
    from voicenotes.corrections.still_open import still_open
    from voicenotes.outputs.gap_sheet import gap_lines
    from voicenotes.outputs.news import news_lines
    from voicenotes.visit import process_visit
    from voicenotes.watching.watch import watch_visit

    loaded = loaded_pack(pack)
    said: set[str] = set()

    def process(arrived: Collection[Path]) -> Record:
        with progress_shown(False) as (progress, say):

            def say_once(line: str) -> None:
                if say and line not in said:
                    say(line)
                said.add(line)

            return process_visit(visit, loaded, engine.value, model, False, progress, say_once, only=arrived)

    def shown(before: Record | None, after: Record) -> None:
        if sys.stdout.isatty():
            typer.echo("\x1b[2J\x1b[H", nl=False)  # an empty screen, from its top
        now = still_open(visit, after, loaded, must)
        for line in now.troubles:
            show(line, err=True)
        print_lines([*gap_lines(now.gaps, loaded), ""])
        if after.recordings:
            print_lines([*news_lines(before, after, loaded), ""])
        show(f"Watching {visit}; Ctrl-C ends it, and nothing is lost.")
        sys.stdout.flush()

    with _ended_by_signals():
        try:
            watch_visit(visit, process, shown, lambda line: show(line, err=True))
        except KeyboardInterrupt:
            show(
                "Stopped watching; what was transcribed is kept, and watching can go on at any time.",
                err=True,
            )


@contextlib.contextmanager
def _ended_by_signals() -> Iterator[None]:
    """SIGTERM ends as Ctrl-C does."""

    def interrupt(*_: object) -> None:
        raise KeyboardInterrupt

    before = signal.signal(signal.SIGTERM, interrupt)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)
