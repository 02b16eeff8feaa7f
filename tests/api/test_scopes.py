"""Who may do what: every operation of the documents by every role and method (A39); what a stranger finds (A54)."""

from __future__ import annotations

import datetime
from typing import Any

import pytest
from litestar.testing import TestClient
from msgspec.structs import replace

from api.app import create_app
from api.operations import Operation
from api.serving import check
from api.settings import Settings
from quoting.book import QuoteBook
from quoting.errors import InputError
from tests.api.asking import CARD, made_key, once, problem
from tests.api.conftest import HERE, Client
from tests.book.shop import NOW

OWNER = {"owner"}
READERS = {"owner", "owner-ro"}
PAGES = {"form", "owner", "owner-ro"}
ANYBODY = {"anon", "form", "owner", "owner-ro"}
# Written by hand, beside what the operations say of themselves. A visitor is anybody who has the link.
MAY: dict[str, set[str]] = {
    "price": READERS,
    "quote": READERS,
    "compare": READERS,
    "explain": READERS,
    "difference": READERS,
    "what-if": READERS,
    "swings": READERS,
    "risk": READERS,
    "get-revision": READERS,
    "get-job": READERS,
    "get-estimate": READERS,
    "get-docket": READERS,
    "docket": READERS,
    "check-card": READERS,
    "publish-card": OWNER,
    "list-cards": READERS,
    "get-card": READERS,
    "draft": OWNER,
    "draft-again": OWNER,
    "issue": OWNER,
    "create-quotation": OWNER,
    "list-quotations": READERS,
    "get-quotation": READERS,
    "revise": OWNER,
    "accept": OWNER,
    "decline": OWNER,
    "withdraw": OWNER,
    "pay": OWNER,
    "measure-artwork": READERS,
    "keep-artwork": OWNER,
    "list-artwork": READERS,
    "get-artwork": READERS,
    "keep-client": OWNER,
    "list-clients": READERS,
    "get-client": READERS,
    "change-client": OWNER,
    "erase-client": OWNER,
    "list-events": READERS,
    "history": READERS,
    "deliveries": READERS,
    "undeliverable": READERS,
    "retry-deliveries": OWNER,
    "verify": READERS,
    "make-key": OWNER,
    "list-keys": OWNER,
    "rotate-key": OWNER,
    "end-key": OWNER,
    "job-schema": ANYBODY,
    "list-offers": PAGES,
    "get-offer": PAGES,
    "get-offer-schema": PAGES,
    "price-choice": PAGES,
    "send-artwork": PAGES,
    "send-request": {"form", "owner"},
    "get-linked-quotation": ANYBODY,
    "accept-linked-quotation": ANYBODY,
    "decline-linked-quotation": ANYBODY,
    "public-document": ANYBODY,
    "owner-document": READERS,
    "public-pages": ANYBODY,
    "owner-pages": READERS,
    "alive": ANYBODY,
    "ready": ANYBODY,
}
ROLES = ("anon", "form", "owner-ro", "owner", "revoked", "expired")
METHODS = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE")
DOCUMENTED = ("owner", "public", "health")


@pytest.fixture(scope="module")
def keys(settings: Settings) -> dict[str, dict[str, str]]:
    """A header of every role; the two last are of keys that were good once."""
    good = {role: made_key(settings.book, role) for role in ("form", "owner-ro", "owner")}
    with QuoteBook(settings.book) as book:
        revoked = book.keys.make("revoked", scopes=("owner",), at=NOW, by="owner")
        book.keys.end(revoked.key.id, at=NOW, by="owner")
        ends = NOW + datetime.timedelta(minutes=1)
        expired = book.keys.make("expired", scopes=("owner",), at=NOW, by="owner", ends_at=ends)
    spent = {"revoked": revoked.secret, "expired": expired.secret}
    return {"anon": {}, **good, **{role: {"Authorization": f"Bearer {secret}"} for role, secret in spent.items()}}


@pytest.fixture(scope="module")
def anybody(settings: Settings) -> Any:
    """The app in this process, with a clock at which the expired key has ended; nobody's key is sent by itself."""
    app = create_app(settings, clock=lambda: NOW + datetime.timedelta(hours=1))
    with TestClient(app, raise_server_exceptions=False) as client:
        yield client


def documented(client: Client) -> list[Operation]:
    return [one for one in client.app.state.desk.operations if one.face in DOCUMENTED]


def test_every_operation_of_the_documents_has_a_row(anybody: Client) -> None:
    """A39."""
    assert {one.id for one in documented(anybody)} == set(MAY)


def test_what_an_operation_says_of_itself_is_its_row(anybody: Client) -> None:
    for one in documented(anybody):
        assert set(one.may) - {"visitor"} == MAY[one.id], one.id


@pytest.mark.parametrize("role", ROLES)
def test_every_role_may_what_its_row_says_and_nothing_else(
    anybody: Client, keys: dict[str, dict[str, str]], role: str
) -> None:
    """A39: every operation and every method. What may be done is asked without a body, so that nothing is."""
    by_path: dict[str, dict[str, Operation]] = {}
    for one in documented(anybody):
        by_path.setdefault(one.path, {})[one.method] = one
    for path, methods in by_path.items():
        at = path.replace("{", "").replace("}", "")
        for method in METHODS:
            asked = methods.get("GET" if method == "HEAD" else method)
            answer = anybody.request(method, at, headers=keys[role])
            if asked is None:
                assert answer.status_code == 405, (method, path)
                continue
            refused = _refusal(role, MAY[asked.id])
            assert (answer.status_code if answer.status_code in {401, 403} else None) == refused, (method, path)
            if refused and method != "HEAD":
                assert problem(answer) == {401: "unauthorized", 403: "forbidden"}[refused]


def _refusal(role: str, may: set[str]) -> int | None:
    if role in {"revoked", "expired"}:
        return 401
    if role in may:
        return None
    return 401 if role == "anon" else 403


@pytest.mark.parametrize(
    "told",
    ["Basic b3duZXI6b3duZXI=", "Bearer", "Bearer x", "Bearer qk_0123456789abcdef_" + "A" * 43, "bearer  ", "qk"],
)
def test_what_is_no_key_of_ours_opens_nothing_that_asks_for_one(anybody: Client, told: str) -> None:
    answer = anybody.get("/v1/keys", headers={"Authorization": told})

    assert (answer.status_code, problem(answer)) == (401, "unauthorized")


def test_a_stranger_reaches_only_what_is_public(anybody: Client) -> None:
    """A54: every path of the documents, and where other servers keep their insides."""
    for one in documented(anybody):
        answer = anybody.request(one.method, one.path.replace("{", "").replace("}", ""))
        assert (answer.status_code != 401) == ("anon" in MAY[one.id]), one.id
    for path in INSIDES:
        assert anybody.get(path).status_code == 404, path


INSIDES = (
    "/schema", "/schema/openapi.json", "/openapi.json", "/metrics", "/debug", "/health", "/.env", "/admin",
    "/v1/openapi", "/redoc", "/swagger", "/static/app.js", "/v1/", "/v1/book", "/api", "/.git/config",
)  # fmt: skip


def test_pages_bring_no_script_and_nothing_from_elsewhere(demo: Client) -> None:
    """A54."""
    for path in ("/docs", "/docs/owner"):
        page = demo.get(path).text.lower()
        assert "operations" in page
        for elsewhere in ("<script", "<link", "<iframe", " src=", 'href="http', 'href="//', "url(", "@import"):
            assert elsewhere not in page


def test_every_answer_carries_the_headers_that_keep_browsers_from_guessing(anybody: Client) -> None:
    """A54."""
    for answer in (
        anybody.get("/livez"),
        anybody.get("/nothing"),
        anybody.post("/v1/estimates"),
        anybody.get("/docs"),
    ):
        told = answer.headers
        assert told["x-content-type-options"] == "nosniff"
        assert "frame-ancestors 'none'" in told["content-security-policy"]
        assert told["cache-control"] == "no-store"
        assert told["strict-transport-security"].startswith("max-age=")
        assert told["referrer-policy"] == "no-referrer"
        assert "server" not in told
        assert len(told["request-id"]) == 32


@pytest.mark.parametrize("host", ["0.0.0.0", "192.0.2.7", "shop.example"])
def test_a_server_that_asks_for_no_key_listens_to_this_machine_alone(host: str) -> None:
    """A54."""
    settings = Settings(card=CARD, demo=True)

    with pytest.raises(InputError, match="demo"):
        check(settings, host=host)
    check(replace(settings, demo=False), host=host)


@pytest.mark.parametrize(
    "host",
    ["evil.example", "testserver.local.evil.example", "eviltestserver.local", "", "testserver.local:80:80", "[::1]"],
)
def test_a_host_that_is_none_of_ours_is_refused(anybody: Client, host: str) -> None:
    """A52, for the routes: no link can be made of a forged name."""
    answer = anybody.get("/livez", headers={"Host": host})

    assert (answer.status_code, problem(answer)) == (400, "unknown-host")


def test_links_are_made_of_the_configured_address_alone(demo: Client) -> None:
    """A52."""
    answer = demo.post(
        "/v1/book/clients", json={"name": "Somebody"}, headers={**once(), "Host": "testserver.local:99"}
    )

    assert answer.headers["location"].startswith(f"{HERE}/v1/")
