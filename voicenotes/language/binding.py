"""Decides which things a judgement is about: the subjects of each condition in a remark."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

from voicenotes.language.remarks import DETERMINERS, noun_phrase_start

if TYPE_CHECKING:
    from collections.abc import Sequence

    from voicenotes.language.hits import ConditionHit, TermHit
    from voicenotes.language.landmarks import Landmarks
    from voicenotes.language.remarks import Clause
    from voicenotes.language.words import Words

_LIST_WORDS = DETERMINERS | {"and", "or", "nor", "plus", "&", "as", "well", "also", "no", "with"}
Group = tuple["TermHit", ...]


def groups_of(words: Words, terms: Sequence[TermHit], conditions: Sequence[ConditionHit]) -> list[Group]:
    """Terms that stand in one list ("screen, keys and handwheel") together, others alone."""
    judged = {
        word for condition in conditions if condition.judges for word in range(condition.start, condition.end)
    }
    groups: list[list[TermHit]] = []
    in_a_row = _rows(words, terms)
    for term in terms:
        if groups:
            if term.start in in_a_row:
                groups[-1].append(term)
                continue
            last = groups[-1][-1]
            between = range(last.end, term.start)
            joined = any(words.norms[word] in ("and", "or", "nor", "plus", "&") for word in between) or any(
                words.breaks[word] for word in range(last.end, term.start + 1)
            )
            if joined and all(words.norms[word] in _LIST_WORDS and word not in judged for word in between):
                groups[-1].append(term)
                continue
        groups.append([term])
    return [tuple(group) for group in groups]


def _rows(words: Words, terms: Sequence[TermHit]) -> set[int]:
    """Where terms stand that only follow others in a list said without commas: "x travel | z travel and
    | homing all fine". The list must end in "and" with one more, or in "all" or "both"."""
    found: set[int] = set()
    row: list[int] = []
    for last, term in pairwise(terms):
        if last.end == term.start and not words.breaks[term.start]:
            row.append(term.start)
        elif row and words.norms[last.end : term.start] in (("and",), ("and", "the")):
            found.update(row)
            row = []
        else:
            row = []
        if row and term is terms[-1] and words.norms[term.end : term.end + 1] in (("all",), ("both",)):
            found.update(row)
    return found


def subjects_of(
    words: Words,
    marks: Landmarks,
    clause: Clause,
    condition: ConditionHit,
    groups: Sequence[Group],
    conditions: Sequence[ConditionHit],
) -> tuple[Group, tuple[TermHit, ...]]:
    """The group that a condition is about, and the other terms near it that may help to place it.

    Both are empty when the remark names nothing.
    """
    around = [
        group for group in groups if any(t.start <= condition.start and condition.end <= t.end for t in group)
    ]
    right = [group for group in groups if group[0].start >= condition.end]
    if around:
        linked = _linked_right(words, marks, condition, right)
        only_a_part = all(subject.kind == "part" for term in around[0] for subject in term.subjects)
        if linked is not None and only_a_part:  # "no pressure | from the lube pump"
            return _with_rest(linked, groups)
        return _with_rest(around[0], groups)
    left = [group for group in groups if group[-1].start < condition.start]
    linked = _linked_right(words, marks, condition, right)
    if linked is not None and (condition.is_noun or not left):
        return _with_rest(linked, groups)
    ahead = _attributive(words, condition, right)
    if ahead is not None and (not left or _judged_already(left[-1], condition, conditions, words)):
        return _with_rest(ahead, groups)
    if left:
        return _with_rest(_head(words, marks, left), groups)
    if right:
        return _with_rest(right[0], groups)
    return (), ()


def _with_rest(group: Group, groups: Sequence[Group]) -> tuple[Group, tuple[TermHit, ...]]:
    return group, tuple(term for other in groups if other is not group for term in other)


def _linked_right(
    words: Words, marks: Landmarks, condition: ConditionHit, right: Sequence[Group]
) -> Group | None:
    """The group that a preposition ties to the condition: "dents on the | doors"."""
    if not right:
        return None
    between = range(condition.end, right[0][0].start)
    if len(between) > 6 or any(words.breaks[word] for word in (*between, right[0][0].start)):
        return None
    if not any(word in marks.links for word in between):
        return None
    return right[0]


def _attributive(words: Words, condition: ConditionHit, right: Sequence[Group]) -> Group | None:
    """The group whose noun directly follows: "cracked | window"."""
    if not right:
        return None
    start = right[0][0].start
    if words.breaks[start] or start > condition.end + 1:
        return None
    if start == condition.end + 1 and words.norms[condition.end] not in ("and", *DETERMINERS):
        return None
    return right[0]


def _judged_already(
    group: Group, condition: ConditionHit, conditions: Sequence[ConditionHit], words: Words
) -> bool:
    """Whether the thing on the left has its judgement, or an article starts a new thing here."""
    if condition.start and words.norms[condition.start - 1] in ("a", "an", "some", "no"):
        return True
    return any(
        other.judges and other is not condition and group[-1].end <= other.start < condition.start
        for other in conditions
    )


def _head(words: Words, marks: Landmarks, left: Sequence[Group]) -> Group:
    """Of "the bearing in the tailstock", the bearing; else the nearest on the left."""
    nearest = len(left) - 1
    while nearest > 0:
        start = noun_phrase_start(words, left[nearest][0].start)
        tied = start and start - 1 in marks.links and start - 1 >= left[nearest - 1][-1].end
        between = range(left[nearest - 1][-1].end, start)
        if not tied or len(between) > 3 or any(word in marks.condition_at for word in between):
            break
        nearest -= 1
    return left[nearest]
