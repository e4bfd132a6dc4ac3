"""A visit's report from its folder, and its files."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

from voicenotes.corrections.journal import read_journal
from voicenotes.errors import VisitError
from voicenotes.files import visit_folder, write_atomically
from voicenotes.findings.likelihoods import likelihoods
from voicenotes.outputs.wording import printable_json
from voicenotes.report.build import report_from
from voicenotes.report.costs import estimate
from voicenotes.report.pictures import pictures_of
from voicenotes.report.reviews import added_findings, stands_of
from voicenotes.report.said import checks_of
from voicenotes.vocabulary.costs import read_costs

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from voicenotes.model import Record
    from voicenotes.outputs.report_values import Report
    from voicenotes.report.pictures import Picture
    from voicenotes.vocabulary.schema import Pack

REPORT_FOLDER = "report"


def visit_report(
    visit: str | Path, record: Record, pack: Pack, costs: str | Path | None = None
) -> tuple[Report, dict[str, Picture]]:
    """The report of a visit and its photos by file name; `costs` is a user's cost table.

    Corrections in the visit's journal count. Raises PackError when the cost table can't be right, VisitError
    when the journal can't be read at all.
    """
    folder = visit_folder(visit)
    journal = read_journal(folder)
    stands = stands_of(record, pack, journal.corrections, journal.damaged)
    pictures = pictures_of(folder, (name for one in stands.now.added for name in one.photos))
    cost = None
    if costs:
        odds = likelihoods(stands.record.checks, pack)
        cost = estimate(
            read_costs(costs, pack), checks_of(stands, pack), pack, odds, added_findings(stands, pack)
        )
    return report_from(stands, pack, pictures, cost), pictures


def report_json(report: Report) -> str:
    """The report as JSON, in the form that `voicenotes schema report` describes."""
    return printable_json(json.dumps(report.model_dump(mode="json"), indent=2, ensure_ascii=False)) + "\n"


def rendered(
    report: Report, format_: str, pictures: Mapping[str, Picture] | None = None, paper: str = "a4"
) -> str | bytes:
    """The report in one of the formats html, pdf, xlsx, csv, md, json."""
    if format_ == "html":
        from voicenotes.report.page import html_page

        return html_page(report, pictures)
    if format_ == "pdf":
        from voicenotes.report.paper import pdf_pages

        return pdf_pages(report, pictures, paper)
    if format_ == "md":
        from voicenotes.report.markdown import markdown

        return markdown(report)
    if format_ == "json":
        return report_json(report)
    from voicenotes.report.spreadsheets import csv_text, workbook

    # a spreadsheet program takes a CSV file for UTF-8 only where it begins with this mark
    return workbook(report) if format_ == "xlsx" else "\ufeff" + csv_text(report)


def write_report(
    visit: str | Path,
    to: str | Path | None,
    report: Report,
    pictures: Mapping[str, Picture],
    formats: Sequence[str],
    paper: str = "a4",
) -> list[Path]:
    """Write the report's files into `to`, by default the folder "report" of the visit; returns their paths.

    All formats are made before the first is written. Raises VisitError when the folder can't be made or
    written, SheetError when the PDF can't be set.
    """
    contents = {name: rendered(report, name, pictures, paper) for name in formats}
    folder = Path(to).expanduser() if to else visit_folder(visit) / REPORT_FOLDER
    if to is None and folder.is_symlink():
        raise VisitError(f"{folder}: is a link, and nothing is written through links; remove it or use --to")
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise VisitError(
            f"{folder}: can't be made a folder ({error.strerror}); name another with --to"
        ) from None
    paths = []
    for name, content in contents.items():
        path = folder / f"report.{name}"
        write_atomically(path, content)
        paths.append(path)
    return paths
