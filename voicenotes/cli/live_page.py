"""The live page on a terminal: drawn over itself, keys heard beside it."""

from __future__ import annotations

import contextlib
import os
import sys
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from voicenotes.outputs.canvas import Line


def terminal_size() -> tuple[int, int]:
    """Columns and lines of the terminal as it is now; $COLUMNS, which a resized terminal outdates, counts
    only where there is none, or one that doesn't know its size."""
    import shutil

    try:
        size = os.get_terminal_size(sys.stdout.fileno())
    except (OSError, ValueError):
        size = os.terminal_size((0, 0))
    if not size.columns or not size.lines:
        size = shutil.get_terminal_size()
    return size.columns, size.lines


@contextlib.contextmanager
def page() -> Iterator[Callable[[list[Line], tuple[int, int]], None]]:
    """A function that shows lines, on a terminal of so many columns and lines, in place of those before;
    the terminal is as before afterwards."""
    from rich.console import Console
    from rich.live import Live
    from rich.text import Text

    from voicenotes.outputs.terminal import STYLES
    from voicenotes.outputs.wording import printable

    console = Console(highlight=False, markup=False)
    with Live(console=console, screen=True, auto_refresh=False, redirect_stdout=False) as live:

        def show(lines: list[Line], size: tuple[int, int]) -> None:
            console.size = size
            rows = [
                Text.assemble(
                    *((printable(text), STYLES.get(style, "")) for text, style in line), no_wrap=True
                )
                for line in lines
            ]
            live.update(Text("\n").join(rows), refresh=True)

        yield show


@contextlib.contextmanager
def keys() -> Iterator[Callable[[], str]]:
    """A function that gives the key pressed since it was asked last, or "" for none; nothing is echoed."""
    try:
        import select
        import termios
        import tty

        stream = sys.stdin.fileno()
        before = termios.tcgetattr(stream)
    except (ImportError, OSError, ValueError, termios.error):
        yield lambda: ""
        return

    def pressed() -> str:
        ready = select.select([stream], [], [], 0)[0]
        return os.read(stream, 1).decode("ascii", "ignore") if ready else ""

    try:
        tty.setcbreak(stream)
        yield pressed
    finally:
        termios.tcsetattr(stream, termios.TCSADRAIN, before)
