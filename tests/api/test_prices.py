"""The API, asked as a client would."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterator
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from litestar.testing import TestClient

from api.app import create_app
from api.media_types import JSON, PDF
from api.problems import PROBLEM_JSON, keys_of, pointer_to
from api.settings import Settings
from tests.api.asking import CARD
from tests.api.conftest import HERE, Client
from tests.conftest import demo_job_path, demo_jobs


@pytest.fixture(scope="module")
def client() -> Iterator[Client]:
    with TestClient(create_app(Settings(card=CARD, demo=True, base_url=HERE))) as found:
        yield found


def job(name: str = "coasters") -> dict[str, Any]:
    """A demo job as JSON data."""
    text = demo_job_path("marrowby-lane", name).read_text()
    data: dict[str, Any] = json.loads(json.dumps(tomllib.loads(text), default=str))
    return data


def test_a_job_becomes_a_quotation_that_holds_no_cost(client: Client) -> None:
    answer = client.post("/v1/quotations", json=job())

    assert (answer.status_code, answer.headers["content-type"]) == (200, JSON)
    assert not set(keys_in(answer.json())) & {"cost", "margin", "minutes", "rate_card", "card_hash", "lines_of_cost"}


def keys_in(data: Any) -> Iterator[str]:
    """Every key at any depth."""
    if isinstance(data, dict):
        for key, value in data.items():
            yield key
            yield from keys_in(value)
    elif isinstance(data, list):
        for value in data:
            yield from keys_in(value)


def test_the_owner_gets_the_estimate_with_its_lines(client: Client) -> None:
    answer = client.post("/v1/estimates", json=job())

    assert answer.status_code == 200
    assert answer.json()["options"][0]["lines"][0]["sentence"]


def test_a_quotation_comes_as_pdf_where_pdf_is_asked_for(client: Client, pango: None) -> None:
    answer = client.post("/v1/quotations", json=job(), headers={"Accept": PDF})

    assert (answer.status_code, answer.headers["content-type"]) == (200, PDF)
    assert answer.content.startswith(b"%PDF-")


@pytest.mark.parametrize(
    ("accept", "status", "kind"),
    [
        ("*/*", 200, JSON),
        ("", 200, JSON),
        ("application/*", 200, JSON),
        ("application/json;q=0, application/pdf", 200, PDF),
        ("text/csv", 406, PROBLEM_JSON),
        ("application/json;q=0", 406, PROBLEM_JSON),
    ],
)
def test_the_client_says_what_it_takes(client: Client, accept: str, status: int, kind: str, pango: None) -> None:
    answer = client.post("/v1/quotations", json=job(), headers={"Accept": accept})

    assert (answer.status_code, answer.headers["content-type"]) == (status, kind)


@pytest.mark.parametrize("kind", ["", "text/plain", "application/x-www-form-urlencoded", "multipart/form-data"])
def test_a_body_that_is_not_sent_as_json_is_refused(client: Client, kind: str) -> None:
    answer = client.post("/v1/quotations", content=json.dumps(job()), headers={"Content-Type": kind})

    assert (answer.status_code, answer.headers["content-type"]) == (415, PROBLEM_JSON)


def test_every_fault_is_listed_and_every_pointer_leads_somewhere(client: Client) -> None:
    sent = job()
    sent["title"] = 3
    sent["quantities"] = [0, "x"]
    sent["items"][0]["size"] = "4"
    sent["items"][0]["front"]["impression"] = "hard"
    sent["client"]["name"] = ""
    sent["items"][0]["per_set"] = -1

    answer = client.post("/v1/quotations", json=sent)

    assert answer.status_code == 422
    invalid = answer.json()["invalid"]
    assert len(invalid) == 7
    for one in invalid:
        resolve(sent, one["pointer"])


def resolve(data: Any, pointer: str) -> Any:
    """What a JSON pointer (RFC 6901) leads to; an error where it leads nowhere."""
    for key in pointer.split("/")[1:]:
        data = data[int(key)] if isinstance(data, list) else data[key.replace("~1", "/").replace("~0", "~")]
    return data


def test_a_path_of_a_fault_becomes_a_pointer() -> None:
    assert pointer_to(keys_of("$.items[0].front.colours[2].ink")) == "/items/0/front/colours/2/ink"


@pytest.mark.parametrize(
    "body",
    [b"", b"{", b"\xff\xfe", b"[" * 100_000, b'{"a":' * 10_000, b"1" * 5_000, b"null", b"[]", b'"job"', b"NaN"],
)
def test_a_hostile_body_is_refused_and_never_fails(client: Client, body: bytes) -> None:
    answer = client.post("/v1/quotations", content=body, headers={"Content-Type": JSON})

    assert answer.status_code in {400, 422}
    assert answer.headers["content-type"] == PROBLEM_JSON
    assert answer.json()["status"] == answer.status_code


def test_what_the_card_does_not_hold_is_named_with_what_it_holds(client: Client) -> None:
    sent = job()
    sent["items"][0]["front"]["colours"][0]["ink"] = "ultraviolet"

    problem = client.post("/v1/quotations", json=sent).json()

    assert problem["type"] == "urn:quoting:problem:not-offered"
    assert "expected one of" in problem["invalid"][0]["detail"]


def test_what_no_press_can_make_is_told_press_by_press(client: Client) -> None:
    sent = job()
    sent["items"][0]["front"]["impression"] = "deep"

    answer = client.post("/v1/quotations", json=sent)

    assert (answer.status_code, answer.json()["type"]) == (422, "urn:quoting:problem:not-quotable")
    assert answer.json()["refusals"]


def test_a_body_over_the_limit_is_refused() -> None:
    small = create_app(Settings(card=CARD, most_body_bytes=100, demo=True, base_url=HERE))
    with TestClient(small) as client:
        answer = client.post("/v1/quotations", json=job())

    assert (answer.status_code, answer.headers["content-type"]) == (413, PROBLEM_JSON)


@pytest.mark.parametrize(("method", "path", "status"), [("GET", "/nothing", 404), ("DELETE", "/v1/quotations", 405)])
def test_the_webs_own_errors_are_problems_too(client: Client, method: str, path: str, status: int) -> None:
    answer = client.request(method, path)

    assert (answer.status_code, answer.headers["content-type"]) == (status, PROBLEM_JSON)
    assert answer.json()["status"] == status


def test_the_schema_served_takes_every_demo_job(client: Client) -> None:
    schema = client.get("/v1/schemas/job").json()

    Draft202012Validator.check_schema(schema)
    for shop, name in demo_jobs():
        data = tomllib.loads(demo_job_path(shop, name).read_text())
        faults = list(Draft202012Validator(schema).iter_errors(json.loads(json.dumps(data, default=str))))
        assert faults == []


def test_it_says_that_it_is_alive(client: Client) -> None:
    assert client.get("/livez").json() == {"status": "alive"}
