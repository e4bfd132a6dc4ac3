"""The walk round as a drawing: every station of the pack on a path round the machine, with its state."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from voicenotes.outputs.walk_round import station_state

if TYPE_CHECKING:
    from voicenotes.review.desk import View

WIDTH, HEIGHT = 340.0, 420.0
INSET, CORNER = 30.0, 56.0
RADIUS = 17.0


@dataclass(frozen=True)
class Stop:
    """A station: its place in the drawing, and what is known of its checks.

    `arc` is the path along the ring for the share that is settled; empty where none is, or all.
    """

    id: str
    number: int
    title: str
    x: float
    y: float
    settled: int
    of: int
    defects: int
    worst: str | None
    look: int
    arc: str
    state: str
    line: str


def stops_of(view: View) -> list[Stop]:
    """The stations that have checks, in walking order, clockwise from the top left."""
    found = []
    checks: dict[str, list[str]] = {}
    for finding in view.now.record.checks:
        checks.setdefault(finding.station, []).append(finding.id)
    stations = [station for station in view.stations if station in checks]
    for number, station in enumerate(stations):
        here = [view.findings[check] for check in checks[station]]
        now = station_state(here, view.gaps, view.settled)
        look = sum(f.id in view.doubts for f in here)
        x, y = on_path(number / max(1, len(stations)))
        state = (
            "none"
            if not now.applying
            else "open"
            if not now.settled
            else "part"
            if now.settled < now.applying
            else "done"
        )
        found.append(
            Stop(
                id=station,
                number=number + 1,
                title=view.stations[station],
                x=round(x, 1),
                y=round(y, 1),
                settled=now.settled,
                of=now.applying,
                defects=now.defects,
                worst=now.worst,
                look=look,
                arc=_arc(x, y, now.settled / now.applying) if now.applying else "",
                state=state,
                line=f"{now.words}, {look} to look at" if look else now.words,
            )
        )
    return found


def on_path(share: float) -> tuple[float, float]:
    """The point at a share (0 to 1) of the way round, on a rectangle with round corners."""
    left, top, right, bottom = INSET, INSET, WIDTH - INSET, HEIGHT - INSET
    across, down, quarter = right - left - 2 * CORNER, bottom - top - 2 * CORNER, math.pi * CORNER / 2
    at = share % 1.0 * 2 * (across + down + 2 * quarter)
    sides = (
        (across, (left + CORNER, top), (1, 0), (right - CORNER, top + CORNER), -90),
        (down, (right, top + CORNER), (0, 1), (right - CORNER, bottom - CORNER), 0),
        (across, (right - CORNER, bottom), (-1, 0), (left + CORNER, bottom - CORNER), 90),
        (down, (left, bottom - CORNER), (0, -1), (left + CORNER, top + CORNER), 180),
    )
    for length, (x, y), (dx, dy), (cx, cy), angle in sides:
        if at <= length:
            return x + dx * at, y + dy * at
        at -= length
        if at <= quarter:
            turned = math.radians(angle + 90 * at / quarter)
            return cx + CORNER * math.cos(turned), cy + CORNER * math.sin(turned)
        at -= quarter
    return left + CORNER, top


def route() -> str:
    """The path itself, for the line under the stations."""
    left, top, right, bottom, c = INSET, INSET, WIDTH - INSET, HEIGHT - INSET, CORNER
    return (
        f"M {left + c:g} {top:g} H {right - c:g} A {c:g} {c:g} 0 0 1 {right:g} {top + c:g} V {bottom - c:g} "
        f"A {c:g} {c:g} 0 0 1 {right - c:g} {bottom:g} H {left + c:g} "
        f"A {c:g} {c:g} 0 0 1 {left:g} {bottom - c:g} V {top + c:g} "
        f"A {c:g} {c:g} 0 0 1 {left + c:g} {top:g} Z"
    )


def _arc(x: float, y: float, share: float) -> str:
    """The part of the ring that stands for a share, clockwise from the top; empty for none and for all."""
    if not 0 < share < 1:
        return ""
    angle = 2 * math.pi * share
    end_x, end_y = x + RADIUS * math.sin(angle), y - RADIUS * math.cos(angle)
    large = 1 if share > 0.5 else 0
    return f"M {x:.1f} {y - RADIUS:.1f} A {RADIUS:g} {RADIUS:g} 0 {large} 1 {end_x:.1f} {end_y:.1f}"
