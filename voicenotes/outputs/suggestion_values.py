"""Suggestions for the user's own additions to a pack (values only): what `suggestions --json` prints."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from voicenotes.model import Frozen, Outcome

Kind = Literal["term", "misheard", "sounds"]


class Occasion(Frozen):
    """A correction that a suggestion rests on: what was said where, and what a person made of it."""

    visit: str = Field(description="the visit's folder")
    recording: str
    start: float = Field(description="seconds from the start of the recording")
    end: float
    quote: str = Field(description="what the record has")
    corrected: str = Field(description="what the correction says")
    by: str
    at: str = Field(description="date and time of the correction, ISO 8601")
    correction: str = Field(description="its id")


class OutcomeChange(Frozen):
    """A check of a past visit that would come out otherwise."""

    visit: str
    check: str
    title: str
    before: Outcome
    after: Outcome
    reviewed: Outcome | None = Field(description="what a person made of it; null where nobody looked")
    quote: str = Field(description="what decides it then, or decided it before")


class SentenceChange(Frozen):
    """A labelled sentence that would be read otherwise."""

    place: str
    say: str
    check: str
    labelled: str
    read: str


class Effect(Frozen):
    """What a suggestion would change in past visits and in the pack's labelled sentences."""

    visits: int = Field(description="how many visits were read again")
    changes: tuple[OutcomeChange, ...] = ()
    sentences: int = Field(description="how many labelled sentences were read again")
    regressions: tuple[SentenceChange, ...] = Field(
        default=(), description="those that are read right now and would be misread"
    )
    gains: int = Field(default=0, description="labelled sentences that would be read right at last")
    understood: int = Field(
        default=0, description="its remarks that would be read as corrected by themselves"
    )
    remarks: int = Field(default=0, description="its remarks that could be read again")
    heard_again: bool = Field(description="whether recordings are transcribed anew once it is accepted")

    @property
    def agree(self) -> int:
        """Changes to what a person made of the check."""
        return sum(c.reviewed == c.after for c in self.changes)

    @property
    def against(self) -> int:
        """Changes to something else than what a person made of the check."""
        return sum(c.reviewed not in (None, c.after) for c in self.changes)


class Suggestion(Frozen):
    """An addition to a pack that corrections suggest.

    kind term      `phrase` as a term of the check in `means`
         misheard  `phrase` is what a recogniser writes for `said`, which names what is in `means`
         sounds    the word `phrase` is said like `sounds`, beside what it would be taken for
    """

    id: str = Field(description="four letters or digits; the same as long as it is the same suggestion")
    key: str = Field(description="what it is, whatever it rests on; this is kept of one that is declined")
    pack: str
    kind: Kind
    phrase: str
    said: str = ""
    means: tuple[str, ...] = ()
    titles: tuple[str, ...] = Field(default=(), description="what the pack calls what is in means")
    sounds: tuple[str, ...] = ()
    occasions: tuple[Occasion, ...]
    cautions: tuple[str, ...] = ()
    effect: Effect | None = None


class NoSuggestion(Frozen):
    """A correction that suggests nothing, and why."""

    pack: str
    occasion: Occasion
    why: str


class Suggestions(Frozen):
    """All that the corrections of some visits suggest."""

    suggestions: tuple[Suggestion, ...] = ()
    none: tuple[NoSuggestion, ...] = ()
    notes: tuple[str, ...] = Field(default=(), description="visits that could not be read again, and why")
