"""What the defects may cost: three-point formulas, and the same sum drawn at random.

Three amounts a <= m <= b give a mean of (a+4m+b)/6 and a standard deviation of (b-a)/6: Malcolm, Roseboom,
Clark and Fazar 1959, Operations Research 7(5). Of independent costs the means add, and so do the variances.
The draws take each cost from the beta distribution with the same mean on the same range, "beta-PERT": shapes
1+4(m-a)/(b-a) and 1+4(b-m)/(b-a). Its own deviation is between 0.84 and 1.14 times (b-a)/6, so the two ways
agree in the mean exactly and in the spread about.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from voicenotes.outputs.report_values import CostEstimate, CostLine, Spread
from voicenotes.report.words import clean

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import numpy as np
    from numpy.typing import NDArray

    from voicenotes.model import Severity
    from voicenotes.outputs.report_values import AddedFinding, ReportCheck
    from voicenotes.vocabulary.costs import CostTable
    from voicenotes.vocabulary.schema import Pack

SAMPLES = 20_000
SEED = 1959


@dataclass(frozen=True)
class _Defect:
    """What is priced: `check` and `station` are empty for what a person added that belongs to none."""

    check: str
    station: str
    title: str
    severity: Severity


def pert_mean(low: float, likely: float, high: float) -> float:
    """The expected amount, (a+4m+b)/6."""
    return (low + 4 * likely + high) / 6


def pert_sd(low: float, high: float) -> float:
    """Its standard deviation, (b-a)/6."""
    return (high - low) / 6


def estimate(
    table: CostTable,
    checks: Sequence[ReportCheck],
    pack: Pack,
    likelihoods: Mapping[str, float] | None = None,
    added: Sequence[AddedFinding] = (),
    samples: int = SAMPLES,
    seed: int = SEED,
) -> CostEstimate:
    """The expected repair cost of the defects found or added, and apart from it that of the unsettled checks.

    `likelihoods` says how probable it is that a check, when looked at, is a defect; without any, only the
    worst case of the open checks is given. The same input gives the same numbers.
    """
    usual = {check.id: check.severity for check in pack.checks}
    places = {clean(station.title): station.id for station in pack.head.stations}
    found = [
        _Defect(c.id, c.station, c.title, c.severity or usual[c.id]) for c in checks if c.group == "defect"
    ]
    found += [_Defect("", places.get(a.station or "", ""), a.title, a.severity) for a in added if a.severity]
    lines, unpriced = _lines(table, found)
    unsettled = [
        _Defect(c.id, c.station, c.title, usual[c.id]) for c in checks if c.group in ("open", "set_aside")
    ]
    waiting, open_unpriced = _lines(table, unsettled, likelihoods or {})
    return CostEstimate(
        table=table.title,
        invented=table.invented,
        currency=table.currency,
        note=table.note,
        samples=samples,
        seed=seed,
        lines=lines,
        unpriced=unpriced,
        found=spread(lines, samples, seed),
        open_lines=waiting,
        open_unpriced=open_unpriced,
        open_likelihoods=likelihoods is not None,
        open=spread(waiting, samples, seed + 1) if likelihoods is not None else None,
        open_worst=sum(line.high for line in waiting),
    )


def _lines(
    table: CostTable,
    defects: Sequence[_Defect],
    likelihoods: Mapping[str, float] | None = None,
) -> tuple[tuple[CostLine, ...], tuple[str, ...]]:
    """A line for each defect with a price, and the titles of those without."""
    lines, unpriced = [], []
    for defect in defects:
        found = table.cost_of(defect.check, defect.station, defect.severity)
        if found is None:
            unpriced.append(defect.title)
            continue
        cost, entry = found
        lines.append(
            CostLine(
                check=defect.check,
                title=defect.title,
                severity=defect.severity,
                taken_from=entry,
                low=cost.low,
                likely=cost.likely,
                high=cost.high,
                mean=pert_mean(cost.low, cost.likely, cost.high),
                sd=pert_sd(cost.low, cost.high),
                likelihood=1.0 if likelihoods is None else likelihoods.get(defect.check, 0.0),
            )
        )
    return tuple(lines), tuple(unpriced)


def spread(lines: Sequence[CostLine], samples: int = SAMPLES, seed: int = SEED) -> Spread:
    """The sum of independent costs, each of which comes with its likelihood.

    With likelihood p, mean M and deviation s a cost has the mean pM and the variance p s^2 + p(1-p) M^2.
    """
    import numpy as np

    means = [line.likelihood * line.mean for line in lines]
    variances = [
        line.likelihood * line.sd**2 + line.likelihood * (1 - line.likelihood) * line.mean**2
        for line in lines
    ]
    drawn = _drawn(lines, samples, seed)
    p10, p50, p90 = (float(value) for value in np.quantile(drawn, (0.1, 0.5, 0.9)))
    return Spread(
        mean=math.fsum(means),
        sd=math.sqrt(math.fsum(variances)),
        drawn_mean=float(drawn.mean()),
        drawn_sd=float(drawn.std()),
        p10=p10,
        p50=p50,
        p90=p90,
        low=math.fsum(line.low for line in lines if line.likelihood == 1.0),
        high=math.fsum(line.high for line in lines),
    )


def _drawn(lines: Sequence[CostLine], samples: int, seed: int) -> NDArray[np.float64]:
    """`samples` sums of the lines, one cost at a time so that many lines need no more memory."""
    import numpy as np

    source = np.random.Generator(np.random.PCG64(seed))
    total = np.zeros(samples)
    for line in lines:
        width = line.high - line.low
        if width > 0:
            shapes = 1 + 4 * (line.likely - line.low) / width, 1 + 4 * (line.high - line.likely) / width
            amounts = line.low + width * source.beta(*shapes, samples)
        else:
            amounts = np.full(samples, line.low)
        total += np.where(source.random(samples) < line.likelihood, amounts, 0.0)
    return total
