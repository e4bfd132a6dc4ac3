"""Repair costs: tables, three-point sums against published examples, random sums against both."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from correcting import fitting, settle
from report_texts import FORMATS, squeezed, text_of
from scipy import stats

import voicenotes
from voicenotes.corrections.journal import append
from voicenotes.corrections.values import Correction
from voicenotes.errors import PackError
from voicenotes.findings.gap_list import gap_list
from voicenotes.findings.time_left import with_plan
from voicenotes.outputs.report_values import CostEstimate, CostLine, Report
from voicenotes.report.build import report_of
from voicenotes.report.costs import estimate, pert_mean, pert_sd, spread
from voicenotes.report.reviews import stands_of
from voicenotes.report.said import checks_of
from voicenotes.report.write import rendered, visit_report
from voicenotes.vocabulary.costs import read_costs
from voicenotes.vocabulary.schema import Pack

DEMO = Path(__file__).parent.parent / "demo_recordings/costs.yaml"
TABLE = """
title: My prices
currency: EUR
checks:
  head.noise: {low: 100, likely: 200, high: 600}
stations:
  tank: {minor: {low: 10, likely: 20, high: 30}}
severities:
  critical: {low: 1000, likely: 2000, high: 3000}
  major: {low: 500, likely: 500, high: 500}
"""


@pytest.fixture
def small(pack: Path) -> Pack:
    return voicenotes.load_pack(pack)


def line(low: float, likely: float, high: float, likelihood: float = 1.0) -> CostLine:
    return CostLine(
        check="a.b",
        title="A",
        severity="major",
        taken_from="check",
        low=low,
        likely=likely,
        high=high,
        mean=pert_mean(low, likely, high),
        sd=pert_sd(low, high),
        likelihood=likelihood,
    )


@pytest.mark.parametrize(
    ("costs", "mean", "sd"),
    [
        # https://schematex.js.org/examples/pert-three-point-estimation: project 17.83 days, sigma 1.69
        ([(2, 3, 5), (5, 8, 14), (3, 4, 6), (1, 2, 3)], 17.83, 1.69),
        # http://www.pmbypm.com/pert-and-standard-deviation/: 45, 90, 225 minutes give 105 and 30
        ([(45, 90, 225)], 105, 30),
        # https://calhub.xyz/other/pert: O 4, M 6, P 12 give 6.67 with SD 1.33
        ([(4, 6, 12)], 6.67, 1.33),
        # variances add, not deviations, which would give 1.83: by the definition
        ([(5, 7, 10), (2, 3, 4), (10, 12, 14)], 22.17, 1.12),
    ],
)
def test_sums_are_those_of_published_examples(
    costs: list[tuple[float, float, float]], mean: float, sd: float
) -> None:
    found = spread([line(*cost) for cost in costs])
    assert found.mean == pytest.approx(mean, abs=0.005)
    assert found.sd == pytest.approx(sd, abs=0.005)


@pytest.mark.parametrize("cost", [(0, 10, 100), (10, 20, 30), (5, 5, 50), (5, 50, 50)])
def test_one_drawn_cost_is_the_beta_distribution_of_scipy(cost: tuple[float, float, float]) -> None:
    low, likely, high = cost
    width = high - low
    beta = stats.beta(1 + 4 * (likely - low) / width, 1 + 4 * (high - likely) / width, low, width)
    found = spread([line(*cost)], samples=200_000)
    assert beta.mean() == pytest.approx(found.mean)  # the two methods agree in the mean exactly
    assert found.drawn_mean == pytest.approx(beta.mean(), abs=5 * beta.std() / math.sqrt(200_000))
    assert found.drawn_sd == pytest.approx(beta.std(), rel=0.02)
    for quantile, drawn in ((0.1, found.p10), (0.5, found.p50), (0.9, found.p90)):
        assert drawn == pytest.approx(beta.ppf(quantile), abs=0.01 * width)
    assert 0.84 <= beta.std() / found.sd <= 1.14


def test_the_drawn_sum_agrees_with_the_formulas() -> None:
    lines = [line(n, 2 * n, 5 * n) for n in range(1, 40)]
    found = spread(lines)
    assert found.drawn_mean == pytest.approx(found.mean, rel=0.01)
    assert 0.84 <= found.drawn_sd / found.sd <= 1.14
    normal = stats.norm(found.mean, found.drawn_sd)  # many costs: nearly normal, by the central limit theorem
    assert found.p10 == pytest.approx(normal.ppf(0.1), rel=0.02)
    assert found.p90 == pytest.approx(normal.ppf(0.9), rel=0.02)


def test_a_cost_that_may_not_come_counts_by_its_likelihood() -> None:
    """A certain 100 with likelihood 0.25: mean 25, variance 0.25 x 0.75 x 100^2 (Bernoulli)."""
    found = spread([line(100, 100, 100, 0.25)], samples=50_000)
    assert (found.mean, found.sd) == pytest.approx((25, math.sqrt(0.1875) * 100))
    assert found.drawn_mean == pytest.approx(25, abs=1)
    assert (found.p50, found.p90) == (0, 100)


def test_the_same_input_gives_the_same_numbers() -> None:
    lines = [line(1, 2, 5), line(2, 3, 9)]
    assert spread(lines) == spread(lines)
    assert spread([]) == spread([]) and spread([]).mean == 0


# --- tables -----------------------------------------------------------------------------------------


def test_a_defect_takes_the_price_of_its_check_then_station_then_severity(
    small: Pack, tmp_path: Path
) -> None:
    (tmp_path / "costs.yaml").write_text(TABLE, encoding="utf-8")
    table = read_costs(tmp_path / "costs.yaml", small)
    record = voicenotes.read_text("spindle growls. coolant tank leaks. headstock temperature is hot.", small)
    made = estimate(table, checks_of(stands_of(record, small), small), small)
    assert {one.check: (one.taken_from, one.likely) for one in made.lines} == {
        "head.noise": ("check", 200),
        "head.heat": ("severity", 500),
        "tank.leaks": ("station", 20),
    }
    assert made.found.mean == pytest.approx(250 + 500 + 20)
    assert made.open is None and made.open_worst == 1000  # runout and quill, both major
    known = estimate(table, checks_of(stands_of(record, small), small), small, {"head.runout": 0.5})
    assert known.open is not None and known.open.mean == pytest.approx(250)
    assert known.found == made.found  # the unsettled share stands apart


def test_the_packs_likelihoods_weigh_the_unsettled_checks_as_in_the_gap_list(
    small: Pack, tmp_path: Path
) -> None:
    """By the small pack: runout is rare, 0.04; the quill common, 0.4, if there is a tailstock, 0.5. Each 500.

    Once a tailstock is there, the quill counts in full; a check that a person left open still counts.
    """
    (tmp_path / "costs.yaml").write_text(TABLE, encoding="utf-8")
    said = "spindle growls. coolant tank leaks. headstock temperature is hot."

    record = voicenotes.read_text(said, small)

    def priced(*corrections: Correction) -> CostEstimate:
        (tmp_path / "corrections.jsonl").unlink(missing_ok=True)
        for correction in corrections:
            append(tmp_path, correction)
        report, _ = visit_report(tmp_path, record, small, tmp_path / "costs.yaml")
        assert report.cost and report.cost.open
        return report.cost

    unknown = priced()
    assert {one.check: one.likelihood for one in unknown.open_lines} == {
        "head.runout": 0.04, "tail.quill": 0.2,
    }  # fmt: skip
    assert unknown.open and unknown.open.mean == pytest.approx(500 * 0.04 + 500 * 0.2)
    assert unknown.found.mean == pytest.approx(250 + 500 + 20)
    there = priced(fitting("tailstock", True, None))
    assert there.open and there.open.mean == pytest.approx(500 * 0.04 + 500 * 0.4)
    assert priced(settle(record, "tail.quill", "no access")).open == unknown.open
    planned = with_plan(gap_list(record, small), small, 60).plan
    assert planned
    risks = {one.id: one.risk for one in planned.checks}
    assert risks == {"head.runout": 25 * 0.04, "tail.quill": 25 * 0.2}  # 25: the weight of major


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("title: x\ncurrency: EUR\nseverities: {major: {low: 5, likely: 3, high: 9}}", "line 3"),
        (
            "title: x\ncurrency: EUR\nchecks:\n  no.such: {low: 1, likely: 2, high: 3}",
            "line 4: there is no check",
        ),
        ("title: x\ncurrency: EUR\nstations:\n  attic: {}", "line 4: there is no station 'attic'"),
        ("title: x\ncurrency: EUR", "gives no cost at all"),
        ("title: x\ncurrency: EUR\nseverities: {awful: {low: 1, likely: 2, high: 3}}", "line 3"),
        ("title: x\nseverities: {}", "currency"),
        ("- 1", "is no cost table"),
        ("severities: {major: {low: -1, likely: 2, high: 3}}\ntitle: x\ncurrency: EUR", "line 1"),
        ("title: x\ncurrency: EUR\nseverities: {major: {low: 1, likely: 2, high: .inf}}", "line 3"),
    ],
)
def test_a_table_that_cant_be_right_is_refused_with_its_line(
    text: str, said: str, small: Pack, tmp_path: Path
) -> None:
    path = tmp_path / "costs.yaml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(PackError) as refused:
        read_costs(path, small)
    assert said in str(refused.value) and "\n" not in str(refused.value)


@pytest.fixture(scope="module")
def priced() -> Report:
    """A visit of two defects with the shipped table."""
    pack = voicenotes.load_pack("cnc_lathe")
    record = voicenotes.read_text("spindle growls. hydraulic valves are leaking.", pack)
    return report_of(
        record, pack, cost=estimate(read_costs(DEMO, pack), checks_of(stands_of(record, pack), pack), pack)
    )


@pytest.mark.parametrize("format_", FORMATS)
def test_the_shipped_table_says_that_it_is_invented(format_: str, priced: Report) -> None:
    assert "INVENTED" in DEMO.read_text(encoding="utf-8").splitlines()[0]
    text = text_of(format_, rendered(priced, format_))
    assert squeezed("made-up example, no real prices") in text


def test_the_shipped_table_has_a_price_for_everything(priced: Report) -> None:
    cost = priced.cost
    assert cost is not None and cost.unpriced == () and cost.open_unpriced == ()
    assert cost.found.p10 < cost.found.p50 < cost.found.p90
