"""Which pages may ask, and by which name: CORS by exact origin, Host (A50, A52)."""

from __future__ import annotations

import pytest

from tests.api.public.conftest import Shop
from tests.api.public.visiting import ORIGIN, choice

HOST = ORIGIN.removeprefix("https://")
OTHERS = [
    "null",
    "",
    f"http://{HOST}",
    f"{ORIGIN}:8443",
    f"{ORIGIN}/",
    f"https://www.{HOST}",
    "https://marrowby.example",
    f"https://x{HOST}",
    f"{ORIGIN}.evil.example",
    f"{ORIGIN.replace('.', 'x', 1)}",
    ORIGIN.upper(),
    "*",
    f"{ORIGIN}, https://evil.example",
]
PATHS = ["/v1/public/offers", "/v1/public/offers/cards/schema", "/v1/public/quotations/nothing"]


def preflight(shop: Shop, origin: str, path: str = "/v1/public/requests", method: str = "POST") -> object:
    """What a browser asks before it sends."""
    return shop.client.options(path, headers={"Origin": origin, "Access-Control-Request-Method": method})


@pytest.mark.parametrize("path", PATHS)
def test_a_named_origin_is_told_back_exactly(shop: Shop, path: str) -> None:
    answer = shop.visitor().get(path, Origin=ORIGIN)

    assert answer.headers["access-control-allow-origin"] == ORIGIN
    assert answer.headers["vary"] == "Origin"
    assert "access-control-allow-credentials" not in answer.headers
    assert "ETag" in answer.headers["access-control-expose-headers"]


@pytest.mark.parametrize("origin", OTHERS)
def test_another_origin_is_told_nothing(shop: Shop, origin: str) -> None:
    answer = shop.visitor().get("/v1/public/offers", Origin=origin)
    asked = preflight(shop, origin)

    assert answer.headers["vary"] == "Origin"
    assert not [name for name in answer.headers if name.startswith("access-control")]
    assert not [name for name in asked.headers if name.startswith("access-control")]  # type: ignore[attr-defined]  # an answer


def test_a_preflight_of_a_named_origin_is_allowed(shop: Shop) -> None:
    answer = shop.client.options(
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


def test_a_preflight_of_another_origin_is_a_problem(shop: Shop) -> None:
    answer = shop.client.options(
        "/v1/public/requests", headers={"Origin": "https://evil.example", "Access-Control-Request-Method": "POST"}
    )

    assert (answer.status_code, answer.headers["content-type"]) == (403, "application/problem+json")
    assert answer.json()["type"] == "urn:quoting:problem:origin-refused"


def test_the_owners_face_is_no_pages(shop: Shop) -> None:
    answer = shop.client.get("/v1/book/quotations", headers={"Origin": ORIGIN})

    assert not [name for name in answer.headers if name.startswith("access-control")]


@pytest.mark.parametrize("kind", ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data", ""])
def test_nothing_is_changed_by_what_needs_no_preflight(shop: Shop, kind: str) -> None:
    visitor = shop.visitor()
    headers = {**visitor.headers, "Idempotency-Key": "a-key-of-a-simple-form", "Origin": ORIGIN}
    body = str(choice()).replace("'", '"')
    answer = shop.client.post(
        "/v1/public/requests", content=body, headers={**headers, **({"Content-Type": kind} if kind else {})}
    )

    assert answer.status_code == 415
    with shop.book() as book:
        assert [event.kind for event in book.events()] == ["key made", "key made", "card published"]


@pytest.mark.parametrize(
    "headers",
    [
        {"Host": "evil.example"},
        {"X-Forwarded-Host": "evil.example"},
        {"Host": ""},
        {"Host": "testserver.local.evil.example"},
    ],
)
def test_a_host_that_is_not_ours_is_refused(shop: Shop, headers: dict[str, str]) -> None:
    answer = shop.client.get("/v1/public/offers", headers={**shop.visitor().headers, **headers})

    assert (answer.status_code, answer.json()["type"]) == (400, "urn:quoting:problem:unknown-host")
    assert "evil" not in answer.text


def test_links_have_the_configured_name_whatever_the_request_says(shop: Shop) -> None:
    answer = shop.visitor().send()

    assert answer.json()["link"].startswith(shop.settings.base_url + "/v1/public/quotations/")


def test_a_key_of_a_page_that_ended_lets_its_origin_in_no_more(shop: Shop) -> None:
    desk = shop.client.app.state.desk  # type: ignore[attr-defined]  # the app in this process
    with shop.book() as book:
        page = next(key for key in book.keys.list() if key.origins)
        book.keys.end(page.id, at=desk.now(), by="owner")
    desk._origins_until = 0.0

    answer = shop.client.options(
        "/v1/public/offers", headers={"Origin": ORIGIN, "Access-Control-Request-Method": "GET"}
    )
    assert answer.status_code == 403
