"""What drives a cost: every fixed time of a card, and every figure of a job or a card that an operation works by."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from functools import cache
from typing import Any

import pytest
from msgspec import Struct

from quoting import RateCard, estimate_job, read_job
from quoting.job import Job
from quoting.rate_card import rate_card_from
from quoting.units import Duration
from tests.conftest import DAY, SHOPS
from tests.strategies import Data, all_jobs, card_data_of, with_two_inks_a_shade

Path = tuple[str | int, ...]


def put(data: Any, path: Path, value: Any) -> None:
    """Set one place of plain data."""
    for key in path[:-1]:
        data = data[key]
    data[path[-1]] = value


# Every fixed time


def durations(value: Any, path: Path = ()) -> Iterator[Path]:
    """Where a card holds a time."""
    if isinstance(value, Duration):
        yield path
    elif isinstance(value, Struct):
        for name in value.__struct_fields__:
            yield from durations(getattr(value, name), (*path, name))
    elif isinstance(value, dict):
        for name, one in value.items():
            yield from durations(one, (*path, name))
    elif isinstance(value, tuple):
        for place, one in enumerate(value):
            yield from durations(one, (*path, place))


def full_card_data(shop: str) -> Data:
    card = with_two_inks_a_shade(card_data_of(shop))
    card["stone"]["mounting"] = "2 min"
    return card


@cache
def _jobs(shop: str) -> dict[str, Job]:
    every = all_jobs(shop)
    for order in card_data_of(shop)["handling"].get("orders", {}):
        every[f"handling {order}"] = every["cards"] | {"order": order}
    return {name: read_job(data | {"quantities": data["quantities"][:1]}) for name, data in every.items()}


def cost_of(job: Job, card: RateCard) -> Decimal:
    """Cost of all lines, unrounded."""
    lines = estimate_job(job, card, on=DAY).options[0].lines
    return sum((line.exact_cost for line in lines), Decimal(0))


@cache
def _costs(shop: str) -> dict[str, Decimal]:
    card = rate_card_from(full_card_data(shop))
    return {name: cost_of(job, card) for name, job in _jobs(shop).items()}


def likely_first(shop: str, path: Path) -> list[str]:
    """Jobs of a shop, those named after what is changed before the others, the slow one last."""
    words = [str(word) for word in path]
    return sorted(_jobs(shop), key=lambda name: (name == "duplexed", -sum(word in name for word in words)))


TIMES = [(shop, path) for shop in SHOPS for path in durations(rate_card_from(full_card_data(shop)))]


@pytest.mark.parametrize(
    ("shop", "path"), TIMES, ids=lambda value: value if isinstance(value, str) else ".".join(map(str, value))
)
def test_without_a_fixed_time_some_job_costs_less(shop: str, path: Path) -> None:
    data = full_card_data(shop)
    put(data, path, "0 min")
    card = rate_card_from(data)

    assert any(cost_of(_jobs(shop)[name], card) < _costs(shop)[name] for name in likely_first(shop, path))
