"""What a correction bears on, and a mark of how that stands: two tabs must not correct the same unawares."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

from voicenotes.corrections.values import (
    Add,
    Move,
    SetFact,
    SetFitting,
    Tag,
    Undo,
    Words,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from voicenotes.corrections.refs import Remarks
    from voicenotes.corrections.values import Correction, RemarkRef
    from voicenotes.model import CheckFinding

NONE = "-"


def remark_key(remark: RemarkRef) -> str:
    """A remark's key: the same as long as it is the same remark."""
    said = f"{remark.sha256 or remark.recording}|{remark.start}|{remark.end}|{remark.quote}"
    return hashlib.sha256(said.encode()).hexdigest()[:16]


def last_on(corrections: Sequence[Correction]) -> dict[str, str]:
    """For each thing that corrections bear on, the id of the last one that does."""
    of_id: dict[str, tuple[str, ...]] = {}
    last: dict[str, str] = {}
    for correction in corrections:
        what = correction.what
        targets = of_id.get(what.undoes, ()) if isinstance(what, Undo) else targets_of(correction)
        of_id[correction.id] = targets
        last |= dict.fromkeys(targets, correction.id)
    return last


def targets_of(correction: Correction) -> tuple[str, ...]:
    """What a correction bears on, as `check:`, `remark:`, `fact:` or `fitting:` and a name."""
    what = correction.what
    if isinstance(what, Undo):
        return ()
    if isinstance(what, Move):
        checks = [check for check in (what.check, what.to) if check]
        return (f"remark:{remark_key(what.remark)}", *(f"check:{check}" for check in checks))
    if isinstance(what, Tag):
        return (f"remark:{remark_key(what.remark)}", f"check:{what.check}")
    if isinstance(what, Words):
        return (f"remark:{remark_key(what.remark)}",)
    if isinstance(what, Add):
        return (f"check:{what.check}",) if what.check else ()
    if isinstance(what, SetFact):
        return (f"fact:{what.fact}",)
    if isinstance(what, SetFitting):
        return (f"fitting:{what.fitting}",)
    return (f"check:{what.check}",)


def state_of(last: dict[str, str], targets: Iterable[str]) -> str:
    """A mark of how some things stand."""
    found = [last.get(target, NONE) for target in targets]
    return hashlib.sha256("|".join(found).encode()).hexdigest()[:16]


def check_targets(finding: CheckFinding, remarks: Remarks) -> list[str]:
    """A check of the record and the remarks that it rests on there."""
    said = [f"remark:{remark_key(remarks.ref(evidence))}" for evidence in finding.evidence]
    return [f"check:{finding.id}", *dict.fromkeys(said)]
