"""The gap list as a page to print or hand over, with boxes to tick by hand.

The letters are as large as they can be on the fewest pages. Sixty gaps stand on one page, as long as few of
them have a long story.
"""

from __future__ import annotations

import textwrap
from dataclasses import asdict
from typing import TYPE_CHECKING

from voicenotes.errors import SheetError
from voicenotes.outputs.gap_rows import sheet_of
from voicenotes.outputs.typeset.typeset import pages_of, pdf

if TYPE_CHECKING:
    from voicenotes.findings.gap_values import GapList
    from voicenotes.model import Record
    from voicenotes.vocabulary.schema import Pack

TEMPLATE = "gap_list"
SIZES_PT = (10.5, 10.0, 9.5, 9.0, 8.5, 8.0, 7.75, 7.5, 7.25, 7.0)
FACTS_IN_THE_HEAD = 3  # a pack names first what tells one machine from another
LONGEST_WHY, LONGEST_OF_A_QUESTION = 110, 330  # characters; the whole of it stands in the record


def gap_page(gaps: GapList, pack: Pack, record: Record, visit: str, paper: str = "a4") -> bytes:
    """The page as a PDF on "a4" or "letter"; raises SheetError when it can't be set."""
    data = page_data(gaps, pack, record, visit, paper)
    fewest = pages_of(TEMPLATE, {**data, "size": SIZES_PT[-1]})
    for size in SIZES_PT:
        if pages_of(TEMPLATE, {**data, "size": size}) == fewest:
            return pdf(TEMPLATE, {**data, "size": size})
    raise SheetError("the gap list can't be set: its pages can't be counted")


def page_data(gaps: GapList, pack: Pack, record: Record, visit: str, paper: str) -> dict[str, object]:
    """What the template needs: the rows, and the head's facts of the machine."""
    sheet = asdict(sheet_of(gaps, pack))
    for row in sheet["questions"]:
        row["why"] = textwrap.shorten(row["why"], LONGEST_OF_A_QUESTION, placeholder=' ..."')
    for row in [*sheet["left_open"], *(row for section in sheet["sections"] for row in section["rows"])]:
        row["why"] = textwrap.shorten(row["why"], LONGEST_WHY, placeholder=' ..."')
    known = [
        (fact.title, record.facts[fact.id].value)
        for fact in pack.facts[:FACTS_IN_THE_HEAD]
        if fact.id in record.facts
    ]
    dates = [entry.recorded_at for entry in record.recordings if entry.recorded_at]
    return {
        **sheet,
        "paper": paper,
        "visit": visit,
        "machine": pack.head.title,
        "facts": [[title, f"{value}"] for title, value in known if value is not None],
        "date": max(dates)[:10] if dates else "",
    }
