"""What a pack's YAML files may hold. Each class is one kind of entry; DEVELOPERS.md shows examples.

Phrases are lower case, hyphens written as spaces. `(a|b)` is a choice and `<x>` is optional:
"(way|slide) covers" is two phrases, "door <seals>" too. The reader adds plurals, verb
forms and joined spellings by itself ("draw tube" also finds "drawtube"); a leading "=" turns that off.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from voicenotes.model import Severity
from voicenotes.vocabulary.commands import Commands
from voicenotes.vocabulary.entry import CheckId, Name, Phrase, Phrases
from voicenotes.vocabulary.limit import Limit as Limit

GENERAL = "general"


class Entry(BaseModel):
    """A piece of pack data: immutable, unknown keys refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Condition(Entry):
    """A phrase that judges: how bad it is when it is bad, where that differs from the check's usual."""

    say: Phrase
    severity: Severity | None = None


def _from_text(value: object) -> object:
    return {"say": value} if isinstance(value, str) else value


Conditions = tuple[Annotated[Condition, BeforeValidator(_from_text)], ...]


class ConditionLists(Entry):
    """Four ways a phrase can judge, by what it takes to make it good or bad.

    good      says that all is well ("quiet", "indexes"); negated it is bad
    bad       says that something is wrong ("growls", "cracked"); negated it is good
    unwanted  names what should not be there ("leak", "play"): "no leaks" is good, "a leak" is bad,
              and the bare word judges nothing
    wanted    names what should be there ("label", "oil"): "no labels" is bad, "has its labels" is
              good, and the bare word judges nothing
    """

    good: Conditions = ()
    bad: Conditions = ()
    unwanted: Conditions = ()
    wanted: Conditions = ()


class Aspect(ConditionLists):
    """One side of a thing that is judged, such as its noise, shared by many checks.

    `names` are neutral words for it: "sounds", "temperature". The aspect `general` fits every check;
    one that holds `anywhere` also judges checks which don't name it ("the lamp is dented").
    """

    id: Name
    title: str
    names: Phrases = ()
    anywhere: bool = False


class Part(Entry):
    """A thing people name without saying which check they mean; an aspect or a place decides.

    `default` is the check that a general judgement ("the chuck is fine") settles, if any.
    `means` makes it a word for several other parts ("both axes").
    """

    id: Name
    terms: Phrases
    misheard: Phrases = ()
    default: CheckId | None = None
    means: tuple[Name, ...] = ()
    elsewhere: bool = Field(
        default=False, description="not of this machine: what stands on, in or at it isn't either"
    )


class Fitting(Entry):
    """Something a machine may or may not have. Its id can be used as a part."""

    id: Name
    title: str
    terms: Phrases
    misheard: Phrases = ()
    default: CheckId | None = None
    share: float | None = Field(
        default=None, ge=0, le=1, description="of used machines that have it, roughly"
    )


Likely = Literal["rare", "occasional", "common"]


class Check(ConditionLists):
    """One item that the pack wants judged.

    `terms` mean this check by themselves. `parts` (ids of parts or fittings) mean it together with one
    of its `aspects`, one of its own conditions, or a reading of its dimension. Its own `good`, `bad`,
    `unwanted` and `wanted` phrases hold for this check only and win over an aspect's.
    `noted` phrases settle it as ok by being said of it ("it is hydraulic"); `notes` are facts that do, as
    soon as `notes_needed` of them are known.
    """

    id: CheckId
    title: str
    judged: str
    fitting: Name | None = None
    severity: Severity
    likely: Likely | None = Field(default=None, description="how often a used machine has such a defect")
    minutes: float = Field(gt=0, le=1440)
    must_before_leaving: bool
    terms: Phrases = ()
    misheard: Phrases = ()
    parts: tuple[Name, ...] = ()
    aspects: tuple[Name, ...] = ()
    noted: Phrases = ()
    notes: tuple[Name, ...] = ()
    notes_needed: int = Field(default=1, gt=0, description="how many of the notes settle it")
    readings: tuple[Limit, ...] = ()
    caution: str | None = None

    @property
    def station(self) -> str:
        """The station's id, the part of the check id before the dot."""
        return self.id.split(".", 1)[0]


class Station(Entry):
    """A place on the walk round; `terms` announce it ("round the back now"), cautions are shown there.

    The checks of a `checklist` station are a list to tick off in the report.
    """

    id: Name
    title: str
    terms: Phrases = ()
    cautions: tuple[str, ...] = ()
    checklist: bool = False


class Fact(Entry):
    """A value to note. `lead` words come before the value, `tail` words after it.

    kind code      spelled letters and digits ("four seven alpha dash two")
         text      the words that follow, up to a pause
         choice    one of `choices`: value -> phrases that mean it (needs no lead)
         number    a plain number between `lowest` and `highest`
         quantity  a number with a unit of `dimension`, kept in `unit`

    `lowest` and `highest`, in `unit`, are what it can be at all; `units` those that it can be said in, where
    not all of its dimension will do ("ten minutes" are no power-on hours). A `headline` fact stands in the
    title of a report.
    """

    id: Name
    title: str
    kind: Literal["code", "text", "choice", "number", "quantity"]
    lead: Phrases = ()
    tail: Phrases = ()
    choices: dict[str, Phrases] = {}
    unit: str | None = None
    units: tuple[str, ...] = ()
    dimension: Name | None = None
    lowest: float | None = None
    highest: float | None = None
    headline: bool = False


CueKind = Literal[
    "negation", "pseudo", "hedge", "plan", "general", "hearsay", "not_tested", "present", "absent",
    "history", "now", "comparison", "circumstance", "retract", "correct",
    "breaker", "exception", "sweep", "marker", "softener", "strengthener", "link",
    "class_critical", "class_major", "class_minor",
]  # fmt: skip


class Cue(Entry):
    """Phrases that change how the conditions near them are read, and how far they reach.

    `reach` says on which side the words stand that it changes; `words` limits how many words away.
    `example` shows one in use.
    """

    kind: CueKind
    reach: Literal["forward", "backward", "both"] = "forward"
    words: int = Field(default=40, gt=0)
    phrases: Phrases
    example: str


class SeverityWeights(Entry):
    """What an unseen defect of each class costs, against the others."""

    critical: float = Field(gt=0, le=1e6)
    major: float = Field(gt=0, le=1e6)
    minor: float = Field(gt=0, le=1e6)


class Likelihoods(Entry):
    """The probability that each class of `likely` stands for."""

    rare: float = Field(gt=0, le=1)
    occasional: float = Field(gt=0, le=1)
    common: float = Field(gt=0, le=1)


class Risk(Entry):
    """What the time left is weighed by: risk = weight of the severity x likelihood of the defect.

    A pack that has it gives `likely` for every check and `share` for every fitting.
    """

    severity_weights: SeverityWeights
    likelihoods: Likelihoods
    question_minutes: float = Field(gt=0, le=60, description="what it takes to find out about a fitting")
    source: str

    @model_validator(mode="after")
    def _in_order(self) -> Risk:
        weights, chances = self.severity_weights, self.likelihoods
        if not weights.minor <= weights.major <= weights.critical:
            raise ValueError("severity_weights must not fall from minor to major to critical")
        if not chances.rare <= chances.occasional <= chances.common:
            raise ValueError("likelihoods must not fall from rare to occasional to common")
        return self


class PackHead(Entry):
    """`pack.yaml`: what the pack is, its stations in walking order, fittings, cautions, weights of risks."""

    id: Name
    title: str
    version: str
    machine: Phrases = Field(description="what people call the whole machine")
    cautions: tuple[str, ...] = ()
    stations: tuple[Station, ...]
    fittings: tuple[Fitting, ...] = ()
    risk: Risk | None = None


class Pack(Entry):
    """One machine type's vocabulary, complete and checked."""

    head: PackHead
    checks: tuple[Check, ...]
    parts: tuple[Part, ...]
    aspects: tuple[Aspect, ...]
    facts: tuple[Fact, ...]
    cues: tuple[Cue, ...]
    pronunciations: dict[str, tuple[str, ...]] = {}
    carriers: tuple[str, ...] = ()
    commands: Commands = Commands()
    home: str = Field(default="", description="the folder that the pack was loaded from")
    digest: str = Field(description="changes whenever any file of the pack changes")
    notes: tuple[str, ...] = Field(default=(), description="lines for the user on his own additions to it")

    @property
    def id(self) -> str:
        """The pack's id."""
        return self.head.id

    @property
    def version(self) -> str:
        """The pack's version."""
        return self.head.version
