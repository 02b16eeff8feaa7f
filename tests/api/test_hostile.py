"""Hostile input at the owner's face: numbers, texts, bodies, sizes, names (A26, A40 to A42, A46, A49, A56)."""

from __future__ import annotations

import copy
import json
import re
import socket
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import unquote, urlsplit

import httpx
import pytest
from msgspec import inspect

from api.media_types import JSON, XML
from quoting import Job
from tests.api.asking import BOOK, issued, job, once, problem
from tests.api.conftest import Client
from tests.api.public.test_hostile_text import corpus
from tests.api.serving import Served, family, rss_bytes
from tests.test_hostile_numbers import TEXTS, numeric_fields, with_value

NUMBERS: list[Any] = [*(text for text in TEXTS if text != "1e3"), True, None, [1], {}, 1.5, -1, 2**63]
BARE = ["1e999999", "1E+999999999999999999", "1e-400", "9" * 4_000, "-0.5", "1." + "0" * 4_000 + "1"]
IS_JSON = {"Content-Type": JSON}
GUARD_SECONDS = 2  # against hanging: some hundred times what a refusal takes


@pytest.mark.parametrize("number", NUMBERS, ids=lambda number: repr(number)[:30])
def test_a_hostile_number_in_every_field_of_a_job_is_refused_with_its_pointer(demo: Client, number: Any) -> None:
    """A26."""
    for path, kind in numeric_fields(job(), inspect.type_info(Job)):
        if number is None or _takes(kind, number):
            continue
        began = time.perf_counter()
        answer = demo.post("/v1/estimates", json=with_value(job(), path, number))
        assert answer.status_code == 422, path
        assert "/" + "/".join(map(str, path)) in [one["pointer"] for one in answer.json()["invalid"]]
        assert time.perf_counter() - began < GUARD_SECONDS


def _takes(kind: Any, number: Any) -> bool:
    """Whether a field takes what is no hostile number to it: text with its own unit left out, a whole number."""
    return isinstance(kind, inspect.IntType) and isinstance(number, int) and number in range(1, 1_000_001)


@pytest.mark.parametrize("number", BARE, ids=lambda number: number[:20])
def test_a_hostile_number_without_quotes_is_refused_with_its_pointer(demo: Client, number: str) -> None:
    """A26: JSON numbers that are longer, larger or finer than any field."""
    for field in ("quantities", "title"):
        told: Any = [0] if field == "quantities" else 0
        body = json.dumps(job(**{field: told})).replace(
            f'"{field}": {json.dumps(told)}', f'"{field}": {_put(field, number)}'
        )
        answer = demo.post("/v1/estimates", content=body, headers=IS_JSON)

        assert answer.status_code == 422
        assert [one["pointer"] for one in answer.json()["invalid"]] == [f"/{field}" + "/0" * (field == "quantities")]


def _put(field: str, number: str) -> str:
    return f"[{number}]" if field == "quantities" else number


@pytest.mark.parametrize("amount", [*TEXTS, "12.345", "1e2", "0", "0.00", "9" * 13])
def test_a_hostile_amount_is_refused_with_its_pointer(demo: Client, amount: str) -> None:
    """A26."""
    kept = issued(demo)
    demo.post(f"{BOOK}/{kept['id']}/acceptance", json={}, headers=once())

    answer = demo.post(f"{BOOK}/{kept['id']}/payments", json={"amount": amount}, headers=once())

    assert (answer.status_code, problem(answer)) in {(422, "invalid-input"), (409, "overpaid")}
    if answer.status_code == 422:
        assert answer.json()["invalid"][0]["pointer"] == "/amount"
    else:
        assert amount in {"0", "0.00"}


READ_ONLY = (
    "id",
    "number",
    "status",
    "state",
    "unit_price",
    "unit_cost",
    "price",
    "cost",
    "margin",
    "rate_card_version",
    "card",
    "tax_total",
    "created_at",
    "made_at",
    "version",
    "revision",
    "total",
)


@pytest.mark.parametrize("field", READ_ONLY)
def test_what_is_only_told_cannot_be_sent(demo: Client, field: str) -> None:
    """A40: at the top of every body, and inside the job."""
    before = _last_event(demo)
    for one in demo.app.state.desk.operations:
        if not one.takes_body or one.face != "owner" or one.example is None:
            continue
        sent = {**copy.deepcopy(one.example), field: "1"}
        if "job" in sent:
            sent["job"][field] = "1"
        path = one.path.replace("{", "").replace("}", "")
        headers = {**once(), "If-Match": '"x.1"'}
        answer = demo.request(one.method, path, json=sent, headers=headers)
        assert answer.status_code == 422, (one.id, answer.text)
        pointers = [told["pointer"] for told in answer.json()["invalid"]]
        known = field in _fields(one.body)
        assert known or f"/{field}" in pointers, one.id
        assert "job" not in sent or f"/job/{field}" in pointers, one.id

    assert _last_event(demo) == before


def _fields(kind: type) -> set[str]:
    return set(kind.__struct_fields__)  # type: ignore[attr-defined]  # a struct


def _last_event(client: Client) -> Any:
    return client.app.state.desk.book.head()


@pytest.mark.parametrize(
    "body",
    [
        b'{"format": 1, "format": 1}',
        b'{"job": {"title": "a", "title": "b"}}',
        b"[" * 100_000,
        b'{"a":' * 100_000,
        b'{"format": 1, "x": ' + b"[" * 100_000 + b"]" * 100_000 + b"}",
        b'{"x": ' + b"[" * 900 + b"]" * 900 + b"}",
        b"\xff\xfe{\x00}\x00",
        b'{"title": "\xc0\xaf"}',
        b'{"title": "\xed\xa0\x80"}',
        b'{"title": "\\ud800"}',
        b'{"title": "\\udc00\\ud800"}',
        b"\xef\xbb\xbf{}",
        b"NaN",
        b'{"quantities": [Infinity]}',
        b'{"format": 01}',
        b"{'format': 1}",
        b'{"format": 1,}',
        b'{"format": 1} x',
        b"",
        b" ",
        b'"\x00"',
    ],
    ids=lambda body: repr(body[:24]),
)
def test_a_body_that_is_no_json_is_refused(demo: Client, body: bytes) -> None:
    """A40, A41; RFC 8259, and I-JSON (RFC 7493) for keys that come twice and lone surrogates."""
    began = time.perf_counter()
    answer = demo.post("/v1/estimates", content=body, headers=IS_JSON)

    assert (answer.status_code, problem(answer)) == (400, "invalid-json")
    assert time.perf_counter() - began < GUARD_SECONDS


@pytest.mark.parametrize(
    "body",
    [
        b"null",
        b"1" * 4_000,
        b"[" + b"1," * 400_000 + b"1]",
        b'{"title": "' + b"a" * 900_000 + b'"}',
        b'{"title": "a\\u0000b"}',
        b'{"items": {}}',
        b'"' + b"x" * 10_000 + b'"',
        b"{" + b",".join(b'"k%d": 1' % place for place in range(40_000)) + b"}",
    ],
    ids=lambda body: repr(body[:24]),
)
def test_a_body_that_is_json_but_no_job_is_refused(demo: Client, body: bytes) -> None:
    """A41."""
    answer = demo.post("/v1/estimates", content=body, headers=IS_JSON)

    assert (answer.status_code, problem(answer)) == (422, "invalid-job")
    assert len(answer.content) < 100_000


@pytest.mark.parametrize("told", ["gzip", "deflate", "br", "gzip, identity", "x"])
def test_a_packed_body_is_refused(demo: Client, told: str) -> None:
    """A41."""
    answer = demo.post("/v1/estimates", json=job(), headers={"Content-Encoding": told})

    assert (answer.status_code, problem(answer)) == (415, "unsupported-media-type")


def test_hostile_bodies_leave_a_worker_as_it_was(running: Served, asked: httpx.Client) -> None:
    """A41, on the real server: its memory, and every answer a refusal."""
    workers = family(running.pid)
    before = sum(map(rss_bytes, workers))
    bodies = [b"[" * 500_000, b"[" + b"1," * 400_000 + b"1]", b'"' + b"a" * 990_000 + b'"', b"9" * 900_000]

    for body in bodies * 5:
        answer = asked.post("/v1/estimates", content=body, headers=IS_JSON)
        assert answer.status_code in {400, 422}

    assert sum(map(rss_bytes, workers)) - before < 64_000_000 * running.settings.workers


@pytest.mark.parametrize("quantity", [0, -1, 2**31, 2**63, 10**9, 1_000_001])
def test_a_quantity_that_nobody_prints_is_refused(demo: Client, quantity: int) -> None:
    """A42."""
    answer = demo.post("/v1/estimates", json=job(quantities=[quantity]))

    assert answer.status_code == 422
    assert answer.json()["invalid"][0]["pointer"] == "/quantities/0"


@pytest.mark.parametrize("locale", ["aa-AA", "xx-GB", "zz-ZZ"])
def test_a_language_that_nobody_wrote_is_refused(demo: Client, locale: str) -> None:
    """Found by derived requests: it failed."""
    draft = demo.post("/v1/book/drafts", json={"job": job(), "locale": locale}, headers=once())
    docket = demo.post("/v1/dockets", json={"job": job(), "locale": locale})
    client = demo.post("/v1/quotations", json=job(client={"name": "Somebody", "locale": locale}))

    assert [answer.status_code for answer in (draft, docket, client)] == [422] * 3
    assert [answer.json()["invalid"][0]["pointer"] for answer in (draft, docket, client)] == [
        "/locale", "/locale", "/client/locale",
    ]  # fmt: skip


def test_a_job_has_bounds_of_its_own(demo: Client) -> None:
    """A42: too many items, too many quantities."""
    many = job()
    many["items"] = [copy.deepcopy(many["items"][0]) | {"name": f"Card {count}"} for count in range(51)]

    for sent, pointer in ((many, "/items"), (job(quantities=list(range(1, 23))), "/quantities")):
        answer = demo.post("/v1/estimates", json=sent)
        assert answer.status_code == 422
        assert pointer in [one["pointer"] for one in answer.json()["invalid"]]


CONTACT_FIELDS = ("name", "company", "email", "telephone", "tax", "terms")


def test_hostile_text_in_the_address_book_is_told_as_it_was_written_or_refused(demo: Client) -> None:
    """A46: 300 strings, each in every field."""
    kept = refused = 0
    for place, text in enumerate(corpus()):
        contact = {"name": f"Somebody {place}", **dict.fromkeys(CONTACT_FIELDS[1:], text)}
        if place % 2:
            contact["name"] = text
        answer = demo.post("/v1/book/clients", json=contact, headers=once())
        if answer.status_code == 201:
            kept += 1
            told = demo.get(answer.headers["location"]).json()["contact"]
            assert {name: told[name] for name in contact} == contact
        else:
            refused += 1
            assert answer.status_code == 422, text
    assert kept > 100
    assert refused >= 2


JOB_FIELDS = ("title", "reference", "notes")


def test_hostile_text_in_a_job_is_told_as_it_was_written_or_refused(demo: Client) -> None:
    """A46: in what a job says in words, and as a name of the card's, which none of them is."""
    for place, text in enumerate(corpus()[:120]):
        field = JOB_FIELDS[place % len(JOB_FIELDS)]
        answer = demo.post("/v1/book/drafts", json={"job": job(**{field: text})}, headers=once())
        assert answer.status_code in {201, 422}, text
        if answer.status_code == 201:
            assert demo.get(f"{BOOK}/{answer.json()['id']}/job").json()[field] == text
        named = job()
        named["items"][0]["stock"] = text
        assert demo.post("/v1/estimates", json=named).status_code == 422, text


@pytest.mark.parametrize("where", ["text", "client", "number", "cursor", "state", "dated_from", "castle"])
def test_hostile_text_in_a_query_is_refused_or_finds_nothing(demo: Client, where: str) -> None:
    """A46."""
    for text in corpus()[:80]:
        answer = demo.get(BOOK, params={where: text})
        assert answer.status_code in {200, 400, 422}, text
        if answer.status_code == 200:
            assert isinstance(answer.json()["quotations"], list)


def test_hostile_text_in_a_path_finds_nothing(demo: Client) -> None:
    """A46."""
    for text in corpus()[:80]:
        answer = demo.get(f"{BOOK}/{httpx.URL('', params={'x': text}).query.decode()[2:]}")
        assert answer.status_code in {404, 405, 400}, text


@pytest.mark.parametrize(
    "title",
    [
        '"; filename="x.exe\r\nSet-Cookie: a=b',
        "../../x",
        "€ Ünï",
        "x" * 119,
        "a/b\\c",
        "名刺",
        "..",
        "CON",
        "%0d%0aX: y",
    ],
    ids=lambda title: repr(title[:12]),
)
def test_a_file_is_named_in_one_line_without_a_way_out(demo: Client, title: str) -> None:
    """A56; RFC 6266."""
    answer = demo.post("/v1/quotations", json=job(title=title), headers={"Accept": XML})
    if answer.status_code == 422:
        assert "\r" in title  # a title of two lines is refused
        return

    told = answer.headers["content-disposition"]
    plain = re.search(r'filename="([^"]*)"', told)
    extended = re.search(r"filename\*=UTF-8''(\S+)", told)
    assert len(answer.headers.get_list("content-disposition")) == 1
    assert "set-cookie" not in answer.headers
    assert plain is not None
    assert plain[1].isascii()
    for name in (plain[1], unquote(extended[1]) if extended else ""):
        assert not set(name) & set('/\\"\r\n')
        assert len(name) <= 200


def test_a_body_at_the_limit_is_read_and_one_over_is_not(running: Served) -> None:
    """A49, on the real server: with its length told, and in chunks without."""
    limit = running.settings.most_body_bytes
    with httpx.Client(base_url=running.url, timeout=30) as client:
        path = "/v1/public/quotations/none/decline"
        headers = {**IS_JSON, **once()}
        exact = client.post(path, content=b" " * limit, headers=headers)
        over = client.post(path, content=b" " * (limit + 1), headers=headers)
        chunked = client.post(path, content=_chunks(limit + 1), headers=headers)
        chunked_exact = client.post(path, content=_chunks(limit), headers=headers)

    assert [answer.status_code for answer in (exact, over, chunked, chunked_exact)] == [400, 413, 413, 400]
    assert problem(over) == problem(chunked) == "too-large"


def _chunks(size: int) -> Iterator[bytes]:
    while size > 0:
        yield b" " * min(size, 8192)
        size -= 8192


def _head(host: str, length: int) -> bytes:
    lines = ("POST /v1/estimates HTTP/1.1", f"Host: {host}", f"Content-Type: {JSON}", f"Content-Length: {length}")
    return "\r\n".join([*lines, "", ""]).encode()


def test_two_hundred_who_send_slowly_block_nobody(running: Served, asked: httpx.Client) -> None:
    """A49, on the real server."""
    host = urlsplit(running.url)
    slow: list[socket.socket] = []
    try:
        for _ in range(200):
            connection = socket.create_connection((str(host.hostname), int(host.port or 0)))
            connection.sendall(_head(host.netloc, 900) + b"{")
            slow.append(connection)
        began = time.perf_counter()
        answers = [asked.post("/v1/estimates", json=job()).status_code for _ in range(5)]
        took = time.perf_counter() - began
    finally:
        for connection in slow:
            connection.close()

    assert answers == [200] * 5
    assert took < 60  # a guard: without the slow ones it takes a fraction of a second


def test_a_body_cut_short_or_of_another_length_is_no_answer_of_ours(running: Served) -> None:
    """A41, on the real server: it goes on answering others."""
    host = urlsplit(running.url)
    for told, sent in ((900, b"{}"), (1, b'{"format": 1}')):
        with socket.create_connection((str(host.hostname), int(host.port or 0)), timeout=10) as connection:
            connection.sendall(_head(host.netloc, told) + sent)
            connection.shutdown(socket.SHUT_WR)
            first = connection.recv(65_536).split(b"\r\n")[0]
            assert not first.startswith(b"HTTP/1.1 5"), first
    assert httpx.get(f"{running.url}/livez").status_code == 200


def test_nothing_of_a_client_is_in_the_log(running: Served, asked: httpx.Client) -> None:
    """Neither what was sent nor where: the log has operations, keys by id, and times."""
    told = "Zachariah-Quillfeather"
    asked.post(BOOK, json={"job": job(title=told, client={"name": told})}, headers=once())
    asked.post("/v1/estimates", json=job(title=told, quantities=[told]))
    asked.get(BOOK, params={"text": told})
    asked.get(f"{BOOK}/{told}")
    lines = Path(running.log).read_text().splitlines()

    assert not [line for line in lines if told in line]
    assert any(json.loads(line).get("operation") == "create-quotation" for line in lines if line.startswith("{"))
