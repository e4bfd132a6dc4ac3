"""Many mentions become one outcome a check.

Precedence, worst first, of what was seen or measured and not taken back:
  defect > unsure > ok > not tested; only when none of these: what was told.
A fitting that is said to be absent makes its checks not_fitted, unless one of them was judged.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from voicenotes.language.severity import worst_severity
from voicenotes.model import CheckFinding, Evidence, FactFinding, FittingFinding, Untagged

if TYPE_CHECKING:
    from collections.abc import Sequence

    from voicenotes.language.mentions import FactMention, FittingMention, Mention, Remark
    from voicenotes.model import Basis, Outcome, Polarity
    from voicenotes.vocabulary.schema import Check, Pack

_PRECEDENCE: tuple[tuple[Polarity, Outcome], ...] = (
    ("bad", "defect"),
    ("unsure", "unsure"),
    ("good", "ok"),
    ("not_tested", "not_tested"),
)


@dataclass(frozen=True)
class SpokenRemark:
    """A remark and the recording it stands in."""

    recording: str
    remark: Remark


def settle_checks(
    pack: Pack, remarks: Sequence[SpokenRemark], fittings: dict[str, FittingFinding]
) -> tuple[CheckFinding, ...]:
    """One finding for each check of the pack, in walking order."""
    by_check: dict[str, list[tuple[SpokenRemark, Mention]]] = {}
    for spoken in remarks:
        for mention in spoken.remark.mentions:
            by_check.setdefault(mention.check, []).append((spoken, mention))
    return tuple(_settle(check, by_check.get(check.id, []), fittings) for check in pack.checks)


def _settle(
    check: Check, said: list[tuple[SpokenRemark, Mention]], fittings: dict[str, FittingFinding]
) -> CheckFinding:
    counting = [mention for spoken, mention in said if spoken.remark.taken_back is None]
    at_hand = [mention for mention in counting if mention.basis != "told"]
    outcome = _worst_of(at_hand)
    if outcome == "not_mentioned":
        outcome = _worst_of(counting)
    deciding = at_hand if _worst_of(at_hand) != "not_mentioned" else counting
    fitted = fittings[check.fitting].fitted if check.fitting else True
    if fitted is False:
        outcome = "not_fitted"
    severity = None
    if outcome == "defect":
        bad = [mention for mention in deciding if mention.polarity == "bad"]
        stated = [mention for mention in bad if mention.stated]
        for mention in stated or bad:
            severity = worst_severity(severity, mention.severity)
        severity = severity or check.severity
    polarities = {mention.polarity for mention in counting}
    readings = tuple(dict.fromkeys(r for mention in counting for r in mention.readings))
    return CheckFinding(
        id=check.id,
        station=check.station,
        title=check.title,
        applies=fitted,
        outcome=outcome,
        severity=severity,
        must_before_leaving=check.must_before_leaving,
        minutes=check.minutes,
        readings=readings,
        evidence=tuple(_evidence(spoken, mention) for spoken, mention in said),
        conflict={"good", "bad"} <= polarities,
    )


def _worst_of(mentions: Sequence[Mention]) -> Outcome:
    polarities = {mention.polarity for mention in mentions}
    for polarity, outcome in _PRECEDENCE:
        if polarity in polarities:
            return outcome
    return "not_mentioned"


def _evidence(spoken: SpokenRemark, mention: Mention | FittingMention | FactMention) -> Evidence:
    remark = spoken.remark
    taken_back = remark.taken_back
    polarity: Polarity = getattr(mention, "polarity", "named")
    if hasattr(mention, "fitted"):
        polarity = "not_fitted" if mention.fitted is False else "good" if mention.fitted else "unsure"
    return Evidence(
        recording=spoken.recording,
        start=remark.start,
        end=remark.end,
        quote=remark.quote,
        basis=mention.basis,
        polarity="withdrawn" if taken_back else polarity,
        confidence=max(0.0, min(1.0, mention.confidence)),
        why=f"{mention.why}; taken back by {taken_back}" if taken_back else mention.why,
    )


def settle_fittings(pack: Pack, remarks: Sequence[SpokenRemark]) -> dict[str, FittingFinding]:
    """Whether each fitting is there: what was judged or said outright; hearsay settles nothing."""
    results: dict[str, FittingFinding] = {}
    for fitting in pack.head.fittings:
        said = [(s, m) for s in remarks for m in s.remark.fittings if m.fitting == fitting.id]
        counting = [m for s, m in said if s.remark.taken_back is None and m.basis != "told"]
        said_absent = any(m.fitted is False for m in counting)
        there = [m.fitted for m in counting if not (said_absent and m.implied)]
        fitted = True if True in there else False if False in there else None
        results[fitting.id] = FittingFinding(
            fitted=fitted, evidence=tuple(_evidence(spoken, mention) for spoken, mention in said)
        )
    return results


def settle_facts(pack: Pack, remarks: Sequence[SpokenRemark]) -> dict[str, FactFinding]:
    """The values of the pack's facts: the last one seen that was not taken back, else the last told."""
    results: dict[str, FactFinding] = {}
    for fact in pack.facts:
        said = [(s, m) for s in remarks for m in s.remark.facts if m.fact == fact.id]
        counting = [m for s, m in said if s.remark.taken_back is None]
        seen = [m for m in counting if m.basis != "told"]
        last = (seen or counting)[-1:]
        results[fact.id] = FactFinding(
            value=last[0].value if last else None,
            unit=last[0].unit if last else None,
            evidence=tuple(_evidence(spoken, mention) for spoken, mention in said),
        )
    return results


def untagged_of(remarks: Sequence[SpokenRemark]) -> tuple[Untagged, ...]:
    """The remarks that nothing took."""
    return tuple(
        Untagged(recording=s.recording, start=s.remark.start, end=s.remark.end, quote=s.remark.quote)
        for s in remarks
        if not s.remark.is_tagged
    )


def basis_is_told(finding: CheckFinding) -> bool:
    """Whether a finding's outcome rests on hearsay alone."""
    counting: list[Basis] = [
        e.basis for e in finding.evidence if e.polarity in ("good", "bad", "unsure", "not_tested")
    ]
    return bool(counting) and all(basis == "told" for basis in counting)
