"""The search's work does not grow with the quantity: calls are counted, not seconds."""

from __future__ import annotations

import cProfile
from collections import Counter
from pathlib import Path
from types import CodeType

import pytest
from msgspec.structs import replace

import quoting
from quoting import Job, NoPlanError, RateCard
from quoting.job import Delivery
from quoting.numbers import in_engine_context
from quoting.planning.counting import count_part
from quoting.planning.prepared import PreparedJob
from quoting.planning.search import plan_job
from tests.conftest import SHOPS, demo_jobs
from tests.planning.jobs import drawn_job

FEW, MANY = 100, 100_000
PACKAGE = Path(quoting.__file__).parent


@in_engine_context
def calls(prepared: PreparedJob, quantity: int) -> Counter[str]:
    """How often each function of the package is called in one search, by its name."""
    profile = cProfile.Profile()
    profile.runcall(plan_job, prepared, quantity, recording=False)
    found: Counter[str] = Counter()
    for entry in profile.getstats():
        code = entry.code
        if isinstance(code, CodeType) and PACKAGE in Path(code.co_filename).parents:
            found[code.co_qualname] += entry.callcount
    return found


@in_engine_context
def few_and_many(job: Job, card: RateCard) -> tuple[Counter[str], Counter[str]]:
    """Calls for a small and for a great quantity, the orders of passes known beforehand to both."""
    collected = replace(job, delivery=Delivery())  # no carrier takes the great one
    prepared = PreparedJob(collected, card)
    plan_job(prepared, FEW, recording=False)
    plan_job(prepared, MANY, recording=False)
    return calls(prepared, FEW), calls(prepared, MANY)


@pytest.mark.parametrize(("shop", "name"), demo_jobs())
def test_a_demo_job_is_searched_with_no_more_than_twice_the_work_for_a_thousand_times_the_quantity(
    shop: str, name: str, cards: dict[str, RateCard], jobs: dict[tuple[str, str], Job]
) -> None:
    few, many = few_and_many(jobs[shop, name], cards[shop])

    assert many.total() <= 2 * few.total()


@pytest.mark.parametrize("seed", range(20))
def test_a_drawn_job_is_searched_with_no_more_than_twice_the_work_for_a_thousand_times_the_quantity(
    seed: int, cards: dict[str, RateCard]
) -> None:
    card = cards[SHOPS[seed % 2]]
    try:
        few, many = few_and_many(drawn_job(seed, card), card)
    except NoPlanError:
        return

    assert few[count_part.__qualname__] <= 2 * many[count_part.__qualname__]
    assert many[count_part.__qualname__] <= 2 * few[count_part.__qualname__]
    assert many.total() <= 2 * few.total()
