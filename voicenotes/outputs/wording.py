"""How numbers, times and lines are worded and broken on every screen and sheet."""

from __future__ import annotations

import re
import textwrap
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from voicenotes.model import Reading

WIDTH = 80
# What a terminal acts on, or what turns the order of what stands beside it: control characters, line
# separators, marks that override the direction of writing, halves of surrogate pairs.
_UNPRINTABLE = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069\ud800-\udfff\ufff9-\ufffb]")
VERDICTS = {"within": "within", "outside": "OUTSIDE", "no_limit": "no limit known"}


def printable(line: str) -> str:
    r"""One line as it may be sent to a terminal: what a terminal would act on is shown as `\x1b`."""
    return _UNPRINTABLE.sub(lambda found: ascii(found[0])[1:-1], line)


def printable_json(text: str) -> str:
    """JSON text with the same meaning and nothing in it that a terminal would act on."""
    return "\n".join(
        _UNPRINTABLE.sub(lambda found: f"\\u{ord(found[0]):04x}", line) for line in text.split("\n")
    )


def count(number: int, noun: str) -> str:
    """ "1 check", "3 checks"."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def minutes(number: float) -> str:
    """Whole minutes, at least one unless there are none: "38 min"."""
    return f"{max(1, round(number)) if number else 0} min"


def length(seconds: float) -> str:
    """A recording's length as m:ss, or h:mm:ss from an hour on."""
    whole = round(seconds)
    hours, rest = divmod(whole, 3600)
    return f"{hours}:{rest // 60:02}:{rest % 60:02}" if hours else f"{rest // 60}:{rest % 60:02}"


def number(value: float) -> str:
    """A value without trailing zeros: 0.0012, 2000."""
    return f"{value:.6g}" if abs(value) < 1e6 else f"{value:.0f}"


def reading_line(reading: Reading) -> str:
    """ "runout 0.0012 in: OUTSIDE the limit (at most 0.0002 in)", and what had to be assumed."""
    words = f"{reading.quantity} {number(reading.value)} {reading.unit}"
    doubtful = f"; doubtful: {reading.doubtful}" if reading.doubtful else ""
    if reading.verdict == "no_limit" or not reading.limit:
        return f"{words}, {VERDICTS['no_limit']}{doubtful}"
    return f"{words}: {VERDICTS[reading.verdict]} the limit ({reading.limit}){doubtful}"


def wrapped(text: str, indent: str, width: int = WIDTH, first: str | None = None) -> list[str]:
    """`text` broken into lines of at most `width`, the first after `first`, the others after `indent`."""
    return textwrap.wrap(
        " ".join(text.split()), width, initial_indent=indent if first is None else first,
        subsequent_indent=indent, break_on_hyphens=False,
    )  # fmt: skip


def verdict_lines(text: str, width: int = WIDTH) -> list[str]:
    """A closing sentence on one line, or broken before its bracket where it is too long for one."""
    head, bracket, tail = text.partition(" (")
    return [text] if len(text) <= width or not bracket else [head, f"({tail}"]


def in_a_list(title: str) -> str:
    """A title inside a list: "Work light" as "work light", but "C axis" as it is."""
    return title if title[1:2].isspace() or title[1:2].isupper() else title[:1].lower() + title[1:]


def quoted(text: str, most: int = 160) -> str:
    """A quote in quotation marks, cut at a word where it is long."""
    return '"' + textwrap.shorten(text, most, placeholder=" ...") + '"'


def table_line(left: str, title: str, right: str = "", width: int = WIDTH) -> list[str]:
    """`left` and `title`, with `right` at the end of the line; the title goes on below if it is long."""
    room = width - len(left) - (len(right) + 2 if right else 0)
    lines = textwrap.wrap(title, max(20, room), break_on_hyphens=False) or [""]
    first = f"{left}{lines[0]}"
    if right:
        first = f"{first:<{width - len(right)}}{right}"
    return [first, *(" " * len(left) + line for line in lines[1:])]
