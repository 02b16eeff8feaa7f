"""Who may do what: every operation of the documents by every role and method (A39); what a stranger finds (A54)."""

from __future__ import annotations

import datetime
import itertools
import re
from collections.abc import Iterator
from functools import partial
from urllib.parse import urlsplit

import httpx
import pytest
from msgspec import Struct

from api.operations import Operation
from api.settings import Settings
from quoting.book import QuoteBook
from tests.api.asking import BOOK, CARD, DOCUMENTED, OPERATIONS, issued, job, made_key, once, problem, raw, together
from tests.api.conftest import ANOTHER_HOST, SECRET, Mounted, asking
from tests.api.documents import Held
from tests.api.serving import Served, run_serve
from tests.book.shop import NOW

OWNER = {"owner"}
READERS = {"owner", "owner-ro"}
PAGES = {"form", "owner", "owner-ro"}
ANYBODY = {"anon", "visitor", "form", "owner", "owner-ro"}
# Written by hand, beside what the operations say of themselves. A visitor has no key, but a private link.
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
LINKED = {"get-linked-quotation", "accept-linked-quotation", "decline-linked-quotation"}
ROLES = ("anon", "visitor", "form", "owner-ro", "owner", "revoked", "expired")
METHODS = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "TRACE")
AT_ONCE = 8


class Crew(Struct, frozen=True):
    """Somebody of every role at a real server: their keys, as headers, and the visitor's link."""

    client: httpx.Client
    keys: dict[str, dict[str, str]]
    link: str


@pytest.fixture
def crew(running: Served, held: Held, asked: httpx.Client) -> Iterator[Crew]:
    """Everybody; one key was ended by the owner, and one ends by itself before it is used."""
    now = datetime.datetime.now(datetime.UTC)
    which = issued(asked)["id"]
    with QuoteBook(running.settings.book, secret=SECRET.encode()) as book:
        link = book.link_token(book.make_link(which, at=NOW, by="owner"))
        expired = book.keys.make(
            "expired", scopes=("owner",), at=now - datetime.timedelta(days=1), by="owner", ends_at=now
        )
    good = {role: made_key(running.settings.book, role) for role in ("form", "owner-ro", "owner")}
    revoked = made_key(running.settings.book)
    assert asked.delete(f"/v1/keys/{revoked['Authorization'].split('_')[1]}").status_code == 200
    spent = {"revoked": revoked, "expired": {"Authorization": f"Bearer {expired.secret}"}}
    with asking(running, held) as client:
        yield Crew(client, {"anon": {}, "visitor": {}, **good, **spent}, link)


@pytest.fixture
def anybody(running: Served, held: Held) -> Iterator[httpx.Client]:
    """Somebody without a key."""
    with asking(running, held) as client:
        yield client


def test_every_operation_of_the_documents_has_a_row(asked: httpx.Client) -> None:
    """A39: of the documents as they are served."""
    told = {
        one["operationId"]
        for face in ("owner", "public")
        for methods in asked.get(f"/v1/openapi/{face}.json").json()["paths"].values()
        for one in methods.values()
    }

    assert told == {one.id for one in DOCUMENTED} == set(MAY)


def test_what_an_operation_says_of_itself_is_its_row() -> None:
    """A39."""
    for one in DOCUMENTED:
        assert {*one.may, *(("visitor",) if "anon" in one.may else ())} == MAY[one.id], one.id


def test_every_role_may_what_its_row_says_and_nothing_else(crew: Crew) -> None:
    """A39: every operation, role and method. What may be done is asked without a body, so that nothing is."""
    by_path: dict[str, dict[str, Operation]] = {}
    for one in DOCUMENTED:
        by_path.setdefault(one.path, {})[one.method] = one
    cells = list(itertools.product(ROLES, by_path, METHODS))

    def ask(role: str, path: str, method: str) -> None:
        found = by_path[path].get("GET" if method == "HEAD" else method)
        link = crew.link if role == "visitor" else "link"
        at = path.format(**dict.fromkeys(re.findall(r"{(\w+)}", path), "none") | {"link": link})
        answer = crew.client.request(method, at, headers=crew.keys[role])
        if found is None:
            assert answer.status_code == 405, (role, method, path)
            return
        refused = _refusal(role, MAY[found.id])
        assert (answer.status_code if answer.status_code in {401, 403} else None) == refused, (role, method, path)
        if refused and method != "HEAD":
            assert problem(answer) == {401: "unauthorized", 403: "forbidden"}[refused]
        if found.id in LINKED and method in {"GET", "HEAD"} and not refused:
            assert answer.status_code == (200 if role == "visitor" else 404), (role, method)

    together([partial(ask, *cell) for cell in cells], threads=AT_ONCE)

    assert len(cells) == len(ROLES) * len(by_path) * len(METHODS)


def _refusal(role: str, may: set[str]) -> int | None:
    if role in {"revoked", "expired"}:
        return 401
    if role in may:
        return None
    return 401 if role in {"anon", "visitor"} else 403


@pytest.mark.parametrize(
    "told",
    ["Basic b3duZXI6b3duZXI=", "Bearer", "Bearer x", "Bearer qk_0123456789abcdef_" + "A" * 43, "bearer x y", "qk"],
)
def test_what_is_no_key_of_ours_opens_nothing_that_asks_for_one(anybody: httpx.Client, told: str) -> None:
    """A39."""
    answer = anybody.get("/v1/keys", headers={"Authorization": told})

    assert (answer.status_code, problem(answer)) == (401, "unauthorized")


def test_a_stranger_reaches_only_what_is_public(anybody: httpx.Client) -> None:
    """A54: every path of the documents, and where other servers keep their insides."""
    for one in DOCUMENTED:
        answer = anybody.request(one.method, one.path.replace("{", "").replace("}", ""))
        assert (answer.status_code != 401) == ("anon" in MAY[one.id]), one.id
    for path in INSIDES:
        assert anybody.get(path).status_code == 404, path


INSIDES = (
    "/schema", "/schema/openapi.json", "/openapi.json", "/metrics", "/debug", "/health", "/.env", "/admin",
    "/v1/openapi", "/redoc", "/swagger", "/static/app.js", "/v1/", "/v1/book", "/api", "/.git/config", "/",
)  # fmt: skip
FOUND = {"public-document", "public-pages", "job-schema", "alive", "ready", "show-offers", "show-order-form",
         "get-site-file", "show-sign-in"}  # fmt: skip
_LINK = re.compile(r'(?:href|src|action)="([^"]+)"|"(/[a-z0-9/._-]+)"')


def test_a_crawl_without_a_key_finds_only_what_is_public(
    running: Served, asked: httpx.Client, anybody: httpx.Client
) -> None:
    """A54: every link of every page, every path that a document names; nothing is of another server."""
    name = "Crawled By Nobody"
    asked.post(BOOK, json={"job": job(client={"name": name})}, headers=once()).raise_for_status()
    found: set[str] = set()
    met = {"/", "/docs", "/order", "/office", "/readyz", "/v1/openapi/public.json", "/v1/openapi/owner.json"}
    waiting = sorted(met)
    while waiting:
        answer = anybody.get(waiting.pop())
        if answer.status_code == 200:
            found |= {one.id for one in OPERATIONS if one.method == "GET" and one.is_at(answer.url.path)}
            assert name not in answer.text
        page = answer.text if "script" not in answer.headers.get("content-type", "") else ""
        links = ["".join(pair) for pair in _LINK.findall(page)] + [answer.headers.get("location", "/")]
        new = {link.removeprefix(running.url).partition("#")[0] for link in links} - {"", "data:,"} - met
        assert all(re.match("/[^/]|/$", link) for link in new), new
        met |= new
        waiting += sorted(new)

    assert found == FOUND


def test_pages_bring_no_script_and_nothing_from_elsewhere(asked: httpx.Client) -> None:
    """A54."""
    for path in ("/docs", "/docs/owner"):
        page = asked.get(path).text.lower()
        assert "operations" in page
        for elsewhere in ("<script", "<link", "<iframe", " src=", 'href="http', 'href="//', "url(", "@import"):
            assert elsewhere not in page


def test_every_answer_carries_the_headers_that_keep_browsers_from_guessing(asked_mounted: httpx.Client) -> None:
    """A54: of whatever status, the unhandled failure of a mounted operation among them."""
    for answer in (
        asked_mounted.get("/livez"),
        asked_mounted.get("/nothing"),
        asked_mounted.post("/v1/estimates"),
        asked_mounted.post("/v1/estimates", json=job()),
        asked_mounted.get("/docs"),
        asked_mounted.get("/v1/breaks"),
        asked_mounted.get("/livez", headers={"Host": "evil.example"}),
        asked_mounted.request("TRACE", "/livez"),
    ):
        told = answer.headers
        assert told["x-content-type-options"] == "nosniff"
        assert "frame-ancestors 'none'" in told["content-security-policy"]
        assert told["cache-control"] == "no-store"
        assert told["strict-transport-security"].startswith("max-age=")
        assert told["referrer-policy"] == "no-referrer"
        assert "server" not in told
        assert len(told["request-id"]) == 32


def test_a_server_that_asks_for_no_key_listens_to_this_machine_alone() -> None:
    """A54: it does not start on an address that others reach; one that asks for keys would."""
    for host in ("0.0.0.0", "shop.example"):
        done = run_serve(Settings(card=CARD, demo=True), "--host", host, "--port", "1")
        assert done.returncode != 0
        assert "demo" in done.stdout + done.stderr
        assert host in done.stdout + done.stderr


HOSTS = ("evil.example", "{ours}.evil.example", "evil{ours}", "", "{ours}:80", "[::1]", "{ours}/livez?", "a@{ours}",
         "127.0.0.1", "localhost")  # fmt: skip


def test_a_host_that_is_none_of_ours_is_refused(anybody: httpx.Client, running: Served) -> None:
    """A52, for the routes: no link can be made of a forged name."""
    ours = urlsplit(running.url).netloc
    for host in HOSTS:
        for name in ("Host", "X-Forwarded-Host"):
            answer = anybody.get("/livez", headers={name: host.format(ours=ours)})
            assert (answer.status_code, answer.text.count("unknown-host")) == (400, 1), (name, host)


def test_a_host_that_is_absent_or_told_twice_is_refused(running: Served) -> None:
    """A52; RFC 9112, 3.2: on a bare connection, since no client would send it."""
    ours = f"Host: {urlsplit(running.url).netloc}"
    wrong: list[tuple[str, ...]] = [
        ("GET /livez HTTP/1.1",),
        ("GET /livez HTTP/1.0",),
        ("GET /livez HTTP/1.1", "Host: evil.example", ours),
        ("GET /livez HTTP/1.1", ours, "Host: evil.example"),
        ("GET /livez HTTP/1.1", ours, ours),
        ("GET /livez HTTP/1.1", ours, "X-Forwarded-Host: evil.example", f"X-Forwarded-{ours}"),
    ]
    for lines in wrong:
        status, told = raw(running.url, *lines)
        assert (status, "urn:quoting:problem:unknown-host" in told) == (400, True), lines
    assert raw(running.url, "GET /livez HTTP/1.1", ours)[0] == 200


@pytest.mark.parametrize(
    "target",
    ["//v1/keys", "/v1/keys/", "/v1/%6beys", "/livez/../v1/keys", "/livez;/v1/keys", "/docs/../v1/keys",
     "http://evil.example/v1/keys", "/v1/keys?/livez", "/v1/keys#/livez", "/v1/keys%00", "/V1/keys", "*"],
)  # fmt: skip
def test_who_may_goes_by_the_path_however_it_is_written(running: Served, target: str) -> None:
    """A52: what is free of keys is found by the path itself, not by an address made of Host and target."""
    status, told = raw(running.url, f"GET {target} HTTP/1.1", f"Host: {urlsplit(running.url).netloc}")

    assert status in {400, 401, 404}
    assert '"keys"' not in told


def test_links_are_made_of_the_configured_address_alone(mounted: Mounted, asked_mounted: httpx.Client) -> None:
    """A52: asked by another name of ours, in headers and in bodies."""
    other = {"Host": f"{ANOTHER_HOST}:99"}
    kept = asked_mounted.post(BOOK, json={"job": job()}, headers={**once(), **other})
    asked_mounted.post(BOOK, json={"job": job()}, headers={**once(), **other})
    answers = [
        kept,
        asked_mounted.post("/v1/book/clients", json={"name": "Somebody"}, headers={**once(), **other}),
        asked_mounted.get(BOOK, params={"limit": 1}, headers=other),
        asked_mounted.get("/v1/openapi/owner.json", headers=other),
        asked_mounted.get("/v1/public/offers", headers=other),
        asked_mounted.get("/docs", headers=other),
    ]

    assert {answer.status_code for answer in answers} == {200, 201}
    for answer in answers:
        assert ANOTHER_HOST not in answer.text + str(answer.headers)
    links = [answers[0].headers["location"], answers[1].headers["location"], answers[2].links["next"]["url"]]
    assert all(link.startswith(f"{mounted.served.settings.base_url}/v1/") for link in links)
    assert answers[3].json()["servers"] == [{"url": mounted.served.settings.base_url}]
