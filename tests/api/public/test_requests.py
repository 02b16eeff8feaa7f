"""Requests over HTTP: what becomes of them, once (A13 to A17), with who asks, in words that a document can show."""

from __future__ import annotations

from typing import Any

import pytest

from tests.api.public.conftest import Shop
from tests.api.public.visiting import COASTERS, CONTACT, STATIONERY, UNPRICED, choice


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
    shop: Shop, told: dict[str, Any], changed: dict[str, Any], kind: str, state: str
) -> None:
    answer = shop.visitor().send(told, **changed)

    assert (answer.status_code, answer.json()["kind"]) == (201, kind)
    assert bool(answer.json()["number"]) == (kind == "quotation")
    assert answer.headers["location"] == answer.json()["link"]
    looked = shop.stranger().get("/" + answer.json()["link"].split("/", 3)[3]).json()
    assert (looked["kind"], looked["state"], looked["quotation"] is None) == (kind, state, kind != "quotation")


def test_a_request_says_who_asks(shop: Shop) -> None:
    answer = shop.visitor().post("/v1/public/requests", choice())

    assert answer.status_code == 422
    assert answer.json()["invalid"] == [
        {"pointer": "/choice", "detail": "contact: expected who asks: a name and an e-mail address; found nothing"}
    ]


def test_text_that_no_document_can_show_is_refused_where_it_stands(shop: Shop) -> None:
    answer = shop.visitor().send(contact={**CONTACT, "name": "Wilmot 🖨"}, notes="\u0e01")

    assert answer.status_code == 422
    assert [one["pointer"] for one in answer.json()["invalid"]] == ["/choice/contact/name", "/choice/notes"]


def test_a_request_without_a_key_of_its_own_is_refused(shop: Shop) -> None:
    visitor = shop.visitor()
    answer = shop.client.post("/v1/public/requests", json=choice(contact=CONTACT), headers=visitor.headers)

    assert (answer.status_code, answer.json()["type"]) == (400, "urn:quoting:problem:idempotency-key-missing")


def test_the_same_key_with_anything_changed_is_refused_and_tells_nothing(shop: Shop) -> None:
    key = "one-key-of-the-order-form"
    first = shop.visitor().send(key=key)
    for changed in (
        {"quantities": [100]},
        {"contact": {**CONTACT, "name": "Somebody Else"}},
        {"notes": "and quickly"},
        {"corners": "square", "rush": True},
        {"product": "cards", "front": {}},
    ):
        other = shop.visitor().send(key=key, **changed)
        assert (other.status_code, other.json()["type"]) == (422, "urn:quoting:problem:idempotency-key-used")
        assert first.json()["link"] not in other.text
        assert "Wilmot" not in other.text
    with shop.book() as book:
        assert [event.kind for event in book.events()].count("issued") == 1


def test_order_and_spelling_are_no_change(shop: Shop) -> None:
    key = "one-key-of-the-order-form"
    first = shop.visitor().send(key=key)
    headers = {**shop.visitor().headers, "Content-Type": "application/json", "Idempotency-Key": f'"{key}"'}
    body = (
        '{ "choice": {"contact": {"email": "wilmot@lantern-and-eel.example", "name": "Wilmot Dace"},'
        ' "front": {"lines": [{"text": "THE LANTERN & EEL"}, {"text": "Quay Street"}], "inks": ["harbour-blue"]},'
        ' "quantities": [100.0, 2e2], "product": "coasters"}}'
    )
    again = shop.client.post("/v1/public/requests", content=body, headers=headers)

    assert (again.status_code, again.content) == (201, first.content)


def test_what_was_refused_may_be_sent_again_with_its_key(shop: Shop) -> None:
    key = "one-key-of-the-order-form"
    refused = shop.visitor().send(key=key, quantities=[7])

    assert refused.status_code == 422
    assert shop.visitor().send(key=key).status_code == 201


def test_keys_of_other_forms_are_other_keys(shop: Shop) -> None:
    key = "one-key-of-the-order-form"
    first = shop.visitor().send(key=key)
    other = shop.visitor()
    other.headers["Authorization"] = f"Bearer {shop.owner_key}"
    second = other.send(key=key)

    assert (first.status_code, second.status_code) == (201, 201)
    assert first.json()["number"] != second.json()["number"]
