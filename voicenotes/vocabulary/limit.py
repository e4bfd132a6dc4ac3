"""A measured quantity of a check and the limit that it is judged by."""

from __future__ import annotations

from itertools import pairwise

from pydantic import BaseModel, ConfigDict, Field, model_validator

from voicenotes.model import Severity
from voicenotes.vocabulary.entry import Name, Phrases


class Limit(BaseModel):
    """A measured quantity of a check and the limit it is judged by.

    at_least, at_most   in `unit`
    nominals            with `lowest_ratio` and `highest_ratio`: a value is judged against the nominal value
                        that was said, in the remark or as the fact `nominal_fact`, else the nearest of these
    per                 the length, in `unit`, that `at_most` holds for; over another length it is scaled
    zones               named zones with their upper borders, the last with none; the reading says its zone
    wrong_side          words that put a value outside at any size; `side` says what is allowed ("high only")
    words               needed beside the value where one check measures several quantities of a dimension
    not_with            words beside the value that rule this quantity out
    plausible           what this quantity can be at all; a value beyond it is a value of something else
    bare                a number without unit from..to is taken to be in `unit`, where the check is named
    spread_of           a dimension: the limit is for 100 x the largest deviation from the mean, divided by
                        the mean, of three values of it said together
    """

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    quantity: str
    dimension: Name
    unit: str
    at_least: float | None = None
    at_most: float | None = None
    nominals: tuple[float, ...] = ()
    lowest_ratio: float | None = None
    highest_ratio: float | None = None
    nominal_fact: Name | None = None
    per: float | None = Field(default=None, gt=0)
    zones: dict[str, float | None] = {}
    wrong_side: Phrases = ()
    side: str | None = None
    severity: Severity | None = None
    words: Phrases = ()
    not_with: Phrases = ()
    plausible: tuple[float, float] | None = None
    bare: tuple[float, float] | None = None
    spread_of: Name | None = None
    source: str = Field(description="a published text, or 'common practice, no source'")
    from_memory: bool = Field(default=False, description="the value was not seen in the source")

    @model_validator(mode="after")
    def _bounds_agree(self) -> Limit:
        if self.at_least is not None and self.at_most is not None and self.at_least > self.at_most:
            raise ValueError("at_least is above at_most")
        if self.nominals and (self.lowest_ratio is None or self.highest_ratio is None):
            raise ValueError("nominals need lowest_ratio and highest_ratio")
        if self.nominal_fact and not self.nominals:
            raise ValueError("nominal_fact needs nominals")
        if self.per is not None and self.at_most is None:
            raise ValueError("per needs at_most")
        if bool(self.wrong_side) != bool(self.side):
            raise ValueError("wrong_side and side need each other")
        for name, ends in (("plausible", self.plausible), ("bare", self.bare)):
            if ends and ends[0] > ends[1]:
                raise ValueError(f"{name} ends below its start")
        if self.spread_of and self.at_most is None:
            raise ValueError("spread_of needs at_most")
        return self

    @model_validator(mode="after")
    def _zones_rise(self) -> Limit:
        borders = list(self.zones.values())
        if any(border is None for border in borders[:-1]) or (borders and borders[-1] is not None):
            raise ValueError("every zone but the last needs its upper border")
        known = [border for border in borders if border is not None]
        if any(high <= low for low, high in pairwise(known)):
            raise ValueError("the zones' borders don't rise")
        return self
