"""Jobs of more parts than every combination is looked at: planned part by part, which is held to the exact search."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given, settings

from quoting import JobError, NoPlanError, estimate_job, read_job
from quoting.planning import search
from quoting.rate_card import rate_card_from
from tests.conftest import DAY
from tests.strategies import Data, card_and_job_data, card_data_of, job_of


def item(number: int) -> Data:
    """One of many cards, each of its own size, some in another ink."""
    form = {"kind": "plate", "size": "60 x 30 mm", "share_inked": "8 %", "supplier": "estuary"}
    return {
        "name": f"Card {number}",
        "size": f"{80 + 3 * number} x 55 mm",
        "stock": "cotton-600" if number % 2 else "card-300",
        "front": {"colours": [{"ink": ("black", "harbour-blue", "ochre")[number % 3], "form": form}]},
    }


def cost_of(card: Data, job: Data) -> Decimal:
    """What a job costs, or nothing where it is refused."""
    try:
        estimate = estimate_job(read_job(job), rate_card_from(card), on=DAY)
    except (JobError, NoPlanError):
        return Decimal(0)
    return sum((line.exact_cost for line in estimate.options[0].lines), Decimal(0))


def test_the_most_items_that_a_job_takes_are_planned(monkeypatch: pytest.MonkeyPatch) -> None:
    begun: list[int] = []
    plan_part_by_part = search._Search._part_by_part

    def counted(self: search._Search) -> None:
        begun.append(self.looked_at)
        plan_part_by_part(self)

    monkeypatch.setattr(search._Search, "_part_by_part", counted)
    card = card_data_of("marrowby-lane")
    several = job_of(*(item(number) for number in range(20)), quantities=[100])
    together = cost_of(card, several)
    apart = sum((cost_of(card, job_of(item(number), quantities=[100])) for number in range(20)), Decimal(0))

    assert begun
    assert 0 < together < apart  # plates in one order, inks put on once


@settings(max_examples=40)
@given(card_and_job_data())
def test_part_by_part_is_never_under_the_exact_search_and_hardly_ever_over_it(
    card_and_job: tuple[Data, Data],
) -> None:
    card, job = card_and_job
    exact = cost_of(card, job)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(search, "MOST_COMBINATIONS", 0)
        part_by_part = cost_of(card, job)

    assert exact <= part_by_part <= exact * Decimal("1.02")
