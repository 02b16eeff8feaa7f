"""The search against plain loops over every plan, costed by the engine."""

from __future__ import annotations

from decimal import Decimal
from itertools import product

import pytest

from quoting import Job, NoPlanError, RateCard
from quoting.costing import exact_cost
from quoting.formulas import Plainly
from quoting.numbers import in_engine_context
from quoting.planning.counting import count_part
from quoting.planning.jobwork import job_work
from quoting.planning.orders import order_of, orders_of_passes
from quoting.planning.part_plan import PartPlan
from quoting.planning.prepared import PreparedJob
from quoting.planning.quantities import PartWorkload, joining_requirements, part_workload
from quoting.planning.search import plan_job
from tests.conftest import SHOPS
from tests.planning.jobs import drawn_job

MOST_COMBINATIONS = 400


@in_engine_context
def cost_of(plans: tuple[PartPlan, ...], prepared: PreparedJob, quantity: int) -> Decimal:
    """One job plan costed in full, with nothing remembered and nothing cut off."""
    card, job, do = prepared.card, prepared.job, Plainly()
    orders = orders_of_passes(plans, card, prepared.memory)
    loads: list[PartWorkload] = []
    for plan, (item, part) in zip(plans, prepared.parts, strict=True):
        ordered = plan.printed(order_of(plan, orders))
        count = count_part(do, ordered, item, part, card, quantity)
        loads.append(part_workload(do, ordered, item, part, job, card, quantity, count))
    asked = [one for load in loads for one in load.requirements]
    for place, item in enumerate(job.items):
        mine = tuple(load for load in loads if load.plan.item == place)
        asked.extend(joining_requirements(do, item, mine, card))
    asked.extend(job_work(do, loads, orders, job, card, quantity, prepared.memory).requirements)
    return exact_cost(do, asked, card, prepared.rates)


@in_engine_context
def searched(job: Job, card: RateCard) -> tuple[PreparedJob, Decimal]:
    prepared = PreparedJob(job, card)
    return prepared, plan_job(prepared, job.quantities[0], recording=False).exact_cost


@in_engine_context
def least_by_plain_loops(prepared: PreparedJob) -> Decimal:
    """The least cost over every combination of plans."""
    ways = [found.plans for found in prepared.candidates]
    return min(cost_of(plans, prepared, prepared.job.quantities[0]) for plans in product(*ways))


def combinations(prepared: PreparedJob) -> int:
    found = 1
    for candidates in prepared.candidates:
        found *= len(candidates.plans)
    return found


def compared(seeds: range, card: RateCard, *, most_items: int, most: int) -> int:
    """How many of the drawn jobs were compared; the others have no plan, or too many for plain loops."""
    count = 0
    for seed in seeds:
        try:
            prepared, found = searched(drawn_job(seed, card, most_items=most_items), card)
        except NoPlanError:
            continue
        if combinations(prepared) > most:
            continue
        expected = least_by_plain_loops(prepared)
        assert abs(expected - found) < Decimal("1e-20"), seed
        count += 1
    return count


@pytest.mark.parametrize("shop", SHOPS)
def test_the_search_finds_the_least_cost_of_plain_loops_on_jobs_of_one_item(
    shop: str, cards: dict[str, RateCard]
) -> None:
    assert compared(range(60), cards[shop], most_items=1, most=MOST_COMBINATIONS) >= 30


@pytest.mark.parametrize("shop", SHOPS)
def test_the_search_finds_the_least_cost_of_plain_loops_on_jobs_of_several_items(
    shop: str, cards: dict[str, RateCard]
) -> None:
    assert compared(range(100, 160), cards[shop], most_items=2, most=MOST_COMBINATIONS) >= 15


@pytest.mark.long
@pytest.mark.parametrize("shop", SHOPS)
def test_the_search_finds_the_least_cost_of_plain_loops_on_500_jobs(shop: str, cards: dict[str, RateCard]) -> None:
    assert compared(range(1000, 1800), cards[shop], most_items=3, most=MOST_COMBINATIONS) >= 250
