"""The report as Markdown (CommonMark with tables as on most sites). Quotes can't become markup."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from voicenotes.outputs.wording import number
from voicenotes.report.tables import tables_of

if TYPE_CHECKING:
    from voicenotes.outputs.report_values import Report
    from voicenotes.report.table import Cell, Table

# CommonMark 0.31, 2.4: any ASCII punctuation character may be escaped with a backslash.
_PUNCTUATION = re.compile(r"([!\"#$%'()*+,\-./:;=?@\[\\\]^_`{|}~])")


def escaped(text: str) -> str:
    """Text as Markdown that shows exactly it, on one line."""
    shown = _PUNCTUATION.sub(r"\\\1", " ".join(text.split()))
    return shown.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def markdown(report: Report) -> str:
    """The whole report: a heading for each part, prose as lists, the rest as tables."""
    lines = [f"# Inspection report: {escaped(report.title)}", ""]
    for table in tables_of(report):
        lines += [f"## {escaped(table.title)}", "", escaped(table.note), ""]
        lines += _list(table) if len(table.columns) == 1 else _table(table)
        lines.append("")
    return "\n".join(lines)


def _list(table: Table) -> list[str]:
    return [f"- {_cell(row[0])}" for row in table.rows] or ["None\\."]


def _table(table: Table) -> list[str]:
    if not table.rows:
        return ["None\\."]
    shown = [
        index
        for index in range(len(table.columns))
        if any(row[index] not in ("", None) for row in table.rows)
    ]
    head = [escaped(table.columns[index]) for index in shown]
    lines = [f"| {' | '.join(head)} |", f"|{' --- |' * len(head)}"]
    return lines + [f"| {' | '.join(_cell(row[index]) for index in shown)} |" for row in table.rows]


def _cell(cell: Cell) -> str:
    if isinstance(cell, str):
        return "<br>".join(escaped(line) for line in cell.split("\n"))
    return "" if cell is None else escaped(number(cell))
