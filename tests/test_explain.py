"""Why a price is what it is, what moved it, and what day it can be."""

from __future__ import annotations

import datetime
from decimal import Decimal

import pytest

from quoting import RateCard, RateCardError, estimate_job, read_job
from quoting.estimate import Option
from quoting.pricing import Price
from quoting.rate_card import rate_card_from
from tests.conftest import DAY
from tests.strategies import Data, card_data_of, job_data_of

SOON = datetime.date(2026, 11, 30)
SHOP = "marrowby-lane"


def _asked(rush_lead_days: int | None = None, **told: object) -> Option:
    """The first option of the cards' job, with what is told of it."""
    card = card_data_of(SHOP)
    if rush_lead_days is not None:
        card["working_days"]["rush_lead_days"] = rush_lead_days
    job = read_job(job_data_of(SHOP, "cards") | told)
    return estimate_job(job, rate_card_from(card), on=DAY).options[0]


def _total(price: Price) -> Decimal:
    return price.total if price.tax_included else price.net


# What day it can be


def test_a_day_that_can_be_met_says_nothing_of_a_rush() -> None:
    option = _asked(needed_by=datetime.date(2027, 6, 1))

    assert (None, ()) == (option.late, option.warnings)


def test_a_job_without_a_day_says_nothing_of_a_rush() -> None:
    assert _asked().late is None


def test_a_day_that_cannot_be_met_says_what_a_rush_costs() -> None:
    plain, rushed = _asked(needed_by=SOON), _asked(needed_by=SOON, rush=True)

    assert plain.late is not None
    assert plain.late.rush_costs == _total(rushed.price) - _total(plain.price)
    assert plain.late.rush_ready_on == rushed.ready_on


def test_a_rush_that_the_card_begins_sooner_is_ready_sooner_by_as_many_working_days() -> None:
    usual, sooner = _asked(needed_by=SOON), _asked(3, needed_by=SOON)

    assert (usual.late is not None) and (sooner.late is not None)
    assert usual.late.rush_ready_on == usual.ready_on == sooner.ready_on
    assert _asked(3, needed_by=SOON, rush=True).working_days == usual.working_days - 7
    assert sooner.late.rush_ready_on == _asked(3, needed_by=SOON, rush=True).ready_on


def test_a_rush_that_is_in_time_is_told_as_such() -> None:
    day = _asked(0, rush=True).ready_on

    option = _asked(0, needed_by=day)

    assert option.late is not None
    assert option.late.rush_is_in_time
    assert f"needed by {day}, ready on {option.ready_on}" in option.warnings[-1]
    assert option.warnings[-1].endswith(f"ready on {day}, in time")


def test_a_rush_that_is_late_too_is_told_the_day_and_no_price() -> None:
    late = _asked(needed_by=SOON, rush=True).late

    assert late is not None
    assert (late.needed_by, late.rush_ready_on, late.rush_costs) == (SOON, None, None)


def test_a_rush_begins_no_later_than_another_job() -> None:
    with pytest.raises(RateCardError, match=r"rush_lead_days up to lead_days; found 11"):
        _asked(11)
