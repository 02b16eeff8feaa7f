"""The contract of every route: errors, methods, media types, bodies, pages (A1 to A3, A5 to A7, A10, A11)."""

from __future__ import annotations

import copy
import datetime
import email.utils
import json
from typing import Any

import httpx
import jsonschema_rs
import pytest
from openapi_spec_validator import OpenAPIV31SpecValidator

from api.media_types import JSON, PDF, XML
from api.openapi import problems_of
from api.problems import PROBLEM_JSON, TYPES, URN
from quoting import RateCard
from quoting.book import QuoteBook
from tests.api.asking import (
    BOOK,
    DOCUMENTED,
    OPERATIONS,
    OWNERS,
    issued,
    job,
    larger,
    last_event,
    logged,
    made_key,
    once,
    pointers,
    problem,
    resolve,
    together,
)
from tests.api.breaking import KEPT, breaks, in_short
from tests.api.conftest import SECRET, Mounted
from tests.api.mounted import SINCE, TOLD_AT
from tests.api.serving import Served
from tests.book.shop import NOW, card, priced

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
    "unauthorized": (401, {"method": "GET", "url": BOOK, "headers": {"Authorization": "Bearer none"}}),
    "origin-refused": (
        403,
        {
            "method": "OPTIONS",
            "url": "/v1/public/offers",
            "headers": {"Origin": "https://evil.example", "Access-Control-Request-Method": "GET"},
        },
    ),
    "failed": (500, {"method": "GET", "url": "/v1/breaks"}),
}


@pytest.mark.parametrize("named", WRONG)
def test_every_error_is_a_problem_of_the_list_and_tells_nothing_of_the_inside(
    named: str, mounted: Mounted, asked_mounted: httpx.Client
) -> None:
    """A1; RFC 9457, 3.1. Every other answer of these tests is held to the list too, see ``hold_problem``."""
    status, asked = WRONG[named]
    kind = TYPES[named.partition(" ")[0]]

    answer = asked_mounted.request(**asked)

    assert (answer.status_code, answer.headers["content-type"]) == (status, PROBLEM_JSON)
    told = answer.json()
    assert (told["type"], told["title"], told["status"]) == (URN + kind.name, kind.title, status)
    line = logged(mounted.served, told["instance"].rpartition(":")[2])
    assert (line["status"], "failure" in line) == (status, status == 500)
    for inside in ("SELECT", ".py", "Traceback", "/tmp", "http://", "sqlite"):
        assert inside not in answer.text


def test_an_unauthorized_and_a_forbidden_request_are_problems_too(running: Served, asked: httpx.Client) -> None:
    """A1."""
    reader = made_key(running.settings.book, "owner-ro")
    nobody = httpx.get(running.url + BOOK)
    forbidden = asked.post(BOOK, json={"job": job()}, headers={**reader, **once()})

    assert (nobody.status_code, problem(nobody)) == (401, "unauthorized")
    assert nobody.headers["www-authenticate"].startswith("Bearer")
    assert (forbidden.status_code, problem(forbidden)) == (403, "forbidden")


def test_every_type_of_problem_is_one_of_an_operation_or_of_the_gate() -> None:
    """A1."""
    told = {name for one in OPERATIONS for name in problems_of(one)}

    assert set(TYPES) - told <= {"method-not-allowed", "refused", "origin-refused"}


@pytest.mark.parametrize("under", ["", "job"])
def test_every_invalid_field_of_a_body_is_listed_by_a_pointer_that_leads_somewhere(
    asked: httpx.Client, under: str
) -> None:
    """A2; RFC 6901. One is missing, one is not known, with a name that a path could be mistaken in."""
    wrong = job(title=3, quantities=[0, "x"], **{"a.b/c~d[0]": 1})
    wrong["items"][0] |= {"size": "4", "per_set": -1}
    del wrong["items"][0]["name"]
    sent = {under: wrong, "pins": []} if under else wrong

    answer = asked.post("/v1/book/drafts" if under else "/v1/estimates", json=sent, headers=once())

    assert answer.status_code == 422
    assert len(pointers(answer)) == 7
    for pointer in pointers(answer):
        resolve(sent, pointer)
    assert f"{'/job' if under else ''}/a.b~1c~0d[0]" in pointers(answer)


def test_the_documents_are_openapi_3_1_with_closed_objects(asked: httpx.Client) -> None:
    """A3; OpenAPI 3.1.0, held by a library of its own."""
    for face in ("public", "owner"):
        told = asked.get(f"/v1/openapi/{face}.json").json()

        OpenAPIV31SpecValidator(told).validate()
        assert told["openapi"] == "3.1.0"
        open_objects = [
            name
            for name, schema in told["components"]["schemas"].items()
            if "properties" in schema and schema.get("additionalProperties") is not False
        ]
        assert open_objects == []


def test_every_body_has_an_example_that_fits_its_schema(asked: httpx.Client) -> None:
    """A3. A rate card is too long for one; the demo cards are. A file is none."""
    told = asked.get("/v1/openapi/owner.json").json()
    for one in OPERATIONS:
        if not one.takes_body or one.takes_file or one.face not in {"owner", "public"} or one.body is RateCard:
            continue
        content = told["paths"][one.path][one.method.lower()]["requestBody"]["content"][JSON]
        schema = {**content["schema"], "components": told["components"]}
        for example in content["examples"].values():
            jsonschema_rs.Draft202012Validator(schema).validate(example["value"])


def test_the_public_document_tells_nothing_of_the_owner_s(asked: httpx.Client) -> None:
    told = asked.get("/v1/openapi/public.json").json()
    schemas = json.dumps(told["components"]["schemas"])

    owned = {one.path for one in OPERATIONS if one.face == "owner"}
    assert not owned & set(told["paths"])
    for word in ('"cost"', '"margin"', '"wage"', '"card_hash"', '"supplier"'):
        assert word not in schemas


@pytest.mark.parametrize("face", ["public", "owner"])
def test_no_change_breaks_who_relies_on_the_document(asked: httpx.Client, face: str) -> None:
    """A3: held to the document of the release before; it is kept anew when a version is released."""
    kept = json.loads((KEPT / f"{face}.json").read_text())
    now = asked.get(f"/v1/openapi/{face}.json").json()

    assert breaks(kept, in_short(now)) == []


def test_what_would_break_somebody_is_seen(asked: httpx.Client) -> None:
    kept = asked.get("/v1/openapi/owner.json").json()
    now = copy.deepcopy(kept)
    del now["paths"]["/v1/estimates"]
    now["paths"][BOOK]["get"]["parameters"][0]["required"] = True
    del now["components"]["schemas"]["KeptQuotation"]["properties"]["total"]
    now["components"]["schemas"]["AcceptanceAsked"]["required"] = ["who"]
    del now["paths"]["/livez"]["get"]["responses"]["200"]["content"][JSON]

    assert len(breaks(in_short(kept), in_short(now))) == 5


def test_head_answers_as_get_does_without_the_body(running: Served, asked: httpx.Client, pango: None) -> None:
    """A5: every operation that is asked with GET, of what is there."""
    which = issued(asked)["id"]
    with QuoteBook(running.settings.book, secret=SECRET.encode()) as book:
        link = book.link_token(book.make_link(which, at=NOW, by="owner"))
    values = {
        "which": which,
        "revision": "1",
        "link": link,
        "client": asked.get(f"{BOOK}/{which}").json()["client"],
        "offer": asked.get("/v1/public/offers").json()["offers"][0]["key"],
        "hash": asked.get("/v1/rate-cards").json()["cards"][0]["hash"],
    }
    found = set()
    for one in DOCUMENTED:
        if one.method == "GET":
            path = one.path.format(**values)
            got, head = asked.get(path), asked.head(path)
            assert (head.status_code, head.content) == (got.status_code, b""), path
            assert same(head.headers) == same(got.headers), path
            found |= {one.id} if got.status_code == 200 else set()

    assert {one.id for one in DOCUMENTED if one.method == "GET"} - found == {"get-artwork"}  # there is none


def same(headers: httpx.Headers) -> dict[str, str]:
    """Headers but for those that no two answers share."""
    return {name: value for name, value in headers.items() if name not in {"request-id", "ratelimit", "date"}}


METHODS = ("GET", "POST", "PUT", "PATCH", "DELETE")


def test_other_methods_are_refused_with_those_that_are_allowed(asked: httpx.Client) -> None:
    """A5; RFC 9110, 15.5.6."""
    by_path: dict[str, set[str]] = {}
    for one in DOCUMENTED:
        by_path.setdefault(one.path, set()).add(one.method)
    for path, methods in by_path.items():
        at = path.replace("{", "").replace("}", "")
        allowed = methods | {"OPTIONS"} | ({"HEAD"} if "GET" in methods else set())
        for method in {*METHODS, "TRACE", "LINK"} - methods:
            answer = asked.request(method, at)
            assert answer.status_code == 405, (method, path)
            assert set(answer.headers["allow"].split(", ")) == allowed, (method, path)


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
    asked: httpx.Client, accept: str, status: int, kind: str, pango: None
) -> None:
    """A6; RFC 9110, 12.5.1."""
    answer = asked.get(f"{BOOK}/{issued(asked)['number']}", headers={"Accept": accept})

    assert (answer.status_code, answer.headers["content-type"]) == (status, kind)
    if status == 406:
        assert answer.json()["offered"] == [JSON, PDF, XML]


@pytest.mark.parametrize(
    "kind",
    ["", "text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x", "application/jsonx"],
)
def test_a_body_of_another_type_is_refused_everywhere_and_nothing_is_done(
    running: Served, asked: httpx.Client, kind: str
) -> None:
    """A7."""
    before = last_event(running)
    for one in OWNERS:
        if one.takes_body:
            path = one.path.replace("{", "").replace("}", "")
            headers = {"Content-Type": kind, "If-Match": '"x.1"', **once()}
            answer = asked.request(one.method, path, content=json.dumps(one.example), headers=headers)
            assert (answer.status_code, problem(answer)) == (415, "unsupported-media-type"), one.id

    assert before == last_event(running)


@pytest.mark.parametrize("limit", [0, -1, 201, 10**9])
def test_a_page_has_1_to_200(asked: httpx.Client, limit: int) -> None:
    """A10."""
    for path in (BOOK, "/v1/book/clients", "/v1/book/events", "/v1/book/deliveries"):
        answer = asked.get(path, params={"limit": limit})
        assert (answer.status_code, problem(answer)) == (422, "invalid-input")
        assert answer.json()["parameters"][0]["name"] == "limit"


def test_a_cursor_is_of_its_own_list(asked: httpx.Client) -> None:
    """A10: forged, cut off, or of another filter."""
    for _ in range(3):
        issued(asked)
    cursor = asked.get(BOOK, params={"limit": 1}).json()["cursor"]
    changed = cursor[:-6] + "AAAAA="

    for told in ({"cursor": changed}, {"cursor": cursor[:-4]}, {"cursor": cursor, "state": "open"}, {"cursor": "é"}):
        answer = asked.get(BOOK, params={"limit": 1, **told})
        assert (answer.status_code, problem(answer)) == (400, "invalid-cursor")
    other = asked.get("/v1/book/events", params={"limit": 1}).json()["cursor"]
    assert asked.get("/v1/book/clients", params={"cursor": other}).status_code == 400


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


def test_what_is_superseded_says_so_and_answers_as_before(asked_mounted: httpx.Client) -> None:
    """A11; RFC 9745 (Deprecation), RFC 8594 (Sunset); by an operation that is mounted."""
    answer, live = asked_mounted.get("/v1/older"), asked_mounted.get("/livez")
    told = asked_mounted.get("/v1/openapi/public.json").json()["paths"]["/v1/older"]["get"]

    since = int(answer.headers["deprecation"].removeprefix("@"))
    until = email.utils.parsedate_to_datetime(answer.headers["sunset"])
    assert (answer.status_code, answer.content) == (live.status_code, live.content)
    assert since == int(SINCE.timestamp())
    assert until - datetime.datetime.fromtimestamp(since, datetime.UTC) >= datetime.timedelta(days=180)
    assert answer.headers["link"] == f'<{TOLD_AT}>; rel="deprecation"'
    assert told["deprecated"] is True
    assert "deprecation" not in live.headers
