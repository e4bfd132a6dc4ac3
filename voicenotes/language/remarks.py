"""Cuts the words into sentences and those into remarks: stretches that say one thing of one subject.

Cuts come from pauses and punctuation, from words like "but" and "next", and from a change of
subject. The remarks of a transcript follow one another without a hole: nothing said is lost.
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from voicenotes.language.landmarks import STARTING_CUES
from voicenotes.language.words import STRONG, WEAK

if TYPE_CHECKING:
    from voicenotes.language.hits import CueHit
    from voicenotes.language.landmarks import Landmarks
    from voicenotes.language.words import Words

Joint = Literal["start", "break", "comma", "and", "subject", "marker"]
DETERMINERS = frozenset(
    {"the", "a", "an", "this", "that", "these", "those", "its", "my", "his", "their", "our", "your",
     "all", "both", "each", "every", "other", "same", "some"}
)  # fmt: skip
_COORDINATORS = frozenset({"and", "or", "nor", "plus", "&"})
_PRONOUNS = frozenset({"it", "they", "he", "she", "i", "you", "we", "there"})
_OF_THEM = frozenset({"all", "both", "each", "none", "neither"})
_CLOSING = frozenset(
    {"though", "too", "now", "well", "fine", "up", "down", "out", "in", "ways", "anyway", "mind", "either"}
)
_AUXILIARIES = frozenset(
    {"is", "are", "was", "has", "have", "does", "do", "did", "will", "can", "could", "would"}
)
_COPULAS = frozenset({"is", "are", "was", "were", "'s"})
_PLACE_STARTS = frozenset({"round", "around"})
_CUTTING_CUES = frozenset({"breaker", "exception", "marker", "retract", "correct"})


@dataclass(frozen=True)
class Clause:
    """Words start..end (exclusive) of a sentence, and how they join on to what went before."""

    start: int
    end: int
    sentence: int
    joint: Joint


def sentences_of(words: Words) -> list[tuple[int, int]]:
    """Ranges between strong breaks."""
    starts = [at for at, mark in enumerate(words.breaks) if mark == STRONG or at == 0]
    return list(zip(starts, [*starts[1:], len(words)], strict=True))


def clauses_of(words: Words, marks: Landmarks) -> list[Clause]:
    """Cut all the words into remarks, in order, without a hole."""
    clauses: list[Clause] = []
    for number, (start, end) in enumerate(sentences_of(words)):
        clauses.extend(_cut_sentence(words, marks, number, start, end))
    return clauses


def _cut_sentence(words: Words, marks: Landmarks, number: int, start: int, end: int) -> list[Clause]:
    clauses: list[Clause] = []
    current, joint = start, "start"
    edges = _edges(words, marks, start, end)
    for at in range(start + 1, end):
        found = _cut_here(words, marks, edges, current, at, end)
        if found:
            clauses.append(Clause(current, at, number, joint))  # type: ignore[arg-type]
            current, joint = at, found
    clauses.append(Clause(current, end, number, joint))  # type: ignore[arg-type]
    return clauses


def _edges(words: Words, marks: Landmarks, start: int, end: int) -> list[int]:
    """Where breaks, breakers and markers stand, and the sentence's end."""
    edges = [
        at
        for at in range(start + 1, end)
        if words.breaks[at] or any(_cuts(words, marks, cue) for cue in marks.cues_at.get(at, ()))
    ]
    return [*edges, end]


def _cuts(words: Words, marks: Landmarks, cue: CueHit) -> bool:
    """Whether a cue cuts the remark: not between a thing and its verb ("the wipers, though, are fine")."""
    if cue.kind == "breaker" and cue.start in marks.term_ends and cue.end < len(words):
        return words.norms[cue.end] not in _COPULAS
    return cue.kind in _CUTTING_CUES


def _cut_here(
    words: Words, marks: Landmarks, edges: list[int], left: int, at: int, end: int
) -> Joint | Literal[""]:
    """Whether a new remark starts at a word, and why."""
    if at in marks.whole or words.spoken[at] == words.spoken[at - 1]:
        return ""
    right_end = edges[bisect_left(edges, at + 1)]
    for cue in marks.cues_at.get(at, ()):
        if cue.kind == "marker" and not words.breaks[at] and words.norms[at] in _PLACE_STARTS:
            continue  # "the stop round the back" goes nowhere
        if cue.kind in ("retract", "correct", "marker"):
            return "marker" if _says_something(marks, left, at) or words.breaks[at] else ""
        if (
            cue.kind in ("breaker", "exception")
            and _cuts(words, marks, cue)
            and _says_something(marks, left, at)
        ):
            return "break"
    previous = [cue for cue in marks.cues_at.get(left, ()) if cue.kind == "retract"]
    if any(cue.end == at for cue in previous):
        return "marker"
    judged = marks.has_judgement(left, at)
    named = marks.has_term(left, at)
    if words.breaks[at] == WEAK:
        return _cut_at_comma(words, marks, left, at, right_end, judged, named)
    if words.norms[at] in _COORDINATORS:
        if judged and words.norms[at + 1 : at + 2] == ("so",) and words.norms[at + 2 : at + 3] != ("that",):
            return "and"  # "... and so is the power supply"
        if words.norms[at] == "nor" and _waits_for_predicate(words, marks, left, at):
            return ""
        if not judged and not _has_cue(marks, "history", left, at):
            return ""
        if at + 1 < right_end and words.norms[at + 1] in _PRONOUNS and marks.has_judgement(at + 1, right_end):
            return "and"
        spoken_of = named or words.norms[left] in _PRONOUNS
        return "and" if judged and spoken_of and _own_remark(words, marks, at + 1, right_end) else ""
    if not (judged and (named or words.norms[_opening(words, left)] in _PRONOUNS)):
        return ""
    if words.norms[at - 1] in _COORDINATORS:
        return ""
    if _starts_subject(words, marks, at, left, right_end) or _starts_finding(words, marks, at, right_end):
        return "subject"
    if _starts_with_pronoun(words, marks, at, right_end):
        return "subject"
    return ""


def _waits_for_predicate(words: Words, marks: Landmarks, left: int, at: int) -> bool:
    """ "Neither the work light | nor the lamp works": what is said of the first is still to come."""
    if "neither" not in words.norms[left:at]:
        return False
    said = (marks.condition_at.get(word) for word in range(left, at))
    return all(condition is None or condition.is_noun for condition in said)


def _has_cue(marks: Landmarks, kind: str, start: int, end: int) -> bool:
    return any(cue.kind == kind for word in range(start, end) for cue in marks.cues_at.get(word, ()))


def _says_something(marks: Landmarks, start: int, end: int) -> bool:
    return end - start > 3 or marks.has_term(start, end) or marks.has_judgement(start, end)


def _cut_at_comma(
    words: Words, marks: Landmarks, left: int, at: int, right_end: int, judged: bool, named: bool
) -> Joint | Literal[""]:
    first = at + 1 if words.norms[at] in _COORDINATORS else at
    right_judged = marks.has_judgement(first, right_end)
    right_named = marks.has_term(first, right_end)
    if right_judged and words.norms[at] in ("it", "they") and _has_cue(marks, "plan", left, at):
        return "comma"  # "let me try the door, | it drags"
    if right_judged and not right_named and words.norms[at] in _OF_THEM and at in marks.term_ends:
        return ""  # "overrides, handwheel, keys: all work"
    if judged:
        if right_judged and _only_continues(words, marks, at, right_end):
            return ""
        if right_judged:
            return "comma"
        if right_named:
            if not named and (
                not _PRONOUNS.intersection(words.norms[left:at]) or _only_names(words, marks, at, right_end)
            ):
                return ""  # "not bad, the turret indexing", "it's smooth, that X axis"
            return "" if _continues_list(words, marks, left, at) else "comma"
        return ""
    if not named and right_named and not _says_something(marks, left, at):
        return ""
    return "comma" if not named and right_named else ""


def _only_names(words: Words, marks: Landmarks, at: int, right_end: int) -> bool:
    """Whether nothing but a thing's name stands here: "..., that X axis"."""
    term = next((term for term in marks.terms if term.start >= at), None)
    return term is not None and term.end == right_end and noun_phrase_start(words, term.start, at) == at


def _only_continues(words: Words, marks: Landmarks, at: int, right_end: int) -> bool:
    """ "no dents, cracks or rust on the covers": the words after the comma go on with its list."""
    last = marks.condition_at.get(at - 1)
    word = at + 1 if words.norms[at] in _COORDINATORS else at
    found = marks.condition_at.get(word)
    if last is None or found is None or last.is_noun != found.is_noun:
        return False
    coordinated = word > at
    while found is not None:
        word = found.end
        if word < right_end and words.norms[word] in _COORDINATORS:
            coordinated = True
            word += 1
        found = marks.condition_at.get(word) if word < right_end else None
    return coordinated and (word >= right_end or word in marks.links)


def _continues_list(words: Words, marks: Landmarks, left: int, at: int) -> bool:
    """ "happy with the screen, keys and handwheel": the word before the comma ends a term that
    follows its judgement."""
    ending = [term for term in marks.terms if term.end == at and term.start >= left]
    return bool(ending) and marks.has_judgement(left, ending[0].start)


def _own_remark(words: Words, marks: Landmarks, start: int, end: int) -> bool:
    """Whether the words have a subject with a judgement of its own."""
    term = marks.next_term(start, end)
    if term is None or not marks.has_judgement(start, end):
        return False
    between = [word for word in range(start, term) if word in marks.condition_at]
    if between and not any(word in marks.links for word in range(start, term)):
        return term - start <= 4
    return True


def noun_phrase_start(words: Words, term_start: int, lowest: int = 0) -> int:
    """The place of the first determiner before a term, not below `lowest`."""
    at = term_start
    while at > lowest and words.norms[at - 1] in DETERMINERS and not words.breaks[at]:
        at -= 1
    return at


def _starts_subject(words: Words, marks: Landmarks, at: int, left: int, right_end: int) -> bool:
    """Whether a new subject starts here in speech without pauses: "... quiet | turret indexes"."""
    condition = marks.condition_at.get(at)
    if condition is not None and condition.start == at and condition.is_noun:
        # A noun of its own: "... fine | reverse is dead".
        return (
            condition.end + 1 < right_end
            and words.norms[condition.end] in _COPULAS
            and at - 1 not in marks.leading
            and at - 1 not in marks.links
            and words.norms[at - 1] not in DETERMINERS
            and marks.has_judgement(condition.end, right_end)
        )
    if condition is not None and condition.start == at:
        # An adjective before its noun: "... quiet | cracked window".
        term = marks.next_term(condition.end, right_end)
        return (
            term == condition.end
            and at - 1 not in marks.condition_at
            and at - 1 not in marks.links
            and words.norms[at - 1] not in DETERMINERS
            and not marks.has_judgement(condition.end, right_end)
        )
    term = marks.next_term(at, right_end)
    if term is None or noun_phrase_start(words, term, left) != at:
        return False
    if at - 1 in marks.links or at - 1 in marks.leading or at in marks.term_ends:
        return False
    before = marks.condition_at.get(at - 1)
    subject = words.norms[_opening(words, left)] in _PRONOUNS
    if before is not None and subject and not marks.has_term(left, before.start):
        ending = next((t.end for t in marks.terms if t.start == term), term)
        return at != before.end or marks.has_judgement(ending, right_end)  # "they've lost | the clamps"
    if before is not None and at == term and not subject and not marks.has_term(left, before.start):
        return False
    return marks.has_judgement(term, right_end)


def _opening(words: Words, left: int) -> int:
    """The place of a remark's first word that is no "and" or "but"."""
    return left + 1 if words.norms[left] in ("and", "but", "so") and left + 1 < len(words) else left


def _starts_with_pronoun(words: Words, marks: Landmarks, at: int, right_end: int) -> bool:
    """ "... no rumble | it stops smoothly": a pronoun with its own verb after a finished judgement."""
    if words.norms[at] not in ("it", "they") or at + 1 >= right_end or at - 1 in marks.leading:
        return False
    if at - 1 not in marks.condition_at and words.norms[at - 1] not in _CLOSING:
        return False
    verb = marks.condition_at.get(at + 1)
    if verb is not None:
        return verb.start == at + 1 and not verb.is_noun
    return words.norms[at + 1] in _AUXILIARIES and marks.has_judgement(at + 1, right_end)


def _starts_finding(words: Words, marks: Landmarks, at: int, right_end: int) -> bool:
    """ "... quiet | no leaks at the tailstock", "... quiet | there's a dent in the door",
    "... quiet | I'm not sure about the chuck"."""
    for cue in marks.cues_at.get(at, ()):
        if cue.kind in STARTING_CUES:
            term = marks.next_term(cue.end, min(right_end, cue.end + 4))
            if term is not None and not marks.has_judgement(cue.end, term):
                return True
            continue
        if cue.kind not in ("negation", "present", "absent"):
            continue
        condition = marks.condition_at.get(cue.end)
        if words.norms[at] == "there" and condition is not None and condition.is_noun:
            return True
        step = cue.end
        while condition is None and step < min(cue.end + 3, right_end - 1):
            step += 1
            condition = marks.condition_at.get(step)
        here = marks.next_term(cue.end, min(cue.end + 3, right_end))
        if here is not None and condition is not None and condition.is_noun and here <= condition.start:
            return True
        if condition is None or (not condition.is_noun and cue.kind == "negation" and cue.phrase != "no"):
            continue
        term = marks.next_term(condition.end, min(right_end, condition.end + 5))
        if term is not None and any(word in marks.links for word in range(condition.end, term)):
            return True
    return False
