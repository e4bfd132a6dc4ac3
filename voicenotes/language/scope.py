"""How far cues reach: which of them change the reading of a condition.

After the ConText algorithm (Chapman, Chu and Dowling 2007; Harkema et al. 2009): each cue reaches
forward, backward or both ways over some words; a remark's edge, a breaker or a second condition of
another kind ends it. Cues about who speaks and when (hearsay, plan, general talk) also reach over
the following remarks of their sentence.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from voicenotes.language.remarks import DETERMINERS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from voicenotes.language.hits import ConditionHit, CueHit, TermHit
    from voicenotes.language.remarks import Clause
    from voicenotes.language.words import Words

WIDE = ("hearsay", "plan", "general")
_RAW_REACH_WORDS = 14
_PLACE_WORDS = frozenset(["on", "onto", "in", "into", "over", "at", "from", "down", "all"])
_NOUN_NEGATIONS = frozenset({"no", "without", "free of", "free from", "zero", "nil", "without any"})
_PRONOUN_NEGATIONS = frozenset({"nothing"})
_TIES = frozenset(
    {"on", "in", "at", "of", "with", "about", "from", "around", "under", "behind", "to", "wrong"}
)
_RESULT_STARTS = frozenset(
    {"it", "they", "that", "yeah", "yes", "yep", "okay", "ok", "right", "nope", "no", "there"}
)
_COUNTERS = frozenset({"none", "not", "hardly"})
_AFTER_A_PLAIN_NO = frozenset(
    {"it", "that", "they", "i", "we", "he", "she", "the", "this", "these", "those", "wait",
     "actually", "hang", "sorry"}
)  # fmt: skip


@dataclass(frozen=True)
class Reach:
    """A clause's own cues and those that reach into it from its sentence."""

    own: tuple[CueHit, ...]
    wide: tuple[CueHit, ...]

    def of_kind(self, *kinds: str) -> tuple[CueHit, ...]:
        """The cues of some kinds that stand in the clause itself."""
        return tuple(cue for cue in self.own if cue.kind in kinds)


def reaches_of(clauses: Sequence[Clause], cues: Sequence[CueHit], words: Words) -> list[Reach]:
    """For each clause the cues in it and the wide ones that reach it."""
    own: list[list[CueHit]] = [[] for _ in clauses]
    at = 0
    for cue in cues:
        while at < len(clauses) - 1 and cue.start >= clauses[at].end:
            at += 1
        own[at].append(cue)
    wide: list[list[CueHit]] = [[] for _ in clauses]
    for index, clause in enumerate(clauses):
        for cue in own[index]:
            if cue.kind in WIDE:
                wide[index].append(cue)
                _spread_forward(clauses, wide, index, cue, words)
                if cue.use.reach == "both":
                    _spread_backward(clauses, wide, index, cue)
        del clause
    return [Reach(tuple(mine), tuple(theirs)) for mine, theirs in zip(own, wide, strict=True)]


def _spread_forward(
    clauses: Sequence[Clause], wide: list[list[CueHit]], index: int, cue: CueHit, words: Words
) -> None:
    for later in range(index + 1, len(clauses)):
        clause = clauses[later]
        if clause.sentence != clauses[index].sentence or clause.joint in ("break", "marker"):
            return
        goes_on = cue.kind == "general" and words.norms[clause.start] in ("it", "they")
        if (clause.joint == "subject" and not goes_on) or clause.start - cue.end > _RAW_REACH_WORDS:
            return
        if cue.kind == "general" and clause.joint == "and":
            return
        if cue.kind == "plan" and words.norms[clause.start] in _RESULT_STARTS:
            return  # "let me try the door, | it drags"
        wide[later].append(cue)


def _spread_backward(clauses: Sequence[Clause], wide: list[list[CueHit]], index: int, cue: CueHit) -> None:
    """A cue that ends its sentence with nothing judged after it ("..., so he says") reaches back."""
    clause = clauses[index]
    if clause.joint != "comma" or cue.start - clause.start > 3:
        return
    if index + 1 < len(clauses) and clauses[index + 1].sentence == clause.sentence:
        return
    for earlier in range(index - 1, -1, -1):
        if clauses[earlier].sentence != clause.sentence:
            return
        wide[earlier].append(cue)
        if clauses[earlier].joint in ("break", "marker"):
            return


def first_cue(cues: tuple[CueHit, ...], kind: str) -> CueHit | None:
    """The first of some cues that is of a kind."""
    return next((cue for cue in cues if cue.kind == kind), None)


def reaches_condition(cue: CueHit, condition: ConditionHit) -> bool:
    """Whether a cue's side and distance take in the condition."""
    if cue.use.reach != "backward" and cue.end <= condition.start:
        return condition.start - cue.end <= cue.use.words
    if cue.use.reach != "forward" and condition.end <= cue.start:
        return cue.start - condition.end <= cue.use.words
    return cue.use.reach == "both"


def negations_of(
    words: Words, reach: Reach, conditions: Sequence[ConditionHit], terms: Sequence[TermHit]
) -> dict[int, tuple[CueHit, ...]]:
    """For each judging condition of a clause (by place in the list) the negations that turn it."""
    turned: dict[int, tuple[CueHit, ...]] = {}
    cues = reach.of_kind("negation")
    for at, cue in enumerate(cues):
        if is_plain_no(words, cue) or (cue.phrase == "nor" and at > 0):
            continue
        bounds = [other.start for other in reach.of_kind("circumstance") if other.start >= cue.end]
        end = min(bounds, default=len(words))
        within = [condition for condition in conditions if condition.start < end]
        for index in _negated_by(words, cue, within, terms):
            turned[index] = (*turned.get(index, ()), cue)
    return turned


def circumstances_of(reach: Reach, conditions: Sequence[ConditionHit]) -> frozenset[int]:
    """The conditions that only say when something else holds: "clunks when it | clamps"."""
    found = set()
    for cue in reach.of_kind("circumstance"):
        ahead = [i for i, c in enumerate(conditions) if c.judges and 0 <= c.start - cue.end <= cue.use.words]
        found.update(ahead[:1])
    return frozenset(found)


def is_plain_no(words: Words, cue: CueHit) -> bool:
    """ "No, it's fine" negates nothing."""
    if cue.phrase != "no" or cue.end >= len(words):
        return False
    return bool(words.breaks[cue.end]) or words.norms[cue.end] in _AFTER_A_PLAIN_NO


def _negated_by(
    words: Words, cue: CueHit, conditions: Sequence[ConditionHit], terms: Sequence[TermHit]
) -> list[int]:
    if cue.use.reach == "backward":
        behind = [i for i, c in enumerate(conditions) if c.judges and c.end <= cue.start]
        near = [i for i in behind if cue.start - conditions[i].end <= cue.use.words]
        return near[-1:]
    ahead = [
        i
        for i, c in enumerate(conditions)
        if c.judges
        and (c.start >= cue.end or c.start < cue.end < c.end)
        and c.start - cue.end <= cue.use.words
        and not (_denies_subject(cue) and c.is_noun and _stands_in(terms, c))
    ]
    if ahead and cue.phrase in _PRONOUN_NEGATIONS and _new_subject(words, cue, conditions[ahead[0]], terms):
        return []
    if not ahead or any(words.breaks[w] for w in range(cue.end, conditions[ahead[0]].start + 1)):
        return []
    if len(ahead) > 1 and _is_part_of_next(words, conditions[ahead[0]], conditions[ahead[1]]):
        ahead = ahead[1:]
    chosen = [ahead[0]]
    for index in ahead[1:]:
        last, this = conditions[chosen[-1]], conditions[index]
        between = [words.norms[word] for word in range(last.end, this.start)]
        if not between and words.norms[this.start] in _PLACE_WORDS:
            chosen.append(index)  # "no coolant leaking | onto the floor"
            continue
        if len(between) > 2 or (cue.phrase in _NOUN_NEGATIONS and not _can_be_noun(this)):
            break
        if (
            set(between) & {"or", "nor"}
            or (_later_or(words, conditions, index) and set(between) <= {"any"})
            or ("and" in between and last.is_noun and this.is_noun)
            or (not between and this.is_noun)
        ):
            chosen.append(index)
        elif last.is_noun and not between:  # "no noise smooth": the noun takes the "no"
            break
        elif not between and not last.is_noun:  # "not running smooth": both belong together
            chosen.append(index)
        else:
            break
    return chosen


def _new_subject(words: Words, cue: CueHit, condition: ConditionHit, terms: Sequence[TermHit]) -> bool:
    """Whether another thing begins behind a "nothing": "nothing structural | door slides well"."""
    for term in terms:
        if cue.end < term.start < condition.end and term.start <= condition.start:
            at = term.start - 1
            while at >= cue.end and words.norms[at] in DETERMINERS:
                at -= 1
            if at >= cue.end and words.norms[at] not in _TIES:
                return True
    return False


def _denies_subject(cue: CueHit) -> bool:
    """Whether a negation says of which things the predicate doesn't hold: "neither", "none of"."""
    return cue.phrase == "neither" or (cue.phrase.endswith(" of") and cue.phrase.split()[0] in _COUNTERS)


def _stands_in(terms: Sequence[TermHit], condition: ConditionHit) -> bool:
    """Whether a condition is but a word of a thing's name: the light of "neither the work light nor ..."."""
    return any(term.start <= condition.start and condition.end <= term.end for term in terms)


def _is_part_of_next(words: Words, first: ConditionHit, second: ConditionHit) -> bool:
    """ "No coolant leaking": what is denied is the leaking, not the coolant."""
    return (
        first.end == second.start
        and first.is_noun
        and any(meaning.polarity == "bad" for meaning in second.meanings)
        and words.norms[second.start].endswith("ing")
    )


def _can_be_noun(condition: ConditionHit) -> bool:
    return any(meaning.polarity in ("unwanted", "wanted", "name") for meaning in condition.meanings)


def _later_or(words: Words, conditions: Sequence[ConditionHit], index: int) -> bool:
    """Whether the list that a condition stands in goes on to an "or"."""
    for this, following in zip(conditions[index:], conditions[index + 1 :], strict=False):
        between = [words.norms[word] for word in range(this.end, following.start)]
        if len(between) > 2:
            return False
        if "or" in between:
            return True
    return False
