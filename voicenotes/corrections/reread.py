"""What a change of words in one remark changes in what is read from it.

The remark is read twice by itself, with the words as heard and with the words as said, and what differs
between the two is what the change did. What the record has of the remark beyond that came from the talk round
it, such as the thing named before, and stays. So a corrected word is read by the same rules as all talk, and
one remark can be read again in a moment, without the transcripts.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from voicenotes.findings.read import read_text

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from voicenotes.corrections.values import WordChange
    from voicenotes.model import CheckFinding, FactFinding, FittingFinding
    from voicenotes.vocabulary.schema import Pack

KEPT_READINGS = 2_000


@dataclass(frozen=True)
class Alone:
    """What is read from some words by themselves: only checks, facts and fittings that they speak of."""

    checks: Mapping[str, CheckFinding]
    facts: Mapping[str, FactFinding]
    fittings: Mapping[str, FittingFinding]


def read_alone(quote: str, pack: Pack) -> Alone:
    """Some words, read with the pack."""
    return _read_alone(quote, _Held(pack))


class _Held:
    """A pack as a key: the same for packs of the same content."""

    def __init__(self, pack: Pack) -> None:
        self.pack = pack

    def __hash__(self) -> int:
        return hash(self.pack.digest)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Held) and other.pack.digest == self.pack.digest


@lru_cache(maxsize=KEPT_READINGS)
def _read_alone(quote: str, held: _Held) -> Alone:
    record = read_text(quote, held.pack)
    return Alone(
        {finding.id: finding for finding in record.checks if finding.evidence},
        {name: fact for name, fact in record.facts.items() if fact.evidence},
        {name: fitting for name, fitting in record.fittings.items() if fitting.evidence},
    )


def changed_quote(quote: str, changes: Iterable[WordChange]) -> str | None:
    """A quote with its changes, of those that meet the last one; None when one doesn't fit the words."""
    words = quote.split()
    slots: list[str | None] = list(words)
    taken: set[int] = set()
    for change in reversed(list(changes)):
        heard = change.heard.split()
        places = range(change.at, change.at + len(heard))
        if words[change.at : change.at + len(heard)] != heard or change.at > len(words):
            return None
        if taken.intersection(places):
            continue
        taken.update(places)
        for place in places:
            slots[place] = None
        if not heard:  # put in before a word
            at = min(change.at, len(words) - 1)
            before = change.at < len(words)
            slots[at] = f"{change.said} {slots[at] or ''}" if before else f"{slots[at] or ''} {change.said}"
        else:
            slots[change.at] = change.said
    return " ".join(" ".join(slot for slot in slots if slot).split())
