"""A record while corrections are applied to it: what stands where, and what was touched by whom."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from voicenotes.corrections.refs import place_of, remarks_of
from voicenotes.corrections.reviewed_values import ToDecide
from voicenotes.language.severity import worst_severity

if TYPE_CHECKING:
    from collections.abc import Iterable

    from voicenotes.corrections.refs import Place
    from voicenotes.corrections.values import Correction, RemarkRef
    from voicenotes.model import (
        CheckFinding,
        Evidence,
        FactFinding,
        FittingFinding,
        Record,
        Severity,
        Untagged,
    )
    from voicenotes.vocabulary.schema import Check, Pack

JUDGES = frozenset(("good", "bad", "unsure", "not_tested"))


class Workbench:
    """The findings of a record, to be changed one after another; the record itself stays as it is."""

    def __init__(self, record: Record, pack: Pack) -> None:
        self.record, self.pack = record, pack
        self.remarks = remarks_of(record)
        self.order = {entry.file: number for number, entry in enumerate(record.recordings)}
        self.of_pack: dict[str, Check] = {check.id: check for check in pack.checks}
        self.before = {finding.id: finding for finding in record.checks}
        self.findings: dict[str, CheckFinding] = dict(self.before)
        self.facts: dict[str, FactFinding] = dict(record.facts)
        self.fittings: dict[str, FittingFinding] = dict(record.fittings)
        self.untagged: dict[Place, Untagged] = {place_of(remark): remark for remark in record.untagged}
        self.words: dict[Place, str] = {}
        self.touched: dict[str, list[Correction]] = defaultdict(list)
        self.resettle: dict[str, Severity | None] = {}
        self.regap: set[str] = set()
        self.by_person: set[str] = set()
        self.to_decide: list[ToDecide] = []
        self._checks_at: dict[Place, list[str]] | None = None

    def checks_at(self, place: Place) -> list[str]:
        """The checks of the record that a remark bears on."""
        if self._checks_at is None:
            found: dict[Place, list[str]] = defaultdict(list)
            for finding in self.record.checks:
                for place_said in dict.fromkeys(place_of(e) for e in finding.evidence):
                    found[place_said].append(finding.id)
            self._checks_at = found
        return self._checks_at.get(place, [])

    def quote(self, place: Place) -> str:
        """The words of a remark as they stand now."""
        return self.words.get(place, self.remarks.quotes[place])

    def touch(self, check: str, correction: Correction) -> None:
        """Note that a correction bears on a check."""
        if correction not in self.touched[check]:
            self.touched[check].append(correction)
        self.regap.add(check)

    def with_evidence(self, check: str, evidence: Iterable[Evidence], graver: Severity | None = None) -> None:
        """Give a check other evidence, in the order in which it was said; it is settled again later."""
        ordered = sorted(evidence, key=lambda e: (self.order.get(e.recording, 0), e.start))
        finding = self.findings[check]
        applies = finding.applies
        if applies is not True and any(e.polarity in JUDGES for e in ordered):
            had = {place_of(e) for e in finding.evidence if e.polarity in JUDGES}
            if any(place_of(e) not in had for e in ordered if e.polarity in JUDGES):
                applies = True  # what is judged is there
        self.findings[check] = finding.model_copy(update={"evidence": tuple(ordered), "applies": applies})
        self.resettle[check] = worst_severity(self.resettle.get(check), graver)

    def is_tagged(self, place: Place) -> bool:
        """Whether a check, fact or fitting holds the remark as things stand."""
        said = [finding.evidence for finding in self.findings.values()]
        said += [fact.evidence for fact in self.facts.values()]
        said += [fitting.evidence for fitting in self.fittings.values()]
        return any(place_of(e) == place for evidence in said for e in evidence)

    def decide(self, correction: Correction, line: str, instead: RemarkRef | None = None) -> None:
        """A correction can't be applied: a person has to look at it."""
        self.to_decide.append(ToDecide(correction=correction, line=line, instead=instead))
