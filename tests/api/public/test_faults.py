"""What goes wrong beside visitors: no book, a retry after days, the largest that is taken (A18, A34, A47)."""

from __future__ import annotations

import datetime
import secrets
import time
from pathlib import Path
from typing import Any

import pytest
from litestar.testing import TestClient

from api.app import create_app
from tests.api.conftest import HERE
from tests.api.public.conftest import Shop
from tests.api.public.test_links import Clock
from tests.api.public.visiting import CONTACT, Visitor


def test_prices_go_on_while_the_book_is_gone_and_nothing_is_half_kept(shop: Shop) -> None:
    visitor, book = shop.visitor(), Path(shop.settings.book)
    assert visitor.price().status_code == 200
    aside = book.with_suffix(".aside")
    book.rename(aside)
    try:
        priced, sent = visitor.price(), visitor.send(key="sent-while-it-is-gone")
        looked = shop.stranger().get("/v1/public/quotations/nothing")
    finally:
        aside.rename(book)
    again = visitor.send(key="sent-while-it-is-gone")

    assert priced.status_code == 200
    assert (sent.status_code, sent.json()["type"]) == (503, "urn:quoting:problem:storage-unavailable")
    assert looked.status_code == 503
    assert int(sent.headers["retry-after"]) > 0
    assert "sqlite" not in sent.text
    assert (again.status_code, again.json()["number"]) == (201, "Q-00001")


def test_a_retry_is_answered_as_before_for_seven_days(shop: Shop) -> None:
    clock, key = Clock(), "one-key-for-seven-days"
    with TestClient(create_app(shop.settings, clock=clock), base_url=HERE) as client:
        visitor = Visitor(client, shop.form_key)
        first = visitor.send(key=key)
        clock.at += datetime.timedelta(days=6, hours=23)
        late = visitor.send(key=key)

    assert (late.status_code, late.content) == (201, first.content)
    clock.at += datetime.timedelta(days=1)
    with TestClient(create_app(shop.settings, clock=clock), base_url=HERE) as client:
        client.app.state.desk.book.forget_keys(
            before=clock.at - datetime.timedelta(days=shop.settings.keep_keys_days)
        )
        after = Visitor(client, shop.form_key).send(key=key)
    assert (after.status_code, after.json()["number"]) == (201, "Q-00002")


def test_the_largest_request_is_a_document_in_time(shop: Shop, pango: None) -> None:
    lines: list[dict[str, Any]] = [{"text": "half a pint of the best " * 2, "fount": "wharf-12"} for _ in range(4)]
    told = {
        "product": "coasters",
        "quantities": [50, 999, 1000],
        "front": {"inks": ["black", "ochre"], "lines": [*lines, {"text": "& EEL", "ink": "ochre"}]},
        "back": {"lines": lines},
        "title": "W" * 120,
        "reference": "M" * 120,
        "notes": "M " * 1000,
        "contact": {**CONTACT, "name": "N" * 120, "company": "C" * 120, "address": ["A" * 120] * 8},
        "delivery": {"method": "parcel", "to": "T " * 1000},
    }
    path = shop.visitor().link(told)
    began = time.perf_counter()
    answer = shop.stranger().get(path, Accept="application/pdf")

    assert (answer.status_code, answer.content[:5]) == (200, b"%PDF-"), answer.text[:300]
    assert time.perf_counter() - began < 100  # 20 times A47's 5 s: a guard


@pytest.mark.long
def test_a_hundred_thousand_guesses_open_nothing(shop: Shop) -> None:
    shop.visitor().link()
    guesser = shop.stranger()
    statuses = [
        guesser.get(f"/v1/public/quotations/qv_{secrets.token_hex(8)}_{secrets.token_urlsafe(32)}").status_code
        for _ in range(100_000)
    ]

    assert set(statuses) <= {404, 429}
