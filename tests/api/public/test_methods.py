"""Every public route at the real server: HEAD, other methods, types of bodies, what strangers reach (A5, A7, A54)."""

from __future__ import annotations

import json

import httpx
import pytest

from api.health import ROUTES as HEALTH
from api.operations import Operation
from api.public import ROUTES
from tests.api.asking import problem
from tests.api.public.conftest import Shop
from tests.api.public.visiting import new_key

OPERATIONS: list[Operation] = [route.opt["operation"] for route in (*ROUTES, *HEALTH)]
READ = [one for one in OPERATIONS if one.method == "GET"]
METHODS = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS")
PASSING = {"request-id", "ratelimit", "date"}  # no two answers share them


def path_to(one: Operation, shop: Shop) -> str:
    """A path of an operation at which something is."""
    link = shop.visitor().link().rpartition("/")[2] if "{link}" in one.path else ""
    return one.path.format(offer="coasters", link=link)


@pytest.mark.parametrize("one", READ, ids=lambda one: one.id)
def test_head_is_get_without_a_body_for_every_type(served_shop: Shop, one: Operation, pango: None) -> None:
    """A5; RFC 9110, 9.3.2: over one connection, which the answer without a body must not spoil."""
    path, visitor = path_to(one, served_shop), served_shop.visitor()
    for kind in (*one.media_types, "text/csv"):
        got = visitor.get(path, Accept=kind)
        head = visitor.ask("HEAD", path, Accept=kind)
        assert (head.status_code, head.content) == (got.status_code, b"")
        assert got.status_code == (406 if kind == "text/csv" else 200), got.text
        told, said = (
            {name: value for name, value in answer.headers.items() if name not in PASSING} for answer in (got, head)
        )
        assert said == told
    nothing = path.replace("coasters", "nothing") if "coasters" in path else ""
    if nothing:
        assert visitor.ask("HEAD", nothing).status_code == visitor.get(nothing).status_code == 404


def allowed_at(path: str) -> set[str]:
    """What may be asked at a path, as the operations there say."""
    found = {one.method for one in OPERATIONS if one.path == path}
    return found | {"OPTIONS"} | ({"HEAD"} if "GET" in found else set())


@pytest.mark.parametrize("path", sorted({one.path for one in OPERATIONS}))
def test_other_methods_are_refused_with_those_that_are_allowed(served_shop: Shop, path: str) -> None:
    """A5; RFC 9110, 15.5.6 and 9.3.8: of what is there and of what might be; TRACE is never answered."""
    visitor, allowed = served_shop.visitor(), allowed_at(path)
    place = path.format(offer="coasters", link="nothing")
    with served_shop.happening() as events:
        for method in {*METHODS, "TRACE", "PROPFIND", "PURGE"} - allowed:
            answer = visitor.ask(method, place)
            assert answer.status_code == 405, method
            assert set(answer.headers["allow"].split(", ")) == allowed, method
            assert method == "HEAD" or problem(answer) == "method-not-allowed"
        told = visitor.ask("OPTIONS", place)
    assert (told.status_code, set(told.headers["allow"].split(", "))) == (204, allowed)
    assert events == []


@pytest.mark.parametrize(
    "kind",
    ["", "text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x", "application/jsonx",
     "application/json; charset=utf-16", "application/json, text/plain", "text/json"],
)  # fmt: skip
def test_a_body_of_another_type_is_refused_everywhere_and_nothing_is_done(served_shop: Shop, kind: str) -> None:
    """A7."""
    visitor = served_shop.visitor()
    paths = [(one, path_to(one, served_shop)) for one in OPERATIONS if one.takes_body]
    with served_shop.happening() as events:
        for one, path in paths:
            told = {"Idempotency-Key": new_key(), **({"Content-Type": kind} if kind else {})}
            answer = visitor.ask(one.method, path, json.dumps(one.example), **told)
            assert (answer.status_code, problem(answer)) == (415, "unsupported-media-type"), one.id
    assert events == []


@pytest.mark.parametrize("packed", ["gzip", "deflate", "br", "gzip, identity"])
def test_a_packed_body_is_refused(served_shop: Shop, packed: str) -> None:
    """A41."""
    told = {"Content-Type": "application/json", "Content-Encoding": packed}
    answer = served_shop.visitor().ask("POST", "/v1/public/prices", b"x", **told)

    assert (answer.status_code, problem(answer)) == (415, "unsupported-media-type")


def test_a_stranger_reaches_what_needs_no_key_and_nothing_else(served_shop: Shop) -> None:
    """A54: of the public face; every answer keeps browsers from guessing, framing and keeping it."""
    stranger = served_shop.stranger()
    for one in OPERATIONS:
        told = {"Idempotency-Key": new_key(), "Content-Type": one.takes[0]}
        answer = stranger.ask(one.method, path_to(one, served_shop), json.dumps(one.example or {}), **told)
        assert (answer.status_code == 401) == ("anon" not in one.may), one.id
        hold_to_headers(answer)
    for path in ("/schema", "/v1/schema", "/metrics", "/openapi.json", "/docs/swagger", "/redoc", "/debug", "/.env",
                 "/v1/public", "/v1/public/", "/v1/public/artwork/x", "/server-status"):  # fmt: skip
        answer = stranger.get(path)
        assert answer.status_code in {401, 404, 405}, path
        hold_to_headers(answer)


def hold_to_headers(answer: httpx.Response) -> None:
    """The headers that every answer has, and those that none has."""
    headers = answer.headers
    assert headers["x-content-type-options"] == "nosniff"
    assert "frame-ancestors 'none'" in headers["content-security-policy"]
    assert headers["cache-control"] == "no-store"
    assert headers["strict-transport-security"].startswith("max-age=")
    assert headers["referrer-policy"] == "no-referrer"
    assert "server" not in headers
    assert "x-powered-by" not in headers
    assert "set-cookie" not in headers
