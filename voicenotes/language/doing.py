"""Words that could judge but only tell what is being done: "I jogged X", "turning it by hand".

Whether a working verb judges depends on its form and on who does it. "The turret indexes" says that it
does; "I indexed the turret", "turning it over by hand" and "after running it" only say what happened.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicenotes.vocabulary.expand import verb_forms

if TYPE_CHECKING:
    from voicenotes.language.clause_view import ClauseView
    from voicenotes.language.hits import ConditionHit

_PERSONS = frozenset({"i", "we", "you", "he", "she", "let", "lets", "somebody", "someone"})
_BETWEEN = frozenset(
    {"have", "has", "had", "just", "then", "also", "now", "did", "do", "us", "only", "simply", "slowly",
     "already", "would", "could", "can", "will", "been", "still", "not", "never", "really", "even",
     "actually"}
)  # fmt: skip
_OBJECTS = frozenset({"it", "her", "him", "them"})
_OBJECT_STARTS = frozenset({"the", "a", "an", "this", "that", "your", "both", "all", "these", "those"})
_ARTICLES = frozenset({"the", "a", "an", "this", "that"})
_UNABLE = frozenset({"could", "can", "did"})
_BY_FORCE = frozenset(
    {"move", "turn", "shift", "budge", "slide", "push", "pull", "lift", "shut", "close", "open"}
)
_BEING = frozenset(
    {"is", "are", "was", "were", "be", "been", "being", "'s", "keeps", "keep", "kept", "still", "not", "all",
     "both", "just", "nicely", "well", "now", "sounds", "looks", "seems", "good", "fine", "and"}
)  # fmt: skip


def only_tells_what_is_done(view: ClauseView, condition: ConditionHit) -> bool:
    """Whether a good or noted verb reports an action or a circumstance and judges nothing."""
    if not any(meaning.polarity in ("good", "noted") for meaning in condition.meanings):
        return False
    first = view.words.norms[condition.start]
    if condition.start == view.clause.start and condition.end < view.clause.end:
        after = view.words.norms[condition.end]
        base = (first + "s") in verb_forms(first)
        if base and (after in _OBJECTS or after in _OBJECT_STARTS):
            return True  # "run her both ways", "shut the door behind you"
        if condition.how == "inflected" and not first.endswith(("s", "ing")) and after in _OBJECT_STARTS:
            return True  # "ran the spindle for ten minutes"
    is_verb = condition.how == "inflected" or first.endswith(("ed", "ing")) or bool(verb_forms(first))
    if is_verb and _is_done_by_a_person(view, condition):
        return True
    if condition.end - condition.start == 1 and view.words.norms[condition.end : condition.end + 1] == (
        "to",
    ):
        return condition.end + 1 < view.clause.end  # "starts to | rumble"
    following = view.words.norms[condition.end : min(condition.end + 1, view.clause.end)]
    if first.endswith("ing") and condition.end - condition.start == 1 and _ARTICLES.intersection(following):
        return True  # "after running the spindle"
    if any(meaning.polarity == "bad" for meaning in condition.meanings):
        return False
    if condition.end - condition.start > 2 or not first.endswith("ing"):
        return False
    if any(term.start <= condition.start <= term.end for term in view.terms):
        return False
    before = view.word_before(condition.start)
    return not before or bool(view.words.breaks[condition.start]) or before not in _BEING


def _is_done_by_a_person(view: ClauseView, condition: ConditionHit) -> bool:
    """ "I jogged", "we have then cycled": a verb with a person before it."""
    at = condition.start
    while at > view.clause.start and not view.words.breaks[at]:
        at -= 1
        word = view.words.norms[at]
        if word in _PERSONS:
            return True
        if word not in _BETWEEN:
            return False
    return False


def could_not(view: ClauseView, condition: ConditionHit) -> bool:
    """Whether a person says that he couldn't do it: "the live tools I couldn't | run"."""
    if not _is_done_by_a_person(view, condition):
        return False
    words = view.words.norms[view.clause.start : condition.start]
    return bool(_UNABLE.intersection(words)) and view.words.norms[condition.start] not in _BY_FORCE
