"""The gap list of a visit as it stands: with what was corrected, and without what a person left open."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from voicenotes.corrections.apply import reviewed
from voicenotes.corrections.journal import read_journal
from voicenotes.findings.gap_list import gap_list
from voicenotes.findings.gap_values import LeftOpen

if TYPE_CHECKING:
    from pathlib import Path

    from voicenotes.corrections.reviewed_values import Reviewed
    from voicenotes.findings.gap_values import GapList
    from voicenotes.model import Record
    from voicenotes.vocabulary.schema import Pack


@dataclass(frozen=True)
class StillOpen:
    """The list, the record as it stands, and lines on corrections that could not be applied or read."""

    gaps: GapList
    record: Record
    troubles: tuple[str, ...]


def still_open(visit: str | Path, record: Record, pack: Pack, only_must: bool = False) -> StillOpen:
    """What is open in a visit. Without a journal that is what the record says.

    Raises VisitError when the journal can't be read at all.
    """
    journal = read_journal(visit)
    now = reviewed(record, journal.corrections, pack)
    troubles = list(journal.damaged)
    if now.to_decide:
        number = len(now.to_decide)
        corrections = "1 correction needs" if number == 1 else f"{number} corrections need"
        troubles.append(f"{corrections} a decision first: voicenotes review {visit}")
    gaps = gap_list(now.record, pack, only_must, left_open(now))
    return StillOpen(gaps, now.record, tuple(troubles))


def left_open(now: Reviewed) -> tuple[LeftOpen, ...]:
    """The gaps that a person settled with a reason."""
    findings = {finding.id: finding for finding in now.record.checks}
    return tuple(
        LeftOpen(
            id=gap.check,
            station=findings[gap.check].station,
            title=findings[gap.check].title,
            why=gap.why,
            reason=gap.reason,
            by=gap.by,
            at=gap.at,
            must_before_leaving=findings[gap.check].must_before_leaving,
        )
        for gap in now.settled
    )
