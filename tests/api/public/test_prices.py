"""Prices of a choice on the real server: the engine's own, every fault by its pointer, exact coins (A2, A23, A42)."""

from __future__ import annotations

import datetime
import random
import statistics
import time
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import httpx
import pytest
from babel.numbers import format_currency
from msgspec.structs import replace

from api.media_types import JSON, PDF, XML
from quoting.errors import NotPricedError
from quoting.offers import prices_of, public_offers, read_choice
from quoting.rate_card import RateCard
from quoting.reader import json_data, to_json
from quoting.units import Amount, Share
from tests.api.asking import BOOK, once, problem, resolve
from tests.api.conftest import SECRET, Serve
from tests.api.documents import Held
from tests.api.public.conftest import Shop, shop_of
from tests.api.public.visiting import ACCEPT, COASTERS, UNPRICED, choice
from tests.documents.reading import text_of
from tests.offers.choosing import any_choice
from tests.offers.test_choices import CARD


def today() -> datetime.date:
    """The day it is where the shop is."""
    return datetime.datetime.now(ZoneInfo(CARD.region.time_zone)).date()


def test_prices_of_random_choices_are_the_engines(served_shop: Shop) -> None:
    chance, priced, day = random.Random("prices over HTTP"), 0, today()
    for seen in public_offers(CARD):
        for _ in range(8):
            told = any_choice(seen, chance)
            answer = served_shop.visitor().price(told)
            expected = expected_of(told, day)
            priced += expected[0] == 200
            assert expected == (answer.status_code, answer.json().get("detail") or answer.json())
    assert priced >= 12


def expected_of(told: dict[str, Any], day: datetime.date) -> tuple[int, Any]:
    """What the engine itself says of a choice."""
    try:
        return 200, json_data(to_json(prices_of(read_choice(told), CARD, on=day)))
    except NotPricedError as error:
        return 422, " ".join(error.reasons)


def test_what_is_not_offered_is_told_with_what_is_instead(served_shop: Shop) -> None:
    front = {"inks": ["ultraviolet"], "lines": [{"text": "A", "fount": "comic"}], "artwork": "ready"}
    told = {"product": "coasters", "quantities": [7, 8], "front": front, "impression": "deep", "edges": "gold"}
    answer = served_shop.visitor().price(told)

    assert (answer.status_code, problem(answer)) == (422, "not-offered")
    assert {one["pointer"]: one["detail"] for one in answer.json()["invalid"]} == {
        "/choice/quantities/0": "expected 50 to 1000; found 7",
        "/choice/quantities/1": "expected 50 to 1000; found 8",
        "/choice/front/inks/0": "expected one of black, harbour-blue, brick-red, samphire-green, ochre;"
        " found 'ultraviolet'",
        "/choice/front/lines/0/fount": "expected one of tollhouse-24, wharf-18, wharf-12, ropewalk-10, ferry-36,"
        " wharf-italic-12; found 'comic'",
        "/choice/front/artwork": "expected nothing, as none is offered; found 'ready'",
        "/choice/impression": "expected one of visible, kiss; found 'deep'",
        "/choice/edges": "expected nothing, as none is offered; found 'gold'",
    }


@pytest.mark.parametrize("path", ["/v1/public/prices", "/v1/public/requests"])
def test_seven_fields_of_another_type_are_all_told_and_every_pointer_leads_somewhere(
    served_shop: Shop, path: str
) -> None:
    """A2; RFC 6901. One is not known, with a name that a path could be mistaken in."""
    told = choice(product=3, quantities=[0, "x"], rush="no", needed_by="soon")
    told["choice"] |= {"delivery": {"method": 1}, "a.b/c~d[0]": 1}
    answer = served_shop.visitor().post(path, told)
    pointers = [one["pointer"] for one in answer.json()["invalid"]]

    assert (answer.status_code, problem(answer)) == (422, "invalid-input")
    assert len(pointers) == len(set(pointers)) == 7
    for pointer in pointers:
        resolve(told, pointer)
    assert "/choice/a.b~1c~0d[0]" in pointers


def test_every_field_of_an_answer_to_a_quotation_that_does_not_fit_is_told(served_shop: Shop) -> None:
    """A2."""
    path = served_shop.visitor().link()
    told = {"revision": "1", "quantity": -1, "name": 1, "note": ["x"], "price": "1"}
    for move, fields in (("acceptance", set(told)), ("decline", set(told) - {"quantity"})):
        sent = {name: told[name] for name in told if name in fields}
        answer = served_shop.stranger().post(f"{path}/{move}", sent)
        assert answer.status_code == 422
        assert {one["pointer"] for one in answer.json()["invalid"]} == {f"/{name}" for name in fields}


def test_more_than_three_quantities_are_refused(served_shop: Shop) -> None:
    """A42."""
    for many in ([100, 200, 300, 400], list(range(100, 121))):
        answer = served_shop.visitor().price(quantities=many)

        assert answer.status_code == 422
        assert answer.json()["invalid"] == [
            {"pointer": "/choice/quantities", "detail": f"expected at most 3 entries; found {len(many)}"}
        ]


@pytest.mark.parametrize(
    ("field", "many"),
    [
        ("front", {"lines": [{"text": "A"}] * 61}),
        ("front", {"inks": ["black"] * 7}),
        ("extras", ["x"] * 21),
        ("pieces", [{"piece": "Reply card"}] * 51),
    ],
)
def test_a_list_has_an_end(served_shop: Shop, field: str, many: Any) -> None:
    """A42."""
    answer = served_shop.visitor().price(**{field: many})

    assert answer.status_code == 422
    assert [one["pointer"].split("/")[2] for one in answer.json()["invalid"]] == [field]


def test_the_largest_quantity_takes_no_longer_than_the_smallest(served_shop: Shop) -> None:
    """A42: within twice the time; here a guard at 20 times that."""
    seen = next(one for one in public_offers(CARD) if one.key == "coasters")
    visitor = served_shop.visitor()

    def seconds(quantity: int) -> float:
        began = time.perf_counter()
        assert visitor.price(quantities=[quantity]).status_code == 200
        return time.perf_counter() - began

    least, greatest = (
        statistics.median(seconds(one) for _ in range(5)) for one in (seen.least_quantity, seen.greatest_quantity)
    )
    assert greatest < 40 * least


COINS = [("JPY", 0, "10.5"), ("EUR", 2, "1.234"), ("KWD", 3, "1.2345")]  # ISO 4217


def test_amounts_have_the_currencys_coins(serve: Serve, held: Held, pango: None) -> None:
    """A23: in prices, in the quotation as JSON, XML and PDF; what has finer coins is no fee of it and no payment."""
    with shop_of(serve(secret=SECRET, trusted_proxies=1), held) as shop:
        for currency, places, finer in COINS:
            refused = publish(shop, card_in(currency, places, fee=finer))
            assert (refused.status_code, problem(refused)) == (422, "invalid-card")
            assert [one["pointer"] for one in refused.json()["invalid"]] == ["/pricing/payment_fee_fixed"]
            for deposit in ("50 %", "0 %"):
                published = publish(shop, card_in(currency, places, fee="1", deposit=deposit))
                assert published.status_code == 201, published.text
                hold_to_its_coins(shop, currency, places, finer)


def card_in(currency: str, places: int, *, fee: str, deposit: str = "50 %") -> RateCard:
    """The demo card in another currency, with a fee of so much a payment."""
    step = Amount(str(Decimal(1).scaleb(-places)))
    pricing = replace(
        CARD.pricing,
        payment_fee_fixed=Amount(fee),
        rounding=replace(CARD.pricing.rounding, step=step),
        deposit=Share(deposit),
    )
    named = replace(CARD.card, version=f"{currency}, {fee}, {deposit}")
    return replace(CARD, region=replace(CARD.region, currency=currency), card=named, pricing=pricing)


def publish(shop: Shop, card: RateCard) -> httpx.Response:
    """Have a card price from now on."""
    headers = {**shop.owner, **once(), "Content-Type": JSON}
    return shop.client.post("/v1/rate-cards", content=to_json(card), headers=headers)


def hold_to_its_coins(shop: Shop, currency: str, places: int, finer: str) -> None:
    visitor = shop.visitor()
    priced = visitor.price().json()
    path = visitor.link()
    quotation, xml, pdf = (visitor.get(path, Accept=kind) for kind in (JSON, XML, PDF))
    told = quotation.json()["quotation"]
    amounts = [one[name] for one in priced["options"] for name in ("net", "tax", "total", "deposit", "hundred_more")]
    amounts += [one[name] for one in told["options"] for name in ("net", "total", "deposit", "balance", "delivery")]
    amounts += [one[name] for option in told["options"] for one in option["taxes"] for name in ("base", "tax")]

    assert (priced["currency"], told["currency"]) == (currency, currency)
    assert {places_of(one) for one in amounts} == {places}
    written = [line for line in xml.text.split("<") if f'currencyID="{currency}"' in line]
    assert len(written) > 10
    assert {places_of(line.partition(">")[2]) for line in written if "PriceAmount" not in line} == {places}
    totals = [format_currency(Decimal(one["total"]), currency, locale="en_GB") for one in told["options"]]
    text = text_of(pdf.content)
    assert [total for total in totals if total not in text] == []
    accepted = visitor.post(f"{path}/acceptance", ACCEPT).json()
    assert accepted["state"] == "accepted"
    for body in ({"amount": finer}, {"amount": "1", "currency": "EUR"}, {"amount": "1 EUR"}):
        place = f"{BOOK}/{shop.entry(path).id}/payments"
        paid = shop.client.post(place, json=body, headers={**shop.owner, **once()})
        assert paid.status_code == 422, body
    for mixed in ({"currency": "USD"}, {"quantities": ["100 USD"]}):
        assert visitor.price(**mixed).status_code == 422


def places_of(amount: str) -> int:
    """Its decimals."""
    return -int(Decimal(amount).as_tuple().exponent)


def test_what_cannot_be_priced_may_be_sent(served_shop: Shop) -> None:
    answer = served_shop.visitor().price(UNPRICED)

    assert (answer.status_code, problem(answer)) == (422, "not-priced")
    assert answer.json()["detail"].startswith("Coasters: a form of ")
    assert served_shop.visitor().send(UNPRICED).json()["kind"] == "enquiry"


def test_nothing_is_stored_of_a_price(served_shop: Shop) -> None:
    with served_shop.happening() as events:
        assert served_shop.visitor().price(COASTERS).status_code == 200

    assert events == []
