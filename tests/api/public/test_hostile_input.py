"""Hostile input of visitors' at the real server: numbers, fields, bodies (A26, A40, A41, A42)."""

from __future__ import annotations

import copy
import json
import time
from collections.abc import Iterator
from typing import Any

import httpx
import pytest
from msgspec import inspect

from api.media_types import JSON
from api.public.prices import PricesAsked
from api.public.quotations import Acceptance, Decline
from tests.api.asking import problem
from tests.api.public.conftest import Shop
from tests.api.public.visiting import ACCEPT, CONTACT, choice, new_key
from tests.test_hostile_numbers import TEXTS, numeric_fields, with_value

PRICES = "/v1/public/prices"
REQUESTS = "/v1/public/requests"
GUARD_SECONDS = 1  # 20 times A26's 50 ms
LINK = "{link}"  # stands for the path of a private link
PLATED: dict[str, Any] = {
    "printed_from": "own plate",
    "plate": {"size": "40 x 30 mm", "thickness": "1.52 mm"},
}
EVERY: dict[str, Any] = choice(
    {"product": "cards", "quantities": [100, 200]},
    own_size="90 x 60 mm",
    front=PLATED,
    back=PLATED,
    pieces=[{"piece": "Reply card", "front": PLATED}],
    envelope={"stock": "envelope-c6", "spare": 4, "front": PLATED},
    contact=CONTACT,
)
BODIES: list[tuple[str, dict[str, Any], Any]] = [
    (PRICES, EVERY, PricesAsked),
    (f"{LINK}/acceptance", dict(ACCEPT), Acceptance),
    (f"{LINK}/decline", {"revision": 1}, Decline),
]
# Of text: a thousand with a point or an exponent is a count to nobody, and neither is any text.
WRITTEN = [json.dumps(text) for text in TEXTS]
PLAIN = ["1e999999", "1E+999999999999999999", "1e-400", "1.5", "-0.5", "-1", "true", "null", "[1]", "{}", "9" * 4_000,
         "0", "-0", "0.0", "2147483648", "9223372036854775808", "18446744073709551616", "1000000000", "1000001",
         "1." + "0" * 4_000 + "1"]  # fmt: skip


def places() -> Iterator[tuple[str, dict[str, Any], tuple[str | int, ...], Any]]:
    """Every numeric field of every public body."""
    for path, body, kind in BODIES:
        for place, of in numeric_fields(body, inspect.type_info(kind)):
            yield path, body, place, of


def test_every_numeric_field_is_tried() -> None:
    found = {".".join(str(one) for one in place if not isinstance(one, int)) for _, _, place, _ in places()}

    side = {f"plate.{name}" for name in ("size", "thickness")}
    sides = {f"choice.{where}.{one}" for where in ("front", "back", "pieces.front", "envelope.front") for one in side}
    assert found == {"choice.quantities", "choice.own_size", "choice.envelope.spare", "revision", "quantity", *sides}


@pytest.mark.parametrize("written", [*WRITTEN, *PLAIN], ids=lambda written: written[:24])
def test_a_hostile_number_in_every_field_is_refused_at_once_with_its_pointer(served_shop: Shop, written: str) -> None:
    """A26, A42."""
    link = served_shop.visitor().link()
    visitor = served_shop.visitor()
    with served_shop.happening() as events:
        for path, body, place, kind in places():
            if takes(kind, written):
                continue
            content = json.dumps(with_value(body, place, MARK)).replace(json.dumps(MARK), written)
            where = path.replace(LINK, link)
            began = time.perf_counter()
            answer = visitor.ask("POST", where, content, Content_Type=JSON, Idempotency_Key=new_key())
            took = time.perf_counter() - began
            assert answer.status_code == 422, (path, place, answer.text)
            pointers = [one["pointer"] for one in answer.json()["invalid"]]
            assert "/" + "/".join(map(str, place)) in pointers, (path, place, pointers)
            assert took < GUARD_SECONDS
    assert events == []


MARK = "a mark that stands nowhere else"


def takes(kind: Any, written: str) -> bool:
    """Whether nothing is wrong with it there: none to spare, no size of one's own, text with its unit left out."""
    if written == "null":
        return isinstance(kind, inspect.UnionType) or not isinstance(kind, inspect.IntType)
    return isinstance(kind, inspect.IntType) and kind.ge == 0 and written in {"0", "-0", "0.0"}


READ_ONLY = ["id", "number", "status", "state", "unit_price", "unit_cost", "price", "cost", "margin", "total",
             "rate_card_version", "card", "tax_total", "created_at", "made_at", "version", "discount", "by",
             "__proto__", "constructor", ""]  # fmt: skip


@pytest.mark.parametrize("field", READ_ONLY)
def test_a_field_that_is_not_the_visitors_is_refused_wherever_it_stands(served_shop: Shop, field: str) -> None:
    """A40: at the top of every body, and in every table of it; nothing is changed."""
    link, visitor = served_shop.visitor().link(), served_shop.visitor()
    with served_shop.happening() as events:
        for path, body in [(REQUESTS, EVERY), *((path, body) for path, body, _ in BODIES)]:
            for where in tables_of(body):
                sent = copy.deepcopy(body)
                inner(sent, where)[field] = "1"
                answer = visitor.post(path.replace(LINK, link), sent)
                assert answer.status_code == 422, (path, where)
                pointer = "".join(f"/{key}" for key in (*where, field))
                assert pointer in [one["pointer"] for one in answer.json()["invalid"]], (path, where)
    assert events == []


def tables_of(data: Any, where: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Where the tables of plain data stand, itself among them."""
    if isinstance(data, dict):
        yield where
    inside = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for key, value in inside:
        yield from tables_of(value, (*where, key))


def inner(data: Any, where: tuple[Any, ...]) -> Any:
    """What stands there."""
    for key in where:
        data = data[key]
    return data


NO_JSON = [
    b'{"choice": {}, "choice": {}}',
    b'{"choice": {"product": "coasters", "product": "cards"}}',
    b'{"revision": 1, "revision": 1}',
    b"[" * 100_000,
    b'{"a":' * 100_000,
    b'{"choice": ' + b"[" * 100_000 + b"]" * 100_000 + b"}",
    b'{"x": ' + b"[" * 900 + b"]" * 900 + b"}",
    b"\xff\xfe{\x00}\x00",
    b'{"choice": "\xc0\xaf"}',
    b'{"choice": "\xed\xa0\x80"}',
    b'{"choice": "\\ud800"}',
    b"\xef\xbb\xbf{}",
    b"NaN",
    b'{"revision": Infinity}',
    b'{"revision": 01}',
    b'{"revision": 1,}',
    b"",
    b'{"revision": 1',
]
NO_BODY = [
    b"null",
    b"[]",
    b"1" * 4_000,
    b"[" + b"1," * 400_000 + b"1]",
    b'{"choice": "' + b"a" * 900_000 + b'"}',
    b'{"choice": {"title": "a\\u0000b"}}',
    b"{" + b",".join(b'"k%d": 1' % place for place in range(40_000)) + b"}",
]


@pytest.mark.parametrize(
    ("body", "expected"),
    [*((body, (400, "invalid-json")) for body in NO_JSON), *((body, (422, "invalid-input")) for body in NO_BODY)],
    ids=lambda told: repr(told)[:24],
)
def test_a_body_that_is_no_json_or_no_request_is_refused(
    served_shop: Shop, body: bytes, expected: tuple[int, str]
) -> None:
    """A40, A41; RFC 8259, and I-JSON (RFC 7493) for keys that come twice and lone surrogates."""
    visitor, link = served_shop.visitor(), f"/v1/public/quotations/{'x' * 40}"
    for path in (PRICES, REQUESTS, f"{link}/acceptance", f"{link}/decline"):
        answer = visitor.ask("POST", path, body, Content_Type=JSON, Idempotency_Key=new_key())
        assert (answer.status_code, problem(answer)) == expected, path
        assert len(answer.content) < 100_000


def test_what_is_sent_beside_a_body_is_refused_too(served_shop: Shop) -> None:
    """A40: a query that no operation takes."""
    visitor = served_shop.visitor()
    answers: list[httpx.Response] = [
        visitor.post(f"{PRICES}?margin=0", choice()),
        visitor.get("/v1/public/offers?margin=0"),
        visitor.get(f"{visitor.link()}?state=accepted"),
        visitor.ask("POST", "/v1/public/artwork?name=a.pdf&margin=0", b"", Content_Type="application/pdf"),
        visitor.ask("POST", "/v1/public/artwork?name=a.pdf&name=b.pdf", b"", Content_Type="application/pdf"),
    ]

    for answer in answers:
        assert (answer.status_code, problem(answer)) == (422, "invalid-input")
        assert answer.json()["parameters"][0]["in"] == "query"
