"""Hostile input at the owner's face, on real servers: numbers, bodies, sizes, names (A26, A40 to A42, A49, A56)."""

from __future__ import annotations

import copy
import datetime
import json
import socket
import sys
import time
from collections.abc import Iterator
from functools import partial
from typing import Any
from urllib.parse import urlsplit

import httpx
import pytest
from msgspec import inspect

from api.media_types import JSON, XML
from api.operations import Operation
from quoting import Job, estimate_job, load_rate_card, read_job
from tests.api.asking import (
    BOOK,
    CARD,
    OWNERS,
    issued,
    job,
    last_event,
    logged,
    once,
    pointers,
    problem,
    together,
)
from tests.api.downloads import hold_name
from tests.api.fields import Place, fields_of, with_all
from tests.api.serving import Served, family, rss_bytes
from tests.test_hostile_numbers import TEXTS, Path, document, is_numeric, unit_of

IS_JSON = {"Content-Type": JSON}
GUARD_SECONDS = 2  # against hanging: some hundred times what a refusal takes
MOST_LISTED = 150  # places that are put into one body; an answer lists 200
AT_ONCE = 8
# As JSON writes them: text, and numbers without quotes.
NUMBERS = [*map(json.dumps, TEXTS), "1.5", "-0.5", "1e999999", "1E+999999999999999999", "1e-400", "true", "[1]", "{}",
           "-1", "2147483648", "9223372036854775808", "9" * 4_000, "1." + "0" * 4_000 + "1"]  # fmt: skip


def put(operation: Operation, body: Any, told: dict[Path, str]) -> dict[str, Any]:
    """A request of an operation, with other values, as JSON writes them, at many places of its body."""
    marks = {f"<<{number}>>": text for number, text in enumerate(told.values())}
    text = json.dumps(with_all(body, dict(zip(told, marks, strict=True))))
    for mark, written in marks.items():
        text = text.replace(json.dumps(mark), written)
    path = operation.path.replace("{", "").replace("}", "")
    headers = {**IS_JSON, **once(), "If-Match": '"x.1"'}
    return {"method": operation.method, "url": path, "content": text, "headers": headers}


def test_a_hostile_number_in_every_field_of_every_operation_is_refused_with_its_pointer(
    running: Served, asked: httpx.Client
) -> None:
    """A26: the fields are found from the operations' types; each number goes into all of them."""
    numeric = [
        (one.operation, one.body, chunk)
        for one in fields_of(OWNERS)
        for chunk in chunks([place for place in one.places if is_numeric(place.kind)])
    ]
    before = last_event(running)

    def ask(number: str, operation: Operation, body: Any, places: list[Place]) -> None:
        wanted = [place for place in places if not _takes(place.kind, number)]
        if not wanted:
            return
        began = time.perf_counter()
        answer = asked.request(**put(operation, body, dict.fromkeys([place.path for place in wanted], number)))
        assert time.perf_counter() - began < GUARD_SECONDS * AT_ONCE
        assert answer.status_code == 422, (operation.id, number[:40])
        assert {place.pointer for place in wanted} <= set(pointers(answer)), (operation.id, number[:40])

    together([partial(ask, number, *one) for number in NUMBERS for one in numeric], threads=AT_ONCE)

    assert last_event(running) == before
    assert sum(len(places) for _, _, places in numeric) > 250


def chunks(places: list[Place]) -> Iterator[list[Place]]:
    """So many at once; the number of a card's format by itself, since nothing is read of one of another format."""
    yield from ([place] for place in places if place.name == "format")
    rest = [place for place in places if place.name != "format"]
    for start in range(0, len(rest), MOST_LISTED):
        yield rest[start : start + MOST_LISTED]


def _takes(kind: Any, number: str) -> bool:
    """Whether it is no hostile number to this field: a position in the book may be 2**31."""
    return number == f"{2**31}" and isinstance(kind, inspect.IntType) and (kind.le or 2**63) >= 2**31


def test_a_hostile_number_with_its_unit_in_every_field_is_refused_with_its_pointer(asked: httpx.Client) -> None:
    """A26: ``NaN mm`` is no length."""
    measured = [
        (one.operation, one.body, chunk)
        for one in fields_of(OWNERS)
        for chunk in chunks([place for place in one.places if isinstance(place.kind, inspect.CustomType)])
    ]

    def ask(text: str, operation: Operation, body: Any, places: list[Place]) -> None:
        told = {place.path: json.dumps(f"{text}{unit_of(place.kind)}") for place in places}
        answer = asked.request(**put(operation, body, told))
        assert answer.status_code == 422, (operation.id, text[:40])
        assert {place.pointer for place in places} <= set(pointers(answer)), (operation.id, text[:40])

    together([partial(ask, text, *one) for text in TEXTS if text for one in measured], threads=AT_ONCE)


def test_a_hostile_number_in_a_query_is_refused_with_its_name(asked: httpx.Client) -> None:
    """A26."""
    kept = issued(asked)["number"]
    asked_for = [(BOOK, "limit"), ("/v1/book/clients", "limit"), ("/v1/book/events", "limit"),
                 (f"{BOOK}/{kept}/job", "revision")]  # fmt: skip
    for path, name in asked_for:
        for text in TEXTS:
            answer = asked.get(path, params={name: text})
            assert (answer.status_code, problem(answer)) == (422, "invalid-input"), (path, text[:40])
            assert answer.json()["parameters"][0]["name"] == name


AMOUNTS = [*TEXTS, "12.345", "1e2", "0", "0.00", "9" * 13, "12.50\n"]


def test_a_hostile_amount_is_refused_with_its_pointer(asked: httpx.Client) -> None:
    """A26: text of the right shape may still be no amount of the quotation's currency."""
    path = f"{BOOK}/{issued(asked)['id']}"
    asked.post(f"{path}/acceptance", json={}, headers=once())
    for amount in AMOUNTS:
        answer = asked.post(f"{path}/payments", json={"amount": amount}, headers=once())

        assert (answer.status_code, problem(answer)) in {(422, "invalid-input"), (409, "overpaid")}, amount
        if answer.status_code == 422:
            assert pointers(answer) == ["/amount"]
        else:
            assert amount in {"0", "0.00"}
    assert asked.get(path).json()["paid"] == "0.00"


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


def test_what_is_only_told_cannot_be_sent(running: Served, asked: httpx.Client) -> None:
    """A40: at the top of the body of every operation, and inside its job."""
    before = last_event(running)
    for one in OWNERS:
        if not one.takes_body or one.takes_file:
            continue
        path = one.path.replace("{", "").replace("}", "")
        example = document("marrowby-lane/card") if one.example is None else one.example
        sent = json.loads(json.dumps(example, default=str))
        known = set(one.body.__struct_fields__)  # type: ignore[attr-defined]  # a struct
        places = [("", sent, known)] + ([("/job", sent["job"], set(Job.__struct_fields__))] if "job" in sent else [])
        for _, table, fields in places:
            table.update(dict.fromkeys(set(READ_ONLY) - fields, "1"))
        headers = {**once(), "If-Match": '"x.1"'}
        answer = asked.request(one.method, path, json=sent, headers=headers)
        assert answer.status_code == 422, (one.id, answer.text)
        told = {f"{at}/{field}" for at, _, fields in places for field in set(READ_ONLY) - fields}
        assert told == set(pointers(answer)), one.id

    assert last_event(running) == before


NO_JSON = [
    b'{"format": 1, "format": 1}',
    b'{"job": {"title": "a", "title": "b"}}',
    b"[" * 100_000,
    b'{"a":' * 100_000,
    b'{"format": 1, "x": ' + b"[" * 100_000 + b"]" * 100_000 + b"}",
    b'{"x": ' + b"[" * 900 + b"]" * 900 + b"}",
    b"[" * 500_000,
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
]
NO_JOB = [
    b"null",
    b"1" * 4_000,
    b"9" * 900_000,
    b"[" + b"1," * 400_000 + b"1]",
    b'{"title": "' + b"a" * 990_000 + b'"}',
    b'{"title": "a\\u0000b"}',
    b'{"items": {}}',
    b'"' + b"x" * 990_000 + b'"',
    b"{" + b",".join(b'"k%d": 1' % place for place in range(40_000)) + b"}",
]
TOO_LARGE = [b"[" + b"1," * 999_999 + b"1]", b'{"title": "' + b"a" * 10_000_000 + b'"}']
HOSTILE = [(400, "invalid-json", body) for body in NO_JSON] + [(413, "too-large", body) for body in TOO_LARGE]


def test_a_hostile_body_is_refused_and_leaves_the_workers_as_they_were(running: Served, asked: httpx.Client) -> None:
    """A40, A41; RFC 8259, and I-JSON (RFC 7493) for keys that come twice and lone surrogates."""
    paths = ("/v1/estimates", BOOK, "/v1/book/clients")
    for path in paths:
        asked.post(path, content=b"{}", headers={**IS_JSON, **once()})
    event, before = last_event(running), {pid: rss_bytes(pid) for pid in family(running.pid)}

    for path in paths:
        for status, name, body in [*HOSTILE, *((422, "", body) for body in NO_JOB)]:
            began = time.perf_counter()
            answer = asked.post(path, content=body, headers={**IS_JSON, **once()})
            assert time.perf_counter() - began < GUARD_SECONDS * 10, body[:24]
            assert (answer.status_code, name or problem(answer)) == (status, problem(answer)), (path, body[:24])
            assert len(answer.content) < 100_000

    grown = {pid: rss_bytes(pid) - was for pid, was in before.items()}
    assert max(grown.values()) < 64_000_000, grown
    assert last_event(running) == event


def test_a_packed_body_is_refused(asked: httpx.Client) -> None:
    """A41."""
    for told in ("gzip", "deflate", "br", "gzip, identity", "x"):
        answer = asked.post("/v1/estimates", json=job(), headers={"Content-Encoding": told})
        assert (answer.status_code, problem(answer)) == (415, "unsupported-media-type"), told


def test_a_quantity_that_nobody_prints_is_refused(asked: httpx.Client) -> None:
    """A42."""
    for quantity in (0, -1, 2**31, 2**63, 10**9, 1_000_001):
        began = time.perf_counter()
        answer = asked.post("/v1/estimates", json=job(quantities=[quantity]))
        assert (answer.status_code, pointers(answer)) == (422, ["/quantities/0"])
        assert time.perf_counter() - began < GUARD_SECONDS


def test_the_largest_quantity_is_priced_as_one_is(asked: httpx.Client) -> None:
    """A42: with no work for each piece; the times are told by ``tests.benchmarks.bench_api``."""
    for quantity in (1, 1_000_000):
        began = time.perf_counter()
        answer = asked.post("/v1/estimates", json=job(quantities=[quantity]))
        assert answer.status_code == 200, answer.text
        assert time.perf_counter() - began < GUARD_SECONDS

    assert calls_to_price(1_000_000) < 2 * calls_to_price(1)


def calls_to_price(quantity: int) -> int:
    """How many calls, of Python's and of C's, it takes to price so many of a small job, where nothing is new."""
    wanted, card, on = read_job(job(quantities=[quantity])), load_rate_card(CARD), datetime.date(2026, 11, 25)
    estimate_job(wanted, card, on=on)
    calls = 0

    def count(_: Any, event: str, __: Any) -> None:
        nonlocal calls
        calls += event in {"call", "c_call"}

    sys.setprofile(count)
    try:
        estimate_job(wanted, card, on=on)
    finally:
        sys.setprofile(None)
    return calls


@pytest.mark.parametrize("locale", ["aa-AA", "xx-GB", "zz-ZZ"])
def test_a_language_that_nobody_wrote_is_refused(asked: httpx.Client, locale: str) -> None:
    """Found by derived requests: it failed."""
    draft = asked.post("/v1/book/drafts", json={"job": job(), "locale": locale}, headers=once())
    docket = asked.post("/v1/dockets", json={"job": job(), "locale": locale})
    client = asked.post("/v1/quotations", json=job(client={"name": "Somebody", "locale": locale}))

    assert [answer.status_code for answer in (draft, docket, client)] == [422] * 3
    assert [pointers(answer)[0] for answer in (draft, docket, client)] == ["/locale", "/locale", "/client/locale"]


def test_a_job_has_bounds_of_its_own(asked: httpx.Client) -> None:
    """A42: too many items, too many quantities."""
    many = job()
    many["items"] = [copy.deepcopy(many["items"][0]) | {"name": f"Card {count}"} for count in range(51)]

    for sent, pointer in ((many, "/items"), (job(quantities=list(range(1, 22))), "/quantities")):
        began = time.perf_counter()
        answer = asked.post("/v1/estimates", json=sent)
        assert answer.status_code == 422
        assert pointer in pointers(answer)
        assert time.perf_counter() - began < GUARD_SECONDS


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
def test_a_file_is_named_in_one_line_without_a_way_out(asked: httpx.Client, title: str) -> None:
    """A56; RFC 6266."""
    answer = asked.post("/v1/quotations", json=job(title=title), headers={"Accept": XML})
    if answer.status_code == 422:
        assert "\r" in title  # a title of two lines is refused
        return

    hold_name(answer)


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


def bare_connection(running: Served, asked: httpx.Client, *headers: str) -> socket.socket:
    """A connection on which the owner has begun to ask for a price: the head is sent, the body is not."""
    host = urlsplit(running.url)
    connection = socket.create_connection((str(host.hostname), int(host.port or 0)), timeout=30)
    lines = ["POST /v1/estimates HTTP/1.1", f"Host: {host.netloc}", f"Content-Type: {JSON}",
             f"Authorization: {asked.headers['authorization']}", *headers]  # fmt: skip
    connection.sendall("\r\n".join([*lines, "", ""]).encode())
    return connection


def test_a_body_over_the_limit_is_refused_before_it_has_come(running: Served, asked: httpx.Client) -> None:
    """A49: nothing of it is waited for, with its length told; in chunks, nothing past the limit and 64 KB."""
    limit = running.settings.most_body_bytes
    with bare_connection(running, asked, f"Content-Length: {10 * limit}") as connection:
        assert connection.recv(65_536).startswith(b"HTTP/1.1 413 ")
    with bare_connection(running, asked, "Transfer-Encoding: chunked") as connection:
        for part in _chunks(limit + 65_536):
            connection.sendall(f"{len(part):x}\r\n".encode() + part + b"\r\n")
        assert connection.recv(65_536).startswith(b"HTTP/1.1 413 ")


def test_two_hundred_who_send_slowly_block_nobody(running: Served, asked: httpx.Client) -> None:
    """A49: each has the owner's key, so that its body is waited for."""
    slow: list[socket.socket] = []
    try:
        for _ in range(200):
            slow.append(bare_connection(running, asked, "Content-Length: 900"))
            slow[-1].sendall(b"{")
        began = time.perf_counter()
        answers = [asked.post("/v1/estimates", json=job()).status_code for _ in range(5)]
        took = time.perf_counter() - began
        slow[0].sendall(b" " * 899)
        late = slow[0].recv(65_536)
    finally:
        for connection in slow:
            connection.close()

    assert answers == [200] * 5
    assert took < 60  # a guard: without the slow ones it takes a fraction of a second
    assert late.startswith(b"HTTP/1.1 400 ")


def test_a_body_cut_short_or_of_another_length_is_no_answer_of_ours(running: Served, asked: httpx.Client) -> None:
    """A41: the server goes on answering others."""
    for told, sent in ((900, b"{}"), (1, b'{"format": 1}')):
        with bare_connection(running, asked, f"Content-Length: {told}") as connection:
            connection.sendall(sent)
            connection.shutdown(socket.SHUT_WR)
            first = connection.recv(65_536).split(b"\r\n")[0]
            assert not first.startswith((b"HTTP/1.1 5", b"HTTP/1.1 2")), first
    assert httpx.get(f"{running.url}/livez").status_code == 200


def test_nothing_of_a_client_is_in_the_log(running: Served, asked: httpx.Client) -> None:
    """Neither what was sent nor where: the log has operations, keys by id, and times."""
    told = "Zachariah-Quillfeather"
    asked.post(BOOK, json={"job": job(title=told, client={"name": told})}, headers=once())
    asked.post("/v1/estimates", json=job(title=told, quantities=[told]))
    asked.get(BOOK, params={"text": told})
    logged(running, asked.get(f"{BOOK}/{told}").headers["request-id"])
    lines = running.log.read_text().splitlines()

    assert not [line for line in lines if told in line]
    assert any(json.loads(line).get("operation") == "create-quotation" for line in lines if line.startswith("{"))
