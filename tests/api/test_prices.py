"""Prices of the owner's, on the real server: what a job becomes, and what is told of one that cannot be made."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterator
from typing import Any

import httpx
import pytest
from jsonschema import Draft202012Validator

from api.media_types import JSON, PDF
from api.problems import PROBLEM_JSON, keys_of, pointer_to
from tests.api.asking import pointers, problem
from tests.conftest import demo_job_path, demo_jobs


def job(name: str = "coasters") -> dict[str, Any]:
    """A demo job as JSON data."""
    text = demo_job_path("marrowby-lane", name).read_text()
    data: dict[str, Any] = json.loads(json.dumps(tomllib.loads(text), default=str))
    return data


def test_a_job_becomes_a_quotation_that_holds_no_cost(asked: httpx.Client) -> None:
    answer = asked.post("/v1/quotations", json=job())

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


def test_the_owner_gets_the_estimate_with_its_lines(asked: httpx.Client) -> None:
    answer = asked.post("/v1/estimates", json=job())

    assert answer.status_code == 200
    assert answer.json()["options"][0]["lines"][0]["sentence"]


@pytest.mark.parametrize(
    ("accept", "status", "kind"),
    [
        ("application/*", 200, JSON),
        ("application/json;q=0, application/pdf", 200, PDF),
        ("application/json;q=0", 406, PROBLEM_JSON),
    ],
)
def test_what_is_priced_comes_as_what_is_accepted(
    asked: httpx.Client, accept: str, status: int, kind: str, pango: None
) -> None:
    answer = asked.post("/v1/quotations", json=job(), headers={"Accept": accept})

    assert (answer.status_code, answer.headers["content-type"]) == (status, kind)
    assert answer.content.startswith(b"%PDF-") == (kind == PDF)


def test_a_path_of_a_fault_becomes_a_pointer() -> None:
    assert pointer_to(keys_of("$.items[0].front.colours[2].ink")) == "/items/0/front/colours/2/ink"


def test_what_the_card_does_not_hold_is_named_with_what_it_holds(asked: httpx.Client) -> None:
    sent = job()
    sent["items"][0]["front"]["colours"][0]["ink"] = "ultraviolet"

    answer = asked.post("/v1/quotations", json=sent)

    assert problem(answer) == "not-offered"
    assert pointers(answer) == ["/items/0/front/colours/0/ink"]
    assert "expected one of" in answer.json()["invalid"][0]["detail"]


def test_what_no_press_can_make_is_told_press_by_press(asked: httpx.Client) -> None:
    sent = job()
    sent["items"][0]["front"]["impression"] = "deep"

    answer = asked.post("/v1/quotations", json=sent)

    assert (answer.status_code, problem(answer)) == (422, "not-quotable")
    assert answer.json()["refusals"]


def test_the_schema_served_takes_every_demo_job(asked: httpx.Client) -> None:
    schema = asked.get("/v1/schemas/job").json()

    Draft202012Validator.check_schema(schema)
    for shop, name in demo_jobs():
        data = tomllib.loads(demo_job_path(shop, name).read_text())
        faults = list(Draft202012Validator(schema).iter_errors(json.loads(json.dumps(data, default=str))))
        assert faults == []
