"""What the page shows of each check and remark, as values for the templates."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from voicenotes.corrections.refs import place_of
from voicenotes.corrections.wording import SAYS, outcome_words, said_of
from voicenotes.outputs.wording import reading_line
from voicenotes.review.targets import check_targets, remark_key, state_of
from voicenotes.review.words import BASES, clock, sign_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from voicenotes.corrections.values import Correction, RemarkRef
    from voicenotes.model import CheckFinding, Evidence, Untagged
    from voicenotes.review.desk import View

MOST_QUOTES = 3


@dataclass(frozen=True)
class Quote:
    """A remark as it is shown; `recording` is its number in the record, None where nothing can be heard."""

    key: str
    words: str
    heard: str | None
    recording: int | None
    file: str
    start: float
    end: float
    at: str
    says: str = ""
    basis: str = ""
    why: str = ""


@dataclass(frozen=True)
class Done:
    """A correction in effect, with the way to take it back."""

    id: str
    line: str
    who: str
    when: str


@dataclass(frozen=True)
class Card:
    """A check as it stands."""

    id: str
    title: str
    station: str
    judged: str
    sign: str
    outcome: str
    was: str | None
    wording: str | None
    must: bool
    doubts: tuple[str, ...]
    open_because: str | None
    settled_because: str | None
    quotes: tuple[Quote, ...]
    more_quotes: int
    readings: tuple[str, ...]
    photos: tuple[str, ...]
    done: tuple[Done, ...]
    reviewed: bool
    can_confirm: bool
    confirm: str
    state: str


@dataclass(frozen=True)
class Row:
    """A remark that no check took, or took only in the review."""

    quote: Quote
    tagged: bool
    done: tuple[Done, ...]
    state: str


def card_of(view: View, check: str, all_quotes: bool = False) -> Card:
    """The card of a check. KeyError when there is no such check."""
    finding = view.findings[check]
    before = view.before[check]
    review = view.now.findings.get(check)
    gap, settled = view.gaps.get(check), view.settled.get(check)
    ordered = _worst_first(finding.evidence)
    shown = ordered if all_quotes else ordered[:MOST_QUOTES]
    ids = dict.fromkeys((*(review.corrections if review else ()), *([settled.correction] if settled else ())))
    words, were = (outcome_words(f.outcome, f.severity) for f in (finding, before))
    return Card(
        id=check,
        title=finding.title,
        station=view.stations.get(finding.station, finding.station),
        judged=view.judged.get(check, ""),
        sign=sign_of(finding),
        outcome=words,
        was=were if words != were else None,
        wording=review.wording if review else None,
        must=finding.must_before_leaving,
        doubts=view.doubts.get(check, ()),
        open_because=gap.why if gap else None,
        settled_because=settled.reason if settled else None,
        quotes=tuple(quote_of(view, evidence) for evidence in shown),
        more_quotes=len(ordered) - len(shown),
        readings=tuple(reading_line(reading) for reading in finding.readings),
        photos=view.photos.get(check, ()),
        done=_done(view, [view.active[each] for each in ids if each in view.active]),
        reviewed=review is not None,
        confirm="That is right" if finding.outcome != "not_mentioned" else "Right, nothing was judged",
        can_confirm=bool(finding.evidence) or finding.outcome != "not_mentioned",
        state=check_state(view, check),
    )


def check_state(view: View, check: str) -> str:
    """How a check and the remarks that it rests on stand: other corrections of them change it."""
    return state_of(view.last, check_targets(view.before[check], view.remarks))


def remark_state(view: View, key: str) -> str:
    """How a remark stands."""
    return state_of(view.last, [f"remark:{key}"])


def quote_of(view: View, said: Evidence | Untagged) -> Quote:
    """A remark of the record as it stands."""
    ref = view.remarks.ref(said)
    number = view.numbers.get(said.recording)
    return Quote(
        key=remark_key(ref),
        words=said.quote,
        heard=ref.quote if ref.quote != said.quote else None,
        recording=number if number in view.sounding else None,
        file=said.recording,
        start=said.start,
        end=said.end,
        at=clock(said.start),
        says=SAYS[said.polarity] if hasattr(said, "polarity") else "",
        basis=BASES[said.basis] if hasattr(said, "basis") else "",
        why=getattr(said, "why", ""),
    )


def row_of(view: View, remark: Untagged) -> Row:
    """A remark that stands, or stood, among those that no check took."""
    quote = quote_of(view, remark)
    return Row(
        quote=quote,
        tagged=place_of(remark) not in view.untagged_places,
        done=_done(view, view.on_remark(quote.key)),
        state=remark_state(view, quote.key),
    )


def ref_of(view: View, key: str) -> RemarkRef | None:
    """The remark with a key; None when the record has it no more."""
    return view.refs.get(key)


def _done(view: View, corrections: Sequence[Correction]) -> tuple[Done, ...]:
    return tuple(Done(c.id, said_of(c, view.titles, view.by_id), c.who, when(c.time)) for c in corrections)


def when(time: str) -> str:
    """A correction's time in short, as clocks here have it: "2024-03-13 10:05"."""
    try:
        return datetime.fromisoformat(time).astimezone().strftime("%Y-%m-%d %H:%M")
    except ValueError:
        return time


def _worst_first(evidence: Sequence[Evidence]) -> list[Evidence]:
    """What decides first: bad before good, named last; otherwise as it was said."""
    order = {"bad": 0, "unsure": 1, "good": 2, "not_tested": 2}
    return sorted(evidence, key=lambda e: order.get(e.polarity, 3))


def by_severity(finding: CheckFinding) -> str:
    """The heading under which a finding stands when they are listed by severity."""
    return outcome_words(finding.outcome, finding.severity)
