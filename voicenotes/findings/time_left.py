"""What to do in the time left: the open checks and questions that together remove the most risk.

A check removes its risk. Nobody can tell whether the checks behind an unasked fitting matter; so they count
in full until somebody asks. Asking removes the share of machines that lack the fitting; the rest is removed
check by check, and such a check is planned only together with its question. All adds up to the open risk.
"""

from __future__ import annotations

from fractions import Fraction
from math import ceil, gcd
from typing import TYPE_CHECKING

from voicenotes.errors import VisitError
from voicenotes.findings.best_set import Group, Thing, best_set
from voicenotes.findings.gap_values import GapList, Plan, Planned
from voicenotes.findings.likelihoods import share_fitted

if TYPE_CHECKING:
    from collections.abc import Sequence

    from voicenotes.findings.gap_values import OpenCheck, Question
    from voicenotes.vocabulary.schema import Pack

TICKS = 60  # parts of a minute that are told apart: seconds
WORTHS = 1_000_000  # parts of a risk of 1 that are told apart


def with_plan(gaps: GapList, pack: Pack, minutes: float) -> GapList:
    """The gap list with the plan for so many minutes; VisitError where the pack weighs no risks."""
    if pack.head.risk is None:
        raise VisitError(
            f"the pack '{pack.id}' has no weights to choose by: give it 'risk' in its pack.yaml, "
            "or list the gaps without --minutes"
        )
    questions, checks, behind = _planned(gaps, pack)
    taken = _best(questions, checks, behind, minutes)
    order = [*questions, *checks, *(one for ones in behind for one in ones)]
    chosen = [one for one in order if _key(one) in taken]
    walk = {gap.id: place for place, gap in enumerate(_in_walking_order(gaps, pack))}
    left_out = sorted((one for one in order if _key(one) not in taken), key=lambda one: _place(one, walk))
    removed = sum(one.risk for one in chosen)
    plan = Plan(
        minutes_left=minutes,
        questions=tuple(one for one in chosen if one in questions),
        checks=tuple(sorted((o for o in chosen if o not in questions), key=lambda one: _place(one, walk))),
        left_out=tuple(left_out),
        minutes=sum(one.minutes for one in chosen),
        risk=round(removed, 6),
        risk_left=round(sum(one.risk for one in left_out), 6),
    )
    return gaps.model_copy(update={"plan": plan})


def _planned(gaps: GapList, pack: Pack) -> tuple[list[Planned], list[Planned], list[list[Planned]]]:
    """What could be done: questions, checks that apply, and for each question the checks behind it."""
    shares = {question.fitting: share_fitted(question.fitting, pack) for question in gaps.questions}
    questions = [_asking(question, shares[question.fitting]) for question in gaps.questions]
    checks = [_doing(gap, 1.0, None) for gap in gaps.checks]
    behind = [
        [_doing(gap, shares[question.fitting], question.fitting) for gap in question.checks]
        for question in gaps.questions
    ]
    return questions, checks, behind


def _asking(question: Question, share: float) -> Planned:
    return Planned(
        id=question.fitting,
        minutes=question.minutes or 0.0,
        risk=round((1 - share) * sum(gap.risk or 0.0 for gap in question.checks), 6),
        must_before_leaving=any(gap.must_before_leaving for gap in question.checks),
    )


def _doing(gap: OpenCheck, share: float, fitting: str | None) -> Planned:
    return Planned(
        id=gap.id,
        minutes=gap.minutes,
        risk=round(share * (gap.risk or 0.0), 6),
        must_before_leaving=gap.must_before_leaving,
        if_fitted=fitting,
    )


def _best(
    questions: Sequence[Planned],
    checks: Sequence[Planned],
    behind: Sequence[Sequence[Planned]],
    minutes: float,
) -> frozenset[str]:
    costs = {
        _key(one): _ticks(one.minutes) for one in [*questions, *checks, *(o for ones in behind for o in ones)]
    }
    step = gcd(*costs.values()) or 1

    def thing(one: Planned) -> Thing:
        return Thing(_key(one), costs[_key(one)] // step, round(one.risk * WORTHS))

    groups = [Group(tuple(map(thing, checks)))]
    groups += [
        Group(tuple(map(thing, ones)), lead=thing(question))
        for question, ones in zip(questions, behind, strict=True)
    ]
    return best_set(groups, int(Fraction(str(minutes)) * TICKS) // step)


def _ticks(minutes: float) -> int:
    """Whole seconds, rounded up so that what is planned never takes longer than there is."""
    return ceil(Fraction(str(minutes)) * TICKS)


def _key(one: Planned) -> str:
    """Its id; a fitting may be called like a check."""
    return f"{'check' if '.' in one.id else 'ask'} {one.id}"


def _in_walking_order(gaps: GapList, pack: Pack) -> list[OpenCheck]:
    order = {check.id: place for place, check in enumerate(pack.checks)}
    every = [*gaps.checks, *(gap for question in gaps.questions for gap in question.checks)]
    return sorted(every, key=lambda gap: order.get(gap.id, len(order)))


def _place(one: Planned, walk: dict[str, int]) -> int:
    """Questions first, then checks as he walks."""
    return walk.get(one.id, -1)
