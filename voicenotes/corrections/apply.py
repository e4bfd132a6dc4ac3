"""A record and its corrections in, the record as it stands after the review out; no file is touched.

The order: undos; words; moves and tags; facts and fittings; then each check that any of these touched is
settled again from its evidence; findings that were added; what was said of checks as a whole, the last of a
kind winning; gaps. A check that nothing touched stays as the record has it, to the byte.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicenotes.corrections.on_checks import (
    apply_added,
    apply_fittings_and_facts,
    apply_to_checks,
    checks_of_fittings,
)
from voicenotes.corrections.on_remarks import apply_moves_and_tags, apply_words
from voicenotes.corrections.reviewed_values import (
    AddedFinding,
    FindingReview,
    HeardAs,
    NoteReview,
    Reviewed,
    SettledGap,
)
from voicenotes.corrections.settling import settled_again
from voicenotes.corrections.values import Add, SetFact, SetFitting, SettleGap, SetWording, Undo
from voicenotes.corrections.workbench import Workbench
from voicenotes.findings.gaps import gaps_of
from voicenotes.model import Gap

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from voicenotes.corrections.refs import Place
    from voicenotes.corrections.values import Correction
    from voicenotes.model import CheckFinding, Record
    from voicenotes.vocabulary.schema import Pack

IN_THE_REVIEW = "as a person said in the review"


def in_effect(corrections: Sequence[Correction]) -> tuple[Correction, ...]:
    """The corrections that no undo in effect takes back, without the undos."""
    return tuple(c for c in standing(corrections) if not isinstance(c.what, Undo))


def standing(corrections: Sequence[Correction]) -> tuple[Correction, ...]:
    """The corrections and undos that are in effect."""
    undone: set[str] = set()
    left = []
    for correction in reversed(corrections):
        if correction.id in undone:
            continue
        left.append(correction)
        if isinstance(correction.what, Undo):
            undone.add(correction.what.undoes)
    return tuple(reversed(left))


def reviewed(record: Record, corrections: Sequence[Correction], pack: Pack) -> Reviewed:
    """The record with its corrections applied, and what became of each."""
    active = in_effect(corrections)
    if not active:
        return Reviewed(record=record)
    bench = Workbench(record, pack)
    words = apply_words(bench, active)
    apply_moves_and_tags(bench, active)
    apply_fittings_and_facts(bench, active)
    checks_of_fittings(bench)
    for check, graver in bench.resettle.items():
        with_now = bench.findings[check]
        before = bench.before[check].model_copy(update={"applies": with_now.applies})
        bench.findings[check] = settled_again(
            before.model_copy(update={"readings": with_now.readings}),
            with_now.evidence,
            bench.of_pack.get(check),
            graver,
        )
        bench.regap.add(check)
    apply_added(bench, active)
    settling = apply_to_checks(bench, active)
    undecided = {decision.correction.id for decision in bench.to_decide}
    gaps, settled = _gaps(bench, settling)
    counting = [correction for correction in active if correction.id not in undecided]
    findings = _reviews(bench)
    return Reviewed(
        record=_record(bench, gaps, findings),
        findings=findings,
        facts={c.what.fact: _note(c.what.fact, c) for c in counting if isinstance(c.what, SetFact)},
        fittings={
            c.what.fitting: _note(c.what.fitting, c) for c in counting if isinstance(c.what, SetFitting)
        },
        added=tuple(_added(c, c.what) for c in counting if isinstance(c.what, Add)),
        settled=settled,
        heard=_heard(bench, words),
        to_decide=tuple(bench.to_decide),
    )


def _record(bench: Workbench, gaps: tuple[Gap, ...], findings: Mapping[str, FindingReview]) -> Record:
    checks = tuple(
        finding.model_copy(update={"confirmed": True}) if finding.id in findings else finding
        for finding in (bench.findings[before.id] for before in bench.record.checks)
    )
    known = {(u.recording, u.start, u.end): n for n, u in enumerate(bench.record.untagged)}
    untagged = bench.record.untagged
    if dict.fromkeys(known) != dict.fromkeys(bench.untagged) or bench.words:
        order = bench.order
        untagged = tuple(
            sorted(bench.untagged.values(), key=lambda u: (order.get(u.recording, 0), u.start, u.end))
        )
    return bench.record.model_copy(
        update={
            "checks": checks,
            "facts": bench.facts,
            "fittings": bench.fittings,
            "untagged": untagged,
            "gaps": gaps,
        }
    )


def _gaps(bench: Workbench, settling: Sequence[Correction]) -> tuple[tuple[Gap, ...], tuple[SettledGap, ...]]:
    """The gaps that are left in walking order, and those that a person settled."""
    before = {gap.id: gap for gap in bench.record.gaps}
    reasons = {c.what.check: c for c in settling if isinstance(c.what, SettleGap)}
    left: list[Gap] = []
    settled: list[SettledGap] = []
    for finding in bench.record.checks:
        now = bench.findings[finding.id]
        gap = _gap(bench, now) if finding.id in bench.regap else before.get(finding.id)
        correction = reasons.get(finding.id)
        if gap is None:
            continue
        if correction is None:
            left.append(gap)
            continue
        what = correction.what
        if isinstance(what, SettleGap):
            settled.append(
                SettledGap(
                    check=gap.id, why=gap.why, reason=what.reason, by=correction.who, at=correction.time,
                    correction=correction.id,
                )
            )  # fmt: skip
    return tuple(left), tuple(settled)


def _gap(bench: Workbench, finding: CheckFinding) -> Gap | None:
    """Whether a check that was touched is open; what a person said of it settles it, told or not."""
    if finding.id not in bench.by_person:
        return next(iter(gaps_of((finding,))), None)
    if finding.outcome in ("ok", "defect", "not_fitted"):
        return None
    if finding.outcome == "not_mentioned":
        return Gap(id=finding.id, why=f"not checked, {IN_THE_REVIEW}")
    return Gap(id=finding.id, why=f"{finding.outcome.replace('_', ' ')}, {IN_THE_REVIEW}")


def _reviews(bench: Workbench) -> dict[str, FindingReview]:
    reviews = {}
    for check, corrections in bench.touched.items():
        if not corrections:
            continue
        ordered = sorted(corrections, key=lambda c: c.time)
        wordings = [c.what.text for c in corrections if isinstance(c.what, SetWording)]
        before, after = bench.before[check], bench.findings[check]
        reviews[check] = FindingReview(
            check=check,
            by=ordered[-1].who,
            at=ordered[-1].time,
            changed=before != after or bool(wordings),
            before=before,
            wording=wordings[-1] if wordings else None,
            corrections=tuple(c.id for c in corrections),
        )
    return reviews


def _note(name: str, correction: Correction) -> NoteReview:
    return NoteReview(id=name, by=correction.who, at=correction.time, correction=correction.id)


def _added(correction: Correction, what: Add) -> AddedFinding:
    return AddedFinding(
        id=correction.id, title=what.title, check=what.check, station=what.station, outcome=what.outcome,
        severity=what.severity, photos=what.photos, by=correction.who, at=correction.time,
    )  # fmt: skip


def _heard(bench: Workbench, words: Mapping[Place, Correction]) -> tuple[HeardAs, ...]:
    found = []
    for place, correction in words.items():
        name, start, end = place
        remark = getattr(correction.what, "remark", None)
        if remark is not None and place in bench.words:
            here = remark.model_copy(update={"recording": name, "start": start, "end": end})
            found.append(HeardAs(remark=here, now=bench.words[place], correction=correction.id))
    return tuple(found)
