"""What the review says of a record: by whom and when a thing was looked at, and what was changed in it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from voicenotes.corrections.apply import in_effect, reviewed
from voicenotes.corrections.values import Add, Confirm, OfCheck, OfRemark, SetWording
from voicenotes.corrections.wording import said_of, said_of_check, titles_of
from voicenotes.outputs.report_values import AddedFinding, ReportCorrection, Review
from voicenotes.outputs.wording import number
from voicenotes.report.words import clean, outcome_named

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from voicenotes.corrections.reviewed_values import NoteReview, Reviewed
    from voicenotes.corrections.values import Correction
    from voicenotes.model import CheckFinding, Evidence, FactFinding, FittingFinding, Record
    from voicenotes.outputs.report_values import ReviewKind
    from voicenotes.vocabulary.schema import Pack

FITTED = {True: "fitted", False: "not fitted", None: "nobody said"}


@dataclass(frozen=True)
class Stands:
    """A visit as it stands: the record as it was, and what the corrections in effect make of it.

    `titles` are those of checks, facts and fittings, `heard` the words that were put right, by their place.
    """

    before: Record
    now: Reviewed
    corrections: Mapping[str, Correction]
    damaged: tuple[str, ...]
    titles: Mapping[str, str]
    heard: Mapping[tuple[str, float, float], str]

    @property
    def record(self) -> Record:
        """The record as it stands."""
        return self.now.record


def stands_of(
    record: Record, pack: Pack, corrections: Sequence[Correction] = (), damaged: Sequence[str] = ()
) -> Stands:
    """A record with its corrections; `damaged` are the journal's lines on what it could not read."""
    now = reviewed(record, corrections, pack)
    heard = {(one.remark.recording, one.remark.start, one.remark.end): one.remark.quote for one in now.heard}
    active = {correction.id: correction for correction in in_effect(corrections)}
    return Stands(record, now, active, tuple(map(clean, damaged)), titles_of(pack), heard)


def heard_as(stands: Stands, piece: Evidence) -> str | None:
    """What the program heard where a person put other words in its place."""
    heard = stands.heard.get((piece.recording, piece.start, piece.end))
    return clean(heard) if heard is not None and heard != piece.quote else None


def review_of(stands: Stands, check: str) -> Review | None:
    """Who looked at a check last, and what came of it."""
    left = next((gap for gap in stands.now.settled if gap.check == check), None)
    if left:
        return Review(by=clean(left.by), at=left.at, kind="left open")
    found = stands.now.findings.get(check)
    if found is None:
        return None
    kind: ReviewKind = "corrected" if found.changed else "confirmed"
    said = [stands.corrections[name].what for name in found.corrections]
    if all(isinstance(what, Add | Confirm) for what in said) and found.before.outcome == "not_mentioned":
        kind = "added"
    return Review(by=clean(found.by), at=found.at, kind=kind)


def left_because(stands: Stands, check: str) -> tuple[str, str] | None:
    """Why a gap that a person settled was open, and his reason; None for other checks."""
    left = next((gap for gap in stands.now.settled if gap.check == check), None)
    return (clean(left.why), clean(left.reason)) if left else None


def wording_of(stands: Stands, check: str) -> str | None:
    found = stands.now.findings.get(check)
    return clean(found.wording) if found and found.wording else None


def understood(stands: Stands, now: CheckFinding) -> str | None:
    """What the program had made of a check, where it now stands otherwise."""
    found = stands.now.findings.get(now.id)
    if found is None:
        return None
    before = outcome_named(found.before.outcome, found.before.severity)
    return before if before != outcome_named(now.outcome, now.severity) else None


def corrections_of(stands: Stands, check: str) -> tuple[str, ...]:
    """What was corrected in a check, without what stands beside it anyway: confirmations and wordings."""
    found = stands.now.findings.get(check)
    lines = []
    for name in found.corrections if found else ():
        correction = stands.corrections[name]
        what = correction.what
        if isinstance(what, Confirm | SetWording):
            continue
        of_check = isinstance(what, OfCheck)
        words = said_of_check(what) if of_check else said_of(correction, stands.titles, {})  # type: ignore[arg-type]
        lines.append(clean(f"{words} ({by_and_day(correction.who, correction.time)})"))
    return tuple(lines)


def by_and_day(who: str, at: str) -> str:
    """ "Kim, 2024-03-13"."""
    return f"{who}, {at[:10]}"


def fact_before(stands: Stands, name: str) -> str | None:
    """What the program had understood of a fact, where a person says otherwise."""
    before, now = stands.before.facts.get(name), stands.record.facts[name]
    if name not in stands.now.facts or before is None or (before.value, before.unit) == (now.value, now.unit):
        return None
    return value_of(before) if before.value is not None else "nothing"


def value_of(fact: FactFinding) -> str:
    """A fact's value with its unit."""
    value = fact.value if isinstance(fact.value, (str, int)) else number(fact.value or 0.0)
    return clean(f"{value} {fact.unit or ''}")


def fitting_before(stands: Stands, name: str, now: FittingFinding | None) -> str | None:
    before = stands.before.fittings.get(name)
    if name not in stands.now.fittings or before is None or now is None or before.fitted == now.fitted:
        return None
    return FITTED[before.fitted]


def note_review(note: NoteReview | None, changed: bool) -> Review | None:
    """Who gave or confirmed a fact or fitting."""
    return (
        Review(by=clean(note.by), at=note.at, kind="corrected" if changed else "confirmed") if note else None
    )


def added_findings(stands: Stands, pack: Pack) -> tuple[AddedFinding, ...]:
    """The findings that a person added and that belong to no check."""
    stations = {station.id: station.title for station in pack.head.stations}
    return tuple(
        AddedFinding.model_validate(
            {
                "title": clean(one.title),
                "station": clean(stations.get(one.station, one.station)) if one.station else None,
                "outcome": one.outcome,
                "severity": (one.severity or "minor") if one.outcome == "defect" else None,
                "review": Review(by=clean(one.by), at=one.at, kind="added"),
                "photos": one.photos,
            }
        )
        for one in stands.now.added
        if one.check is None
    )


def captions(stands: Stands) -> dict[str, str]:
    """What each photo shows, by its file's name: the findings that it was added with."""
    found: dict[str, list[str]] = {}
    for one in stands.now.added:
        for name in one.photos:
            found.setdefault(name, []).append(one.title)
    return {name: "; ".join(dict.fromkeys(titles)) for name, titles in found.items()}


def _remark(correction: Correction) -> dict[str, str | float]:
    """The remark that a correction is of, as it was heard."""
    if not isinstance(correction.what, OfRemark):
        return {}
    remark = correction.what.remark
    return {"heard": clean(remark.quote), "recording": clean(remark.recording), "start": remark.start}


def report_corrections(stands: Stands) -> tuple[ReportCorrection, ...]:
    """All corrections in effect, in the order in which they were made; some need a decision."""
    why = {one.correction.id: one.line for one in stands.now.to_decide}
    return tuple(
        ReportCorrection.model_validate(
            {
                "by": clean(correction.who),
                "at": correction.time,
                "line": clean(said_of(correction, stands.titles, {})),
                **_remark(correction),
                "undecided": clean(why[name]) if name in why else None,
            }
        )
        for name, correction in stands.corrections.items()
    )
