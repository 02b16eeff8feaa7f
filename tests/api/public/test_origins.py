"""Which pages may ask the real server, and by which name: CORS by exact origin, Host (A50, A52)."""

from __future__ import annotations

import json
import time
from urllib.parse import urlsplit

import httpx
import pytest

from api.media_types import JSON, PDF, XML
from api.problems import PROBLEM_JSON
from tests.api.asking import once, problem, raw
from tests.api.public.conftest import Shop
from tests.api.public.visiting import ACCEPT, CONTACT, ORIGIN, choice, new_key, path_of
from tests.documents.reading import text_of

HOST = ORIGIN.removeprefix("https://")
OTHERS = [
    "null",
    "",
    f"http://{HOST}",
    f"{ORIGIN}:8443",
    f"{ORIGIN}:443",
    f"{ORIGIN}/",
    f"https://www.{HOST}",
    "https://marrowby.example",
    f"https://x{HOST}",
    f"{ORIGIN}.evil.example",
    f"{ORIGIN.replace('.', 'x', 1)}",
    f"https://evil.example/{ORIGIN}",
    f"https://evil.example#{HOST}",
    f"https://{HOST}@evil.example",
    ORIGIN.upper(),
    "*",
    f"{ORIGIN}, https://evil.example",
    f"{ORIGIN} https://evil.example",
]
PATHS = ["/v1/public/offers", "/v1/public/offers/cards/schema", "/v1/public/quotations/nothing"]
SIMPLE = ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x", ""]  # Fetch, 2.2.2


HEARD_SECONDS = 60  # a guard: workers hear of a new origin within a second


@pytest.fixture
def paged_shop(served_shop: Shop) -> Shop:
    """The real server, once every worker has heard of the origin of the form's page."""
    until = time.monotonic() + HEARD_SECONDS
    while {preflight_anew(served_shop, ORIGIN) for _ in range(12)} != {204}:
        assert time.monotonic() < until
    return served_shop


def allowing(answer: httpx.Response) -> list[str]:
    """What an answer lets a page of another origin do."""
    return [name for name in answer.headers if name.startswith("access-control")]


def preflight(shop: Shop, origin: str, path: str = "/v1/public/requests", method: str = "POST") -> httpx.Response:
    """What a browser asks before it sends."""
    asked = {"Access-Control-Request-Method": method, "Access-Control-Request-Headers": "authorization,content-type"}
    return shop.client.options(path, headers={"Origin": origin, **asked})


@pytest.mark.parametrize("path", PATHS)
def test_a_named_origin_is_told_back_exactly(paged_shop: Shop, path: str) -> None:
    """A50."""
    answer = paged_shop.visitor().get(path, Origin=ORIGIN)

    assert answer.headers["access-control-allow-origin"] == ORIGIN
    assert answer.headers["vary"] == "Origin"
    assert "access-control-allow-credentials" not in answer.headers
    assert "ETag" in answer.headers["access-control-expose-headers"]


@pytest.mark.parametrize("origin", OTHERS)
def test_another_origin_is_told_nothing(served_shop: Shop, origin: str) -> None:
    """A50 (the class of CVE-2026-25478): null, http, other ports, domains above, below and alike."""
    answer = served_shop.visitor().get("/v1/public/offers", Origin=origin)
    asked = preflight(served_shop, origin)

    assert (answer.headers["vary"], asked.headers["vary"]) == ("Origin", "Origin")
    assert allowing(answer) == allowing(asked) == []


def test_an_error_of_a_named_origin_may_be_read_and_of_another_may_not(paged_shop: Shop) -> None:
    """A50."""
    for origin, told in ((ORIGIN, ORIGIN), ("https://evil.example", None)):
        for path in ("/v1/public/offers/nothing", "/v1/public/nothing"):
            answer = paged_shop.visitor().get(path, Origin=origin)
            assert answer.status_code == 404
            assert answer.headers.get("access-control-allow-origin") == told


def test_a_preflight_of_a_named_origin_is_allowed(paged_shop: Shop) -> None:
    """A50."""
    answer = paged_shop.client.options(
        "/v1/public/requests",
        headers={
            "Origin": ORIGIN,
            "Access-Control-Request-Method": "POST",
            "Access-Control-Request-Headers": "authorization,content-type,idempotency-key",
        },
    )

    assert (answer.status_code, answer.content) == (204, b"")
    assert answer.headers["access-control-allow-origin"] == ORIGIN
    assert answer.headers["access-control-allow-methods"] == "GET, HEAD, POST"
    assert "idempotency-key" in answer.headers["access-control-allow-headers"]
    assert "access-control-allow-credentials" not in answer.headers


def test_a_preflight_of_another_origin_is_a_problem(served_shop: Shop) -> None:
    """A50."""
    answer = preflight(served_shop, "https://evil.example")

    assert (answer.status_code, answer.headers["content-type"]) == (403, PROBLEM_JSON)
    assert problem(answer) == "origin-refused"


@pytest.mark.parametrize("path", ["/v1/book/quotations", "/v1/keys", "/livez", "/v1/openapi/public.json"])
def test_the_owners_face_is_no_pages(served_shop: Shop, path: str) -> None:
    """A50: neither an answer nor a preflight of it lets a page in."""
    answer = served_shop.client.get(path, headers={**served_shop.owner, "Origin": ORIGIN})
    asked = preflight(served_shop, ORIGIN, path, "GET")

    assert answer.status_code in {200, 404}
    assert allowing(answer) == allowing(asked) == []


@pytest.mark.parametrize("kind", SIMPLE)
def test_nothing_is_changed_by_what_needs_no_preflight(served_shop: Shop, kind: str) -> None:
    """A7, A50: on every public route that takes a body, though its page be one that may ask."""
    path = served_shop.visitor().link()
    calls = {
        "/v1/public/prices": choice(),
        "/v1/public/requests": choice(contact=CONTACT),
        f"{path}/acceptance": ACCEPT,
        f"{path}/decline": {"revision": 1},
        "/v1/public/artwork?name=x.pdf": {},
    }
    told = {"Idempotency-Key": new_key(), "Origin": ORIGIN, **({"Content-Type": kind} if kind else {})}
    with served_shop.happening() as events:
        for place, body in calls.items():
            answer = served_shop.visitor().ask("POST", place, json.dumps(body), **told)
            assert (answer.status_code, problem(answer)) == (415, "unsupported-media-type"), place
    assert events == []


@pytest.mark.parametrize(
    "host",
    [
        "evil.example",
        "{ours}.evil.example",
        "evil.example:{port}",
        "{ours}@evil.example",
        "evil.example/{ours}",
        "{ours}/livez?",
        "{ours}#",
        "{ours}\\evil.example",
        "{ours},evil.example",
        "{ours} evil.example",
        "127.0.0.1",
        "",
        "é",
    ],
)
def test_a_host_that_is_not_ours_is_refused(served_shop: Shop, host: str) -> None:
    """A52: forged in each of the ways that a name can be misread, of a public and of an owner's path."""
    ours = urlsplit(served_shop.settings.base_url)
    told = host.format(ours=ours.netloc, port=ours.port)
    for path in ("/v1/public/offers", "/v1/book/quotations", "/livez"):
        status, answer = raw(served_shop.settings.base_url, f"GET {path} HTTP/1.1", f"Host: {told}")
        assert status == 400, path
        assert "evil" not in answer
        if host != "é":
            assert "urn:quoting:problem:unknown-host" in answer


def test_no_host_or_two_are_refused(served_shop: Shop) -> None:
    """A52; RFC 9112, 3.2: a server must refuse both with 400."""
    ours = urlsplit(served_shop.settings.base_url).netloc
    get = "GET /v1/public/quotations/nothing HTTP/1.1"

    assert raw(served_shop.settings.base_url, get, f"Host: {ours}")[0] == 404
    for hosts in ([], ["evil.example", ours], [ours, "evil.example"], [ours, ours]):
        assert raw(served_shop.settings.base_url, get, *(f"Host: {host}" for host in hosts))[0] == 400, hosts
    assert raw(served_shop.settings.base_url, "GET /livez HTTP/1.0")[0] == 400


@pytest.mark.parametrize("name", ["X-Forwarded-Host", "x-forwarded-host"])
def test_a_forwarded_host_that_is_not_ours_is_refused(served_shop: Shop, name: str) -> None:
    """A52: whoever says so, and however often."""
    ours = urlsplit(served_shop.settings.base_url).netloc
    get = ["GET /v1/public/quotations/nothing HTTP/1.1", f"Host: {ours}"]

    assert raw(served_shop.settings.base_url, *get, f"{name}: {ours}")[0] == 404
    for told in (["evil.example"], ["evil.example", ours], [ours, "evil.example"], [f"{ours}, evil.example"], [""]):
        status, answer = raw(served_shop.settings.base_url, *get, *(f"{name}: {host}" for host in told))
        assert (status, "evil" in answer) == (400, False), told


def test_what_may_be_asked_is_told_by_the_path_alone(served_shop: Shop) -> None:
    """A52 (the class of CVE-2026-48710): no address that is put together from Host decides who may ask."""
    ours = urlsplit(served_shop.settings.base_url).netloc
    for target in (
        f"http://{ours}/v1/book/quotations",
        "http://evil.example/v1/book/quotations",
        "/v1/public/../book/quotations",
        "/v1/public/%2e%2e/book/quotations",
        "/v1/book/quotations?/v1/public/offers",
        "//v1/book/quotations",
        "/v1/public//offers",
        "/v1/book/quotations/",
        "/livez/../v1/book/quotations",
    ):
        status, _ = raw(served_shop.settings.base_url, f"GET {target} HTTP/1.1", f"Host: {ours}")
        assert status in {400, 401, 404}, target


def test_links_have_the_configured_name_whatever_the_request_says(served_shop: Shop, pango: None) -> None:
    """A52: in bodies, headers and documents."""
    forged = {"Forwarded": "host=evil.example;proto=https", "X-Forwarded-Proto": "gopher", "X-Original-URL": "/x",
              "X-Forwarded-Port": "1", "X-Forwarded-Prefix": "/evil", "Referer": "https://evil.example/"}  # fmt: skip
    visitor = served_shop.visitor()
    sent = visitor.post("/v1/public/requests", choice(contact=CONTACT), **forged)
    listed = visitor.get("/v1/public/offers", **forged)
    path, base = path_of(sent), served_shop.settings.base_url
    answers = [sent, listed, *(visitor.get(path, Accept=kind, **forged) for kind in (JSON, PDF, XML))]

    assert sent.json()["link"].startswith(base + "/v1/public/quotations/")
    assert sent.headers["location"] == sent.json()["link"]
    assert all(one["schema"].startswith(base + "/v1/public/offers/") for one in listed.json()["offers"])
    for answer in answers:
        whole = answer.content if answer.headers["content-type"] != PDF else text_of(answer.content).encode()
        for word in (b"evil", b"gopher"):
            assert word not in whole
            assert word not in str(answer.headers).encode()


def test_a_key_of_a_page_that_ended_lets_its_origin_in_no_more(served_shop: Shop) -> None:
    """A50, A53: within a second, in every worker."""
    origin = f"https://{new_key()}.example"
    asked = {"name": "another page", "role": "form", "origins": [origin]}
    made = served_shop.client.post("/v1/keys", json=asked, headers={**served_shop.owner, **once()})
    time.sleep(1.1)
    before = {preflight_anew(served_shop, origin) for _ in range(12)}
    ended = served_shop.client.delete(f"/v1/keys/{made.json()['key']['id']}", headers=served_shop.owner)
    time.sleep(1.1)
    after = {preflight_anew(served_shop, origin) for _ in range(12)}

    assert (made.status_code, ended.status_code) == (201, 200)
    assert (before, after) == ({204}, {403})


def preflight_anew(shop: Shop, origin: str) -> int:
    """A preflight over a connection of its own, which any worker may take."""
    headers = {"Origin": origin, "Access-Control-Request-Method": "GET"}
    place = f"{shop.settings.base_url}/v1/public/offers"
    return httpx.options(place, headers=headers, timeout=30, verify=False).status_code
