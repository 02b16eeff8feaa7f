"""
First quotes against the hours and the shape of money that a practitioner believes.

Bands: practitioner's judgement, no source. They hold all labour, handling in.
"""

from __future__ import annotations

from decimal import Decimal

import pytest
from msgspec.structs import replace

from quoting import Job, RateCard, estimate_job
from quoting.estimate import Option
from tests.conftest import DAY, SHOPS

BANDS = {
    "coasters": (100, Decimal(6), Decimal(10)),
    "cards": (250, Decimal(3), Decimal(5)),
    "invitation": (100, Decimal(6), Decimal("9.5")),
    "poster": (50, Decimal(6), Decimal(10)),
    "labels": (250, Decimal(5), Decimal("8.5")),
    "reprint": (500, Decimal("2.5"), Decimal("4.5")),
}
# What the bands do not hold: one shop lines its envelopes by hand, a minute and more each.
BEYOND_THE_BAND = {"Envelope lining"}
HANDLING_HOURS = Decimal("0.75")


def option_of(shop: str, name: str, cards: dict[str, RateCard], job: Job, quantity: int) -> Option:
    return estimate_job(replace(job, quantities=(quantity,)), cards[shop], on=DAY).options[0]


def believed_hours(option: Option, card: RateCard) -> Decimal:
    """Hours as the bands count them: handling in them, even where an hour rate carries it."""
    minutes = sum((line.minutes for line in option.lines if line.operation not in BEYOND_THE_BAND), Decimal(0))
    carried = HANDLING_HOURS if card.handling.charged == "in the hour rate" else Decimal(0)
    return minutes / 60 + carried


@pytest.mark.parametrize("shop", SHOPS)
@pytest.mark.parametrize("name", BANDS)
def test_labour_hours_lie_in_the_band(
    shop: str, name: str, cards: dict[str, RateCard], jobs: dict[tuple[str, str], Job]
) -> None:
    quantity, low, high = BANDS[name]

    option = option_of(shop, name, cards, jobs[shop, name], quantity)

    assert low <= believed_hours(option, cards[shop]) <= high


@pytest.mark.parametrize("shop", SHOPS)
@pytest.mark.parametrize("name", ["coasters", "cards"])
def test_five_hundred_cost_from_1_2_to_2_3_times_a_hundred(
    shop: str, name: str, cards: dict[str, RateCard], jobs: dict[tuple[str, str], Job]
) -> None:
    few, many = (option_of(shop, name, cards, jobs[shop, name], count).price.net for count in (100, 500))

    assert Decimal("1.2") <= many / few <= Decimal("2.3")


@pytest.mark.parametrize("shop", SHOPS)
@pytest.mark.parametrize("name", ["coasters", "cards", "invitation", "labels"])
def test_at_a_hundred_pieces_four_fifths_of_the_hours_are_not_running(
    shop: str, name: str, cards: dict[str, RateCard], jobs: dict[tuple[str, str], Job]
) -> None:
    option = option_of(shop, name, cards, jobs[shop, name], 100)

    assert option.hours.running / believed_hours(option, cards[shop]) <= Decimal("0.2")


@pytest.mark.parametrize("shop", SHOPS)
def test_ink_by_mass_is_about_one_per_cent_of_a_coaster_job(
    shop: str, cards: dict[str, RateCard], jobs: dict[tuple[str, str], Job]
) -> None:
    option = option_of(shop, "coasters", cards, jobs[shop, "coasters"], 100)
    ink = sum((line.cost for line in option.lines if line.operation == "Ink"), Decimal(0))

    assert ink / option.price.cost <= Decimal("0.015")
