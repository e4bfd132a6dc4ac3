"""Where in the words the things stand that decide where remarks are cut."""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass
from typing import TYPE_CHECKING

from voicenotes.language.spans import Cover, Placed

if TYPE_CHECKING:
    from collections.abc import Sequence

    from voicenotes.language.hits import ConditionHit, CueHit, Hits, TermHit
    from voicenotes.language.quantities import Quantity

STARTING_CUES = frozenset({"hedge", "not_tested", "plan", "hearsay"})


@dataclass(frozen=True)
class Landmarks:
    """Where in the words the things stand that decide about cuts."""

    terms: tuple[TermHit, ...]
    term_starts: tuple[int, ...]
    term_ends: frozenset[int]
    points: tuple[int, ...]
    cues_at: dict[int, tuple[CueHit, ...]]
    condition_at: dict[int, ConditionHit]
    links: frozenset[int]
    leading: frozenset[int]
    whole: frozenset[int]

    def has_term(self, start: int, end: int) -> bool:
        """Whether a term starts in start..end."""
        return _any_between(self.term_starts, start, end)

    def has_judgement(self, start: int, end: int) -> bool:
        """Whether something that judges starts in start..end."""
        return _any_between(self.points, start, end)

    def next_term(self, start: int, end: int) -> int | None:
        """Where the first term of start..end starts."""
        at = bisect_left(self.term_starts, start)
        return self.term_starts[at] if at < len(self.term_starts) and self.term_starts[at] < end else None


def _any_between(places: Sequence[int], start: int, end: int) -> bool:
    at = bisect_left(places, start)
    return at < len(places) and places[at] < end


def landmarks_of(hits: Hits, quantities: Sequence[Quantity]) -> Landmarks:
    """Index the hits by place."""
    terms = Cover((term.start, term.end) for term in hits.terms)
    led = {cue.end for cue in hits.cues if cue.kind in ("negation", "present")}
    points = {c.start for c in hits.conditions if c.judges and not _only_names(c, terms, led)}
    points |= {cue.start for cue in hits.cues if cue.kind in ("not_tested", "hedge")}
    points |= {quantity.start for quantity in quantities}
    cues_at: dict[int, tuple[CueHit, ...]] = {}
    for cue in hits.cues:
        cues_at[cue.start] = (*cues_at.get(cue.start, ()), cue)
    condition_at = {
        word: condition
        for condition in hits.conditions
        if condition.judges
        for word in range(condition.start, condition.end)
    }
    links = frozenset(word for cue in hits.cues if cue.kind == "link" for word in range(cue.start, cue.end))
    leading = frozenset(
        word
        for cue in hits.cues
        if cue.kind in STARTING_CUES
        or cue.kind == "circumstance"
        or (cue.kind in ("negation", "present", "absent") and cue.use.reach == "forward")
        for word in range(cue.start, cue.end)
    )
    placed: tuple[Placed, ...] = (*quantities, *hits.terms, *hits.conditions)
    whole = frozenset(word for hit in placed for word in range(hit.start + 1, hit.end))
    return Landmarks(
        hits.terms, tuple(term.start for term in hits.terms), frozenset(term.end for term in hits.terms),
        tuple(sorted(points)), cues_at, condition_at,
        links, leading, whole,
    )  # fmt: skip


def _only_names(condition: ConditionHit, terms: Cover, led: set[int]) -> bool:
    """Whether a noun inside a term is there only as part of its name: "warning labels"."""
    if not condition.is_noun:
        return False
    outer = terms.around((condition.start, condition.end))
    return outer is not None and not led & {outer[0], outer[0] - 1, outer[0] - 2}
