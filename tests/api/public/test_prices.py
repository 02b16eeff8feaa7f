"""Prices of a choice over HTTP: the engine's own, every fault by its pointer, hostile numbers (A2, A23, A26, A42)."""

from __future__ import annotations

import datetime
import random
import time
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from litestar.testing import TestClient
from msgspec.structs import replace

from api.app import create_app
from quoting.errors import NotPricedError
from quoting.offers import prices_of, public_offers, read_choice
from quoting.rate_card import RateCard
from quoting.reader import json_data, to_json
from tests.api.conftest import HERE
from tests.api.public.conftest import Shop
from tests.api.public.visiting import COASTERS, UNPRICED, Visitor, choice
from tests.offers.choosing import any_choice
from tests.offers.test_choices import CARD


def test_prices_of_random_choices_are_the_engines(shop: Shop) -> None:
    chance, priced = random.Random("prices over HTTP"), 0
    day = shop.client.app.state.desk.today(CARD)  # type: ignore[attr-defined]  # the app in this process
    for seen in public_offers(CARD):
        for _ in range(8):
            told = any_choice(seen, chance)
            answer = shop.visitor().price(told)
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


def test_what_is_not_offered_is_told_with_what_is_instead(shop: Shop) -> None:
    front = {"inks": ["ultraviolet"], "lines": [{"text": "A", "fount": "comic"}], "artwork": "ready"}
    told = {"product": "coasters", "quantities": [7, 8], "front": front, "impression": "deep", "edges": "gold"}
    answer = shop.visitor().price(told)

    assert (answer.status_code, answer.json()["type"]) == (422, "urn:quoting:problem:not-offered")
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


def test_seven_fields_of_another_type_are_all_told_and_every_pointer_leads_somewhere(shop: Shop) -> None:
    told = choice(product=3, quantities=[0, "x"], rush="no", needed_by="soon", own_size="4")
    told["choice"]["delivery"] = {"method": 1}
    answer = shop.visitor().post("/v1/public/prices", told)

    pointers = [one["pointer"] for one in answer.json()["invalid"]]
    assert answer.status_code == 422
    assert len(pointers) == 7
    for pointer in pointers:
        found: Any = told
        for key in pointer.split("/")[1:]:
            found = found[int(key)] if isinstance(found, list) else found[key]


@pytest.mark.parametrize(
    "field", ["margin", "unit_price", "unit_cost", "number", "status", "rate_card_version", "tax_total", "created_at"]
)
def test_a_field_that_is_not_the_visitors_is_refused(shop: Shop, field: str) -> None:
    answer = shop.visitor().post("/v1/public/prices", choice(COASTERS | {field: "1"}))

    assert (answer.status_code, answer.json()["invalid"][0]["pointer"]) == (422, f"/choice/{field}")


HOSTILE = [
    *('"NaN"', "1e999999", "1E+999999999999999999", '"1_000"', '" 1 "', '"١٢"', '"0x10"', "1e-400", "-0", "-1", "0"),
    *("2147483648", "9223372036854775808", "1000000000", "9" * 4000, "true", "null", "1.5", '"Infinity"'),
]


@pytest.mark.parametrize("written", HOSTILE)
@pytest.mark.parametrize("field", ["quantities", "spare"])
def test_a_hostile_number_is_refused_at_once_with_its_pointer(shop: Shop, written: str, field: str) -> None:
    if field == "quantities":
        body = '{"choice": {"product": "coasters", "quantities": [%s], "front": {"lines": [{"text": "A"}]}}}'
    else:
        body = (
            '{"choice": {"product": "cards", "quantities": [100], "size": "Postcard",'
            ' "envelope": {"stock": "envelope-c6", "spare": %s}}}'
        )
        if written in {"-0", "0"}:
            return  # none to spare is a number of envelopes
    began = time.perf_counter()
    headers = {**shop.visitor().headers, "Content-Type": "application/json"}
    answer = shop.client.post("/v1/public/prices", content=body % written, headers=headers)

    assert answer.status_code == 422
    assert answer.json()["invalid"][0]["pointer"].startswith("/choice/")
    assert time.perf_counter() - began < 1  # 20 times A26's 50 ms: a guard


def test_more_than_three_quantities_are_refused(shop: Shop) -> None:
    answer = shop.visitor().price(quantities=[100, 200, 300, 400])

    assert answer.json()["invalid"] == [
        {"pointer": "/choice/quantities", "detail": "expected at most 3 entries; found 4"}
    ]


@pytest.mark.parametrize(("currency", "places"), [("JPY", 0), ("EUR", 2), ("KWD", 3)])
def test_amounts_have_the_currencys_coins(shop: Shop, tmp_path: Path, currency: str, places: int) -> None:
    card = replace(CARD, region=replace(CARD.region, currency=currency))

    told = served_with(shop, card).price().json()

    amounts = [told["options"][0][name] for name in ("net", "tax", "total", "deposit", "hundred_more")]
    assert [-int(Decimal(one).as_tuple().exponent) for one in amounts] == [places] * 5


def served_with(shop: Shop, card: RateCard) -> Visitor:
    """A visitor of the same pages with another card in force, and no book."""
    app = create_app(replace(shop.settings, book="", demo=True))
    app.state.desk.card = card
    return Visitor(TestClient(app, base_url=HERE), "")


def test_what_cannot_be_priced_may_be_sent(shop: Shop) -> None:
    answer = shop.visitor().price(UNPRICED)

    assert (answer.status_code, answer.json()["type"]) == (422, "urn:quoting:problem:not-priced")
    assert answer.json()["detail"].startswith("Coasters: a form of ")


def test_nothing_is_stored_of_a_price(shop: Shop) -> None:
    shop.visitor().price()
    with shop.book() as book:
        assert book.list(at=shop.client.app.state.desk.now()).quotations == ()  # type: ignore[attr-defined]  # likewise
        assert [event.kind for event in book.events()] == ["key made", "key made", "card published"]
