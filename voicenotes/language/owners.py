"""Whose thing it is: "my light", "the meter's battery", "the pump on the grinder" are not the machine's."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from voicenotes.language.remarks import DETERMINERS
from voicenotes.language.spans import words_of_all
from voicenotes.vocabulary.expand import morphology

if TYPE_CHECKING:
    from voicenotes.language.hits import Hits, TermHit
    from voicenotes.language.words import Words

_HIS_OWN = frozenset({"my", "our"})
_TIES = frozenset({"on", "of", "in", "at", "for", "from"})


def without_others_things(words: Words, hits: Hits, elsewhere: frozenset[str]) -> Hits:
    """The hits without terms that name something of the technician's, of a thing the pack doesn't know, or
    of one of the parts called `elsewhere`."""
    away = {term.start for term in hits.terms if any(s.id in elsewhere for s in term.subjects)}
    if not away and not _HIS_OWN.intersection(words.norms) and "'s" not in words.norms:
        return hits
    known = words_of_all(hits.terms, hits.conditions, hits.cues)
    kept = tuple(
        term
        for term in hits.terms
        if not _is_others(words, term, known) and not (away and _is_at(words, term, away))
    )
    return hits if len(kept) == len(hits.terms) else replace(hits, terms=kept)


def _is_at(words: Words, term: TermHit, places: set[int]) -> bool:
    """Whether a thing is tied to one of some others by a preposition: "the pump on the | grinder"."""
    at = term.end
    if at >= len(words) or words.norms[at] not in _TIES or words.breaks[at]:
        return False
    at += 1
    while at < len(words) and words.norms[at] in DETERMINERS:
        at += 1
    return at in places


def _is_others(words: Words, term: TermHit, known: set[int]) -> bool:
    at = term.start - 1
    if at < 0 or words.breaks[term.start]:
        return False
    if words.norms[at] in _HIS_OWN:
        return True
    owner = at - 1
    return (
        words.norms[at] == "'s"
        and owner >= 0
        and owner not in known
        and words.norms[owner].isalpha()
        and words.norms[owner] not in morphology().function
    )
