"""Styled lines on a terminal: in colour where that is wanted, else as plain text that says the same."""

from __future__ import annotations

import shutil
from typing import TYPE_CHECKING

from voicenotes.outputs.canvas import plain
from voicenotes.outputs.wording import printable

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from voicenotes.outputs.canvas import Line

WIDEST = 100  # columns used of a terminal that has more
STYLES = {
    "subject": "bold cyan", "station": "bold cyan", "condition": "bold magenta", "aspect": "magenta",
    "cue": "bold yellow", "quantity": "bold blue", "fact": "bold blue", "fitting": "bold", "name": "bold",
    "quiet": "dim", "good": "bold green", "bad": "bold red", "unsure": "bold yellow",
    "not_tested": "bold yellow", "withdrawn": "dim strike",
}  # fmt: skip


def width() -> int:
    """Columns to fill: the terminal's or $COLUMNS up to WIDEST, 80 where there is no terminal."""
    return min(shutil.get_terminal_size().columns, WIDEST)


def print_styled(lines: Iterable[Line], print_plain: Callable[[Iterable[str]], None]) -> None:
    """Print lines in colour on a terminal; by `print_plain` in a pipe, under $NO_COLOR, without colours."""
    from rich.console import Console
    from rich.text import Text

    console = Console(highlight=False, markup=False)
    if not console.is_terminal or console.no_color or console.color_system is None:
        print_plain(map(plain, lines))
        return
    for line in lines:
        pieces = ((printable(text), STYLES.get(style, "")) for text, style in line)
        console.print(Text.assemble(*pieces), soft_wrap=True)
