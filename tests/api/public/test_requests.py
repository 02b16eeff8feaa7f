"""Requests on the real server: what becomes of them, and with who asks, in words that a document can show."""

from __future__ import annotations

from typing import Any

import pytest

from tests.api.public.conftest import Shop
from tests.api.public.visiting import COASTERS, CONTACT, STATIONERY, UNPRICED, choice, path_of


@pytest.mark.parametrize(
    ("told", "changed", "kind", "state"),
    [
        (COASTERS, {}, "quotation", "open"),
        (STATIONERY, {}, "request", "received"),
        ({"product": "cards", "quantities": [100]}, {"stock": "advise me"}, "request", "received"),
        (UNPRICED, {}, "enquiry", "received"),
    ],
)
def test_a_request_becomes_what_the_offer_says(
    served_shop: Shop, told: dict[str, Any], changed: dict[str, Any], kind: str, state: str
) -> None:
    answer = served_shop.visitor().send(told, **changed)

    assert (answer.status_code, answer.json()["kind"]) == (201, kind)
    assert bool(answer.json()["number"]) == (kind == "quotation")
    assert answer.headers["location"] == answer.json()["link"]
    looked = served_shop.stranger().get(path_of(answer)).json()
    assert (looked["kind"], looked["state"], looked["quotation"] is None) == (kind, state, kind != "quotation")


def test_a_request_says_who_asks(served_shop: Shop) -> None:
    answer = served_shop.visitor().post("/v1/public/requests", choice())

    assert answer.status_code == 422
    assert answer.json()["invalid"] == [
        {"pointer": "/choice", "detail": "contact: expected who asks: a name and an e-mail address; found nothing"}
    ]


def test_text_that_no_document_can_show_is_refused_where_it_stands(served_shop: Shop) -> None:
    answer = served_shop.visitor().send(contact={**CONTACT, "name": "Wilmot 🖨"}, notes="\u0e01")

    assert answer.status_code == 422
    assert [one["pointer"] for one in answer.json()["invalid"]] == ["/choice/contact/name", "/choice/notes"]
