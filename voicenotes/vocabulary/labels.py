"""Labels: what a careful listener makes of a sentence, of a visit's recordings, or of a whole visit.

They are a pack's own test and the format of every set that a reading is scored against. A check that
`expect` does not name is expected not_mentioned, or not_fitted where its fitting is said to be absent.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, get_args

from pydantic import ConfigDict, Field, model_validator

from voicenotes.model import Outcome, Severity
from voicenotes.vocabulary.entry import CheckId, Name
from voicenotes.vocabulary.schema import Entry

if TYPE_CHECKING:
    from collections.abc import Iterator

    from voicenotes.vocabulary.schema import Check, Pack

LABEL_FILE = "expected.yaml"  # the label of the visit in whose folder it stands
YES, NO = ("yes", "true"), ("no", "false")
_VALUE_WITH_UNIT = re.compile(r"\s*[-+\u2212]?\s*\.?\d[\d.,eE+-]*\s*[^\s\d.,]")
OUTCOMES: tuple[Outcome, ...] = get_args(Outcome)
Where = tuple[str | int, ...]


class Label(Entry):
    """What must be read: checks with their outcomes, fittings, readings and facts.

    `expect` maps a check to its outcome, with a severity after a defect if that is to be right too;
    `told` lists those of them that are known from hearsay alone, and so stay gaps.
    """

    expect: dict[CheckId, str] = Field(default_factory=dict)
    told: tuple[CheckId, ...] = ()
    fittings: dict[Name, str | bool] = Field(default_factory=dict)
    readings: dict[CheckId, str] = Field(default_factory=dict)
    facts: dict[Name, str | int | float] = Field(default_factory=dict)
    kind: str | None = Field(default=None, description="the kind of language it tries")

    def expected(self, check: Check) -> tuple[Outcome, Severity | None]:
        """The outcome that a check must have, and its severity where the label gives one."""
        if check.id not in self.expect:
            return ("not_fitted" if check.fitting in self.absent else "not_mentioned"), None
        return split_outcome(self.expect[check.id])

    @property
    def absent(self) -> frozenset[str]:
        """The fittings that the label says are not there."""
        return frozenset(name for name, said in self.fittings.items() if not is_yes(said))


class LabelledSentence(Label):
    """What is said, and what it must be read as; an entry of `sentences/*.yaml` and of other sets.

    Either `say`, a sentence or a few, or `recordings`, what each recording of one visit says.
    """

    model_config = ConfigDict(json_schema_extra={"oneOf": [{"required": [k]} for k in ("say", "recordings")]})

    say: str = ""
    recordings: tuple[str, ...] = Field(default=(), description="in place of say: one text for each")

    @model_validator(mode="after")
    def _one_of_two(self) -> LabelledSentence:
        if bool(self.say) == bool(self.recordings):
            raise ValueError("give one of the two: say, or recordings with at least one text")
        return self

    @property
    def texts(self) -> tuple[str, ...]:
        """What is said, one text for each recording."""
        return self.recordings or (self.say,)


class VisitLabel(Label):
    """`expected.yaml` in a visit's folder: what the record of its recordings must say."""

    title: str = Field(default="", description="what machine it is")


def is_yes(said: str | bool) -> bool:
    """A label's yes or no."""
    return said is True or str(said).lower() in YES


def split_outcome(said: str) -> tuple[Outcome, Severity | None]:
    """ "defect minor" -> ("defect", "minor"). Raises ValueError when that is no outcome."""
    outcome, _, severity = said.partition(" ")
    known_severity = not severity or (outcome == "defect" and severity in get_args(Severity))
    if outcome not in OUTCOMES or not known_severity:
        raise ValueError(f"'{said}' is no outcome")
    return outcome, severity or None  # type: ignore[return-value]


def faults_of(label: Label, pack: Pack) -> Iterator[tuple[Where, str]]:
    """What can't be right in a label: the place inside it, and what is wrong there."""
    if isinstance(label, LabelledSentence):
        field = "recordings" if label.recordings else "say"
        for index, text in enumerate(label.texts):
            if not text.strip():
                yield (field, index) if label.recordings else (field,), f"{field} is blank"
    checks = {check.id for check in pack.checks}
    for field, kind, names, known in (
        ("expect", "check", label.expect, checks),
        ("readings", "check", label.readings, checks),
        ("fittings", "fitting", label.fittings, {fitting.id for fitting in pack.head.fittings}),
        ("facts", "fact", label.facts, {fact.id for fact in pack.facts}),
    ):
        for name in names:
            if name not in known:
                yield (field, name), f"there is no {kind} '{name}' in this pack"
    for check, outcome in label.expect.items():
        try:
            split_outcome(outcome)
        except ValueError as error:
            yield ("expect", check), f"{check}: {error}"
    for fitting, said in label.fittings.items():
        if not is_yes(said) and str(said).lower() not in NO:
            yield ("fittings", fitting), f"{fitting}: '{said}' is neither yes nor no"
    for check, value in label.readings.items():
        if not _VALUE_WITH_UNIT.match(value):
            yield ("readings", check), f"{check}: '{value}' is not a number with a unit, as in '0.0002 in'"
    for index, check in enumerate(label.told):
        if check not in label.expect:
            yield ("told", index), f"{check} is told, but expect doesn't say with what outcome"
