"""The report as CSV and as a workbook (XLSX). No cell can be taken for a formula."""

from __future__ import annotations

import csv
import io
import re
from datetime import datetime
from typing import TYPE_CHECKING

from voicenotes.report.tables import tables_of

if TYPE_CHECKING:
    from voicenotes.outputs.report_values import Report
    from voicenotes.report.table import Cell, Table

# A spreadsheet takes a cell for a formula that begins with one of these, perhaps behind blanks: OWASP, "CSV
# Injection"; the wide forms are those of East Asian keyboards.
_FORMULA = re.compile(r"[\s\ufeff\u200b-\u200f\u2060]*[=+\-@|%\uff1d\uff0b\uff0d\uff20]|[\t\r\n]")
_NOT_XML = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff\ud800-\udfff]")
LONGEST_CELL = 32_000  # a workbook's cell holds 32,767 characters
WIDEST, NARROWEST = 60, 8
LONGEST_SHEET_NAME = 31


def harmless(text: str) -> str:
    """Text that a spreadsheet shows as text: with an apostrophe before what could begin a formula."""
    return f"'{text}" if _FORMULA.match(text) else text


def csv_text(report: Report) -> str:
    """All tables below one another as RFC 4180: a title row, a note, the columns, the rows, an empty line.

    The first column names the part, so that one part can be filtered out.
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out, quoting=csv.QUOTE_ALL, lineterminator="\r\n")
    for table in tables_of(report):
        writer.writerow([table.key, *(harmless(f"{column}") for column in table.columns)])
        for row in table.rows:
            writer.writerow([table.key, *(_csv_cell(cell) for cell in row)])
        writer.writerow([f"{table.key}: note", harmless(table.note)])
    return out.getvalue()


def _csv_cell(cell: Cell) -> str:
    if isinstance(cell, str):
        return harmless(cell.replace("\r", " "))
    return "" if cell is None else f"{cell:.10g}"


def workbook(report: Report) -> bytes:
    """All tables as an XLSX file, a sheet each; the same report gives the same bytes."""
    import xlsxwriter

    out = io.BytesIO()
    options = {
        "in_memory": True,
        "strings_to_formulas": False,
        "strings_to_urls": False,
        "strings_to_numbers": False,
    }
    book = xlsxwriter.Workbook(out, options)
    book.set_properties({"title": _xml(report.title), "created": datetime(2000, 1, 1)})
    formats = {
        "head": book.add_format({"bold": True, "bottom": 2, "text_wrap": True, "valign": "top"}),
        "title": book.add_format({"bold": True, "font_size": 14}),
        "text": book.add_format({"text_wrap": True, "valign": "top"}),
        "number": book.add_format({"valign": "top"}),
    }
    for table in tables_of(report):
        _sheet(book, table, formats)
    book.close()
    return out.getvalue()


def _sheet(book: object, table: Table, formats: dict[str, object]) -> None:
    sheet = book.add_worksheet(table.title[:LONGEST_SHEET_NAME])  # type: ignore[attr-defined]
    sheet.write_string(0, 0, _cell_text(table.title), formats["title"])
    sheet.write_string(1, 0, _cell_text(table.note))
    for column, name in enumerate(table.columns):
        sheet.write_string(3, column, _cell_text(name), formats["head"])
        sheet.set_column(column, column, _width(table, column))
    line = 4
    for row in table.rows:
        line += _write_row(sheet, line, row, formats)
    sheet.freeze_panes(4, 0)
    if table.rows:
        sheet.autofilter(3, 0, line - 1, len(table.columns) - 1)
    sheet.set_landscape()
    sheet.fit_to_pages(1, 0)
    sheet.repeat_rows(3)


def _write_row(sheet: object, line: int, row: tuple[Cell, ...], formats: dict[str, object]) -> int:
    """Writes a row; a text longer than a cell can hold goes on in the rows below. Returns the lines used."""
    used = 1
    for column, cell in enumerate(row):
        if cell is None:
            continue
        if not isinstance(cell, str):
            sheet.write_number(line, column, cell, formats["number"])  # type: ignore[attr-defined]
            continue
        text = _xml(cell)
        pieces = [text[at : at + LONGEST_CELL] for at in range(0, len(text), LONGEST_CELL)] or [""]
        for below, piece in enumerate(pieces):
            sheet.write_string(line + below, column, harmless(piece), formats["text"])  # type: ignore[attr-defined]
        used = max(used, len(pieces))
    return used


def _cell_text(text: str) -> str:
    return harmless(_xml(text))


def _xml(text: str) -> str:
    r"""Text without what XML can't hold; such characters are shown as `\x1b`."""
    return _NOT_XML.sub(lambda found: ascii(found[0])[1:-1], text)


def _width(table: Table, column: int) -> int:
    longest = max((len(line) for row in table.rows for line in str(row[column] or "").split("\n")), default=0)
    return max(NARROWEST, min(WIDEST, max(longest, len(table.columns[column])) + 2))
