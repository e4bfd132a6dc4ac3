"""Stretches of words as (start, end) pairs, end exclusive, and which of them win where they overlap."""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from collections.abc import Iterable

Span = tuple[int, int]


class Placed(Protocol):
    """Something that stands on the words start..end, end exclusive."""

    @property
    def start(self) -> int: ...
    @property
    def end(self) -> int: ...


def words_of_all(*groups: Iterable[Placed]) -> set[int]:
    """The words that any of the things stands on."""
    return {word for things in groups for thing in things for word in range(thing.start, thing.end)}


def longest(spans: Iterable[Span]) -> list[Span]:
    """Of overlapping spans the longest, and of equally long ones the first; in order of words."""
    chosen: list[Span] = []
    taken: set[int] = set()
    for start, end in sorted(set(spans), key=lambda span: (span[0] - span[1], span[0])):
        if not any(word in taken for word in range(start, end)):
            taken.update(range(start, end))
            chosen.append((start, end))
    return sorted(chosen)


def inside(span: Span, outer: Span) -> bool:
    """Whether a span lies within another, or is it."""
    return outer[0] <= span[0] and span[1] <= outer[1]


class Cover:
    """Spans that don't overlap one another, looked up by word in constant time."""

    def __init__(self, spans: Iterable[Span]) -> None:
        self._at = {word: span for span in spans for word in range(*span)}

    def around(self, span: Span) -> Span | None:
        """The covering span that holds all of a span."""
        outer = self._at.get(span[0])
        return outer if outer is not None and span[1] <= outer[1] else None

    def crossed_by(self, span: Span) -> Span | None:
        """A covering span that shares words with a span while neither holds the other."""
        for word in range(*span):
            outer = self._at.get(word)
            if outer is not None and not inside(span, outer) and not inside(outer, span):
                return outer
        return None

    def ends_at(self, word: int) -> bool:
        """Whether a covering span ends right before a word."""
        outer = self._at.get(word - 1)
        return outer is not None and outer[1] == word


def by_outer(spans: Iterable[Span], cover: Cover) -> dict[Span, list[Span]]:
    """Spans grouped by the covering span that holds them; those held by none are left out."""
    grouped: dict[Span, list[Span]] = {}
    for span in spans:
        outer = cover.around(span)
        if outer is not None and outer != span:
            grouped.setdefault(outer, []).append(span)
    return grouped
