"""What is picked for the time left, against another solver: scipy.optimize.milp (HiGHS, branch and bound)."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import Bounds, LinearConstraint, milp

from voicenotes import load_pack
from voicenotes.errors import PackError, VisitError
from voicenotes.findings.best_set import Group, Thing, best_set
from voicenotes.findings.gap_list import gap_list
from voicenotes.findings.gap_values import GapList, Plan
from voicenotes.findings.read import read_text
from voicenotes.findings.time_left import with_plan
from voicenotes.vocabulary.schema import Pack


@lru_cache
def pack() -> Pack:
    return load_pack("cnc_lathe")


@lru_cache
def gaps(said: str) -> GapList:
    return gap_list(read_text(said, pack()), pack())


def planned(gaps: GapList, minutes: float) -> Plan:
    plan = with_plan(gaps, pack(), minutes).plan
    assert plan is not None
    return plan


def best_by_milp(costs: list[float], worths: list[float], leads: list[int | None], limit: float) -> float:
    """The largest worth within the limit; `leads` says for each thing which other one it needs."""
    rows = [costs]
    upper = [limit]
    for place, lead in enumerate(leads):
        if lead is not None:
            row = [0.0] * len(costs)
            row[place], row[lead] = 1.0, -1.0
            rows.append(row)
            upper.append(0.0)
    solved = milp(
        -np.array(worths),
        constraints=LinearConstraint(np.array(rows), ub=np.array(upper)),
        integrality=np.ones(len(costs)),
        bounds=Bounds(0, 1),
        options={"mip_rel_gap": 0.0},
    )
    assert solved.success, solved.message
    return float(-solved.fun)


@st.composite
def groups(draw: st.DrawFn) -> list[Group]:
    number = iter(range(1000))
    thing = st.builds(
        lambda cost, worth: Thing(f"t{next(number)}", cost, worth),
        st.integers(1, 40), st.integers(0, 500),
    )  # fmt: skip
    free = Group(tuple(draw(st.lists(thing, max_size=12))))
    led = st.builds(Group, st.lists(thing, max_size=4).map(tuple), thing)
    return [free, *draw(st.lists(led, max_size=5))]


@given(groups(), st.integers(0, 200))
def test_the_best_set_is_that_of_another_solver(found: list[Group], limit: int) -> None:
    things: list[Thing] = []
    leads: list[int | None] = []
    for group in found:
        lead = None
        if group.lead:
            lead = len(things)
            things.append(group.lead)
            leads.append(None)
        things += group.things
        leads += [lead] * len(group.things)
    taken = best_set(found, limit)
    assert sum(thing.cost for thing in things if thing.name in taken) <= limit
    for group in found:
        if group.lead and any(thing.name in taken for thing in group.things):
            assert group.lead.name in taken
    worth = sum(thing.worth for thing in things if thing.name in taken)
    if things:
        best = best_by_milp([t.cost for t in things], [t.worth for t in things], leads, limit)
        assert worth == pytest.approx(best, abs=1e-6)


# Worth and cost as usual in textbooks; the best set found by trying all by hand.
@pytest.mark.parametrize(
    ("things", "limit", "best"),
    [
        ([("a", 10, 60), ("b", 20, 100), ("c", 30, 120)], 50, {"b", "c"}),
        ([("a", 5, 10), ("b", 4, 40), ("c", 6, 30), ("d", 3, 50)], 10, {"b", "d"}),
        ([("a", 1, 1)], 0, set()),
        ([("a", 3, 0)], 9, set()),
        ([("dear", 3, 5), ("cheap", 2, 5)], 4, {"cheap"}),
    ],
)
def test_small_sets_by_hand(things: list[tuple[str, int, int]], limit: int, best: set[str]) -> None:
    assert best_set([Group(tuple(Thing(*one) for one in things))], limit) == best


def test_what_needs_a_question_is_not_taken_without_it() -> None:
    behind = Group((Thing("check", 2, 100),), lead=Thing("question", 9, 1))
    assert best_set([behind], 10) == {"question"}
    assert best_set([behind], 11) == {"question", "check"}
    assert best_set([behind], 8) == set()


SAID = (
    "Nothing to say.",
    "Spindle is quiet. No tailstock. There's a chip conveyor. Door interlock works. Not sure about the jaws.",
)


@pytest.mark.parametrize("minutes", [1, 5, 10, 20, 37.5, 60, 120, 400])
@pytest.mark.parametrize("said", SAID)
def test_the_plan_of_the_real_pack_removes_what_another_solver_removes(said: str, minutes: float) -> None:
    found = gaps(said)
    shares = {fitting.id: fitting.share or 0.0 for fitting in pack().head.fittings}
    costs = [gap.minutes for gap in found.checks]
    worths = [gap.risk or 0.0 for gap in found.checks]
    leads: list[int | None] = [None] * len(costs)
    for question in found.questions:
        lead, share = len(costs), shares[question.fitting]
        costs += [0.5, *(gap.minutes for gap in question.checks)]
        risks = [gap.risk or 0.0 for gap in question.checks]
        worths += [(1 - share) * sum(risks), *(share * risk for risk in risks)]
        leads += [None, *([lead] * len(risks))]
    plan = planned(found, minutes)
    assert plan.risk == pytest.approx(best_by_milp(costs, worths, leads, minutes), abs=1e-4)
    assert plan.minutes <= minutes
    assert plan.risk + plan.risk_left == pytest.approx(sum(worths), abs=1e-3)


def test_a_plan_stands_in_walking_order_and_says_all_that_it_leaves_out() -> None:
    found = gaps("Nothing to say.")
    plan = planned(found, 45)
    order = {check.id: place for place, check in enumerate(pack().checks)}
    for ones in (plan.checks, [one for one in plan.left_out if one.id in order]):
        assert [order[one.id] for one in ones] == sorted(order[one.id] for one in ones)
    every = {one.id for one in (*plan.questions, *plan.checks, *plan.left_out)}
    assert every == set(order) | {fitting.id for fitting in pack().head.fittings}
    asked = {one.id for one in plan.questions}
    assert {one.if_fitted for one in plan.checks if one.if_fitted} <= asked


def test_with_no_time_nothing_is_planned_and_with_all_of_it_nothing_is_left_out() -> None:
    found = gaps("Nothing to say.")
    assert planned(found, 0).checks == planned(found, 0).questions == ()
    assert planned(found, 1000).left_out == ()


def test_a_defect_that_was_told_counts_with_its_own_severity() -> None:
    told = gaps("The seller says there's a slight hum in the spindle bearings, nothing serious.")
    by_id = {gap.id: gap for gap in told.checks}
    usual = next(check for check in pack().checks if check.id == "spindle.noise")
    assert by_id["spindle.noise"].severity in ("minor", "major", usual.severity)
    assert by_id["spindle.runout"].severity == "major"


# --- what the pack says of risks -----------------------------------------------------------------------


def test_every_check_of_the_pack_is_weighed_and_no_class_is_empty() -> None:
    classes = [check.likely for check in pack().checks]
    assert len(classes) == 122
    assert {name: classes.count(name) for name in ("rare", "occasional", "common")}.keys() == set(classes)
    assert all(fitting.share is not None for fitting in pack().head.fittings)
    assert pack().head.risk and pack().head.risk.source == "common practice, no source"


@pytest.mark.parametrize(
    ("old", "new", "line"),
    [
        (("checks/tank.yaml", " likely: common,"), "", "tank.leaks lacks 'likely'"),
        (("checks/tank.yaml", "likely: common"), "likely: often", "likely"),
        (("pack.yaml", ", share: 0.5"), "", "tailstock lacks 'share'"),
        (("pack.yaml", "share: 0.5"), "share: 1.5", "less than or equal to 1"),
        (("pack.yaml", "common: 0.4"), "common: 0.01", "must not fall from rare to occasional to common"),
        (("pack.yaml", "minor: 5"), "minor: 50", "must not fall from minor to major to critical"),
        (("pack.yaml", "question_minutes: 0.5"), "question_minutes: 0", "greater than 0"),
    ],
)
def test_a_pack_that_weighs_half_is_refused(pack, old, new, line) -> None:  # type: ignore[no-untyped-def]
    file, text = old
    path = pack / file
    path.write_text(path.read_text(encoding="utf-8").replace(text, new), encoding="utf-8")
    with pytest.raises(PackError, match=line) as caught:
        load_pack(pack)
    assert file in str(caught.value)


def test_a_pack_without_risks_lists_gaps_and_plans_nothing() -> None:
    plain = pack().model_copy(update={"head": pack().head.model_copy(update={"risk": None})})
    found = gap_list(read_text("Nothing to say.", plain), plain)
    assert {gap.risk for gap in found.checks} == {None}
    with pytest.raises(VisitError, match="has no weights to choose by"):
        with_plan(found, plain, 10)
