"""A backlog's outcomes as lines of at most 80 characters: each as it comes, and the table at the end."""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicenotes.backlog.outcomes import NOT_REACHED
from voicenotes.outputs.wording import count, length

if TYPE_CHECKING:
    from collections.abc import Sequence

    from voicenotes.backlog.outcomes import Outcome

NAME_WIDTH = 30
AGAIN = "Run the same command again: only what is left is transcribed."


def trouble_lines(outcome: Outcome) -> list[str]:
    """What went wrong with a visit or its recordings, with the visit named in each line."""
    lines = [*outcome.problems, *outcome.doubts, *([outcome.failed] if outcome.failed else [])]
    return [f"{outcome.visit}: {line}" for line in lines]


def done_line(outcome: Outcome, done: int, in_all: int) -> str:
    """ "unit-7: 12 recordings, 0:34:10, 9 defects, 24 gaps (3 of 50 visits)"."""
    place = f"({done} of {count(in_all, 'visit')})"
    if outcome.failed:
        return f"{outcome.visit}: failed {place}"
    found = f"{count(outcome.defects, 'defect')}, {count(outcome.gaps, 'gap')}"
    heard = f"{count(outcome.recordings, 'recording')}, {length(outcome.seconds)}"
    return f"{outcome.visit}: {heard}, {found} {place}"


def table_lines(outcomes: Sequence[Outcome]) -> list[str]:
    """All visits in a table, and how many were read."""
    head = f"{f'VISITS ({len(outcomes)})':<{NAME_WIDTH + 2}}{'recordings':>12}{'talk':>9}"
    lines = [f"{head}{'defects':>9}{'critical':>10}{'gaps':>6}"]
    lines += [_row(outcome) for outcome in outcomes]
    return [*lines, "", *_verdict(outcomes)]


def _row(outcome: Outcome) -> str:
    name = f"  {_short(outcome.visit):<{NAME_WIDTH}}"
    if outcome.failed:
        return f"{name}{outcome.failed if outcome.failed == NOT_REACHED else 'failed':>12}"
    read = outcome.recordings - outcome.unread
    recordings = f"{read} of {outcome.recordings}" if outcome.unread else str(read)
    found = f"{outcome.defects:>9}{outcome.critical:>10}{outcome.gaps:>6}"
    return f"{name}{recordings:>12}{length(outcome.seconds):>9}{found}"


def _short(name: str) -> str:
    """A name that fits its column, its end kept: there the visits differ."""
    return name if len(name) <= NAME_WIDTH else f"...{name[3 - NAME_WIDTH :]}"


def _verdict(outcomes: Sequence[Outcome]) -> list[str]:
    failed = sum(outcome.failed is not None for outcome in outcomes)
    unreached = sum(outcome.failed == NOT_REACHED for outcome in outcomes)
    partly = sum(outcome.failed is None and outcome.unread > 0 for outcome in outcomes)
    parts = [f"{len(outcomes) - failed - partly} of {count(len(outcomes), 'visit')} read"]
    parts += [f"{partly} in part"] if partly else []
    parts += [f"{failed - unreached} failed"] if failed > unreached else []
    parts += [f"{unreached} not reached"] if unreached else []
    return [f"{', '.join(parts)}.", *([AGAIN] if failed or partly else [])]
