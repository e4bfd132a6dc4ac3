"""The gap list as rows to show, the same for screen, text and paper (values, no layout)."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING

from voicenotes.outputs.wording import count, minutes

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from voicenotes.findings.gap_values import GapList, LeftOpen, OpenCheck, Plan, Question
    from voicenotes.vocabulary.schema import Pack

NEVER = "never mentioned"


@dataclass(frozen=True)
class Row:
    """A check or question: `right` is what stands at the line's end, `why` is empty where never mentioned."""

    title: str
    must: bool
    right: str
    minutes: str = ""
    why: str = ""
    caution: str = ""


@dataclass(frozen=True)
class Section:
    """A station with its open checks; `minutes` in words; `if_fitted` where all of them depend on that."""

    title: str
    if_fitted: bool
    minutes: str
    cautions: tuple[str, ...]
    rows: tuple[Row, ...]


@dataclass(frozen=True)
class Sheet:
    """A whole gap list: `head` says what it is, `summary` whether he can leave."""

    head: str
    questions: tuple[Row, ...]
    sections: tuple[Section, ...]
    left_out_head: str
    left_out: tuple[Row, ...]
    left_open_head: str
    left_open: tuple[Row, ...]
    cautions: tuple[str, ...]
    summary: str


def sheet_of(gaps: GapList, pack: Pack) -> Sheet:
    """The rows of a gap list: all that is open, or what is planned and what is left out."""
    plan = gaps.plan
    questions, checks = list(gaps.questions), list(gaps.checks)
    if plan:
        asked, planned = {one.id for one in plan.questions}, {one.id for one in plan.checks}
        behind = [gap for question in questions for gap in question.checks]
        order = {check.id: place for place, check in enumerate(pack.checks)}
        checks = sorted(
            (gap for gap in [*checks, *behind] if gap.id in planned), key=lambda gap: order.get(gap.id, 0)
        )
        questions = [question for question in questions if question.fitting in asked]
    return Sheet(
        head=_plan_head(plan) if plan else _head(gaps),
        questions=tuple(_question(question) for question in questions),
        sections=tuple(_sections(checks, pack)),
        left_out_head=_left_out_head(plan) if plan else "",
        left_out=tuple(_left_out(gaps, plan)) if plan else (),
        left_open_head=_left_open_head(gaps),
        left_open=tuple(_left_open(gap) for gap in gaps.left_open),
        cautions=pack.head.cautions,
        summary=gaps.summary,
    )


def _head(gaps: GapList) -> str:
    if not gaps.checks and not gaps.questions:
        return "Nothing is open."
    said = f"Still open: {count(gaps.open.checks, 'check')}, about {minutes(gaps.open.minutes)}"
    if not gaps.questions:
        return f"{said}."
    hidden = f"{gaps.behind_questions.checks} more, about {minutes(gaps.behind_questions.minutes)}"
    return f"{said} (and {hidden}, behind {count(len(gaps.questions), 'question')})."


def _plan_head(plan: Plan) -> str:
    amount = _amount(len(plan.questions), len(plan.checks))
    if not amount:
        return f"Nothing open fits into {_exact(plan.minutes_left)}."
    share = _share(plan.risk, plan.risk + plan.risk_left)
    return (
        f"Most worth doing in {_exact(plan.minutes_left)}: {amount} "
        f"({_exact(plan.minutes)}; takes away {share} of the open risk)."
    )


def _left_out_head(plan: Plan) -> str:
    if not plan.left_out:
        return ""
    asked = sum("." not in one.id for one in plan.left_out)
    amount = _amount(asked, len(plan.left_out) - asked)
    time = minutes(sum(one.minutes for one in plan.left_out))
    share = _share(plan.risk_left, plan.risk + plan.risk_left)
    return f"LEFT OUT: {amount}, about {time}, {share} of the open risk"


def _left_open_head(gaps: GapList) -> str:
    if not gaps.left_open:
        return ""
    return f"LEFT OPEN, WITH THE REASON: {count(len(gaps.left_open), 'check')}, not passed either"


def _left_open(gap: LeftOpen) -> Row:
    was = f" ({gap.why})" if gap.why != NEVER else ""
    return Row(gap.title, gap.must_before_leaving, gap.at[:10], why=f"{gap.by}: {gap.reason}{was}")


def _amount(questions: int, checks: int) -> str:
    said = [count(number, noun) for number, noun in ((questions, "question"), (checks, "check")) if number]
    return " and ".join(said)


def _share(part: float, whole: float) -> str:
    """A percentage that is 0 or 100 only where that is exactly so."""
    if not whole or part >= whole:
        return "100 %" if part else "0 %"
    return f"{min(99, max(1 if part else 0, round(100 * part / whole)))} %"


def _exact(number: float) -> str:
    """Minutes with their half, as questions take half a minute: "19.5 min"."""
    return f"{number:.6g} min"


def _question(question: Question) -> Row:
    must = sum(gap.must_before_leaving for gap in question.checks)
    time = minutes(sum(gap.minutes for gap in question.checks))
    words = [f'"{quote}"' for quote in question.words]
    said = [f"only said: {'; '.join(words)}"] if words else []
    said += [f"{gap.title} {gap.why}" for gap in question.checks if gap.why != NEVER]
    return Row(
        title=f"{question.title} fitted?",
        must=must > 0,
        right=f"then {count(len(question.checks), 'check')}, {time}",
        why="; ".join(said),
    )


def _sections(checks: Iterable[OpenCheck], pack: Pack) -> Iterable[Section]:
    stations = {station.id: station for station in pack.head.stations}
    cautions = {check.id: check.caution for check in pack.checks}
    for name, group in groupby(checks, key=lambda gap: gap.station):
        gaps, station = list(group), stations.get(name)
        shown = station.cautions if station else ()
        perhaps = all(gap.applies is None for gap in gaps)
        title = station.title if station else name
        yield Section(
            title=title,
            if_fitted=perhaps,
            minutes=minutes(sum(gap.minutes for gap in gaps)),
            cautions=shown,
            rows=tuple(_row(gap, cautions.get(gap.id), shown, perhaps) for gap in gaps),
        )


def _row(gap: OpenCheck, caution: str | None, shown: Sequence[str], perhaps: bool) -> Row:
    return Row(
        title=gap.title if perhaps or gap.applies is not None else f"{gap.title} (if fitted)",
        must=gap.must_before_leaving,
        right=minutes(gap.minutes),
        why="" if gap.why == NEVER else gap.why,
        caution=caution if caution and caution not in shown else "",
    )


def _left_out(gaps: GapList, plan: Plan) -> Iterable[Row]:
    titles = {question.fitting: f"{question.title} fitted?" for question in gaps.questions}
    every = [*gaps.checks, *(gap for question in gaps.questions for gap in question.checks)]
    titles |= {gap.id: gap.title for gap in every}
    whole = plan.risk + plan.risk_left
    for one in plan.left_out:
        doubt = " (if fitted)" if one.if_fitted else ""
        time = _exact(one.minutes)
        share = f"{100 * one.risk / whole:.1f} %" if whole else ""
        yield Row(f"{titles[one.id]}{doubt}", one.must_before_leaving, f"{share}{time:>9}", minutes=time)
