"""The gap list as lines to print or save: what to ask, what to check, where, how long, and why."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from voicenotes.outputs.gap_rows import NEVER, sheet_of
from voicenotes.outputs.wording import table_line, verdict_lines, wrapped

if TYPE_CHECKING:
    from voicenotes.findings.gap_values import GapList
    from voicenotes.model import CheckFinding, Record
    from voicenotes.outputs.gap_rows import Row, Section, Sheet
    from voicenotes.vocabulary.schema import Pack

MUST = "must"
INDENT = " " * 10


@dataclass(frozen=True)
class OpenFinding:
    """A gap together with what the record says of its check."""

    finding: CheckFinding
    why: str


def open_checks(record: Record) -> list[OpenFinding]:
    """The record's gaps in walking order."""
    findings = {finding.id: finding for finding in record.checks}
    return [OpenFinding(findings[gap.id], gap.why) for gap in record.gaps if gap.id in findings]


def gap_lines(gaps: GapList, pack: Pack) -> list[str]:
    """The gap list, at most 80 characters a line, in walking order.

    First what to ask about fittings nobody spoke of, then each station with its cautions and its open
    checks, then what a plan leaves out and what was left open for a reason; the last line says whether he can
    leave.
    """
    sheet = sheet_of(gaps, pack)
    if not gaps.checks and not gaps.questions:
        return [*_left_open_lines(sheet), *verdict_lines(sheet.summary)]
    lines = verdict_lines(sheet.head)
    lines.append(f'"{MUST}" = to be settled before leaving.')
    if sheet.questions:
        lines += ["", "ASK FIRST: what the machine lacks drops out, what it has opens its checks"]
        for row in sheet.questions:
            lines += _row_lines(row, row.right)
    for section in sheet.sections:
        lines += ["", *_section_lines(section)]
    if sheet.left_out:
        lines += ["", *wrapped(sheet.left_out_head, "  ", first="")]
        for row in sheet.left_out:
            lines += _row_lines(row, row.right)
    if sheet.left_open:
        lines += ["", *_left_open_lines(sheet)[:-1]]
    lines += ["", *(line for caution in sheet.cautions for line in wrapped(caution, "  ", first="- "))]
    return [*lines, "", *verdict_lines(sheet.summary)]


def _left_open_lines(sheet: Sheet) -> list[str]:
    """What a person left open, with an empty line behind it; nothing where that is nothing."""
    lines = wrapped(sheet.left_open_head, "  ", first="") if sheet.left_open else []
    for row in sheet.left_open:
        lines += _row_lines(row, row.right)
    return [*lines, ""] if lines else []


def _section_lines(section: Section) -> list[str]:
    doubt = " (if fitted)" if section.if_fitted else ""
    lines = table_line("", f"{section.title.upper()}{doubt}", section.minutes)
    lines += [line for caution in section.cautions for line in wrapped(caution, "  ", first="  Caution: ")]
    for row in section.rows:
        lines += _row_lines(row, f"{'' if row.why else NEVER}{row.right:>8}")
    return lines


def _row_lines(row: Row, right: str) -> list[str]:
    lines = table_line(f"  {MUST if row.must else '':<5} ", row.title, right)
    if row.why:
        lines += wrapped(row.why, INDENT)
    if row.caution:
        lines += wrapped(f"Caution: {row.caution}", INDENT)
    return lines
