"""Several visits at once: what is shown while they are processed, and the table at the end."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from voicenotes.cli.frame import REFUSED, SOME_UNREAD, print_lines, show
from voicenotes.cli.progress import progress_shown

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from voicenotes.backlog.outcomes import Orders, Outcome, Say


def process_backlog(visits: Sequence[Path], orders: Orders, scheduler: str | None, quiet: bool) -> None:
    """Process visits here, or on a cluster; exit code 1 when something was not read, 2 when nothing was."""
    from voicenotes.backlog.here import each_once, process_here
    from voicenotes.backlog.sheet import table_lines

    in_all = len(each_once(visits))
    lost = None
    with progress_shown(quiet) as (progress, say):
        told = _Told(in_all, say)
        if scheduler is None:
            outcomes = process_here(visits, orders, told.done, progress, say)
        else:
            from voicenotes.backlog.spread import process_on_cluster

            spread = process_on_cluster(scheduler, visits, orders, told.done_there, progress, say)
            outcomes, lost = spread.outcomes, spread.lost
    if lost:
        show(f"voicenotes: {lost}", err=True)
    if not quiet:
        print_lines(table_lines(outcomes))
    if all(outcome.failed for outcome in outcomes):
        raise typer.Exit(REFUSED)
    if any(outcome.failed or outcome.problems for outcome in outcomes):
        raise typer.Exit(SOME_UNREAD)


class _Told:
    """Tells each outcome as it comes, and counts them."""

    def __init__(self, in_all: int, say: Say | None) -> None:
        self._in_all, self._say, self._number = in_all, say, 0

    def done(self, outcome: Outcome) -> None:
        """What came of a visit: what went wrong is told in any case."""
        from voicenotes.backlog.sheet import done_line, trouble_lines

        self._number += 1
        for line in trouble_lines(outcome):
            (self._say or _to_stderr)(line)
        if self._say:
            self._say(done_line(outcome, self._number, self._in_all))

    def done_there(self, outcome: Outcome) -> None:
        """The same of a visit that a worker processed, with what was said there."""
        for line in outcome.said if self._say else ():
            (self._say or _to_stderr)(f"{outcome.visit}: {line}")
        self.done(outcome)


def _to_stderr(line: str) -> None:
    show(line, err=True)
