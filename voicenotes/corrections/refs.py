"""Which remark and which state of a check a correction means, found again in a record."""

from __future__ import annotations

import hashlib
import json
from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from voicenotes.corrections.values import RemarkRef, Seen

if TYPE_CHECKING:
    from collections.abc import Iterator

    from voicenotes.model import CheckFinding, Evidence, Record, Untagged

MOST_QUOTES = 3
Place = tuple[str, float, float]  # a file's name in this record, start and end in seconds


@dataclass(frozen=True)
class Remarks:
    """All remarks of a record: their words by place, the places by recording, the recordings' hashes."""

    quotes: dict[Place, str]
    by_recording: dict[str, tuple[Place, ...]]
    hashes: dict[str, str | None]

    def ref(self, said: Evidence | Untagged) -> RemarkRef:
        """The name of a remark that stands in this record."""
        return RemarkRef(
            sha256=self.hashes.get(said.recording),
            recording=said.recording,
            start=said.start,
            end=said.end,
            quote=self.quotes.get(place_of(said), said.quote),
        )

    def place(self, ref: RemarkRef) -> Place | None:
        """Where a remark stands in this record; None when it changed or is gone."""
        for name in self._files(ref):
            place = (name, ref.start, ref.end)
            if self.quotes.get(place) == ref.quote:
                return place
        return None

    def at_its_time(self, ref: RemarkRef) -> tuple[Place, ...]:
        """The remarks that share time with one, those that share most first."""
        shared = [
            (min(ref.end, place[2]) - max(ref.start, place[1]), place)
            for name in self._files(ref)
            for place in self.by_recording.get(name, ())
        ]
        return tuple(place for time, place in sorted(shared, key=lambda one: -one[0]) if time > 0)

    def at_its_place(self, ref: RemarkRef) -> RemarkRef | None:
        """The remark that shares most time with one that isn't there any more; None when none does."""
        for place in self.at_its_time(ref)[:1]:
            name, start, end = place
            return RemarkRef(
                sha256=self.hashes.get(name), recording=name, start=start, end=end, quote=self.quotes[place]
            )
        return None

    def _files(self, ref: RemarkRef) -> list[str]:
        """The files that hold the remark's recording, that with its own name first."""
        if ref.sha256 is None:
            return [ref.recording] if ref.recording in self.by_recording else []
        names = [name for name, sha256 in self.hashes.items() if sha256 == ref.sha256]
        return sorted(names, key=lambda name: name != ref.recording)


def remarks_of(record: Record) -> Remarks:
    """The remarks of a record."""
    quotes: dict[Place, str] = {}
    for said in all_said(record):
        quotes.setdefault(place_of(said), said.quote)
    by_recording: dict[str, list[Place]] = defaultdict(list)
    for place in sorted(quotes):
        by_recording[place[0]].append(place)
    return Remarks(
        quotes,
        {name: tuple(places) for name, places in by_recording.items()},
        {entry.file: entry.sha256 for entry in record.recordings},
    )


def all_said(record: Record) -> Iterator[Evidence | Untagged]:
    """Everything in a record that stands at a place of a recording."""
    for finding in record.checks:
        yield from finding.evidence
    for fact in record.facts.values():
        yield from fact.evidence
    for fitting in record.fittings.values():
        yield from fitting.evidence
    yield from record.untagged


def place_of(said: Evidence | Untagged) -> Place:
    """The place of what was said."""
    return (said.recording, said.start, said.end)


def seen_of(finding: CheckFinding, remarks: Remarks) -> Seen:
    """How the record has a check, to be kept with what is corrected in it."""
    said = [
        [remarks.hashes.get(e.recording) or e.recording, e.start, e.end, e.quote, e.polarity, e.basis]
        for e in finding.evidence
    ]
    readings = [[r.quantity, r.value, r.unit] for r in finding.readings]
    state = [finding.outcome, finding.severity, finding.applies, readings, sorted(said, key=repr)]
    mark = hashlib.sha256(json.dumps(state, ensure_ascii=True).encode()).hexdigest()[:16]
    quotes = tuple(e.quote for e in finding.evidence[:MOST_QUOTES])
    return Seen(outcome=finding.outcome, severity=finding.severity, quotes=quotes, mark=mark)
