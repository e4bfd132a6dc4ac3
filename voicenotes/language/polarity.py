"""Whether a condition is said to hold or not to hold, and whether that is good or bad."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from voicenotes.language.clause_view import ClauseView
    from voicenotes.language.hits import ConditionHit, CueHit
    from voicenotes.language.lexicon import Judgement
    from voicenotes.model import Polarity

PRESENT_REACH_WORDS = 3


_VERBS_OF_ITS_OWN = frozenset({"is", "has", "was", "does", "had", "looks", "seems"})


def polarity_of(
    view: ClauseView, condition: ConditionHit, meaning: Judgement, turning: tuple[CueHit, ...]
) -> Polarity | None:
    """What a condition says in one of its meanings, under the negations that turn it; None if nothing."""
    negated = len(turning) % 2 == 1
    if meaning.only_negated and not negated:
        return None
    if meaning.polarity in ("good", "noted"):
        if negated and meaning.polarity == "noted":
            return None
        return "bad" if negated else "good"
    if meaning.polarity == "bad":
        return "good" if negated else "bad"
    if meaning.polarity == "unwanted":
        if negated:
            return "good"
        return "bad" if _is_affirmed(view, condition) else None
    if meaning.polarity == "wanted":
        if negated:
            return "bad"
        itself = any(
            term.start <= condition.start and condition.end <= term.end and term.subjects[0].kind != "check"
            for term in view.terms
        )
        return "good" if not itself and _is_present(view, condition) else None
    return None


def agreeing(view: ClauseView, condition: ConditionHit, conditions: Sequence[ConditionHit]) -> ConditionHit:
    """A word that is good of some things and bad of others, after "and" with one that is plain: "working
    and | tight" is praise, "dry and | tight" of a slide is not."""
    if len({m.polarity for m in condition.meanings} & {"good", "bad"}) < 2:
        return condition
    for other in conditions:
        if other.end >= condition.start or other is condition:
            continue
        between = view.words.norms[other.end : condition.start]
        plain = {m.polarity for m in other.meanings}
        if between == ("and",) and len(plain) == 1 and plain <= {"good", "bad"}:
            kept = tuple(m for m in condition.meanings if m.polarity in plain)
            return replace(condition, meanings=kept)
    return condition


def _is_present(view: ClauseView, condition: ConditionHit) -> bool:
    return present_cue(view, condition) is not None


def present_cue(view: ClauseView, condition: ConditionHit) -> CueHit | None:
    """The cue by which a remark says that a thing is there: "there's", "has", "some"."""
    for cue in view.reach.of_kind("present"):
        if 0 <= condition.start - cue.end <= PRESENT_REACH_WORDS and not _between_breaks(
            view, cue.end, condition.start
        ):
            if cue.phrase in ("a", "an") and _has_its_own_verb(view, condition):
                continue  # "a taper | has no damage" is told of the taper
            return cue
    return None


def _has_its_own_verb(view: ClauseView, condition: ConditionHit) -> bool:
    return condition.end < view.clause.end and view.words.norms[condition.end] in _VERBS_OF_ITS_OWN


def _between_breaks(view: ClauseView, start: int, end: int) -> bool:
    return any(view.words.breaks[word] for word in range(start, end + 1) if word < view.clause.end)


def _is_affirmed(view: ClauseView, condition: ConditionHit) -> bool:
    """Whether an unwanted thing is said to be there (or perhaps there), not only named."""
    if _is_present(view, condition) or view.reach.of_kind("hedge"):
        return True
    before = view.word_before(condition.start)
    if before in ("the", "any", "for", "about", "check", "of"):
        return False
    deciding = [
        other
        for other in view.conditions
        if other is not condition and any(m.polarity in ("good", "bad") for m in other.meanings)
    ]
    if any(other.end == condition.start and _is_bad(other) for other in deciding):
        return True
    if deciding:
        return False
    return condition.end in view.marks.links and condition.end < view.clause.end


def _is_bad(condition: ConditionHit) -> bool:
    return any(meaning.polarity == "bad" for meaning in condition.meanings)
