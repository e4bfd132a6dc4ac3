"""A part of the report as a table (a value), and how quotes and readings stand in its cells."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from voicenotes.report.words import (
    VERDICTS,
    corrected,
    measured,
    quoted,
    said,
    where,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from voicenotes.outputs.report_values import ReportCheck, ReportQuote

Cell = str | float | None


@dataclass(frozen=True)
class Table:
    """A part of the report: columns, rows of as many cells, and a line that says what it is."""

    key: str
    title: str
    note: str
    columns: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]


def quote_lines(quotes: Sequence[ReportQuote], usual: str) -> str:
    """Quotes with their places, a line each."""
    lines = []
    for quote in quotes:
        kind = said(quote, usual)
        lines.append(f"{quoted(quote.text)} ({where(quote)}{f'; {kind}' if kind else ''})")
    return "\n".join(lines)


def to_know_lines(check: ReportCheck) -> str:
    """What to know of a check beside its quotes, and what was corrected in it, a line each."""
    return "\n".join([*check.remarks, *corrected(check)])


def reading_lines(check: ReportCheck) -> str:
    lines = []
    for reading in check.readings:
        limit = f" ({reading.limit})" if reading.limit else ""
        doubt = f"; doubtful: {reading.doubtful}" if reading.doubtful else ""
        lines.append(f"{reading.quantity} {measured(reading)}: {VERDICTS[reading.verdict]}{limit}{doubt}")
    return "\n".join(lines)
