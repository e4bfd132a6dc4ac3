"""A backlog on this machine alone: one visit after another, each with an outcome of its own."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

from voicenotes.backlog.outcomes import Orders, Outcome, process_one

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from voicenotes.backlog.outcomes import Progress, Say


def each_once(visits: Iterable[str | Path]) -> dict[str, Path]:
    """The visits' folders as absolute paths, by name as given; a folder that is named twice counts once."""
    folders: dict[Path, tuple[str, Path]] = {}
    for visit in visits:
        path = Path(os.path.abspath(Path(visit).expanduser()))  # noqa: PTH100 (a link stays what it is)
        folders.setdefault(path.resolve(), (str(visit), path))
    return dict(folders.values())


def process_here(
    visits: Sequence[str | Path],
    orders: Orders,
    done: Callable[[Outcome], None] | None = None,
    progress: Progress | None = None,
    say: Say | None = None,
) -> list[Outcome]:
    """Process visits one after another; one that fails doesn't stop the others.

    `done` gets each outcome as it comes; `progress` and `say` are those of `process_visit`, with the visit
    named. Only an interrupt and faults of voicenotes itself get out of here.
    """
    outcomes = []
    for visit in each_once(visits):
        outcome = process_one(
            visit, Path(visit).expanduser(), orders, _naming(visit, progress), _saying(visit, say)
        )
        outcomes.append(outcome)
        if done:
            done(outcome)
    return outcomes


def _naming(visit: str, progress: Progress | None) -> Progress | None:
    if progress is None:
        return None
    name = Path(visit).name

    def named(file: str, seconds: float, in_all: float) -> None:
        progress(f"{name} {file}", seconds, in_all)

    return named


def _saying(visit: str, say: Say | None) -> Say | None:
    return (lambda line: say(f"{visit}: {line}")) if say else None
