"""Which words a judgement rests on: stretches of words, each with what it was taken for (values only)."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal, NamedTuple

if TYPE_CHECKING:
    from voicenotes.language.hits import ConditionHit, CueHit, TermHit
    from voicenotes.language.lexicon import Judgement
    from voicenotes.language.quantities import Quantity

Role = Literal["subject", "condition", "aspect", "cue", "quantity", "fact", "station"]
CARRIED = "carried over"


class Ground(NamedTuple):
    """Words start..end (exclusive) of a transcript that had a part in a judgement.

    `kind` says more: how a subject was found ("exact", CARRIED), which list a condition stands in
    ("bad"), a cue's kind, a fact's or station's id. `owner` is whose list a condition stands in: an
    aspect's or a check's id, or `general`. A ground without words (start is end) is something known
    from before: a subject carried over, or the station where he stands.
    """

    role: Role
    start: int
    end: int
    kind: str = ""
    owner: str = ""


Grounds = tuple[Ground, ...]


def of_term(term: TermHit, carried: bool = False) -> Ground:
    """A thing named, here or in an earlier remark."""
    return Ground("subject", term.start, term.end, CARRIED if carried else term.how)


def of_condition(condition: ConditionHit, meaning: Judgement) -> Ground:
    """A condition in the meaning that counted."""
    return Ground("condition", condition.start, condition.end, meaning.polarity, meaning.owner)


def of_cue(cue: CueHit) -> Ground:
    """A cue that changed something."""
    return Ground("cue", cue.start, cue.end, cue.kind)


def of_quantity(quantity: Quantity) -> Ground:
    """A value with its unit."""
    return Ground("quantity", quantity.start, quantity.end)
