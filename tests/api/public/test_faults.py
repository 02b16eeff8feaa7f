"""What goes wrong beside visitors: no book, the largest that is taken (A34, A47)."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

from tests.api.public.conftest import Shop
from tests.api.public.visiting import CONTACT


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


def test_the_largest_request_is_a_document_in_time(served_shop: Shop, pango: None) -> None:
    """A47, on the real server."""
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
    path = served_shop.visitor().link(told)
    began = time.perf_counter()
    answer = served_shop.stranger().get(path, Accept="application/pdf")

    assert (answer.status_code, answer.content[:5]) == (200, b"%PDF-"), answer.text[:300]
    assert time.perf_counter() - began < 100  # 20 times A47's 5 s: a guard
