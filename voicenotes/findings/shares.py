"""Shares with their 95 % intervals, and the harmonic mean of two of them.

The interval is Wilson's: E. B. Wilson 1927, "Probable inference, the law of succession, and statistical
inference"; it stays inside 0 to 1 and holds for few cases too. It takes the cases as independent.
"""

from __future__ import annotations

from math import sqrt

from pydantic import Field

from voicenotes.model import Frozen

Z_95 = 1.959963984540054  # 97.5 % of a normal distribution lie below


class Share(Frozen):
    """`right` of `of` cases; the other fields are null where there is no case."""

    right: int = Field(ge=0, description="how many it holds for")
    of: int = Field(ge=0, description="how many there are")
    share: float | None = Field(default=None, ge=0, le=1)
    low: float | None = Field(default=None, ge=0, le=1, description="lower end of the 95 % Wilson interval")
    high: float | None = Field(default=None, ge=0, le=1, description="upper end of the 95 % Wilson interval")


def share_of(right: int, of: int) -> Share:
    """The share with its interval. Raises ValueError when there are more right cases than cases."""
    if of == 0 and right == 0:
        return Share(right=0, of=0)
    low, high = wilson(right, of)
    return Share(right=right, of=of, share=right / of, low=low, high=high)


def wilson(right: int, of: int, z: float = Z_95) -> tuple[float, float]:
    """Both ends of Wilson's interval for `right` of `of`; ValueError unless 0 <= right <= of and of > 0."""
    if not 0 <= right <= of or of == 0:
        raise ValueError(f"{right} of {of} is no share")
    p, z2 = right / of, z * z
    middle = (p + z2 / (2 * of)) / (1 + z2 / of)
    half = z * sqrt(p * (1 - p) / of + z2 / (4 * of * of)) / (1 + z2 / of)
    low = 0.0 if right == 0 else max(0.0, middle - half)
    high = 1.0 if right == of else min(1.0, middle + half)
    return low, high


def f1_of(right: int, missed: int, extra: int) -> float | None:
    """2 right / (2 right + missed + extra): the harmonic mean of precision and recall; None of nothing."""
    cases = 2 * right + missed + extra
    return 2 * right / cases if cases else None
