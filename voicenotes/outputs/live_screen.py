"""What is seen while it listens: one page to glance at from two metres, that never scrolls.

From the top: what is wrong, if anything; where he is; what was just understood, its outcome in large letters;
what is open here and in all; the level and how far behind it is. Where rows are few, the least important ones
go first.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from voicenotes.outputs.big_letters import big
from voicenotes.outputs.wording import count, length, minutes, printable, wrapped

if TYPE_CHECKING:
    from voicenotes.model import CheckFinding
    from voicenotes.outputs.canvas import Line

QUIETEST_DBFS, LOUDEST_DBFS = -60.0, 0.0
TOO_LOUD_DBFS, TOO_QUIET_DBFS = -3.0, -55.0
SHOWN_FROM_S = 1.5  # less behind than that is no news
WORDS = {
    "ok": "ok", "defect": "defect", "unsure": "unsure", "not_tested": "not tested", "not_fitted": "not there",
    "not_mentioned": "open", "noted": "noted", "taken back": "back", "command": "yes", "unknown": "no check",
}  # fmt: skip
STYLES = {
    "ok": "good", "defect": "bad", "unsure": "unsure", "not_tested": "not_tested", "taken back": "quiet",
    "unknown": "unsure", "noted": "fact", "not_fitted": "fitting", "command": "cue",
}  # fmt: skip


@dataclass(frozen=True)
class Understood:
    """What came of an utterance: a check's title or the like, an outcome (a key of WORDS), and a detail."""

    title: str
    outcome: str
    detail: str = ""
    severity: str | None = None

    @property
    def line(self) -> str:
        """All of it on one line."""
        graver = f" {self.severity}" if self.severity else ""
        return f'{self.title}: {WORDS[self.outcome].upper()}{graver} ("{self.detail}")'


@dataclass(frozen=True)
class LiveView:
    """What there is to see. `last` is newest first; levels in dB relative to full scale; times in seconds."""

    source: str
    station: str | None = None
    cautions: tuple[str, ...] = ()
    pack_cautions: tuple[str, ...] = ()
    last: tuple[Understood, ...] = ()
    answer: str | None = None
    open_here: tuple[str, ...] = ()
    open_in_all: int = 0
    must: int = 0
    minutes: float = 0.0
    level_dbfs: float = -90.0
    behind_s: float = 0.0
    recorded_s: float = 0.0
    is_muted: bool = False
    is_ending: bool = False
    trouble: str | None = None


def understood(check: CheckFinding, words: str) -> Understood:
    """A check's finding after an utterance."""
    return Understood(check.title, check.outcome, words, check.severity)


def live_lines(view: LiveView, width: int, height: int, drawn: bool = True) -> list[Line]:
    """The page: at most `height` lines of at most `width` columns; `drawn` with blocks, else in plain
    signs."""
    foot = _foot(view, width, drawn)
    head = _trouble(view, width) + _where(view, width, drawn)
    counts = _counts(view, width)
    room = height - len(head) - len(foot) - len(counts)
    middle = _just_now(view, width, room, drawn)
    room -= len(middle)
    waiting = _waiting(view, width, room)
    lines = [*head, *middle, *counts, *waiting]
    spare = height - len(lines) - len(foot)
    return [*lines[: height - len(foot)], *[()] * spare, *foot][:height]


def _trouble(view: LiveView, width: int) -> list[Line]:
    if not view.trouble:
        return []
    return [((line, "bad"),) for line in _few(f"!! {view.trouble}", width, 4)]


def _where(view: LiveView, width: int, drawn: bool) -> list[Line]:
    title = (view.station or "say where you are").upper()
    lines: list[Line] = [((line, "station"),) for line in _few(title, width, 2)]
    lines += [((line, "unsure"),) for caution in view.cautions[:1] for line in _few(caution, width, 3)]
    return [*lines, _rule(width, drawn)]


def _just_now(view: LiveView, width: int, room: int, drawn: bool) -> list[Line]:
    if not view.last:
        begun = _few(f"listening: {view.source}", width, 2)
        begun += [line for caution in view.pack_cautions for line in wrapped(caution, "  ", width, "- ")]
        quiet: list[Line] = [((line, "quiet"),) for line in begun]
        return quiet[: max(0, room)]
    first, *others = view.last
    style = STYLES.get(first.outcome, "")
    letters = big(WORDS[first.outcome], width, drawn)
    lines: list[Line] = []
    if room >= len(letters) + 2:
        lines += [((line, style),) for line in letters]
        title = first.title + (f", {first.severity}" if first.severity else "")
    else:
        title = f"{WORDS[first.outcome].upper()}: {first.title}"
    lines += [((line, style),) for line in _few(title, width, 2)]
    if first.outcome == "command" and view.answer:
        lines += [((line, "cue"),) for line in _few(view.answer, width, 3)]
    elif first.detail:
        lines += [((line, "quiet"),) for line in _few(f'"{first.detail}"', width, 2)]
    lines += [((f"{WORDS[one.outcome].upper()} {one.title}"[:width], "quiet"),) for one in others[:2]]
    return lines[: max(0, room - 3)] if room > 6 else lines[: max(1, room)]


def _counts(view: LiveView, width: int) -> list[Line]:
    here = f"OPEN HERE {len(view.open_here)}" if view.station else "OPEN"
    in_all = f"IN ALL {view.open_in_all}"
    must = f"{minutes(view.minutes)} in all, {view.must} checks before leaving"
    lines: list[Line] = [(), ((f"{here}   {in_all}"[:width], "subject"),)]
    return [*lines, ((must[:width], "quiet"),)]


def _waiting(view: LiveView, width: int, room: int) -> list[Line]:
    if room <= 0:
        return []
    shown = list(view.open_here)
    if len(shown) > room:
        more = len(shown) - room + 1
        shown = [*shown[: room - 1], f"and {more} more"]
    return [((f"  {title}"[:width], ""),) for title in shown]


def _foot(view: LiveView, width: int, drawn: bool) -> list[Line]:
    full, empty = ("█", "░") if drawn else ("#", ".")
    share = (view.level_dbfs - QUIETEST_DBFS) / (LOUDEST_DBFS - QUIETEST_DBFS)
    cells = max(0, min(width, round(share * width)))
    said = "too loud" if view.level_dbfs > TOO_LOUD_DBFS else ""
    state = "speaking, wait" if view.is_muted else "ending" if view.is_ending else said or "listening"
    behind = f", {length(view.behind_s)} behind" if view.behind_s > SHOWN_FROM_S else ""
    status = f"{length(view.recorded_s)} {state}{behind}"
    loud: Line = ((full * cells, "bad" if said else "good"), (empty * (width - cells), "quiet"))
    return [_rule(width, drawn), loud, ((status[:width], "unsure" if behind or view.is_muted else ""),)]


def _rule(width: int, drawn: bool) -> Line:
    return (("─" * width if drawn else "-" * width, "quiet"),)


def _few(text: str, width: int, most: int) -> list[str]:
    """The text on at most so many lines, with dots where there is more."""
    lines = wrapped(printable(text), "", width)
    if len(lines) > most:
        lines = [*lines[: most - 1], lines[most - 1][: width - 4].rstrip() + " ..."]
    return lines


def level_line(level_dbfs: float, width: int, drawn: bool = True) -> str:
    """A microphone's level as a bar with its number, and what is wrong with it: for trying one."""
    full, empty = ("█", "░") if drawn else ("#", ".")
    advice = (
        "too loud" if level_dbfs > TOO_LOUD_DBFS else "hardly anything" if level_dbfs < TOO_QUIET_DBFS else ""
    )
    room = max(10, width - 30)
    cells = max(0, min(room, round((level_dbfs - QUIETEST_DBFS) / (LOUDEST_DBFS - QUIETEST_DBFS) * room)))
    return f"{full * cells}{empty * (room - cells)} {level_dbfs:5.0f} dB  {advice}"


def open_line(view: LiveView) -> str:
    """What is open, on one line: for outputs that are no terminal."""
    here = f"{len(view.open_here)} open at {view.station}, " if view.station else ""
    return f"{here}{count(view.open_in_all, 'check')} open in all, {view.must} before leaving"
