"""How far the transcribing is: a bar on a terminal, plain lines elsewhere."""

from __future__ import annotations

import contextlib
import functools
import sys
from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    Progress = Callable[[str, float, float], None]
    Say = Callable[[str], None]


@contextlib.contextmanager
def progress_shown(quiet: bool) -> Iterator[tuple[Progress | None, Say | None]]:
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
