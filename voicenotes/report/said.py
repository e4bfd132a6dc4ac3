"""What the record holds, as the report shows it: checks, facts, fittings, hearsay, each with its quotes."""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicenotes.findings.settle import basis_is_told
from voicenotes.outputs.report_values import (
    Hearsay,
    ReportCheck,
    ReportFact,
    ReportFitting,
    ReportQuote,
    ReportReading,
)
from voicenotes.report.reviews import (
    corrections_of,
    fact_before,
    fitting_before,
    heard_as,
    left_because,
    note_review,
    review_of,
    understood,
    value_of,
    wording_of,
)
from voicenotes.report.words import clean

if TYPE_CHECKING:
    from collections.abc import Sequence

    from voicenotes.model import CheckFinding, Evidence, Reading
    from voicenotes.outputs.report_values import Group, Review
    from voicenotes.report.reviews import Stands
    from voicenotes.vocabulary.schema import Check, Pack

LITTLE_CONFIDENCE = 0.6


def checks_of(stands: Stands, pack: Pack) -> tuple[ReportCheck, ...]:
    """Each check as it stands and as the report shows it, in walking order."""
    known = {check.id: check for check in pack.checks}
    why = {gap.id: gap.why for gap in stands.record.gaps}
    photos = stands.now.photos
    return tuple(
        _check(stands, finding, known.get(finding.id), why.get(finding.id), photos.get(finding.id, ()))
        for finding in stands.record.checks
    )


def _check(
    stands: Stands, finding: CheckFinding, check: Check | None, why_open: str | None, photos: tuple[str, ...]
) -> ReportCheck:
    left = left_because(stands, finding.id)
    group: Group = "set_aside" if left else _group(finding, why_open)
    told = finding.outcome in ("ok", "defect") and basis_is_told(finding)
    return ReportCheck(
        id=finding.id,
        station=finding.station,
        title=clean(finding.title),
        judged=clean(check.judged) if check else "",
        group=group,
        outcome=finding.outcome,
        severity=finding.severity,
        only_told=told and group not in ("ok", "defect"),
        applies=finding.applies,
        must_before_leaving=finding.must_before_leaving,
        minutes=finding.minutes,
        why_open=left[0] if left else clean(why_open) if why_open else None,
        left_because=left[1] if left else None,
        wording=wording_of(stands, finding.id),
        understood=understood(stands, finding),
        corrections=corrections_of(stands, finding.id),
        quotes=quotes_of(stands, finding.evidence),
        readings=tuple(_reading(finding, reading) for reading in finding.readings),
        remarks=tuple(_remarks(finding, reviewed=finding.id in stands.now.findings)),
        review=review_of(stands, finding.id) or _of_fitting(stands, check, group),
        photos=photos,
    )


def _of_fitting(stands: Stands, check: Check | None, group: Group) -> Review | None:
    """Who said that what a check is of is not there."""
    if check is None or not check.fitting or group != "not_fitted":
        return None
    return note_review(stands.now.fittings.get(check.fitting), True)


def _group(finding: CheckFinding, why_open: str | None) -> Group:
    """Where a check belongs that nobody left open."""
    if why_open is not None:
        return "open"
    if finding.applies is False or finding.outcome == "not_fitted":
        return "not_fitted"
    return "defect" if finding.outcome == "defect" else "ok"


def _remarks(finding: CheckFinding, reviewed: bool) -> list[str]:
    """What to know of a finding beside its quotes."""
    found = []
    if finding.conflict:
        found.append("Said to be good and said to be bad: the worse stands, and somebody has to look again.")
    outside = any(reading.verdict == "outside" for reading in finding.readings)
    if finding.outcome == "ok" and outside:
        found.append("Said to be good, although a reading is outside its limit: look again.")
    within = bool(finding.readings) and all(r.verdict == "within" for r in finding.readings)
    if finding.outcome == "defect" and within:
        found.append("Said to be bad, although the readings are within their limits.")
    counting = [e for e in finding.evidence if e.polarity in ("good", "bad")]
    if counting and not reviewed and all(evidence.confidence < LITTLE_CONFIDENCE for evidence in counting):
        found.append("Read with little certainty: listen to the recording.")
    return found


def quotes_of(stands: Stands, evidence: Sequence[Evidence]) -> tuple[ReportQuote, ...]:
    """Evidence as quotes, in the order in which it was spoken."""
    return tuple(_quote(stands, piece) for piece in evidence)


def _quote(stands: Stands, piece: Evidence) -> ReportQuote:
    return ReportQuote(
        recording=clean(piece.recording),
        start=piece.start,
        end=piece.end,
        text=clean(piece.quote),
        basis=piece.basis,
        polarity=piece.polarity,
        confidence=piece.confidence,
        heard=heard_as(stands, piece),
    )


def _reading(finding: CheckFinding, reading: Reading) -> ReportReading:
    return ReportReading(
        check=finding.id,
        title=clean(finding.title),
        quantity=clean(reading.quantity),
        value=reading.value,
        unit=clean(reading.unit),
        si_value=reading.si_value,
        si_unit=clean(reading.si_unit),
        limit=clean(reading.limit) if reading.limit else None,
        verdict=reading.verdict,
        source=clean(reading.source) if reading.source else None,
        doubtful=clean(reading.doubtful) if reading.doubtful else None,
    )


def facts_of(stands: Stands, pack: Pack) -> tuple[ReportFact, ...]:
    titles = {fact.id: fact.title for fact in pack.facts}
    reviews = stands.now.facts
    return tuple(
        ReportFact(
            id=name,
            title=clean(titles.get(name, name)),
            value=value_of(fact),
            only_told=name not in reviews and _is_told(fact.evidence),
            quotes=quotes_of(stands, fact.evidence),
            understood=(before := fact_before(stands, name)),
            review=note_review(reviews.get(name), before is not None),
        )
        for name, fact in stands.record.facts.items()
        if fact.value is not None
    )


def _is_told(evidence: Sequence[Evidence]) -> bool:
    """Whether all that counts of some evidence was only told."""
    counting = [piece for piece in evidence if piece.polarity != "withdrawn"] or list(evidence)
    return bool(counting) and all(piece.basis == "told" for piece in counting)


def fittings_of(stands: Stands, pack: Pack) -> tuple[ReportFitting, ...]:
    found, reviews = [], stands.now.fittings
    for fitting in pack.head.fittings:
        known = stands.record.fittings.get(fitting.id)
        said = known.evidence if known else ()
        before = fitting_before(stands, fitting.id, known)
        found.append(
            ReportFitting(
                id=fitting.id,
                title=clean(fitting.title),
                fitted=known.fitted if known else None,
                only_told=fitting.id not in reviews and _is_told(said),
                quotes=quotes_of(stands, said),
                understood=before,
                review=note_review(reviews.get(fitting.id), before is not None),
            )
        )
    return tuple(found)


def hearsay_of(stands: Stands, pack: Pack) -> tuple[Hearsay, ...]:
    """Every piece of evidence that somebody only told, of checks, facts and fittings."""
    found, record = [], stands.record
    open_ = {gap.id for gap in record.gaps} | {gap.check for gap in stands.now.settled}
    for finding in record.checks:
        seen = finding.outcome in ("ok", "defect") and finding.id not in open_
        found += _told(stands, "check", finding.id, finding.title, finding.evidence, seen)
    titles = {fact.id: fact.title for fact in pack.facts}
    for name, fact in record.facts.items():
        seen = name in stands.now.facts or any(piece.basis != "told" for piece in fact.evidence)
        found += _told(stands, "fact", name, titles.get(name, name), fact.evidence, seen)
    titles = {fitting.id: fitting.title for fitting in pack.head.fittings}
    for name, fitting in record.fittings.items():
        seen = fitting.fitted is not None
        found += _told(stands, "fitting", name, titles.get(name, name), fitting.evidence, seen)
    return tuple(found)


def _told(
    stands: Stands, kind: str, name: str, title: str, evidence: Sequence[Evidence], seen: bool
) -> list[Hearsay]:
    said = {"kind": kind, "id": name, "title": clean(title), "also_checked": seen}
    return [
        Hearsay.model_validate({**said, "quote": _quote(stands, piece)})
        for piece in evidence
        if piece.basis == "told"
    ]
