"""Offers on the real server: what a form is drawn from."""

from __future__ import annotations

import pytest
from jsonschema import Draft202012Validator

from quoting.offers import public_offers
from tests.api.public.conftest import Shop
from tests.api.public.visiting import COASTERS, STATIONERY
from tests.offers.test_choices import CARD


def test_the_list_names_every_offer_and_where_its_schema_is(served_shop: Shop) -> None:
    told = served_shop.visitor().get("/v1/public/offers").json()

    assert [one["key"] for one in told["offers"]] == [one.key for one in public_offers(CARD)]
    assert told["offers"][0]["schema"] == f"{served_shop.settings.base_url}/v1/public/offers/coasters/schema"
    assert told["shop"] == {
        "name": "Marrowby Lane Press",
        "currency": "GBP",
        "locale": "en-GB",
        "tax_name": "VAT",
        "tax_included": False,
    }


def test_an_offer_tells_what_may_be_chosen_of_it(served_shop: Shop) -> None:
    told = served_shop.visitor().get("/v1/public/offers/cards").json()

    assert [one["name"] for one in told["sizes"]][:2] == ["Business card", "Postcard"]
    assert told["stocks"][0] == {"key": "cotton-600", "name": "Fenwell cotton, 600 gsm, natural"}
    assert told["printed_from"] == ["finished artwork", "same as last time", "own plate"]


def test_a_schema_served_takes_what_is_taken(served_shop: Shop) -> None:
    visitor = served_shop.visitor()
    for told in (COASTERS, STATIONERY):
        schema = visitor.get(f"/v1/public/offers/{told['product']}/schema").json()
        Draft202012Validator.check_schema(schema)
        assert list(Draft202012Validator(schema).iter_errors(told)) == []


@pytest.mark.parametrize("path", ["", "/cards", "/cards/schema"])
def test_what_is_known_already_is_not_sent_again(served_shop: Shop, path: str) -> None:
    visitor = served_shop.visitor()
    first = visitor.get(f"/v1/public/offers{path}")
    again = visitor.get(f"/v1/public/offers{path}", If_None_Match=first.headers["etag"])

    assert (again.status_code, again.content) == (304, b"")
    assert again.headers["etag"] == first.headers["etag"]


def test_an_offer_that_is_not_there_is_not_found(served_shop: Shop) -> None:
    assert served_shop.visitor().get("/v1/public/offers/spaceships").status_code == 404


def test_offers_ask_for_the_key_of_the_form(served_shop: Shop) -> None:
    assert served_shop.stranger().get("/v1/public/offers").status_code == 401
