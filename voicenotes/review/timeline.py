"""The visit as it was spoken: each recording as a strip, with its remarks and where defects were noted."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from voicenotes.outputs.wording import count, length
from voicenotes.review.words import clock

if TYPE_CHECKING:
    from voicenotes.review.desk import View

STRIP = 1000.0  # units of a strip that is as long as the longest recording
SLOTS = 120  # marks on the longest recording at most
MOST_RECORDINGS = 60


@dataclass(frozen=True)
class Mark:
    """A defect on a strip: where, how bad, and its words for a pointer that rests on it."""

    x: float
    severity: str
    label: str


@dataclass(frozen=True)
class Strip:
    """A recording: its number, when it was made, and its marks. `ticks` is the path of its remarks."""

    number: int
    sounds: bool
    file: str
    when: str
    seconds: float
    long: str
    width: float
    ticks: str
    marks: tuple[Mark, ...]
    line: str


def lanes_of(view: View) -> tuple[list[Strip], int]:
    """The recordings in the order in which they were made, and how many more there are."""
    recordings = view.record.recordings
    longest = max((entry.seconds for entry in recordings), default=0.0) or 1.0
    by_recording = view.remarks.by_recording
    marks = _marks(view, longest)
    lanes = []
    for number, entry in enumerate(recordings[:MOST_RECORDINGS]):
        places = by_recording.get(entry.file, ())
        slots = sorted({min(SLOTS - 1, int(place[1] / longest * SLOTS)) for place in places})
        wide = STRIP / SLOTS
        here = marks.get(entry.file, {})
        lanes.append(
            Strip(
                number=number,
                sounds=number in view.sounding,
                file=entry.file,
                when=(entry.recorded_at or "")[11:16],
                seconds=entry.seconds,
                long=length(entry.seconds),
                width=round(max(12.0, entry.seconds / longest * STRIP), 1),
                ticks=" ".join(f"M {slot * wide + 1:.1f} 10 h {wide - 2:.1f}" for slot in slots),
                marks=tuple(here[slot] for slot in sorted(here)),
                line=f"{count(len(places), 'remark')}, {count(len(here), 'defect')}",
            )
        )
    return lanes, max(0, len(recordings) - MOST_RECORDINGS)


def _marks(view: View, longest: float) -> dict[str, dict[int, Mark]]:
    """The defects by recording and slot; of several in one slot the first."""
    found: dict[str, dict[int, Mark]] = defaultdict(dict)
    for finding in view.now.record.checks:
        if finding.outcome != "defect":
            continue
        for said in finding.evidence:
            if said.polarity != "bad":
                continue
            slot = min(SLOTS - 1, int(said.start / longest * SLOTS))
            label = f"{finding.title}, {finding.severity}, at {clock(said.start)}"
            x = round((slot + 0.5) * STRIP / SLOTS, 1)
            found[said.recording].setdefault(slot, Mark(x, finding.severity or "minor", label))
    return found
