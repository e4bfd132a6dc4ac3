"""Lines of styled text on which things are put at columns; and the signs that drawings are made of.

A style is a name such as "subject" or "quiet"; what colour it gets is decided where lines are printed.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from itertools import groupby

Piece = tuple[str, str]  # text and style
Line = tuple[Piece, ...]


@dataclass(frozen=True)
class Signs:
    """What drawings are made of.

    decided, quiet  under words that decided, and under those that didn't
    cut             between remarks, on both sides of a number
    tie             from a word down to its label
    here, from_right, both   where a cue's reach starts: at its left, its right end, or within
    along, took     along the reach, and under what the cue changed
    left, right     where the reach stops
    back, on        where it goes on in the line before or after
    """

    decided: str
    quiet: str
    cut: str
    tie: str
    here: str
    from_right: str
    both: str
    along: str
    took: str
    left: str
    right: str
    back: str
    on: str


DRAWN = Signs("━", "┄", "┃", "│", "╰", "╯", "┴", "─", "●", "├", "┤", "←", "→")
PLAIN = Signs("=", ".", "|", "|", "'", "'", "'", "-", "o", "|", "|", "<", ">")


def signs_for(encoding: str | None) -> Signs:
    """Line-drawing signs where an output's encoding has them, else such as every encoding has."""
    try:
        "".join(vars(DRAWN).values()).encode(encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return PLAIN
    return DRAWN


def columns(text: str) -> int:
    """How many columns of a terminal a text takes."""
    return sum(map(_columns_of, text))


def _columns_of(sign: str) -> int:
    if unicodedata.combining(sign):
        return 0
    return 2 if unicodedata.east_asian_width(sign) in "WF" else 1


def printable(text: str) -> str:
    """The text without signs that would move the cursor or show nothing."""
    return "".join(sign if sign.isprintable() else "\N{REPLACEMENT CHARACTER}" for sign in text)


def plain(line: Line) -> str:
    """A line without its styles."""
    return "".join(text for text, _ in line).rstrip()


class Canvas:
    """Rows of cells, one a column; a row is there as soon as something is put on it."""

    def __init__(self) -> None:
        self._rows: list[list[Piece]] = []

    def put(self, row: int, column: int, text: str, style: str = "") -> None:
        """Write over what stands there."""
        while len(self._rows) <= row:
            self._rows.append([])
        cells = self._rows[row]
        for sign in text:
            wide = _columns_of(sign)
            if not wide:
                if column and column <= len(cells):
                    cells[column - 1] = (cells[column - 1][0] + sign, cells[column - 1][1])
                continue
            cells += [(" ", "")] * (column + wide - len(cells))
            cells[column] = (sign, style)
            if wide == 2:
                cells[column + 1] = ("", style)
            column += wide

    def is_free(self, row: int, start: int, end: int) -> bool:
        """Whether nothing stands in the columns start..end (exclusive) of a row."""
        if row >= len(self._rows):
            return True
        return all(text == " " for text, _ in self._rows[row][max(0, start) : end])

    @property
    def height(self) -> int:
        """How many rows there are."""
        return len(self._rows)

    def lines(self) -> list[Line]:
        """The rows, cells of one style together."""
        return [
            tuple(
                ("".join(text for text, _ in cells), style)
                for style, cells in groupby(row, key=lambda cell: cell[1])
            )
            for row in self._rows
        ]
