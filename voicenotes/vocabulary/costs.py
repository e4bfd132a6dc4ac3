"""A user's own table of what defects cost to put right: read from YAML, checked against a pack.

Each cost is three amounts: low, likely, high. A defect takes that of its check, else that of its station and
severity, else that of its severity; a defect with none of them is named as one without a price.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from pydantic import Field, model_validator

from voicenotes.errors import PackError
from voicenotes.model import Severity
from voicenotes.vocabulary.entry import CheckId, Name
from voicenotes.vocabulary.schema import Entry
from voicenotes.vocabulary.yaml_files import read_yaml, validate_as

if TYPE_CHECKING:
    from voicenotes.vocabulary.schema import Pack

MOST = 1e12


class Cost(Entry):
    """Three amounts in the table's currency: nearly never below, most likely, nearly never above."""

    low: float = Field(ge=0, le=MOST)
    likely: float = Field(ge=0, le=MOST)
    high: float = Field(ge=0, le=MOST)

    @model_validator(mode="after")
    def _in_order(self) -> Cost:
        if not self.low <= self.likely <= self.high:
            raise ValueError(f"{self.low:g}, {self.likely:g}, {self.high:g} don't rise from low to high")
        return self


class CostTable(Entry):
    """Costs of putting defects right; `invented` marks a made-up example, which the report then says."""

    title: str = Field(min_length=1)
    currency: str = Field(min_length=1, max_length=12)
    invented: bool = Field(default=False, description="true for a made-up example")
    note: str = Field(default="", description="where the amounts come from and what they hold")
    checks: dict[CheckId, Cost] = Field(default_factory=dict)
    stations: dict[Name, dict[Severity, Cost]] = Field(default_factory=dict)
    severities: dict[Severity, Cost] = Field(default_factory=dict)

    def cost_of(self, check: str, station: str, severity: Severity) -> tuple[Cost, str] | None:
        """A defect's cost and which entry gave it: "check", "station" or "severity"; None without one."""
        for found, entry in (
            (self.checks.get(check), "check"),
            (self.stations.get(station, {}).get(severity), "station"),
            (self.severities.get(severity), "severity"),
        ):
            if found is not None:
                return found, entry
        return None


def read_costs(path: str | Path, pack: Pack) -> CostTable:
    """The cost table in a YAML file, checked against the pack.

    Raises PackError naming file and line: no YAML, a field that can't be right, or a check or station that
    the pack lacks.
    """
    path = Path(path).expanduser()
    if not path.is_file():
        raise PackError(f"{path}: no such file; name the YAML file with your costs")
    source = read_yaml(path)
    if not isinstance(source.value, dict):
        raise PackError(f"{path}, line 1: is no cost table; it has title, currency, severities and so on")
    table = validate_as(source, CostTable)
    known = {
        "checks": ("check", {check.id for check in pack.checks}),
        "stations": ("station", {station.id for station in pack.head.stations}),
    }
    for field, (kind, names) in known.items():
        for name in getattr(table, field):
            if name not in names:
                line = source.line_of((field, name))
                raise PackError(f"{path}, line {line}: there is no {kind} '{name}' in this pack")
    if not (table.checks or table.stations or table.severities):
        raise PackError(f"{path}, line 1: gives no cost at all; begin with severities")
    return table


def lacking_costs(table: CostTable, pack: Pack) -> list[str]:
    """The titles of the pack's checks whose defect, of its usual severity, has no price in the table."""
    return [
        check.title for check in pack.checks if table.cost_of(check.id, check.station, check.severity) is None
    ]
