"""The report of the visit under review: its summary on a page, its files to save; none is written here."""

from __future__ import annotations

from typing import TYPE_CHECKING
from urllib.parse import quote

from voicenotes.report.build import report_from
from voicenotes.report.reviews import stands_of
from voicenotes.report.words import troubles
from voicenotes.report.write import rendered, visit_report

if TYPE_CHECKING:
    from voicenotes.review.desk import Desk, View

TYPES = {
    "pdf": "application/pdf",
    "html": "text/html; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "csv": "text/csv; charset=utf-8",
    "md": "text/markdown; charset=utf-8",
    "json": "application/json",
}
WORDS = {
    "pdf": "PDF, to print or to send",
    "html": "One page for a browser",
    "xlsx": "Excel workbook",
    "csv": "CSV",
    "md": "Markdown",
    "json": "JSON",
}


def report_lines(desk: Desk, view: View) -> tuple[list[str], list[str]]:
    """The report's summary as it would be now, and lines on corrections that it could not use."""
    report = report_from(stands_of(view.record, desk.pack, view.corrections, view.damaged), desk.pack)
    return list(report.summary), troubles(report)


def report_file(desk: Desk, format_: str) -> tuple[bytes, dict[str, str]]:
    """The report in a format of TYPES, with the headers that make a browser save it. Raises SheetError."""
    report, pictures = visit_report(desk.folder, desk.view().record, desk.pack)
    content = rendered(report, format_, pictures)
    name = quote(f"report {desk.folder.resolve().name}.{format_}", safe="")
    headers = {"content-type": TYPES[format_], "content-disposition": f"attachment; filename*=UTF-8''{name}"}
    return content.encode("utf-8") if isinstance(content, str) else content, headers
