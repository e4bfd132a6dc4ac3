"""A record with its corrections applied, and what became of each of them."""

from __future__ import annotations

from pydantic import Field

from voicenotes.corrections.values import Correction, RemarkRef
from voicenotes.model import CheckFinding, Frozen, Record, Severity


class FindingReview(Frozen):
    """That a person looked at a check: the last one who did, and what the record had before."""

    check: str
    by: str
    at: str = Field(description="date and time, ISO 8601")
    changed: bool = Field(description="whether it says something else than the record")
    before: CheckFinding
    wording: str | None = None
    corrections: tuple[str, ...] = Field(description="ids of the corrections in effect, in order")


class NoteReview(Frozen):
    """That a person gave or confirmed a fact or a fitting."""

    id: str
    by: str
    at: str
    correction: str


class AddedFinding(Frozen):
    """A finding that was never spoken. With a `check` it counts for that check's outcome, too."""

    id: str = Field(description="id of the correction that added it")
    title: str
    check: str | None
    station: str | None
    outcome: str
    severity: Severity | None
    photos: tuple[str, ...]
    by: str
    at: str


class SettledGap(Frozen):
    """A gap that a person settled: `why` it was open, and his reason to leave it so."""

    check: str
    why: str
    reason: str
    by: str
    at: str
    correction: str


class HeardAs(Frozen):
    """A remark whose words were put right: as the record has it, and the words as they stand now."""

    remark: RemarkRef
    now: str
    correction: str


class ToDecide(Frozen):
    """A correction that can't be applied as what it spoke of changed or is gone; `line` says which.

    `instead` is a remark at the same place of the recording, if there is one.
    """

    correction: Correction
    line: str
    instead: RemarkRef | None = None


class Reviewed(Frozen):
    """A record as it stands after the review. Without corrections `record` is the record itself."""

    record: Record
    findings: dict[str, FindingReview] = Field(default={}, description="by check id: what was looked at")
    facts: dict[str, NoteReview] = Field(default={}, description="by fact")
    fittings: dict[str, NoteReview] = Field(default={}, description="by fitting")
    added: tuple[AddedFinding, ...] = ()
    settled: tuple[SettledGap, ...] = ()
    heard: tuple[HeardAs, ...] = ()
    to_decide: tuple[ToDecide, ...] = ()

    @property
    def photos(self) -> dict[str, tuple[str, ...]]:
        """Photos by check id."""
        found: dict[str, tuple[str, ...]] = {}
        for added in self.added:
            if added.check:
                found[added.check] = found.get(added.check, ()) + added.photos
        return found
