"""How a cost estimate is worded: the same sentences and rows in every format."""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicenotes.outputs.wording import count
from voicenotes.report.words import joined, money

if TYPE_CHECKING:
    from voicenotes.outputs.report_values import CostEstimate, CostLine

METHOD = (
    "Three-point formulas: Malcolm, Roseboom, Clark and Fazar 1959, Operations Research 7(5). "
    "The costs are taken as independent of one another; where one repair brings another with it, the true "
    "spread is wider."
)
DEAREST = 10


def invented_line(cost: CostEstimate) -> str | None:
    """That the amounts are made up, where they are."""
    if not cost.invented:
        return None
    return f"INVENTED AMOUNTS: the table \u201c{cost.table}\u201d is a made-up example, no real prices."


def found_rows(cost: CostEstimate) -> list[tuple[str, float, str]]:
    """The sum over the found defects: what, amount in the currency, how it is reckoned."""
    found, drawn = cost.found, f"{cost.samples:,} sums drawn at random (beta-PERT)"
    return [
        ("Expected", found.mean, "sum of (low + 4 likely + high) / 6"),
        ("Spread", found.sd, "one standard deviation: root of the sum of ((high - low) / 6) squared"),
        ("In 1 of 10 cases below", found.p10, drawn),
        ("As often below as above", found.p50, drawn),
        ("In 1 of 10 cases above", found.p90, drawn),
    ]


def found_line(cost: CostEstimate) -> str | None:
    """The expected cost of the found defects in a sentence; None where none has a price."""
    if not cost.lines:
        return None
    found, currency = cost.found, cost.currency
    return (
        f"Expected cost of putting the found defects right: {money(found.mean, currency)}, give or take "
        f"{money(found.sd, currency)}; in 8 of 10 cases between {money(found.p10, currency)} and "
        f"{money(found.p90, currency)}."
    )


def unpriced_line(cost: CostEstimate) -> str | None:
    """The found defects that are not in the sum."""
    return f"Without a price, and so not in that sum: {joined(cost.unpriced)}." if cost.unpriced else None


def open_line(cost: CostEstimate) -> str | None:
    """What the unsettled checks may add, in a sentence or two; None where none has a price."""
    if not cost.open_lines:
        return None
    checks, worst = count(len(cost.open_lines), "unsettled check"), money(cost.open_worst, cost.currency)
    if cost.open is None:
        return (
            f"The {checks} may add anything from nothing to {worst}, if each turned out a defect at its "
            "highest cost. How likely that is, is not known."
        )
    low, high = money(cost.open.p10, cost.currency), money(cost.open.p90, cost.currency)
    return (
        f"The {checks} may add to that, {money(cost.open.mean, cost.currency)} on average, in 8 of 10 cases "
        f"between {low} and {high}, at the very worst {worst}. How often a check turns out a defect is a "
        "rough guess of the pack's."
    )


def open_unpriced_line(cost: CostEstimate) -> str | None:
    """The unsettled checks that are in no sum."""
    if not cost.open_unpriced:
        return None
    return f"Unsettled and without a price: {joined(cost.open_unpriced, 100)}."


def dearest(cost: CostEstimate) -> list[CostLine]:
    """The unsettled checks that weigh most, the heaviest first."""
    heaviest = sorted(cost.open_lines, key=lambda line: (-line.likelihood * line.mean, line.check))
    return [line for line in heaviest if line.likelihood > 0][:DEAREST]
