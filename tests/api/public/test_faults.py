"""The largest that a visitor may send (A47)."""

from __future__ import annotations

import time
from typing import Any

from tests.api.public.conftest import Shop
from tests.api.public.visiting import CONTACT


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
