"""Comparisons over HTTP: as JSON, CSV and PDF, and what is refused."""

from __future__ import annotations

from typing import Any

import httpx
import pytest

from api.media_types import JSON, PDF
from tests.api.asking import pointers
from tests.api.test_prices import job


def body(**more: Any) -> dict[str, Any]:
    return {"job": job("cards"), "quantities": [50, 100], **more}


def test_the_api_compares_as_json_csv_and_pdf(asked: httpx.Client, pango: None) -> None:
    for accept, kind in ((JSON, JSON), ("text/csv", "text/csv"), (PDF, PDF)):
        answer = asked.post("/v1/comparisons", json=body(), headers={"Accept": accept})
        assert (answer.status_code, answer.headers["content-type"].partition(";")[0]) == (200, kind)


@pytest.mark.parametrize(
    ("more", "pointer"),
    [
        ({"sizes": ["4"]}, "/sizes/0"),
        ({"price": "1.505 each"}, "/price"),
        ({"quantities": [0]}, "/quantities/0"),
        ({"castle": 1}, "/castle"),
    ],
)
def test_the_api_refuses_with_a_pointer(asked: httpx.Client, more: dict[str, Any], pointer: str) -> None:
    answer = asked.post("/v1/comparisons", json=body(**more))

    assert answer.status_code == 422
    assert pointer in pointers(answer)
