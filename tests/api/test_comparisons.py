"""Comparisons over HTTP: as JSON, CSV and PDF, and what is refused."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterator
from typing import Any

import pytest
from litestar.testing import TestClient

from api.app import create_app
from api.media_types import JSON, PDF
from api.settings import Settings
from tests.api.asking import CARD
from tests.api.conftest import HERE, Client
from tests.conftest import demo_job_path


@pytest.fixture(scope="module")
def client() -> Iterator[Client]:
    with TestClient(create_app(Settings(card=CARD, demo=True, base_url=HERE))) as found:
        yield found


def body(**more: Any) -> dict[str, Any]:
    text = demo_job_path("marrowby-lane", "cards").read_text()
    return {"job": json.loads(json.dumps(tomllib.loads(text), default=str)), "quantities": [50, 100], **more}


def test_the_api_compares_as_json_csv_and_pdf(client: Client, pango: None) -> None:
    for accept, kind in ((JSON, JSON), ("text/csv", "text/csv"), (PDF, PDF)):
        answer = client.post("/v1/comparisons", json=body(), headers={"Accept": accept})
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
def test_the_api_refuses_with_a_pointer(client: Client, more: dict[str, Any], pointer: str) -> None:
    answer = client.post("/v1/comparisons", json={**body(), **more})

    assert answer.status_code == 422
    assert pointer in [one["pointer"] for one in answer.json()["invalid"]]
