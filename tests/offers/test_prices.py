"""Prices of a choice: the engine's own, with the next quantities and a hundred more; nothing of the shop's inside."""

from __future__ import annotations

import datetime
import random
from decimal import Decimal
from typing import Any

import pytest
from msgspec.structs import replace

from quoting import JobError, RateCard, estimate_job, quotation_for
from quoting.errors import NotPricedError
from quoting.estimate import answer_of
from quoting.job import Job
from quoting.offers import (
    Prices,
    issued_at_once,
    job_from_choice,
    offer_by_key,
    prices_of,
    public_offers,
    quote_choice,
    read_choice,
)
from quoting.planning.prepared import PreparedJob
from quoting.reader import to_json
from quoting.units import Force, Mass
from tests.conftest import DAY, demo_jobs
from tests.offers.choosing import any_choice
from tests.offers.test_choices import CARD, CARDS, OFFERS

COASTERS: dict[str, Any] = {
    "product": "coasters",
    "quantities": [100, 150],
    "front": {"lines": [{"text": "THE LANTERN"}]},
}


def prices(told: dict[str, Any], card: RateCard = CARD) -> Prices:
    """The prices of a choice told as JSON data."""
    return prices_of(read_choice(told), card, on=DAY)


@pytest.mark.parametrize(("shop", "job_name"), demo_jobs())
def test_an_answer_is_that_of_the_estimate(
    shop: str, job_name: str, jobs: dict[tuple[str, str], Job], cards: dict[str, RateCard]
) -> None:
    asked = replace(jobs[shop, job_name], needed_by=DAY + datetime.timedelta(days=3))
    option = estimate_job(asked, cards[shop], on=DAY).options[0]

    answer = answer_of(PreparedJob(asked, cards[shop]), option.quantity, DAY)

    assert (option.price, option.run_on, option.ready_on, option.late) == (
        answer.price,
        answer.run_on,
        answer.ready_on,
        answer.late,
    )


@pytest.mark.parametrize(("shop", "key"), OFFERS)
def test_prices_of_random_choices_are_those_of_the_quotation(shop: str, key: str) -> None:
    card, chance = CARDS[shop], random.Random(f"prices {key}")
    seen = next(one for one in public_offers(card) if one.key == key)
    priced = 0
    for _ in range(12):
        choice = read_choice(any_choice(seen, chance))
        try:
            told = prices_of(choice, card, on=DAY)
        except NotPricedError:
            continue
        quotation = quotation_for(quote_choice(choice, card, on=DAY), card)
        priced += 1
        assert [(one.quantity, one.total, one.net, one.deposit, one.run_on) for one in quotation.options] == [
            (one.quantity, one.total, one.net, one.deposit, one.hundred_more) for one in told.options
        ]
        assert all(one.net + one.tax == one.total for one in told.options)
        assert all(one.net + one.tax == one.total for one in told.next)
        assert quotation.valid_until == told.valid_until
    assert priced >= 3


def test_the_next_quantities_are_the_usual_ones_over_those_asked() -> None:
    told = prices(COASTERS)

    assert [one.quantity for one in told.next] == [200, 500]
    assert [one.quantity for one in prices({**COASTERS, "quantities": [200]}).next][:1] == [500]
    assert [one.total for one in told.next] == [
        one.total for one in prices({**COASTERS, "quantities": [200, 500]}).options
    ]


def test_a_hundred_more_is_the_printed_price_of_a_hundred_more() -> None:
    told = prices({**COASTERS, "quantities": [100, 200]})

    assert told.options[1].net - told.options[0].net == told.options[0].hundred_more


def test_each_is_the_printed_price_of_one() -> None:
    told = prices({**COASTERS, "delivery": {"method": "parcel", "to": "Saltmarrow"}}).options[0]
    collected = prices(COASTERS).options[0]

    assert told.each * told.quantity < told.net
    assert (collected.each * collected.quantity).quantize(Decimal("0.01")) == collected.net


def test_a_day_that_cannot_be_met_is_told_with_what_a_rush_would_do() -> None:
    soon = (DAY + datetime.timedelta(days=2)).isoformat()
    told = prices({**COASTERS, "needed_by": soon}).options[0]
    rush = prices({**COASTERS, "needed_by": soon, "rush": True}).options[0]

    assert not told.in_time
    assert told.rush_adds == rush.net - told.net
    assert told.rush_ready_on == rush.ready_on


def test_what_cannot_be_priced_says_why() -> None:
    deep = {**COASTERS, "product": "cards-and-invitations", "impression": "deep"}

    with pytest.raises(NotPricedError) as refused:
        prices(deep, CARDS["pellam-hollow"])

    assert refused.value.reasons == (
        "Flat card: deep impression from type would ruin it: choose a visible impression, or a plate",
    )


@pytest.mark.parametrize(
    "text", ["\u00ad", "\u200b", "\u2060 \u00ad", "\u202e", "a\u2028b", "\ufeff", "\u0301", "\u3000"]
)
def test_characters_that_leave_no_mark_are_priced_or_refused(text: str) -> None:
    answer = ""
    try:
        assert prices({**COASTERS, "front": {"lines": [{"text": text}]}}).options[0].total > 0
    except (JobError, NotPricedError) as refused:
        answer = str(refused)

    assert "items" not in answer


def test_a_reason_of_one_press_is_not_told() -> None:
    weak = {name: replace(press, greatest_force=Force("10 N")) for name, press in CARD.presses.items()}

    with pytest.raises(NotPricedError) as refused:
        prices(COASTERS, replace(CARD, presses=weak))

    assert refused.value.reasons == ("Coasters: no press here takes it in this size, on this stock and as deep",)


def test_a_parcel_that_no_carrier_takes_cannot_be_priced() -> None:
    parcel = CARD.delivery["parcel"]
    least = replace(parcel, bands=(replace(parcel.bands[0], up_to=Mass("0 g")),))
    asked = {**COASTERS, "delivery": {"method": "parcel", "to": "Saltmarrow"}}

    with pytest.raises(NotPricedError) as refused:
        prices(asked, replace(CARD, delivery={"parcel": least}))

    assert refused.value.reasons[0].startswith("delivery.method: expected parcels up to")


@pytest.mark.parametrize(
    ("change", "at_once"),
    [
        ({}, True),
        ({"stock": "advise me"}, False),
        ({"front": {"printed_from": "same as last time"}}, False),
        ({"back": {"printed_from": "own plate", "plate": {"size": "4 x 3 cm", "thickness": "1.5 mm"}}}, False),
    ],
)
def test_what_the_shop_must_look_at_is_not_issued_at_once(change: dict[str, Any], at_once: bool) -> None:
    choice = read_choice({"product": "cards", "quantities": [100], **change})

    assert issued_at_once(choice, offer_by_key("cards", CARD)) is at_once
    assert prices_of(choice, CARD, on=DAY).issued == ("at once" if at_once else "by the owner")
    assert not issued_at_once(
        read_choice({"product": "wedding-and-party-stationery", "quantities": [100]}),
        offer_by_key("wedding-and-party-stationery", CARD),
    )


def test_neither_offers_nor_prices_hold_anything_of_the_shops_inside() -> None:
    told = b"".join([to_json(public_offers(CARD)), to_json(prices(COASTERS))]).decode()
    inside = [
        CARD.content_hash,
        *(press.name for press in CARD.presses.values()),
        *(supplier.name for supplier in CARD.plate_suppliers.values()),
        *(person.name for person in CARD.people.values()),
        *CARD.presses,
        *CARD.plate_suppliers,
    ]

    assert [word for word in inside if word in told] == []


def test_currencies_have_their_own_coins() -> None:
    def in_currency(currency: str) -> Prices:
        pricing = CARD.pricing
        card = replace(CARD, region=replace(CARD.region, currency=currency), pricing=pricing)
        return prices(COASTERS, card)

    yen, dinar = in_currency("JPY").options[0], in_currency("KWD").options[0]

    assert [-int(one.total.as_tuple().exponent) for one in (yen, dinar)] == [0, 3]


def test_a_choice_becomes_the_same_job_every_time() -> None:
    choice = read_choice(COASTERS)

    assert job_from_choice(choice, CARD, on=DAY) == job_from_choice(read_choice(dict(COASTERS)), CARD, on=DAY)
