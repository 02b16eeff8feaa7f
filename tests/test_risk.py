"""Draws of a job's cost: the engine's own formulas on arrays, a common factor, and what a price leaves."""

from __future__ import annotations

import math
from decimal import Decimal
from statistics import NormalDist
from typing import Any

import numpy as np
import pytest
from msgspec.structs import replace

from quoting import Job, RateCard
from quoting.formulas import FORMULAS
from quoting.many import Many, floats
from quoting.numbers import at_least, at_most, cheapest, in_band, in_step, is_some, number, whole_up
from quoting.risk import DRAWS, HeldJob, Spread, drawn, drawn_inputs, error_of_share, risk_of, spread_of
from quoting.units import Duration, Factor, at_value
from quoting.what_if import measures_of, with_measures
from tests.conftest import DAY, demo_jobs

MARKS = [
    Decimal(0),
    Decimal("0.5"),
    Decimal(1),
    Decimal("3.7"),
    Decimal(12),
    Decimal("500.0000000000001"),
    Decimal(1200),
]


@pytest.fixture(scope="module")
def card(cards: dict[str, RateCard]) -> RateCard:
    return cards["marrowby-lane"]


@pytest.fixture(scope="module")
def job(jobs: dict[tuple[str, str], Job]) -> Job:
    return jobs["marrowby-lane", "coasters"]


def as_list(many: Any) -> list[float]:
    return [float(value) for value in many.values]


def test_counts_and_bounds_of_many_are_those_of_each() -> None:
    many: Any = Many([float(mark) for mark in MARKS])

    assert as_list(whole_up(many)) == [whole_up(mark) for mark in MARKS]
    assert as_list(at_least(Decimal(2), many)) == [float(at_least(Decimal(2), mark)) for mark in MARKS]
    assert as_list(at_most(many, Decimal(2))) == [float(at_most(mark, Decimal(2))) for mark in MARKS]
    assert as_list(in_band(many, above=Decimal(1), up_to=Decimal(10))) == [
        float(in_band(mark, above=Decimal(1), up_to=Decimal(10))) for mark in MARKS
    ]


def test_a_step_and_the_cheapest_of_many_are_those_of_each() -> None:
    marks, values = [1, 10, 500], [Decimal(6), Decimal(5), Decimal(4)]
    counts = [[10, 20, 30], [25, 25, 25]]
    costs = [[100, 200, 300], [100, 190, 310]]

    stepped = in_step(Many([float(mark) for mark in MARKS]), marks, values)  # type: ignore[arg-type]
    found = cheapest([Many(one) for one in counts], [Many(one) for one in costs])  # type: ignore[misc]

    assert as_list(stepped) == [float(in_step(whole_up(mark), marks, values)) for mark in MARKS[:5]] + [4.0, 4.0]
    assert as_list(found) == [10, 25, 30]


def test_a_branch_that_many_do_not_agree_on_is_an_error_and_never_a_guess() -> None:
    with pytest.raises(TypeError, match="branches"):
        bool(Many([1.0, 2.0]) > Decimal("1.5"))
    assert is_some(Many([0.0, 1.0]))
    assert not is_some(Many([0.0, 0.0]))
    with pytest.raises(TypeError):
        whole_up(None)  # type: ignore[arg-type]
    assert number(3) == Decimal(3)


def test_the_decimal_path_does_not_import_numpy() -> None:
    import subprocess
    import sys

    code = "import quoting.numbers, quoting.estimate, sys; print('numpy' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert done.stdout.strip() == "False"


@pytest.mark.parametrize("name", sorted(FORMULAS))
def test_every_formula_works_many_numbers_as_it_works_one(name: str) -> None:
    called = FORMULAS[name]
    names = [one for one in called.__annotations__ if one != "return"]
    rows = [{one: Decimal(place + turn) / 8 for place, one in enumerate(names, start=2)} for turn in range(4)]
    for row in rows:
        row |= {
            one: row[one] / 100
            for one in row
            if "share" in one or "rate" in one or one in {"commission", "least_margin"}
        }
        row |= {one: Decimal(whole_up(row[one])) for one in row if called.__annotations__[one] == "int"}

    one_by_one = [float(called(**row)) for row in rows]
    together = called(**{one: Many([float(row[one]) for row in rows]) for one in names})

    assert list(np.broadcast_to(floats(together), 4)) == pytest.approx(one_by_one, rel=1e-9)


@pytest.mark.parametrize(("shop", "name"), demo_jobs())
def test_the_array_engine_equals_the_exact_one_at_the_cards_figures(
    shop: str, name: str, cards: dict[str, RateCard], jobs: dict[tuple[str, str], Job]
) -> None:
    job, card = jobs[shop, name], cards[shop]
    held = HeldJob(job, card, job.quantities[-1], DAY)
    known = measures_of(card)

    inputs = drawn_inputs(held, card)
    together = held.cost({key: Many([float(known[key])] * 3) for key in inputs})

    assert inputs
    assert as_list(together) == pytest.approx(
        [float(sum(line.exact_cost for line in held.figures.lines))] * 3, rel=1e-9
    )


@pytest.mark.parametrize("ends", ["low", "high"])
def test_the_array_engine_equals_the_exact_one_at_the_ends_of_every_spread(
    ends: str, card: RateCard, job: Job
) -> None:
    held, known = HeldJob(job, card, 100, DAY), measures_of(card)
    inputs = list(drawn_inputs(held, card))

    exact = [held.cost({key: at_value(known[key], getattr(known[key], ends))}) for key in inputs]
    arrays = {key: np.full(len(inputs), float(known[key])) for key in inputs}
    for place, key in enumerate(inputs):
        arrays[key][place] = float(getattr(known[key], ends))
    together = held.cost({key: Many(array) for key, array in arrays.items()})

    assert as_list(together) == pytest.approx([float(one) for one in exact], rel=1e-9)


@pytest.mark.parametrize("factor", [0.0, 0.3, 0.8])
def test_two_correlated_normal_inputs_agree_with_their_closed_form(factor: float) -> None:
    """Sum of two normals: mean and spread in closed form (A); P(sum > bound) within four standard errors."""
    widths = (2.0, 5.0)
    spreads = [Spread(100 - width, 100, 100 + width) for width in widths]
    draws = 200_000

    one, other = drawn(spreads, draws=draws, common_factor=factor, seed=7)

    sigmas = [width / 1.2815515655446004 for width in widths]
    spread = math.sqrt(sigmas[0] ** 2 + sigmas[1] ** 2 + 2 * factor * sigmas[0] * sigmas[1])
    for bound in (200.0, 203.0, 207.0):
        expected = 1 - NormalDist(200, spread).cdf(bound)
        found = float(((one + other) > bound).mean())
        error = float(error_of_share(Decimal(str(expected)), draws))
        assert abs(found - expected) < 4 * error
    assert abs(float(np.corrcoef(one, other)[0, 1]) - factor) < 4 / math.sqrt(draws)


LINEAR = {
    "handling.orders.plain": "45 (35-55) min",
    "composing.form": "10 (7.5-12.5) min",
}  # no draw is cut at half or twice


@pytest.mark.parametrize("factor", ["0", "0.3", "0.8"])
def test_a_risk_of_two_correlated_normal_inputs_is_its_closed_form(factor: str, card: RateCard, job: Job) -> None:
    """
    Minutes times a rate are linear: a cost of two is normal, of mean and spread in closed form (A).

    Each figure is held to three of the standard errors that the risk itself tells.
    """
    plain_card = with_measures(card, {key: at_value(one, one.in_base_unit) for key, one in measures_of(card).items()})
    normal = with_measures(plain_card, {key: Duration(written) for key, written in LINEAR.items()})
    normal = replace(normal, risk_common_factor=Factor(factor))
    held = HeldJob(job, normal, 100, DAY)
    usual = float(held.cost({}))
    sigmas = []
    for key in LINEAR:
        measure = measures_of(normal)[key]
        high = float(held.cost({key: at_value(measure, measure.high)}))
        low = float(held.cost({key: at_value(measure, measure.low)}))
        assert high - usual == pytest.approx(usual - low)
        sigmas.append((high - usual) / 1.2815515655446004)
    one, other = sigmas
    cost = NormalDist(usual, math.sqrt(one**2 + other**2 + 2 * float(factor) * one * other))
    net = held.net_for(Decimal(cost.inv_cdf(0.8)))

    found = risk_of(job, normal, 100, on=DAY, net=net, draws=40_000)

    assert set(found.inputs) == set(LINEAR)
    told = [
        (found.loss, 0.2, found.loss_error),
        (found.cost_mean, cost.mean, found.cost_mean_error),
        (found.cost_p10, cost.inv_cdf(0.1), found.cost_p10_error),
        (found.cost_p50, cost.inv_cdf(0.5), found.cost_p50_error),
        (found.cost_p90, cost.inv_cdf(0.9), found.cost_p90_error),
        (found.safe_net, float(held.net_for(Decimal(cost.inv_cdf(0.9)))), found.safe_net_error),
    ]
    for figure, expected, error in told:
        assert error > 0
        assert abs(float(figure) - expected) < 3 * float(error) + 0.01


def test_a_standard_error_is_how_far_the_figures_of_other_seeds_scatter(card: RateCard, job: Job) -> None:
    risks = [risk_of(job, card, 100, on=DAY, seed=seed, draws=2_000) for seed in range(30)]

    for figure in ("loss", "cost_p10", "cost_p50", "cost_p90", "cost_mean", "safe_net"):
        scatter = float(np.std([float(getattr(risk, figure)) for risk in risks], ddof=1))
        told = float(np.mean([float(getattr(risk, f"{figure}_error")) for risk in risks]))
        assert 0.6 < scatter / told < 1.6, figure


def test_a_tenth_of_the_draws_falls_under_low_and_a_tenth_over_high() -> None:
    (found,) = drawn([Spread(8, 15, 25)], draws=100_000, common_factor=0.3, seed=3)

    assert float((found < 8).mean()) == pytest.approx(0.1, abs=0.005)
    assert float((found > 25).mean()) == pytest.approx(0.1, abs=0.005)
    assert float(np.median(found)) == pytest.approx(15, abs=0.1)


def test_a_draw_keeps_within_what_the_measure_may_be(card: RateCard) -> None:
    spread = spread_of(Factor("0.75 (0.6-0.9)"), -1)
    (found,) = drawn([spread], draws=100_000, common_factor=0.0, seed=3)

    assert found.max() <= 1
    assert found.min() >= 0.3


def test_the_same_seed_gives_the_same_risk_and_another_seed_another(card: RateCard, job: Job) -> None:
    first, again, other = (risk_of(job, card, 100, on=DAY, seed=seed) for seed in (1, 1, 2))

    assert first == again
    assert first.cost_p50 != other.cost_p50
    assert abs(first.loss - other.loss) < 5 * first.loss_error


def test_independent_draws_mislead(card: RateCard, job: Job) -> None:
    risk = risk_of(job, card, 100, on=DAY)

    assert risk.loss > risk.loss_if_independent + 4 * risk.loss_error
    assert risk.common_factor == Decimal("0.3")


def test_a_stronger_common_factor_widens_the_costs(card: RateCard, job: Job) -> None:
    weak, strong = (
        risk_of(job, replace(card, risk_common_factor=Factor(factor)), 100, on=DAY) for factor in ("0.1", "0.9")
    )

    assert strong.cost_p90 - strong.cost_p10 > weak.cost_p90 - weak.cost_p10


def test_the_safe_price_loses_one_time_in_ten(card: RateCard, job: Job) -> None:
    risk = risk_of(job, card, 100, on=DAY)

    held = risk_of(job, card, 100, on=DAY, net=risk.safe_net)

    assert held.loss <= Decimal("0.1")
    assert held.loss > Decimal("0.1") - 4 * held.loss_error
    assert risk.safe_net_error > 0


def test_a_higher_price_never_loses_more_often(card: RateCard, job: Job) -> None:
    losses = [risk_of(job, card, 100, on=DAY, net=Decimal(net)).loss for net in (350, 450, 550, 650)]

    assert losses == sorted(losses, reverse=True)


def test_percentiles_stand_in_order_and_hour_rates_are_not_drawn(card: RateCard, job: Job) -> None:
    risk = risk_of(job, card, 100, on=DAY)

    assert risk.cost_p10 < risk.cost_p50 < risk.cost_p90
    assert risk.margin_p10 < risk.margin_p50 < risk.margin_p90
    assert risk.draws == DRAWS
    assert not any(key.startswith(("people.", "general_expense")) or ".year." in key for key in risk.inputs)


def test_the_price_of_stock_may_be_drawn(card: RateCard, jobs: dict[tuple[str, str], Job]) -> None:
    paper = replace(card, risk_stock_prices=Factor("1 (0.9-1.3)"))
    held = HeldJob(jobs["marrowby-lane", "cards"], paper, 250, DAY)

    assert drawn_inputs(held, paper)["risk_stock_prices"] == 1
    assert held.cost({"risk_stock_prices": Decimal(1)}) == pytest.approx(held.cost({}))


@pytest.mark.parametrize("shop", ["marrowby-lane", "pellam-hollow"])
def test_hours_times_rates_reconcile_to_the_years_cost(shop: str, cards: dict[str, RateCard]) -> None:
    sold, spent = cards[shop].year_reconciled()

    assert abs(sold - spent) < Decimal(1)
