"""Which files of a folder have arrived whole: those that have not changed for a while.

How long that is depends on what the file says of itself: one that goes as far as its container says needs
little, one that breaks off is given long, as a copy over a bad line may stand still.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from typing import TYPE_CHECKING

from voicenotes.audio.whole import wholeness
from voicenotes.files import stamp_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping
    from pathlib import Path

    from voicenotes.audio.whole import Wholeness
    from voicenotes.files import Stamp

QUIET_S: dict[Wholeness, float] = {"whole": 1.0, "can't be told": 3.0, "cut off": 30.0}


@dataclass(frozen=True)
class Seen:
    """A file's stamp, when it was first seen with it (seconds of a steady clock), and whether it is whole."""

    stamp: Stamp
    since: float
    wholeness: Wholeness

    def rested(self, now: float, patience: float) -> bool:
        """Whether it has been left alone for long enough; `patience` multiplies how long that is."""
        return now - self.since >= QUIET_S[self.wholeness] * patience


def look(
    paths: Iterable[Path],
    before: Mapping[Path, Seen],
    now: float,
    wall_clock: Callable[[], float] = time.time,
) -> dict[Path, Seen]:
    """What is there now; a file that has not changed since `before` keeps the time since when it hasn't.

    One that was not seen before rests since its own times say so, as long as these don't lie in the future.
    """
    found: dict[Path, Seen] = {}
    for path in paths:
        stamp = stamp_of(path)
        if stamp is None:  # gone again
            continue
        known = before.get(path)
        if known and known.stamp == stamp:
            found[path] = known
            continue
        rest = 0.0
        if known is None:
            rest = max(0.0, wall_clock() - max(stamp.written_ns, stamp.changed_ns) / 1e9)
        found[path] = Seen(stamp, now - rest, wholeness(path))
    return found
