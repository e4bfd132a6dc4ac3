"""How a transcript was read, word by word: what each was taken for, and which of them decided.

Made only when a reading is to be shown. The marks come from what the reader found (`views_of`), and which
of them decided from the grounds that its judgements carry; nothing is judged a second time.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from voicenotes.language.compile_lexicon import lexicon_of
from voicenotes.language.drawn_reach import CueReach, reaches_drawn
from voicenotes.language.reader import read_transcript, views_of
from voicenotes.language.relevance import foreign_words
from voicenotes.language.words import words_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from voicenotes.language.clause_view import ClauseView
    from voicenotes.language.grounds import Ground, Role
    from voicenotes.language.hits import ConditionHit, FactHit, PlaceHit
    from voicenotes.language.mentions import Remark
    from voicenotes.language.quantities import Quantity
    from voicenotes.language.remarks import Clause
    from voicenotes.language.words import Words
    from voicenotes.model import Transcript
    from voicenotes.vocabulary.schema import Pack


@dataclass(frozen=True)
class Mark:
    """Words start..end (exclusive) of a transcript and what they were taken for.

    `kind` and `owner` are those of `Ground`; `value` is what a quantity was read as ("0.002 in").
    `decided` says whether any judgement, fitting or fact rests on it.
    """

    start: int
    end: int
    role: Role
    kind: str
    owner: str = ""
    value: str = ""
    decided: bool = False


@dataclass(frozen=True)
class TracedRemark:
    """A remark with its words and the marks on them; `foreign` is the share of words around it that carry
    a meaning which the pack doesn't know."""

    clause: Clause
    remark: Remark
    marks: tuple[Mark, ...]
    foreign: float


@dataclass(frozen=True)
class Trace:
    """How one transcript was read; all places are places in `words`."""

    words: Words
    remarks: tuple[TracedRemark, ...] = ()
    reaches: tuple[CueReach, ...] = ()


def trace_of(transcript: Transcript, pack: Pack) -> Trace:
    """Read a transcript and keep what every word was taken for."""
    words = words_of(transcript)
    if not len(words):
        return Trace(words)
    lexicon = lexicon_of(pack)
    remarks, _ = read_transcript(transcript, pack)
    found = views_of(words, lexicon, None)
    reaches = reaches_drawn([view for view, _, _ in found], remarks)
    grounds = _grounds_by_place(remarks)
    foreign = foreign_words(words, found[0][0].covered, lexicon)
    traced = []
    for place, ((view, places, facts), remark) in enumerate(zip(found, remarks, strict=True)):
        clause = view.clause
        marks = [
            *_things(view, places, facts, grounds),
            *(_of_cue(reach) for reach in reaches if reach.remark == place),
        ]
        known = {(mark.start, mark.end, mark.role) for mark in marks}
        marks += [
            Mark(ground.start, ground.end, ground.role, ground.kind, ground.owner, decided=True)
            for (start, end, role), here in grounds.items()
            if clause.start <= start < min(end, clause.end) and (start, end, role) not in known
            for ground in here[:1]
        ]
        whole = [mark for mark in marks if not _is_part_of_fact(mark, marks)]
        ordered = tuple(sorted(whole, key=lambda mark: (mark.start, -mark.end, not mark.decided)))
        traced.append(TracedRemark(clause, remark, ordered, foreign.share(clause.start, clause.end)))
    return Trace(words, tuple(traced), tuple(reaches))


Grounded = dict[tuple[int, int, str], list["Ground"]]


def _grounds_by_place(remarks: Iterable[Remark]) -> Grounded:
    found: Grounded = {}
    for remark in remarks:
        for said in remark.said:
            for ground in said.grounds:
                if ground.end > ground.start:
                    found.setdefault((ground.start, ground.end, ground.role), []).append(ground)
    return found


def _things(
    view: ClauseView, places: Sequence[PlaceHit], facts: Sequence[FactHit], grounds: Grounded
) -> Iterator[Mark]:
    """The marks of everything but cues."""
    for term in view.terms:
        ids = ", ".join(subject.id for subject in term.subjects)
        decided = (term.start, term.end, "subject") in grounds
        yield Mark(term.start, term.end, "subject", term.how, ids, decided=decided)
    for condition in view.conditions:
        yield _of_condition(condition, grounds)
    for quantity in view.quantities:
        decided = (quantity.start, quantity.end, "quantity") in grounds
        yield Mark(quantity.start, quantity.end, "quantity", quantity.dimension, value=value_of(quantity),
                   decided=decided)  # fmt: skip
    for hit in facts:
        yield Mark(hit.start, hit.end, "fact", hit.fact, decided=(hit.start, hit.end, "fact") in grounds)
    for place in places:
        yield Mark(place.start, place.end, "station", place.station, decided=True)


def _of_condition(condition: ConditionHit, grounds: Grounded) -> Mark:
    for counts_as in ("condition", "aspect"):
        counted = grounds.get((condition.start, condition.end, counts_as))
        if counted:
            first = counted[0]
            return Mark(first.start, first.end, first.role, first.kind, first.owner, decided=True)
    meaning = condition.meanings[0]
    role: Role = "condition" if condition.judges else "aspect"
    return Mark(condition.start, condition.end, role, meaning.polarity, meaning.owner)


def _of_cue(reach: CueReach) -> Mark:
    cue = reach.cue
    return Mark(cue.start, cue.end, "cue", cue.kind, decided=reach.acted)


def _is_part_of_fact(mark: Mark, marks: Sequence[Mark]) -> bool:
    """Whether a fact's word stands inside the words that give the fact's value."""
    return (
        mark.role == "fact"
        and not mark.decided
        and any(
            other.role == "fact" and other.decided and other.start <= mark.start and mark.end <= other.end
            for other in marks
        )
    )


def value_of(quantity: Quantity) -> str:
    """What a quantity was read as: "0.002 in", "10 to 15 bar"."""
    value = f"{quantity.value:g}"
    if quantity.low is not None and quantity.high is not None:
        value = f"{quantity.low:g} to {quantity.high:g}"
    return f"{value} {quantity.unit}"
