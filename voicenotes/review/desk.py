"""The visit on the table: its record, its corrections, and how it stands; read anew when files change."""

from __future__ import annotations

import threading
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from voicenotes.corrections.apply import in_effect, reviewed, standing
from voicenotes.corrections.journal import HOME, append, read_journal
from voicenotes.corrections.refs import place_of, remarks_of
from voicenotes.corrections.values import RemarkRef, Undo
from voicenotes.corrections.wording import titles_of
from voicenotes.errors import VisitError
from voicenotes.files import CORRECTIONS_FILE, RECORD_FILE, shown_name, stamp_of
from voicenotes.hearing.kept import kept_words
from voicenotes.listing import is_transcript, recordings_in
from voicenotes.review.attention import doubts_of, is_to_review, order_key
from voicenotes.review.targets import last_on, remark_key, targets_of
from voicenotes.visit import load_record, what_changed

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from voicenotes.corrections.refs import Place, Remarks
    from voicenotes.corrections.reviewed_values import Reviewed, SettledGap
    from voicenotes.corrections.values import Correction
    from voicenotes.files import Stamp
    from voicenotes.model import CheckFinding, Gap, Record, Transcript
    from voicenotes.vocabulary.schema import Pack

TIMED_SUFFIXES = (".srt", ".vtt", ".json")
Stamps = tuple["Stamp | None", "Stamp | None"]


@dataclass(frozen=True)
class Names:
    """What the pack calls things, by id."""

    titles: dict[str, str]
    stations: dict[str, str]
    judged: dict[str, str]


def names_of(pack: Pack) -> Names:
    """The titles in a pack."""
    return Names(
        titles_of(pack),
        {station.id: station.title for station in pack.head.stations},
        {check.id: check.judged for check in pack.checks},
    )


@dataclass(frozen=True)
class View:
    """How the visit stands at one moment. What is worked out from it is kept with it."""

    record: Record
    remarks: Remarks
    corrections: tuple[Correction, ...]
    damaged: tuple[str, ...]
    now: Reviewed
    names: Names
    sounding: frozenset[int]

    @property
    def titles(self) -> dict[str, str]:
        """Titles of checks, facts and fittings."""
        return self.names.titles

    @property
    def stations(self) -> dict[str, str]:
        """Titles of the stations in walking order."""
        return self.names.stations

    @property
    def judged(self) -> dict[str, str]:
        """What the pack wants judged, by check."""
        return self.names.judged

    @cached_property
    def last(self) -> dict[str, str]:
        """The last correction on each thing."""
        return last_on(self.corrections)

    @cached_property
    def active(self) -> dict[str, Correction]:
        """Corrections in effect, or in need of a decision, by id."""
        return {correction.id: correction for correction in in_effect(self.corrections)}

    @cached_property
    def by_id(self) -> dict[str, Correction]:
        """All corrections."""
        return {correction.id: correction for correction in self.corrections}

    @cached_property
    def findings(self) -> dict[str, CheckFinding]:
        """The checks as they stand."""
        return {finding.id: finding for finding in self.now.record.checks}

    @cached_property
    def before(self) -> dict[str, CheckFinding]:
        """The checks as the record has them."""
        return {finding.id: finding for finding in self.record.checks}

    @cached_property
    def gaps(self) -> dict[str, Gap]:
        """What is still open."""
        return {gap.id: gap for gap in self.now.record.gaps}

    @cached_property
    def settled(self) -> dict[str, SettledGap]:
        """What may stay open."""
        return {gap.check: gap for gap in self.now.settled}

    @cached_property
    def photos(self) -> dict[str, tuple[str, ...]]:
        """Photos by check."""
        return self.now.photos

    @cached_property
    def numbers(self) -> dict[str, int]:
        """The recordings' numbers by their files' names."""
        return {entry.file: number for number, entry in enumerate(self.record.recordings)}

    @cached_property
    def untagged_places(self) -> frozenset[Place]:
        """Where remarks stand that no check has now."""
        return frozenset(place_of(remark) for remark in self.now.record.untagged)

    @cached_property
    def refs(self) -> dict[str, RemarkRef]:
        """All remarks of the record by their keys."""
        found = {}
        for (name, start, end), quote in self.remarks.quotes.items():
            ref = RemarkRef(
                sha256=self.remarks.hashes.get(name), recording=name, start=start, end=end, quote=quote
            )
            found[remark_key(ref)] = ref
        return found

    @cached_property
    def _on_remarks(self) -> dict[str, list[Correction]]:
        found: dict[str, list[Correction]] = {}
        for correction in self.active.values():
            for target in targets_of(correction):
                if target.startswith("remark:"):
                    found.setdefault(target.removeprefix("remark:"), []).append(correction)
        return found

    def on_remark(self, key: str) -> list[Correction]:
        """The corrections in effect on a remark."""
        return self._on_remarks.get(key, [])

    @cached_property
    def undone_by(self) -> dict[str, str]:
        """For each correction that is undone, the undo that does it."""
        return {c.what.undoes: c.id for c in standing(self.corrections) if isinstance(c.what, Undo)}

    @cached_property
    def ranked(self) -> tuple[str, ...]:
        """The findings to review in the order in which they are offered, done or not."""
        found = [
            (order_key(finding, doubts_of(finding, self.badly_recorded), place), finding.id)
            for place, finding in enumerate(self.record.checks)
            if is_to_review(finding) or finding.id in self.now.findings
        ]
        return tuple(check for _, check in sorted(found))

    @property
    def badly_recorded(self) -> dict[str, str]:
        """What is wrong with recordings that can't be trusted."""
        return {e.file: e.quality.doubt for e in self.record.recordings if e.quality and e.quality.doubt}

    @cached_property
    def doubts(self) -> dict[str, tuple[str, ...]]:
        """Why findings that nobody has looked at yet need a look, by check."""
        found = {
            finding.id: doubts_of(finding, self.badly_recorded)
            for finding in self.now.record.checks
            if finding.id not in self.now.findings
        }
        return {check: doubts for check, doubts in found.items() if doubts and check not in self.settled}

    @cached_property
    def waiting(self) -> tuple[str, ...]:
        """The findings that only wait to be confirmed."""
        return tuple(
            finding.id
            for finding in self.now.record.checks
            if finding.id not in self.now.findings
            and finding.id not in self.doubts
            and finding.id not in self.settled
            and is_to_review(finding)
        )


class Desk:
    """One visit under review. Safe to use from several threads."""

    def __init__(self, folder: Path, pack: Pack, who: str) -> None:
        self.folder, self.pack, self.who = folder, pack, who
        self._lock = threading.Lock()
        self._record: tuple[Stamp | None, Record, Remarks] | None = None
        self._view: tuple[Stamps, View] | None = None
        self._transcripts: dict[str, Transcript | None] = {}
        self._sounding: frozenset[int] = frozenset()
        self.names = names_of(pack)
        self.notices: tuple[str, ...] = ()

    def view(self) -> View:
        """The visit as it stands. Raises VisitError when its record or journal can't be read."""
        with self._lock:
            stamps = (stamp_of(self.folder / RECORD_FILE), stamp_of(self.folder / CORRECTIONS_FILE))
            if self._view is None or self._view[0] != stamps:
                journal = read_journal(self.folder)
                self._view = (stamps, self._look(stamps[0], journal.corrections, journal.damaged))
            return self._view[1]

    def add(
        self, correction: Correction, allowed: Callable[[tuple[Correction, ...]], None] | None = None
    ) -> View:
        """Keep a correction; the visit as it stands then. Raises VisitError, or what `allowed` raises."""
        append(self.folder, correction, allowed)
        return self.view()

    def _look(
        self, stamp: Stamp | None, corrections: tuple[Correction, ...], damaged: tuple[str, ...]
    ) -> View:
        if self._record is None or self._record[0] != stamp:
            record = load_record(self.folder)
            self._record = (stamp, record, remarks_of(record))
            self._transcripts.clear()
            sounds = self._sounds()
            self._sounding = frozenset(
                number for number, entry in enumerate(record.recordings) if entry.file in sounds
            )
            self.notices = tuple(what_changed(self.folder, record))
        _, record, remarks = self._record
        if record.pack.id != self.pack.id:
            raise VisitError(
                f"{self.folder}: was processed with another pack meanwhile; start the review again"
            )
        now = reviewed(record, corrections, self.pack)
        return View(record, remarks, corrections, damaged, now, self.names, self._sounding)

    def sound_of(self, number: int) -> tuple[Path, float] | None:
        """The sound file of a recording by its number in the record, and its length; None where none is.

        The name is looked for among the files of the folder: no path is ever made from it. A transcript
        with times may stand in for a sound file of the same name.
        """
        recordings = self.view().record.recordings
        if not 0 <= number < len(recordings):
            return None
        path = self._sounds().get(recordings[number].file)
        return (path, recordings[number].seconds) if path else None

    def _sounds(self) -> dict[str, Path]:
        """The sound files of the folder by the names that a record has for their recordings."""
        listing = recordings_in(self.folder)
        twins = {path.stem: path for path in listing.replaced}
        found = {}
        for path in listing.recordings:
            if not is_transcript(path):
                found[shown_name(path)] = path
            elif path.suffix.lower() in TIMED_SUFFIXES and path.stem in twins:
                found[shown_name(path)] = twins[path.stem]
        return found

    def words_of(self, number: int) -> Transcript | None:
        """The words of a recording with their times, as they were kept; None where they are no more."""
        recordings = self.view().record.recordings
        if not 0 <= number < len(recordings):
            return None
        entry = recordings[number]
        if entry.file not in self._transcripts:
            found = None
            if entry.sha256:
                found = kept_words(self.folder / HOME, entry.sha256, entry.engine, entry.model)
            self._transcripts[entry.file] = found
        return self._transcripts[entry.file]
