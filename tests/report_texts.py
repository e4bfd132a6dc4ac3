"""What a reader of each format of a report gets to see: its text alone, with blanks left out."""

from __future__ import annotations

import csv
import io
import json
import re
from html.parser import HTMLParser
from typing import Any

import openpyxl
from markdown_it import MarkdownIt
from pypdf import PdfReader

FORMATS = ("html", "pdf", "xlsx", "csv", "md", "json")
# What stands at the head and foot of every page but the first.
HEAD_OR_FOOT = re.compile(
    r"^Inspection report.*$|Observed on the day only; no certification and no permit to run\."
    r"|Page \d+ of \d+",
    re.MULTILINE,
)
UNSEEN = re.compile(r"[\s\u00ad\u200b]+")


class _Text(HTMLParser):
    """The text of a page, without styles; notes every tag and attribute."""

    def __init__(self) -> None:
        super().__init__()
        self.pieces: list[str] = []
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self._hidden = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += attrs
        self._hidden += tag in ("style", "head")

    def handle_endtag(self, tag: str) -> None:
        self._hidden -= tag in ("style", "head")

    def handle_data(self, data: str) -> None:
        if not self._hidden:
            self.pieces.append(data)


def parsed(page: str) -> _Text:
    """A page of HTML, read."""
    parser = _Text()
    parser.feed(page)
    parser.close()
    return parser


def squeezed(text: str) -> str:
    """Text without blanks: a PDF and a table cell break lines where they like."""
    return UNSEEN.sub("", text)


def pdf_text(content: bytes) -> str:
    """The text of all pages as it can be searched, without what stands at their heads and feet."""
    pages = (page.extract_text() for page in PdfReader(io.BytesIO(content)).pages)
    return "\n".join(HEAD_OR_FOOT.sub("", text) for text in pages)


def cells_of(content: bytes) -> list[Any]:
    """The values of all cells of a workbook, column by column, so that a text over several rows is whole."""
    book = openpyxl.load_workbook(io.BytesIO(content))
    return [
        cell for sheet in book for column in sheet.iter_cols() for cell in column if cell.value is not None
    ]


def csv_rows(text: str) -> list[list[str]]:
    return list(csv.reader(io.StringIO(text.removeprefix("\ufeff"), newline="")))


def _strings(value: Any) -> list[str]:
    if isinstance(value, dict):
        return [text for one in value.values() for text in _strings(one)]
    if isinstance(value, list):
        return [text for one in value for text in _strings(one)]
    return [str(value)]


def text_of(format_: str, content: str | bytes) -> str:
    """What is to be read in a format, squeezed."""
    if isinstance(content, bytes):
        text = pdf_text(content) if format_ == "pdf" else "\n".join(str(c.value) for c in cells_of(content))
    elif format_ == "html":
        text = "".join(parsed(content).pieces)
    elif format_ == "csv":
        text = "\n".join(cell for row in csv_rows(content) for cell in row)
    elif format_ == "md":
        shown = MarkdownIt("commonmark").enable("table").render(content)
        text = "".join(parsed(shown).pieces)
    else:
        text = "\n".join(_strings(json.loads(content)))
    return squeezed(text)
