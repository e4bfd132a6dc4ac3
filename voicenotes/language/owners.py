"""Whose thing it is: "my light" and "the meter's battery" are not the machine's."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from voicenotes.language.spans import words_of_all
from voicenotes.vocabulary.expand import morphology

if TYPE_CHECKING:
    from voicenotes.language.hits import Hits, TermHit
    from voicenotes.language.words import Words

_HIS_OWN = frozenset({"my", "our"})


def without_others_things(words: Words, hits: Hits) -> Hits:
    """The hits without terms that name something of the technician's, or of a thing the pack doesn't know."""
    if not _HIS_OWN.intersection(words.norms) and "'s" not in words.norms:
        return hits
    known = words_of_all(hits.terms, hits.conditions, hits.cues)
    kept = tuple(term for term in hits.terms if not _is_others(words, term, known))
    return hits if len(kept) == len(hits.terms) else replace(hits, terms=kept)


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
