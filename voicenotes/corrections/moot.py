"""Corrections that have nothing left to correct: the visit was read again, and now says what they say.

So it is once a pack has learnt a phrase (`voicenotes suggestions`), or another engine heard better. Such a
correction stays in the journal, and there is nothing to decide about it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicenotes.corrections.refs import place_of
from voicenotes.corrections.reread import changed_quote
from voicenotes.corrections.workbench import JUDGES
from voicenotes.language.words import norms_of

if TYPE_CHECKING:
    from collections.abc import Iterable

    from voicenotes.corrections.refs import Place
    from voicenotes.corrections.values import Move, Tag, Words
    from voicenotes.corrections.workbench import Workbench
    from voicenotes.model import Polarity


def is_tagged_so(bench: Workbench, tag: Tag) -> bool:
    """Whether a remark that is cut otherwise now speaks of the check by itself, and says the same of it."""
    if bench.remarks.place(tag.remark) is not None or tag.check not in bench.before:
        return False
    return tag.says in _said(bench, tag.check, bench.remarks.at_its_time(tag.remark))


def is_moved_so(bench: Workbench, move: Move) -> bool:
    """Whether what was said there speaks of the one check by itself now, and no more of the other."""
    place = bench.remarks.place(move.remark)
    places = bench.remarks.at_its_time(move.remark) if place is None else (place,)
    if not places or move.to is None or move.check not in bench.before:
        return False
    if _said(bench, move.check, places):
        return False
    return move.to in bench.before and bool(_said(bench, move.to, places) & JUDGES)


def are_read_so(bench: Workbench, words: Words) -> bool:
    """Whether the words that were put right stand there now."""
    if bench.remarks.place(words.remark) is not None:
        return False
    now = changed_quote(words.remark.quote, words.changes)
    places = sorted(bench.remarks.at_its_time(words.remark))
    read = " ".join(bench.remarks.quotes[place] for place in places)
    return now is not None and bool(places) and norms_of(now) == norms_of(read)


def _said(bench: Workbench, check: str, places: Iterable[Place]) -> set[Polarity]:
    """What the record says of a check in some remarks."""
    within = set(places)
    return {e.polarity for e in bench.before[check].evidence if place_of(e) in within}
