"""How likely a check that nobody did would have shown a defect, by the pack's own classes."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

    from voicenotes.model import CheckFinding
    from voicenotes.vocabulary.schema import Check, Pack


def likelihood(check: Check | None, pack: Pack) -> float | None:
    """The share of machines (0 to 1) that have the defect; None where the pack weighs no risks."""
    if check is None or check.likely is None or pack.head.risk is None:
        return None
    return float(getattr(pack.head.risk.likelihoods, check.likely))


def share_fitted(fitting: str | None, pack: Pack) -> float:
    """The share of machines that have a fitting, as the pack has it; 1 for no fitting."""
    shares = {one.id: one.share or 0.0 for one in pack.head.fittings}
    return shares.get(fitting, 1.0) if fitting else 1.0


def likelihoods(checks: Iterable[CheckFinding], pack: Pack) -> dict[str, float] | None:
    """For each check how likely a defect is; where nobody knows of its fitting, times the share that have it.

    None where the pack weighs no risks.
    """
    if pack.head.risk is None:
        return None
    known = {check.id: check for check in pack.checks}
    found = {}
    for finding in checks:
        check = known.get(finding.id)
        likely = likelihood(check, pack)
        if check is not None and likely is not None:
            share = share_fitted(check.fitting, pack) if finding.applies is None else 1.0
            found[finding.id] = round(likely * share, 6)
    return found
