"""The drawing of the walk round: where each station and each check's sign stands, and the same as SVG.

Stations go in walking order along a path that turns back at the end of each row. A check's state is told by
its sign and shape, and besides by colour.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

from voicenotes.report.markup import Markup, joined, tag
from voicenotes.report.words import MARKS, SIGNS, station_line

if TYPE_CHECKING:
    from collections.abc import Sequence

    from voicenotes.outputs.report_values import Mark, ReportStation

TILE, GAP, SIGN, PITCH = 216.0, 16.0, 16.0, 20.0
SIGNS_A_ROW = 10
HEAD, FOOT = 25.0, 21.0
ORDER: tuple[Mark, ...] = (
    "critical", "major", "minor", "ok", "must", "open", "told", "set_aside", "not_fitted",
)  # fmt: skip


@dataclass(frozen=True)
class Tile:
    """A station in the drawing: upper left corner and size, in units of the drawing."""

    station: ReportStation
    number: int
    x: float
    y: float
    height: float


@dataclass(frozen=True)
class Drawing:
    """The tiles in walking order, and the size of the whole."""

    tiles: tuple[Tile, ...]
    width: float
    height: float


def drawing_of(stations: Sequence[ReportStation], columns: int) -> Drawing:
    """Where the stations stand: rows of `columns`, every second row from right to left."""
    tiles: list[Tile] = []
    y = GAP / 2
    for start in range(0, len(stations), columns):
        row = list(enumerate(stations[start : start + columns], start + 1))
        height = max(_height(station) for _, station in row)
        backwards = (start // columns) % 2 == 1
        for place, (number, station) in enumerate(row):
            column = columns - 1 - place if backwards else place
            tiles.append(Tile(station, number, GAP / 2 + column * (TILE + GAP), y, height))
        y += height + GAP
    return Drawing(tuple(tiles), columns * (TILE + GAP), y - GAP / 2)


def _height(station: ReportStation) -> float:
    rows = -(-len(station.marks) // SIGNS_A_ROW)
    return HEAD + FOOT + rows * PITCH


def sorted_marks(station: ReportStation) -> list[tuple[Mark, str]]:
    """A station's marks with their checks' titles, what is wrong first."""
    return sorted(((m.mark, m.title) for m in station.marks), key=lambda pair: ORDER.index(pair[0]))


def svg(stations: Sequence[ReportStation], columns: int, name: str) -> Markup:
    """The drawing as SVG, labelled for people who can't see it; colours come from the page's style."""
    drawn = drawing_of(stations, columns)
    title = "Walk round: each station with the state of its checks"
    return tag(
        "svg",
        tag("title", title, id=f"{name}-title"),
        tag("desc", description(stations), id=f"{name}-desc"),
        _path(drawn.tiles),
        *(_tile(tile) for tile in drawn.tiles),
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {drawn.width:g} {drawn.height:g}",
        role="img",
        aria_labelledby=f"{name}-title {name}-desc",
        class_=f"walk walk-{columns}",
    )


def description(stations: Sequence[ReportStation]) -> str:
    """The drawing in words."""
    return "; ".join(
        f"{number}. {station.title}: {station_line(station)}" for number, station in enumerate(stations, 1)
    )


def legend(stations: Sequence[ReportStation]) -> Markup:
    """What each sign that occurs means, with how often it stands there."""
    counts = Counter(mark.mark for station in stations for mark in station.marks)
    entries = [tag("li", _alone(mark), f" {MARKS[mark]}: {counts[mark]}") for mark in ORDER if counts[mark]]
    return tag("ul", *entries, class_="legend")


def _alone(mark: Mark) -> Markup:
    return tag(
        "svg", _sign(mark, 1, 1), viewBox="0 0 18 18", width=18, height=18, aria_hidden="true",
        class_="sign-alone",
    )  # fmt: skip


def _path(tiles: Sequence[Tile]) -> Markup:
    middles = [f"{tile.x + TILE / 2:g} {tile.y + tile.height / 2:g}" for tile in tiles]
    return tag("path", d=f"M {' L '.join(middles)}", class_="route") if middles else Markup("")


def _tile(tile: Tile) -> Markup:
    station = tile.station
    signs = [
        tag(
            "g",
            tag("title", f"{title}: {MARKS[mark]}"),
            _sign(
                mark,
                tile.x + 10 + (place % SIGNS_A_ROW) * PITCH,
                tile.y + HEAD + (place // SIGNS_A_ROW) * PITCH,
            ),
        )
        for place, (mark, title) in enumerate(sorted_marks(station))
    ]
    empty = " nothing" if not station.applying else ""
    return tag(
        "g",
        tag("rect", x=tile.x, y=tile.y, width=TILE, height=tile.height, rx=5, class_=f"tile{empty}"),
        tag("text", f"{tile.number}. {station.title}", x=tile.x + 10, y=tile.y + 18, class_="tile-title"),
        *signs,
        tag(
            "text",
            station_line(station),
            x=tile.x + 10,
            y=tile.y + tile.height - 8,
            class_="tile-line",
        ),
    )


def _sign(mark: Mark, x: float, y: float) -> Markup:
    """A check's sign: a diamond for defects, a disc for what is in order, an outline for what is open."""
    middle_x, middle_y, half = x + SIGN / 2, y + SIGN / 2, SIGN / 2
    if mark in ("critical", "major", "minor"):
        corners = f"M {middle_x:g} {y:g} l {half:g} {half:g} l {-half:g} {half:g} l {-half:g} {-half:g} z"
        shape = tag("path", d=corners, class_=f"sign {mark}")
    elif mark == "ok":
        shape = tag("circle", cx=middle_x, cy=middle_y, r=half - 0.5, class_="sign ok")
    else:
        shape = tag("rect", x=x + 1, y=y + 1, width=SIGN - 2, height=SIGN - 2, rx=2, class_=f"sign {mark}")
    letter = tag("text", SIGNS[mark], x=middle_x, y=middle_y + 4, class_=f"letter {mark}")
    return joined((shape, letter))
