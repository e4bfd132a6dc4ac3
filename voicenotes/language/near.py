"""Terms that a recogniser misspelt or misheard: found by spelling distance and by sound."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from voicenotes.language.hits import TermHit
    from voicenotes.language.lexicon import Lexicon
    from voicenotes.language.words import Words


def guess_terms(words: Words, lexicon: Lexicon) -> list[TermHit]:
    return []
