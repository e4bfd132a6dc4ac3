"""What the phrases of a pack can mean, and the table that holds them by their words."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from voicenotes.model import Severity
    from voicenotes.vocabulary.schema import Check

How = Literal["exact", "inflected", "misheard", "spelling", "sound"]
CERTAINTY: dict[How, float] = {
    "exact": 0.97,
    "inflected": 0.94,
    "misheard": 0.8,
    "spelling": 0.72,
    "sound": 0.65,
}
Polar = Literal["good", "bad", "unwanted", "wanted", "name", "noted"]
SubjectKind = Literal["check", "part", "fitting", "machine"]
MEANINGS = ""  # the key of a node's entries in the tree


@dataclass(frozen=True)
class Subject:
    """What a term names: a check, a part, a fitting, or the whole machine."""

    kind: SubjectKind
    id: str


@dataclass(frozen=True)
class Judgement:
    """What a condition phrase says, and of what: `owner` is an aspect's or a check's id, or `general`.

    `only_negated` phrases say something only under a negation: "won't clamp", but not "to clamp".
    """

    owner: str
    polarity: Polar
    severity: Severity | None = None
    only_negated: bool = False


@dataclass(frozen=True)
class Entry:
    """One meaning of one word sequence."""

    meaning: Subject | Judgement | CueUse | Place | FactWord
    phrase: str
    how: How


@dataclass(frozen=True)
class CueUse:
    """A cue phrase with the kind and reach its rule gives it."""

    kind: str
    reach: str
    words: int


@dataclass(frozen=True)
class Place:
    """A phrase that announces a station."""

    station: str


@dataclass(frozen=True)
class FactWord:
    """A phrase that comes before (`lead`) or after (`tail`) a fact's value, or is its `value`."""

    fact: str
    role: Literal["lead", "tail", "choice"]
    value: str | None = None


@dataclass(eq=False)
class Lexicon:
    """All meanings by word sequence, as a tree keyed by word; `MEANINGS` holds a node's entries."""

    tree: dict[str, Any] = field(default_factory=dict)
    checks: dict[str, Check] = field(default_factory=dict)
    order: dict[str, int] = field(default_factory=dict)
    by_part: dict[str, tuple[str, ...]] = field(default_factory=dict)
    defaults: dict[str, str] = field(default_factory=dict)
    means: dict[str, tuple[str, ...]] = field(default_factory=dict)
    stations: tuple[str, ...] = ()
    fittings: frozenset[str] = frozenset()
    anywhere: frozenset[str] = frozenset()
    elsewhere: frozenset[str] = frozenset()
    term_phrases: dict[tuple[str, ...], tuple[Subject, ...]] = field(default_factory=dict)
    pronunciations: dict[str, tuple[str, ...]] = field(default_factory=dict)
    misheard_phrases: dict[tuple[str, ...], tuple[Subject, ...]] = field(default_factory=dict)
    known_words: frozenset[str] = frozenset()
    own_words: set[str] = field(default_factory=set)
