"""A19, A24: the last moment of a quotation where the shop is; deposits and balances."""

from __future__ import annotations

import datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from quoting import estimate_job
from quoting.book import QuoteBook
from quoting.book.states import day_over
from quoting.errors import StateError
from quoting.money import minor_units, part_and_rest, smallest_coin
from tests.book.shop import card, priced

MILLISECOND = datetime.timedelta(milliseconds=1)
# The last valid day is the day that the clocks change (IANA tz database), or an ordinary one.
LAST_DAYS = [
    ("Europe/London", datetime.date(2027, 3, 28)),
    ("Europe/London", datetime.date(2027, 10, 31)),
    ("Europe/London", datetime.date(2027, 7, 1)),
    ("America/New_York", datetime.date(2027, 3, 14)),
    ("America/New_York", datetime.date(2027, 11, 7)),
    ("America/Santiago", datetime.date(2027, 9, 4)),  # the next day begins at 01:00
    ("Atlantic/Azores", datetime.date(2027, 10, 30)),  # 00:00 of the next day comes twice
    ("Pacific/Kiritimati", datetime.date(2027, 1, 1)),
    ("Asia/Kolkata", datetime.date(2027, 1, 1)),
]


@pytest.mark.parametrize(("zone", "last"), LAST_DAYS)
def test_it_holds_to_the_last_millisecond_of_its_last_day_where_the_shop_is(
    book: QuoteBook, zone: str, last: datetime.date
) -> None:
    own = card(f"of {zone}", zone, 30)
    day = last - datetime.timedelta(days=30)
    at = datetime.datetime.combine(day, datetime.time(12), ZoneInfo(zone))
    estimate = estimate_job(replace(priced().job, quantities=(100,)), own, on=day)
    in_time, late = (book.draft_and_issue(estimate, own, at=at, by="owner") for _ in range(2))
    assert in_time.days is not None
    assert in_time.days.valid_until == last

    local = datetime.datetime.combine(last, datetime.time(23, 59, 59, 999_000), ZoneInfo(zone))
    last_moment = local.astimezone(datetime.UTC)
    with pytest.raises(StateError) as refused:
        book.accept(late.id, at=last_moment + MILLISECOND, by="client")

    assert refused.value.state == "lapsed"
    assert book.accept(in_time.id, at=last_moment, by="client").state == "accepted"
    assert book.get(late.id).state == "open"
    assert book.get(late.id).state_at(last_moment + MILLISECOND) == "lapsed"


@given(
    day=st.dates(datetime.date(2000, 1, 1), datetime.date(2037, 12, 30)),
    zone=st.sampled_from([zone for zone, _ in LAST_DAYS]),
)
@settings(max_examples=500)
def test_a_day_is_over_at_the_first_instant_of_the_next(day: datetime.date, zone: str) -> None:
    over = day_over(day, zone)

    before = (over - datetime.timedelta(microseconds=1)).astimezone(ZoneInfo(zone)).date()
    assert (before, over.astimezone(ZoneInfo(zone)).date()) == (day, day + datetime.timedelta(days=1))


def test_an_instant_may_be_told_in_any_zone(book: QuoteBook) -> None:
    here = datetime.datetime(2026, 11, 26, 0, 30, tzinfo=datetime.timezone(datetime.timedelta(hours=5)))

    entry = book.draft_and_issue(priced(), card(), at=here, by="owner")

    assert entry.days is not None
    assert entry.days.dated == datetime.date(2026, 11, 25)
    assert book.get(entry.id).made_at == here


@given(
    units=st.integers(0, 10**12),
    tenths_of_percent=st.integers(0, 1000),
    currency=st.sampled_from(["GBP", "JPY", "KWD"]),
)
@settings(max_examples=2000)
def test_deposit_and_balance_are_the_total(units: int, tenths_of_percent: int, currency: str) -> None:
    coin = smallest_coin(currency)
    total, share = units * coin, tenths_of_percent * smallest_coin("KWD")

    deposit, balance = part_and_rest(total, share, currency)

    assert deposit + balance == total
    assert 0 <= deposit <= total
    assert int(deposit.scaleb(minor_units(currency))) * coin == deposit
