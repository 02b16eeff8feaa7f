"""The contract of every route: errors, methods, media types, bodies, pages (A1 to A3, A5 to A7, A10, A11)."""

from __future__ import annotations

import copy
import datetime
import email.utils
import json
import logging
from typing import Any

import httpx
import jsonschema_rs
import pytest
from litestar.testing import TestClient
from openapi_spec_validator import OpenAPIV31SpecValidator

from api.app import create_app
from api.calls import Answer, Call, Nothing, in_json
from api.health import Alive
from api.keys import ANYBODY
from api.media_types import JSON, PDF, XML
from api.operations import Answers, Operation, Superseded, operation
from api.problems import PROBLEM_JSON, TYPES, URN
from api.settings import Settings
from quoting import RateCard
from quoting.book import QuoteBook
from tests.api.asking import BOOK, issued, job, larger, made_key, once, problem, together
from tests.api.breaking import KEPT, breaks, in_short
from tests.api.conftest import HERE, Client
from tests.api.serving import Served
from tests.api.test_prices import resolve
from tests.book.shop import NOW, card, priced

GONE = "/tmp/of-nobody.sqlite: SELECT secret FROM till"


def operations(client: Client) -> tuple[Operation, ...]:
    told: tuple[Operation, ...] = client.app.state.desk.operations
    return told


@operation(
    method="GET",
    path="/v1/breaks",
    id="breaks",
    summary="Fails.",
    face="public",
    may=ANYBODY,
    answers=(Answers(what="Never.", content={JSON: Alive}),),
)
async def fails(_: Call[Nothing, Nothing]) -> Answer:
    raise RuntimeError(GONE)


SINCE = datetime.datetime(2026, 11, 1, tzinfo=datetime.UTC)
UNTIL = SINCE + datetime.timedelta(days=200)


@operation(
    method="GET",
    path="/v1/older",
    id="older",
    summary="What something newer stands in the place of.",
    face="public",
    may=ANYBODY,
    answers=(Answers(what="It answers as ever.", content={JSON: Alive}),),
    superseded=Superseded(since=SINCE, until=UNTIL, told_at=f"{HERE}/docs"),
)
async def older(_: Call[Nothing, Nothing]) -> Answer:
    return in_json(Alive())


AS_JSON = {"Content-Type": JSON}
FORWARDED = {"method": "GET", "url": "/livez", "headers": {"X-Forwarded-Host": "evil.example"}}
WRONG: dict[str, tuple[int, dict[str, Any]]] = {
    "not-found": (404, {"method": "GET", "url": "/v1/nothing"}),
    "not-found of the book": (404, {"method": "GET", "url": f"{BOOK}/Q-99999"}),
    "method-not-allowed": (405, {"method": "DELETE", "url": "/v1/estimates"}),
    "method-not-allowed of TRACE": (405, {"method": "TRACE", "url": "/livez"}),
    "not-acceptable": (406, {"method": "GET", "url": "/livez", "headers": {"Accept": "text/csv"}}),
    "too-large": (
        413,
        {
            "method": "POST",
            "url": "/v1/estimates",
            "content": b"[" + b"1," * 600_000,
            "headers": {"Content-Type": JSON},
        },
    ),
    "unsupported-media-type": (415, {"method": "POST", "url": "/v1/estimates", "content": b"{}"}),
    "invalid-json": (
        400,
        {"method": "POST", "url": "/v1/estimates", "content": b"{", "headers": {"Content-Type": JSON}},
    ),
    "invalid-job": (422, {"method": "POST", "url": "/v1/estimates", "json": {}}),
    "invalid-input": (422, {"method": "GET", "url": BOOK, "params": {"limit": 0}}),
    "invalid-cursor": (400, {"method": "GET", "url": BOOK, "params": {"cursor": "forged"}}),
    "not-quotable": (422, {"method": "POST", "url": "/v1/estimates", "json": larger()}),
    "idempotency-key-missing": (400, {"method": "POST", "url": BOOK, "json": {"job": job()}}),
    "idempotency-key-invalid": (
        400,
        {"method": "POST", "url": BOOK, "json": {"job": job()}, "headers": {"Idempotency-Key": "short"}},
    ),
    "version-needed": (
        428,
        {"method": "POST", "url": f"{BOOK}/Q-00001/revisions", "json": {"job": job()}, "headers": once()},
    ),
    "unknown-host": (400, {"method": "GET", "url": "/livez", "headers": {"Host": "evil.example"}}),
    "unknown-host by a proxy": (
        400,
        {"method": "GET", "url": "/livez", "headers": {"X-Forwarded-Host": "evil.example"}},
    ),
    "credentials-in-url": (400, {"method": "GET", "url": "/livez", "params": {"api_key": "x"}}),
    "failed": (500, {"method": "GET", "url": "/v1/breaks"}),
}


@pytest.mark.parametrize("named", WRONG)
def test_every_error_is_a_problem_of_the_list_and_tells_nothing_of_the_inside(
    named: str, settings: Settings, caplog: pytest.LogCaptureFixture
) -> None:
    """A1; RFC 9457, 3.1."""
    status, asked = WRONG[named]
    kind = TYPES[named.partition(" ")[0]]
    with TestClient(create_app(settings, more=[fails]), raise_server_exceptions=False) as client:
        client.headers.update(made_key(settings.book))
        with caplog.at_level(logging.INFO, "api.requests"):
            answer = client.request(**asked)

    assert (answer.status_code, answer.headers["content-type"]) == (status, PROBLEM_JSON)
    told = answer.json()
    assert (told["type"], told["title"], told["status"]) == (URN + kind.name, kind.title, status)
    assert told["instance"].rpartition(":")[2] in {line.told["request"] for line in caplog.records}  # type: ignore[attr-defined]  # ours
    for inside in ("SELECT", ".py", "Traceback", "/tmp", "http://", "sqlite"):
        assert inside not in answer.text


def test_an_unauthorized_and_a_forbidden_request_are_problems_too(settings: Settings) -> None:
    with TestClient(create_app(settings), raise_server_exceptions=False) as client:
        nobody = client.get(BOOK)
        reader = client.post(BOOK, json={"job": job()}, headers={**made_key(settings.book, "owner-ro"), **once()})

    assert (nobody.status_code, problem(nobody)) == (401, "unauthorized")
    assert nobody.headers["www-authenticate"].startswith("Bearer")
    assert (reader.status_code, problem(reader)) == (403, "forbidden")


def test_every_type_of_problem_is_one_of_an_operation_or_of_the_gate(demo: Client) -> None:
    from api.openapi import problems_of

    told = {name for one in operations(demo) for name in problems_of(one)}

    assert set(TYPES) - told <= {"method-not-allowed", "refused", "origin-refused"}


@pytest.mark.parametrize("under", ["", "job"])
def test_every_invalid_field_of_a_body_is_listed_by_a_pointer_that_leads_somewhere(demo: Client, under: str) -> None:
    """A2; RFC 6901. One is missing, one is not known, with a name that a path could be mistaken in."""
    asked = job(title=3, quantities=[0, "x"], **{"a.b/c~d[0]": 1})
    asked["items"][0] |= {"size": "4", "per_set": -1}
    del asked["items"][0]["name"]
    sent = {under: asked, "pins": []} if under else asked

    answer = demo.post("/v1/book/drafts" if under else "/v1/estimates", json=sent, headers=once())

    assert answer.status_code == 422
    pointers = [one["pointer"] for one in answer.json()["invalid"]]
    assert len(pointers) == 7
    for pointer in pointers:
        resolve(sent, pointer)
    assert f"{'/job' if under else ''}/a.b~1c~0d[0]" in pointers


def test_the_documents_are_openapi_3_1_with_closed_objects(demo: Client) -> None:
    """A3; OpenAPI 3.1.0, held by a library of its own."""
    for face in ("public", "owner"):
        told = demo.get(f"/v1/openapi/{face}.json").json()

        OpenAPIV31SpecValidator(told).validate()
        assert told["openapi"] == "3.1.0"
        open_objects = [
            name
            for name, schema in told["components"]["schemas"].items()
            if "properties" in schema and schema.get("additionalProperties") is not False
        ]
        assert open_objects == []


def test_every_body_has_an_example_that_fits_its_schema(demo: Client) -> None:
    """A3. A rate card is too long for one; the demo cards are. A file is none."""
    told = demo.get("/v1/openapi/owner.json").json()
    for one in operations(demo):
        if not one.takes_body or one.takes_file or one.face not in {"owner", "public"} or one.body is RateCard:
            continue
        content = told["paths"][one.path][one.method.lower()]["requestBody"]["content"][JSON]
        schema = {**content["schema"], "components": told["components"]}
        for example in content["examples"].values():
            jsonschema_rs.Draft202012Validator(schema).validate(example["value"])


def test_the_public_document_tells_nothing_of_the_owner_s(demo: Client) -> None:
    told = demo.get("/v1/openapi/public.json").json()
    schemas = json.dumps(told["components"]["schemas"])

    owned = {one.path for one in operations(demo) if one.face == "owner"}
    assert not owned & set(told["paths"])
    for word in ('"cost"', '"margin"', '"wage"', '"card_hash"', '"supplier"'):
        assert word not in schemas


@pytest.mark.parametrize("face", ["public", "owner"])
def test_no_change_breaks_who_relies_on_the_document(demo: Client, face: str) -> None:
    """A3: held to the document of the release before; it is kept anew when a version is released."""
    kept = json.loads((KEPT / f"{face}.json").read_text())
    now = demo.get(f"/v1/openapi/{face}.json").json()

    assert breaks(kept, in_short(now)) == []


def test_what_would_break_somebody_is_seen(demo: Client) -> None:
    kept = demo.get("/v1/openapi/owner.json").json()
    now = copy.deepcopy(kept)
    del now["paths"]["/v1/estimates"]
    now["paths"][BOOK]["get"]["parameters"][0]["required"] = True
    del now["components"]["schemas"]["KeptQuotation"]["properties"]["total"]
    now["components"]["schemas"]["AcceptanceAsked"]["required"] = ["who"]
    del now["paths"]["/livez"]["get"]["responses"]["200"]["content"][JSON]

    assert len(breaks(in_short(kept), in_short(now))) == 5


def test_head_answers_as_get_does_without_the_body(demo: Client) -> None:
    """A5."""
    which = issued(demo)["id"]
    values = {"which": which, "client": "none", "key": "none", "hash": "none", "revision": "1"}
    for one in operations(demo):
        if one.method != "GET" or one.face not in {"owner", "health"}:
            continue
        path = one.path.format(**values)
        got, head = demo.get(path), demo.head(path)
        assert (head.status_code, head.content) == (got.status_code, b""), path
        assert same(head.headers) == same(got.headers), path


def same(headers: httpx.Headers) -> dict[str, str]:
    """Headers but for those that no two answers share."""
    return {
        name: value for name, value in headers.items() if name not in {"request-id", "ratelimit", "content-length"}
    }


def test_other_methods_are_refused_with_those_that_are_allowed(demo: Client) -> None:
    """A5; RFC 9110, 15.5.6."""
    by_path: dict[str, set[str]] = {}
    for one in operations(demo):
        if one.face in {"owner", "health"}:
            by_path.setdefault(one.path, set()).add(one.method)
    for path, methods in by_path.items():
        allowed = methods | {"OPTIONS"} | ({"HEAD"} if "GET" in methods else set())
        for method in {"GET", "POST", "PUT", "PATCH", "DELETE"} - methods:
            answer = demo.request(method, path.replace("{", "").replace("}", ""))
            assert answer.status_code == 405, (method, path)
            assert set(answer.headers["allow"].split(", ")) == allowed, (method, path)
        assert demo.request("TRACE", path.replace("{", "").replace("}", "")).status_code == 405


@pytest.mark.parametrize(
    ("accept", "status", "kind"),
    [
        (PDF, 200, PDF),
        (JSON, 200, JSON),
        (XML, 200, XML),
        ("text/csv", 406, PROBLEM_JSON),
        ("", 200, JSON),
        ("*/*", 200, JSON),
        ("application/*;q=0.5, application/xml", 200, XML),
        ("application/json;q=0, */*;q=0.1", 200, PDF),
    ],
)
def test_a_quotation_comes_as_what_is_accepted(
    demo: Client, accept: str, status: int, kind: str, pango: None
) -> None:
    """A6; RFC 9110, 12.5.1."""
    answer = demo.get(f"{BOOK}/{issued(demo)['number']}", headers={"Accept": accept})

    assert (answer.status_code, answer.headers["content-type"]) == (status, kind)
    if status == 406:
        assert answer.json()["offered"] == [JSON, PDF, XML]


@pytest.mark.parametrize(
    "kind",
    ["", "text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x", "application/jsonx"],
)
def test_a_body_of_another_type_is_refused_everywhere_and_nothing_is_done(demo: Client, kind: str) -> None:
    """A7."""
    before = len(demo.get("/v1/book/events?limit=200").json()["events"])
    for one in operations(demo):
        if one.takes_body and one.face == "owner":
            path = one.path.replace("{", "").replace("}", "")
            headers = {"Content-Type": kind, "If-Match": '"x.1"', **once()}
            answer = demo.request(one.method, path, content=json.dumps(one.example), headers=headers)
            assert (answer.status_code, problem(answer)) == (415, "unsupported-media-type"), one.id

    assert before == len(demo.get("/v1/book/events?limit=200").json()["events"])


@pytest.mark.parametrize("limit", [0, -1, 201, 10**9])
def test_a_page_has_1_to_200(demo: Client, limit: int) -> None:
    """A10."""
    for path in (BOOK, "/v1/book/clients", "/v1/book/events", "/v1/book/deliveries"):
        answer = demo.get(path, params={"limit": limit})
        assert (answer.status_code, problem(answer)) == (422, "invalid-input")
        assert answer.json()["parameters"][0]["name"] == "limit"


def test_a_cursor_is_of_its_own_list(demo: Client) -> None:
    """A10: forged, cut off, or of another filter."""
    for _ in range(3):
        issued(demo)
    cursor = demo.get(BOOK, params={"limit": 1}).json()["cursor"]
    changed = cursor[:-6] + "AAAAA="

    for told in ({"cursor": changed}, {"cursor": cursor[:-4]}, {"cursor": cursor, "state": "open"}, {"cursor": "é"}):
        answer = demo.get(BOOK, params={"limit": 1, **told})
        assert (answer.status_code, problem(answer)) == (400, "invalid-cursor")
    other = demo.get("/v1/book/events", params={"limit": 1}).json()["cursor"]
    assert demo.get("/v1/book/clients", params={"cursor": other}).status_code == 400


def test_a_walk_meets_each_quotation_once_while_others_come(running: Served, asked: httpx.Client) -> None:
    """A10, on both engines."""
    walked_among(running, asked, before=120, inserted=20, revised=8)


@pytest.mark.long
def test_a_long_walk_meets_each_quotation_once_while_others_come(running: Served, asked: httpx.Client) -> None:
    """A10, at its full size."""
    walked_among(running, asked, before=10_000, inserted=500, revised=200)


def walked_among(running: Served, asked: httpx.Client, *, before: int, inserted: int, revised: int) -> None:
    series = f"W{before}"
    with QuoteBook(running.settings.book) as book:
        works = [lambda: book.draft_and_issue(priced(), card(), at=NOW, by="owner", series=series)] * before
        there = {entry.id for entry in together(works)}
        numbers = sorted(there)

        def disturb() -> None:
            for count in range(inserted):
                book.draft_and_issue(priced(), card(), at=NOW, by="owner", series=series)
                if count < revised:
                    book.revise(numbers[count], priced("cards"), card(), at=NOW, by="owner")

        met: list[str] = []

        def walk() -> None:
            link = f"{BOOK}?series={series}&limit=50"
            while link:
                answer = asked.get(link)
                met.extend(one["id"] for one in answer.json()["quotations"])
                link = answer.links.get("next", {}).get("url", "")

        together([walk, disturb])

    assert sorted(one for one in met if one in there) == sorted(there)


def test_what_is_superseded_says_so_and_answers_as_before(settings: Settings) -> None:
    """A11; RFC 9745 (Deprecation), RFC 8594 (Sunset)."""
    with TestClient(create_app(settings, more=[older])) as client:
        answer = client.get("/v1/older")
        told = client.get("/v1/openapi/public.json").json()["paths"]["/v1/older"]["get"]

    since = int(answer.headers["deprecation"].removeprefix("@"))
    until = email.utils.parsedate_to_datetime(answer.headers["sunset"])
    assert answer.json() == {"status": "alive"}
    assert since == int(SINCE.timestamp())
    assert until - datetime.datetime.fromtimestamp(since, datetime.UTC) >= datetime.timedelta(days=180)
    assert answer.headers["link"] == f'<{HERE}/docs>; rel="deprecation"'
    assert told["deprecated"] is True
