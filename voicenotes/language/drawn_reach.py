"""How far each cue of a transcript reached, as the reader used it: what it took in, and what stopped it.

Nothing is decided here: what a cue took in comes from the functions of `scope` and from the grounds of
the judgements made. Only asked for when a reading is to be shown.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from voicenotes.language.hits import ConditionHit
from voicenotes.language.polarity import PRESENT_REACH_WORDS
from voicenotes.language.scope import (
    WIDE,
    Reach,
    circumstances_of,
    is_plain_no,
    negations_of,
    reaches_condition,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from voicenotes.language.clause_view import ClauseView
    from voicenotes.language.hits import CueHit
    from voicenotes.language.mentions import Remark
    from voicenotes.language.spans import Placed, Span

WHOLE_REMARK = frozenset(
    {"hedge", "not_tested", "history", "exception", "class_critical", "class_major", "class_minor"}
)
TAKING_BACK = frozenset({"retract", "correct"})
CUTTING = frozenset({"breaker", "marker"})
_BY_DISTANCE = frozenset({"softener", "sweep"})
_THERE_OR_NOT = frozenset({"present", "absent"})
REMARK_END, REMARK_EDGES, SENTENCE_END = "the remark's end", "the remark's edges", "the sentence's end"


@dataclass(frozen=True)
class CueReach:
    """A cue of one remark (by place in the list) with its reach.

    reach    the words it could change something in, with its own; None for a cue that only ties or cuts
    took_in  what it did change something of: conditions, things, or all words of a remark
    stopped  what ended the reach, in a few words
    acted    whether anything came out otherwise because of it
    """

    cue: CueHit
    remark: int
    reach: Span | None
    took_in: tuple[Span, ...]
    stopped: str
    acted: bool


@dataclass(frozen=True)
class _Seen:
    """All remarks of a transcript, and by cue the remarks in which it counted as a ground."""

    views: Sequence[ClauseView]
    remarks: Sequence[Remark]
    grounds: dict[tuple[int, int, str], set[int]]


def reaches_drawn(views: Sequence[ClauseView], remarks: Sequence[Remark]) -> list[CueReach]:
    """Each cue of each remark, in order of words; `remarks` are what the reader made of the views."""
    seen = _Seen(views, remarks, _grounds_of_cues(remarks))
    return [_reach_of(seen, place, cue) for place, view in enumerate(views) for cue in view.reach.own]


def _grounds_of_cues(remarks: Sequence[Remark]) -> dict[tuple[int, int, str], set[int]]:
    found: dict[tuple[int, int, str], set[int]] = {}
    for place, remark in enumerate(remarks):
        for said in remark.said:
            for ground in said.grounds:
                if ground.role == "cue":
                    found.setdefault((ground.start, ground.end, ground.kind), set()).add(place)
    return found


def _reach_of(seen: _Seen, place: int, cue: CueHit) -> CueReach:
    view = seen.views[place]
    counted = seen.grounds.get((cue.start, cue.end, cue.kind), set())
    took: tuple[Span, ...] = ()
    reach: Span | None = None
    stopped = ""
    if cue.kind == "negation":
        reach, took, stopped = _negation(view, cue)
    elif cue.kind == "circumstance":
        took = _spans(view.conditions[i] for i in circumstances_of(Reach((cue,), ()), view.conditions))
        reach, stopped = _by_words(view, cue, took[0][1] - cue.end if took else cue.use.words)
        stopped = "the first judging word" if took else stopped
    elif cue.kind in _BY_DISTANCE:
        near = [c for c in view.conditions if c.judges and reaches_condition(cue, c)]
        took = _spans(near) if counted else ()
        reach, stopped = _probed(view, cue)
    elif cue.kind in _THERE_OR_NOT:
        took = _beside(seen, place, cue)
        furthest = max((abs(end - cue.end) for _, end in took), default=PRESENT_REACH_WORDS)
        reach, stopped = _by_words(view, cue, furthest)
        stopped = "the thing it is said of" if took else stopped
    elif cue.kind in WIDE:
        reach, took, stopped = _over_remarks(seen, place, cue, counted)
    elif cue.kind in WHOLE_REMARK:
        touched = sorted({place, *counted})
        took = tuple(_whole(seen.views[at]) for at in sorted(counted))
        reach, stopped = (_whole(seen.views[touched[0]])[0], view.clause.end), REMARK_EDGES
    elif cue.kind in TAKING_BACK:
        places = [i for i, r in enumerate(seen.remarks) if r.taken_back_by == (cue.start, cue.end)]
        took = tuple(_whole(seen.views[at]) for at in places)
        reach = (took[0][0], cue.end) if took else (cue.start, cue.end)
        stopped = "the remark taken back" if took else "nothing said before"
    cut = cue.kind in CUTTING and cue.start == view.clause.start and view.clause.joint in ("break", "marker")
    by_took = cue.kind in ("negation", "circumstance", *TAKING_BACK)
    return CueReach(cue, place, reach, took, stopped, bool(took if by_took else counted) or cut)


def _negation(view: ClauseView, cue: CueHit) -> tuple[Span, tuple[Span, ...], str]:
    turned = negations_of(view.words, view.reach, view.conditions, view.terms)
    took = [view.conditions[index] for index, cues in turned.items() if cue in cues]
    spans = _spans(took)
    clause = view.clause
    if cue.use.reach == "backward":
        return (spans[0][0] if spans else cue.start, cue.end), spans, "the nearest judging word"
    if is_plain_no(view.words, cue):
        return (cue.start, cue.end), (), "its being an answer"
    ahead = [c for c in view.conditions if c.judges and 0 <= c.start - cue.end <= cue.use.words]
    if not took and ahead:
        last = ahead[0].start + 1
        at = next((w for w in range(cue.end, last) if w < clause.end and view.words.breaks[w]), None)
        if at is not None:
            return (cue.start, max(at, cue.end)), (), "a pause or mark"
    after = max((c.end for c in took), default=cue.end)
    following = [c for c in ahead if c not in took and c.start >= after]
    if took and following:
        return (cue.start, following[0].start), spans, view.cite(following[0].start, following[0].end)
    reach, stopped = _by_words(view, cue, cue.use.words + 1)
    return reach, spans, stopped


def _by_words(view: ClauseView, cue: CueHit, words: int) -> tuple[Span, str]:
    """The words on the cue's side, so many of them, cut at the remark's ends."""
    start, end = cue.start, cue.end
    if cue.use.reach != "backward":
        end = cue.end + words
    if cue.use.reach != "forward":
        start = cue.start - words
    inside = (max(start, view.clause.start), min(end, view.clause.end))
    stopped = f"{words} words" if inside == (start, end) else REMARK_END
    return inside, stopped


def _probed(view: ClauseView, cue: CueHit) -> tuple[Span, str]:
    """The words where `reaches_condition` takes in a condition of one word."""
    clause = view.clause
    inside = [
        word
        for word in range(clause.start, clause.end)
        if cue.start <= word < cue.end
        or reaches_condition(cue, ConditionHit(word, word + 1, (), (), "exact", ""))
    ]
    reach = (min(inside), max(inside) + 1)
    return reach, REMARK_EDGES if reach == _whole(view) else f"{cue.use.words} words"


def _beside(seen: _Seen, place: int, cue: CueHit) -> tuple[Span, ...]:
    """The conditions and things that are said to be there, or not, by this cue."""
    key = (cue.start, cue.end, cue.kind)
    found = {
        (ground.start, ground.end): None
        for mention in seen.remarks[place].said
        if key in {(g.start, g.end, g.kind) for g in mention.grounds}
        for ground in mention.grounds
        if ground.role in ("condition", "subject")
        and _whole(seen.views[place])[0] <= ground.start < ground.end
        and (ground.role == "condition" or hasattr(mention, "fitted"))
    }
    return tuple(sorted(found))


def _over_remarks(
    seen: _Seen, place: int, cue: CueHit, counted: set[int]
) -> tuple[Span, tuple[Span, ...], str]:
    """The remarks that a cue about the speaker or the time was spread over."""
    over = [at for at, view in enumerate(seen.views) if cue in view.reach.wide]
    start = seen.views[over[0]].clause.start
    if cue.kind == "plan" and over[0] == place:
        start = cue.start  # what stands before a plan in its remark is no plan
    end = seen.views[over[-1]].clause.end
    took = tuple(_whole(seen.views[at]) for at in sorted(counted))
    return (start, end), took, _why_not_on(seen.views, over[-1])


def _why_not_on(views: Sequence[ClauseView], last: int) -> str:
    if last + 1 >= len(views) or views[last + 1].clause.sentence != views[last].clause.sentence:
        return SENTENCE_END
    following = views[last + 1]
    if following.clause.joint == "subject":
        return "a new subject"
    return following.cite(following.clause.start, following.clause.start + 1)


def _whole(view: ClauseView) -> Span:
    return view.clause.start, view.clause.end


def _spans(things: Iterable[Placed]) -> tuple[Span, ...]:
    return tuple(sorted((thing.start, thing.end) for thing in things))
