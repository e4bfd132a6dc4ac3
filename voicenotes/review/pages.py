"""The pages: which findings each view shows, in which order, and the templates that they are set with."""

from __future__ import annotations

import secrets
from dataclasses import dataclass, field
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from voicenotes.corrections.refs import place_of
from voicenotes.corrections.wording import FITTED, said_of
from voicenotes.outputs.walk_round import SEVERITY_SIGNS
from voicenotes.review.attention import WORST_FIRST, is_to_review
from voicenotes.review.cards import Card, Done, Row, by_severity, card_of, row_of, when
from voicenotes.review.drawing import HEIGHT, WIDTH, route, stops_of
from voicenotes.review.targets import state_of
from voicenotes.review.timeline import STRIP, lanes_of
from voicenotes.review.words import sign_of

if TYPE_CHECKING:
    from collections.abc import Iterable

    from jinja2 import Environment

    from voicenotes.model import CheckFinding
    from voicenotes.review.desk import Desk, View
    from voicenotes.vocabulary.schema import Pack

PAGE = 20
VIEWS = ("look", "places", "severity", "open", "loose", "machine", "changes", "report")


@dataclass(frozen=True)
class Group:
    """Cards under one heading."""

    title: str
    cards: tuple[Card, ...]
    added: tuple[dict[str, Any], ...] = ()


@dataclass(frozen=True)
class Counts:
    """How far the review is."""

    look: int
    waiting: int
    done: int
    open: int
    loose: int
    decide: int
    changes: int

    @property
    def all(self) -> int:
        """All findings that there are to review."""
        return self.look + self.waiting + self.done


@dataclass(frozen=True)
class Page:
    """What one view shows."""

    view: str
    title: str
    intro: str
    groups: tuple[Group, ...] = ()
    rows: tuple[Row, ...] = ()
    number: int = 1
    pages: int = 1
    station: str = ""
    extra: dict[str, Any] = field(default_factory=dict)


def counts_of(view: View) -> Counts:
    """The counts in the head of every page."""
    return Counts(
        look=len(view.doubts),
        waiting=len(view.waiting),
        done=len(view.now.findings),
        open=len(view.gaps),
        loose=len(view.now.record.untagged),
        decide=len(view.now.to_decide),
        changes=len(view.corrections),
    )


@lru_cache(maxsize=1)
def environment() -> Environment:
    """The templates: everything that is put into them is escaped."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    made = Environment(
        loader=PackageLoader("voicenotes.review"), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True, auto_reload=False,
    )  # fmt: skip
    made.globals |= {"once": lambda: secrets.token_hex(12), "severity_signs": SEVERITY_SIGNS}
    return made


def rendered(template: str, **values: Any) -> str:
    """A template with its values."""
    return environment().get_template(template).render(**values)


def whole_page(desk: Desk, view: View, page: Page) -> str:
    """A page from head to foot."""
    lanes, more = lanes_of(view)
    return rendered(
        "page.html", page=page, view=view, desk=desk, counts=counts_of(view), stops=stops_of(view),
        lanes=lanes, more_lanes=more, strip=STRIP, route=route(), wide=WIDTH, high=HEIGHT,
    )  # fmt: skip


def head_parts(view: View, desk: Desk) -> list[tuple[str, str]]:
    """The parts of every page that a correction may change: counts and the drawing."""
    drawn = rendered(
        "walk.html",
        stops=stops_of(view),
        route=route(),
        wide=WIDTH,
        high=HEIGHT,
        station="",
        counts=counts_of(view),
    )
    return [("counts", rendered("counts.html", counts=counts_of(view), desk=desk)), ("walk", drawn)]


def card_part(view: View, check: str) -> tuple[str, str]:
    """A card by itself."""
    return f"c-{check}", rendered("one_card.html", card=card_of(view, check))


def row_part(view: View, key: str) -> tuple[str, str] | None:
    """The row of a remark by itself; None where it never was untagged."""
    for remark in (*view.record.untagged, *view.now.record.untagged):
        row = row_of(view, remark)
        if row.quote.key == key:
            return f"r-{key}", rendered("one_row.html", row=row)
    return None


def page_of(view: View, desk: Desk, name: str, station: str = "", number: int = 1) -> Page:
    """The page for a view."""
    if name == "places":
        return _places(view, station, number)
    if name == "severity":
        return _severity(view, number)
    if name == "open":
        return _open(view, number)
    if name == "loose":
        return _loose(view, number)
    if name == "machine":
        return _machine(view, desk.pack)
    if name == "report":
        return _report(view, desk)
    if name == "changes":
        return _changes(view, number)
    return _look(view, number)


def _look(view: View, number: int) -> Page:
    """What needs a look first, then what only waits to be confirmed; what is done goes to the end."""
    left = [check for check in view.ranked if check in view.doubts or check in view.waiting]
    done = [check for check in view.ranked if check not in view.doubts and check not in view.waiting]
    shown, number, pages = _cut([*left, *done], number)
    groups = [
        ("Needs a look", [check for check in shown if check in view.doubts]),
        ("To confirm", [check for check in shown if check in view.waiting]),
        ("Done", [check for check in shown if check in done]),
    ]
    return Page(
        "look", "To look at",
        "Play what was said, then say whether it was understood. The doubtful ones come first.",
        tuple(Group(title, _cards(view, checks)) for title, checks in groups if checks),
        number=number, pages=pages,
    )  # fmt: skip


def _is_shown(finding: CheckFinding, view: View) -> bool:
    return is_to_review(finding) or finding.id in view.now.findings


def _places(view: View, station: str, number: int) -> Page:
    if station in view.stations:
        checks = [f.id for f in view.now.record.checks if f.station == station]
        group = Group(view.stations[station], _cards(view, checks), _added(view, station))
        intro = "All checks of this place, also those that nobody spoke of."
        return Page("places", view.stations[station], intro, (group,), station=station)
    shown, number, pages = _cut([f.id for f in view.now.record.checks if _is_shown(f, view)], number)
    groups = []
    for name, title in view.stations.items():
        here = [check for check in shown if view.findings[check].station == name]
        added = _added(view, name)
        if here or (added and number == 1):
            groups.append(Group(title, _cards(view, here), added))
    if number == 1 and (rest := _added(view, None)):
        groups.append(Group("Of no place", (), rest))
    return Page(
        "places", "By place", "In the order of the walk round.", tuple(groups), number=number, pages=pages
    )


def _severity(view: View, number: int) -> Page:
    found = [f for f in view.now.record.checks if _is_shown(f, view)]
    found.sort(key=lambda f: WORST_FIRST.index(sign_of(f)))
    shown, number, pages = _cut([f.id for f in found], number)
    groups: dict[str, list[str]] = {}
    for check in shown:
        groups.setdefault(by_severity(view.findings[check]), []).append(check)
    return Page(
        "severity", "By severity", "The worst first.",
        tuple(Group(title, _cards(view, checks)) for title, checks in groups.items()),
        number=number, pages=pages,
    )  # fmt: skip


def _open(view: View, number: int) -> Page:
    open_now = [f.id for f in view.now.record.checks if f.id in view.gaps or f.id in view.settled]
    shown, number, pages = _cut(open_now, number)
    groups = []
    for name, title in view.stations.items():
        here = [check for check in shown if view.findings[check].station == name]
        if here:
            groups.append(Group(title, _cards(view, here)))
    return Page(
        "open", "Still open",
        "What nobody checked, or not for certain. Say what you know, or why it may stay open.",
        tuple(groups), number=number, pages=pages,
    )  # fmt: skip


def _loose(view: View, number: int) -> Page:
    known = {place_of(remark) for remark in view.record.untagged}
    later = [remark for remark in view.now.record.untagged if place_of(remark) not in known]
    shown, number, pages = _cut([*view.record.untagged, *later], number)
    return Page(
        "loose", "Not understood",
        "What was said and fits no check. Most of it is talk; say where the rest belongs.",
        rows=tuple(row_of(view, remark) for remark in shown), number=number, pages=pages,
    )  # fmt: skip


def _machine(view: View, pack: Pack) -> Page:
    now = view.now.record
    facts = [
        {
            "id": fact.id, "title": fact.title, "unit": fact.unit or "",
            "value": "" if now.facts[fact.id].value is None else now.facts[fact.id].value,
            "evidence": [_said(view, e) for e in now.facts[fact.id].evidence[:2]],
            "done": _notes(view, f"fact:{fact.id}"), "state": state_of(view.last, [f"fact:{fact.id}"]),
        }
        for fact in pack.facts if fact.id in now.facts
    ]  # fmt: skip
    fittings = [
        {
            "id": fitting.id, "title": fitting.title, "fitted": now.fittings[fitting.id].fitted,
            "words": FITTED[now.fittings[fitting.id].fitted],
            "evidence": [_said(view, e) for e in now.fittings[fitting.id].evidence[:2]],
            "done": _notes(view, f"fitting:{fitting.id}"),
            "state": state_of(view.last, [f"fitting:{fitting.id}"]),
        }
        for fitting in pack.head.fittings if fitting.id in now.fittings
    ]  # fmt: skip
    return Page(
        "machine", "The machine",
        "What is noted of it, and what it has. Names and numbers are easily misheard.",
        extra={"facts": facts, "fittings": fittings},
    )  # fmt: skip


def _changes(view: View, number: int) -> Page:
    shown, number, pages = _cut(list(reversed(view.corrections)), number)
    lines = [
        {
            "id": c.id, "line": said_of(c, view.titles, view.by_id), "who": c.who, "when": when(c.time),
            "active": c.id in view.active, "is_undo": c.what.kind == "undo",
            "undone_by": view.undone_by.get(c.id),
        }
        for c in shown
    ]  # fmt: skip
    decide = [
        {
            "id": d.correction.id, "line": said_of(d.correction, view.titles, view.by_id), "why": d.line,
            "instead": d.instead.quote if d.instead else None, "who": d.correction.who,
            "when": when(d.correction.time), "can_keep": _can_keep(view, d.correction.what.kind, d.instead),
        }
        for d in view.now.to_decide
    ]  # fmt: skip
    intro = (
        "Everything that was corrected, newest first. Nothing is ever deleted: what is undone can be redone. "
        "What corrections teach is listed by the command 'voicenotes suggestions'."
    )
    return Page(
        "changes", "Changes", intro, number=number, pages=pages, extra={"lines": lines, "decide": decide}
    )


def _report(view: View, desk: Desk) -> Page:
    from voicenotes.review.reports import WORDS, report_lines

    summary, troubles = report_lines(desk, view)
    left = len(view.doubts) + len(view.waiting)
    intro = "For a buyer, with all that you corrected. Press one to save it."
    if left:
        marked = "finding is" if left == 1 else "findings are"
        intro = f"{intro} {left} {marked} not looked at yet, and will be marked so."
    facts = view.now.record.facts
    noted = [
        fact.title
        for fact in desk.pack.facts
        if fact.id in facts and facts[fact.id].value is not None and fact.id not in view.now.facts
    ]
    return Page(
        "report", "Report", intro,
        extra={
            "formats": list(WORDS.items()), "summary": summary, "troubles": troubles,
            "noted": ", ".join(noted),
        },
    )  # fmt: skip


def _can_keep(view: View, kind: str, instead: object) -> bool:
    if kind in ("move", "tag"):
        return instead is not None
    return kind not in ("words", "add")


def _said(view: View, evidence: Any) -> Any:
    from voicenotes.review.cards import quote_of

    return quote_of(view, evidence)


def _notes(view: View, target: str) -> tuple[Done, ...]:
    from voicenotes.review.targets import targets_of

    found = [c for c in view.active.values() if target in targets_of(c)]
    return tuple(Done(c.id, said_of(c, view.titles, view.by_id), c.who, when(c.time)) for c in found)


def _added(view: View, station: str | None) -> tuple[dict[str, Any], ...]:
    """Findings that were added and belong to no check, by place."""
    return tuple(
        {"title": a.title, "outcome": a.outcome, "severity": a.severity, "photos": a.photos, "id": a.id,
         "who": a.by, "when": when(a.at)}
        for a in view.now.added if a.check is None and a.station == station
    )  # fmt: skip


def _cards(view: View, checks: Iterable[str]) -> tuple[Card, ...]:
    return tuple(card_of(view, check) for check in checks)


def _cut(items: Any, number: int) -> tuple[list[Any], int, int]:
    """One page of a list, its number, and how many there are."""
    pages = max(1, -(-len(items) // PAGE))
    number = min(max(1, number), pages)
    return list(items[(number - 1) * PAGE : number * PAGE]), number, pages
