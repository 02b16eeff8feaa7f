"""How much may be asked for, on real servers: over every worker, by address, key and e-mail (A9, A16, A51)."""

from __future__ import annotations

import datetime
import time
from collections.abc import Callable, Iterator
from functools import partial
from typing import Any

import http_sf
import httpx
import pytest
from litestar.testing import TestClient

from api.app import create_app
from api.clients import client_address
from api.settings import Settings
from tests.api.asking import CARD, made_key, problem, together
from tests.api.conftest import ENGINES, HERE, MANY, MOST_PRICES, SECRET, Mounted, Serve, mounted_server, new_book
from tests.api.documents import Held
from tests.api.public.conftest import Shop, shop_of
from tests.api.public.visiting import CONTACT, Visitor, new_address, new_key, path_of
from tests.api.serving import free_url

BEGAN = datetime.datetime(2026, 11, 25, 10, 0, 12, 500_000, tzinfo=datetime.UTC)
TIGHT: dict[str, Any] = {
    "most_calls_a_minute": 12,
    "most_looks_a_minute": 10,
    "most_prices_a_minute": 3,
    "most_requests_an_hour": 3,
    "most_requests_an_email_a_day": 2,
    "most_artwork_an_hour": 2,
    "clients_a_key": 4,
}


@pytest.fixture(scope="module", params=ENGINES)
def tight_running(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Mounted]:
    """A real server with small limits, on each engine, whose clock stands until it is set."""
    folder = tmp_path_factory.mktemp(f"tight-{request.param}")
    book, artwork = new_book(request, request.param, folder), str(folder / "artwork")
    told = Settings(
        card=CARD, book=book, artwork=artwork, base_url=free_url(), secret=SECRET, trusted_proxies=1, **TIGHT
    )
    mounted = mounted_server(told, folder)
    mounted.clock.set(BEGAN)
    with mounted.served:
        yield mounted


@pytest.fixture
def tight(tight_running: Mounted, held: Held) -> Iterator[Shop]:
    """The same with a new key of a form, which nobody has spent anything of."""
    tight_running.clock.set(BEGAN)
    with shop_of(tight_running.served, held, tight_running.clock) as shop:
        yield shop


def told_limits(answer: httpx.Response) -> tuple[str, int, int, int, int]:
    """RateLimit fields, read as Structured Fields (RFC 9651): name, limit, its window, what is left, until when."""
    policies: Any = http_sf.parse(answer.headers["ratelimit-policy"].encode(), tltype="list")
    limits: Any = http_sf.parse(answer.headers["ratelimit"].encode(), tltype="list")
    ((policy, bounds),), ((name, left),) = policies, limits
    assert (name, set(bounds), set(left)) == (policy, {"q", "w"}, {"r", "t"})
    assert all(type(one) is int and one >= 0 for one in (*bounds.values(), *left.values()))
    return name, bounds["q"], bounds["w"], left["r"], left["t"]


def prices(visitor: Visitor) -> Callable[[], httpx.Response]:
    return visitor.price


def looks(visitor: Visitor) -> Callable[[], httpx.Response]:
    return partial(visitor.get, "/v1/public/offers")


def requests(visitor: Visitor) -> Callable[[], httpx.Response]:
    return lambda: visitor.send(contact={**CONTACT, "email": f"{new_key()}@post.example"})


def uploads(visitor: Visitor) -> Callable[[], httpx.Response]:
    return lambda: visitor.upload(b"no artwork", "no.pdf", "application/pdf")


KINDS = [
    ("looks", looks, "most_looks_a_minute", 60),
    ("prices", prices, "most_prices_a_minute", 60),
    ("requests", requests, "most_requests_an_hour", 3600),
    ("artwork", uploads, "most_artwork_an_hour", 3600),
]
REAL_WAITS = {60: 47.5, 3600: 3587.5}  # from the instant at which the clock stands


@pytest.mark.parametrize(("name", "asks", "setting", "window"), KINDS)
def test_who_asks_too_often_is_told_when_to_come_again(
    tight: Shop, name: str, asks: Callable[[Visitor], Callable[[], httpx.Response]], setting: str, window: int
) -> None:
    """A9: of every kind; what is told is no less than the real wait, and true."""
    ask, most = asks(tight.visitor()), getattr(tight.settings, setting)
    answers = [ask() for _ in range(most)]
    refused = ask()

    assert 429 not in {answer.status_code for answer in answers}
    for place, answer in enumerate(one for one in answers if one.is_success):
        told = told_limits(answer)
        assert told == (name, most, window, told[3], round(REAL_WAITS[window] + 0.5))
        assert told[3] <= most - place - 1
    assert (refused.status_code, problem(refused)) == (429, "quota-exceeded")
    assert told_limits(refused)[:4] == (name, most, window, 0)
    wait = int(refused.headers["retry-after"])
    assert refused.headers["retry-after"] == str(wait)
    assert REAL_WAITS[window] <= wait < REAL_WAITS[window] + 1

    tight.clock.set(BEGAN + datetime.timedelta(seconds=REAL_WAITS[window] - 0.001))
    early = ask()
    tight.clock.set(BEGAN + datetime.timedelta(seconds=wait))
    again = ask()

    assert (early.status_code, int(early.headers["retry-after"])) == (429, 1)
    assert again.status_code != 429


def test_another_address_is_not_held_up_and_neither_is_another_kind(tight: Shop) -> None:
    """A9: budgets are of a client address."""
    one, other = tight.visitor(), tight.visitor()
    statuses = [one.price().status_code for _ in range(5)]

    assert statuses == [200] * 3 + [429] * 2
    assert other.price().status_code == 200
    assert one.get("/v1/public/offers").status_code == 200


def test_every_answer_to_the_owner_tells_what_is_left_and_the_end_of_it_is_told(tight: Shop) -> None:
    """A9: with answers of every kind, refusals among them; another key has its own."""
    headers = {"Authorization": f"Bearer {tight.owner_key}"}

    def get(path: str, **more: str) -> httpx.Response:
        return tight.client.get(path, headers={**headers, **more})

    listed = get("/v1/rate-cards")
    answers = [
        listed,
        get("/v1/rate-cards", Accept="text/csv"),
        get("/v1/book/quotations/none"),
        get("/v1/book/quotations?limit=0"),
        get("/v1/openapi/owner.json"),
        tight.client.head("/v1/keys", headers=headers),
        tight.client.post("/v1/book/drafts", json={}, headers=headers),
    ]
    answers += [get("/v1/rate-cards") for _ in range(tight.settings.most_calls_a_minute - len(answers))]
    refused = get("/v1/rate-cards")
    others = made_key(tight.settings.book)

    assert {200, 400, 404, 406, 422} == {answer.status_code for answer in answers}
    for place, answer in enumerate(answers):
        name, most, window, left, seconds = told_limits(answer)
        assert (name, most, window, seconds) == ("calls", 12, 60, 48)
        assert left <= most - place - 1
    assert (refused.status_code, problem(refused)) == (429, "quota-exceeded")
    assert (told_limits(refused)[3], refused.headers["retry-after"]) == (0, "48")
    assert tight.client.get("/v1/rate-cards", headers=others).status_code == 200


def test_requests_are_limited_by_e_mail_however_it_is_written(tight: Shop) -> None:
    """A9: budgets are of an e-mail address too, whichever client sends it; for a day."""
    name = new_key()
    spellings = [f"{name}@lantern.example", f"{name.upper()}@Lantern.example", f"{name}@LANTERN.EXAMPLE"]
    answers = [tight.visitor().send(contact={**CONTACT, "email": one}) for one in spellings]
    wait = int(answers[-1].headers["retry-after"])

    assert [answer.status_code for answer in answers] == [201, 201, 429]
    assert told_limits(answers[-1])[:4] == ("requests-by-email", 2, 86_400, 0)
    assert BEGAN + datetime.timedelta(seconds=wait - 1) < datetime.datetime(2026, 11, 26, tzinfo=datetime.UTC)
    other = {**CONTACT, "email": f"{name}@tern-barn.example"}
    assert tight.visitor().send(contact=other).status_code == 201
    tight.clock.set(BEGAN + datetime.timedelta(seconds=wait))
    assert tight.visitor().send(contact={**CONTACT, "email": spellings[0]}).status_code == 201


def test_one_key_has_so_many_clients_worth_and_no_more(tight: Shop) -> None:
    """A9: budgets are of a key too: four clients' worth of three requests."""
    statuses = [requests(tight.visitor())().status_code for _ in range(14)]
    owner = tight.visitor()
    owner.headers |= tight.owner

    assert statuses == [201] * 12 + [429] * 2
    assert requests(owner)().status_code == 201


def test_one_client_does_not_use_up_a_key(tight: Shop) -> None:
    """A9: who goes on after a 429 spends nothing of what others have."""
    greedy = tight.visitor()
    assert [greedy.price().status_code for _ in range(40)].count(200) == 3
    assert [tight.visitor().price().status_code for _ in range(8)] == [200] * 8


def test_a_retry_of_what_was_kept_counts_nothing(tight: Shop) -> None:
    visitor, key = tight.visitor(), new_key()
    answers = [visitor.send(key=key, contact={**CONTACT, "email": f"{key}@post.example"}) for _ in range(8)]

    assert {answer.status_code for answer in answers} == {201}
    assert len({answer.content for answer in answers}) == 1


def test_what_was_refused_as_too_much_may_be_sent_again_with_its_key(tight: Shop) -> None:
    """A16: a 429 is not kept."""
    visitor, key = tight.visitor(), new_key()
    for _ in range(3):
        assert requests(visitor)().status_code == 201
    send = partial(visitor.send, key=key, contact={**CONTACT, "email": f"{key}@post.example"})
    with tight.happening() as events:
        refused = send()
    tight.clock.set(BEGAN + datetime.timedelta(seconds=int(refused.headers["retry-after"])))

    assert (refused.status_code, events) == (429, [])
    assert send().status_code == 201


def test_guesses_of_links_are_limited(tight: Shop) -> None:
    guesser = tight.stranger()
    statuses = [guesser.get(f"/v1/public/quotations/guess-{one}").status_code for one in range(12)]

    assert statuses == [404] * 10 + [429] * 2


def test_answers_to_a_quotation_are_limited_as_looks_are(tight: Shop) -> None:
    path = path_of(requests(tight.visitor())())
    stranger = tight.stranger()
    statuses = [stranger.post(f"{path}/decline", {"revision": 9}).status_code for _ in range(12)]

    assert statuses == [409] * 10 + [429] * 2


def test_addresses_of_one_network_are_one_client_and_of_another_are_not(tight: Shop) -> None:
    """A51: IPv6 by /64 (RFC 4291, 2.5.4), an IPv4 address by itself and however it is written."""
    network = new_address().removesuffix("1")
    inside = [f"{network}{number:x}:{number:x}" for number in range(1, 5)]
    mapped = ["203.0.113.9", "::ffff:203.0.113.9", "203.0.113.9", "::ffff:cb00:7109"]

    for addresses in (inside, mapped):
        visitors = [tight.visitor(address=one) for one in addresses]
        assert [one.price().status_code for one in visitors] == [200] * 3 + [429]
    assert tight.visitor(address="203.0.113.10").price().status_code == 200
    assert tight.visitor().price().status_code == 200


def test_only_what_the_nearest_proxy_says_is_believed(tight: Shop) -> None:
    """A51: behind one trusted proxy, what a client writes before its own address is not looked at."""
    own = new_address()
    visitors = [tight.visitor(address=f"{new_address()}, {own}") for _ in range(4)]

    assert [one.price().status_code for one in visitors] == [200] * 3 + [429]


def test_four_workers_accept_one_budget_together(served_shop: Shop) -> None:
    """A51: no more than the budget, and most of it; counted before a choice is refused as outside the offer."""
    visitor = served_shop.visitor()
    began = int(time.time()) // 60
    answers = together([partial(visitor.price, quantities=[7])] * (2 * MOST_PRICES), threads=32)
    windows = int(time.time()) // 60 - began + 1
    statuses = [answer.status_code for answer in answers]

    assert set(statuses) <= {422, 429}
    assert MOST_PRICES * 0.7 <= statuses.count(422) <= MOST_PRICES * windows
    for answer in answers:
        if answer.status_code == 429:
            assert told_limits(answer)[:4] == ("prices", MOST_PRICES, 60, 0)
            assert 1 <= int(answer.headers["retry-after"]) <= 60


def test_a_thousand_forged_addresses_of_one_peer_are_one_client(serve: Serve) -> None:
    """A51 (the class of CVE-2025-59152): a peer that is no trusted proxy is believed nothing."""
    served = serve(secret=SECRET, most_looks_a_minute=20, clients_a_key=MANY)
    with httpx.Client(base_url=served.url, timeout=60, verify=False) as client:

        def look(number: int) -> int:
            headers = {
                "X-Forwarded-For": new_address(),
                "Forwarded": f"for=203.0.113.{number % 250}",
                "X-Real-IP": f"203.0.113.{number % 250}",
            }
            return client.get("/v1/public/quotations/nothing", headers=headers).status_code

        began = int(time.time()) // 60
        statuses = together([partial(look, number) for number in range(1000)], threads=16)
        windows = int(time.time()) // 60 - began + 1

    assert 20 <= statuses.count(404) <= 20 * windows
    assert statuses.count(429) == 1000 - statuses.count(404)


@pytest.mark.parametrize(
    ("peer", "forwarded", "proxies", "counted"),
    [
        ("198.51.100.7", ["203.0.113.9"], 0, "198.51.100.7"),
        ("127.0.0.1", ["203.0.113.9"], 1, "203.0.113.9"),
        ("10.0.0.2", ["1.2.3.4, 203.0.113.9"], 1, "203.0.113.9"),
        ("10.0.0.2", ["1.2.3.4", "203.0.113.9, 10.0.0.9"], 2, "203.0.113.9"),
        ("10.0.0.2", ["203.0.113.9"], 2, "10.0.0.2"),
        ("10.0.0.2", ["not an address"], 1, "10.0.0.2"),
        ("10.0.0.2", [], 1, "10.0.0.2"),
        ("8.8.4.4", ["203.0.113.9"], 1, "8.8.4.4"),
        ("2001:db8:1:2:3:4:5:6", [], 0, "2001:db8:1:2::/64"),
        ("2001:db8:1:2:ffff::1", [], 0, "2001:db8:1:2::/64"),
        ("::ffff:203.0.113.9", [], 0, "203.0.113.9"),
        ("fe80::1%eth0", [], 0, "fe80::/64"),
        ("10.0.0.2", ["[2001:db8:1:2::9]"], 1, "2001:db8:1:2::/64"),
        ("", [], 0, "unknown"),
        ("/run/socket", ["203.0.113.9"], 1, "203.0.113.9"),
    ],
)
def test_a_client_is_who_a_trusted_proxy_says_or_the_peer(
    peer: str, forwarded: list[str], proxies: int, counted: str
) -> None:
    """A51: peers that no loopback interface has, and more proxies."""
    assert client_address(peer, forwarded, trusted_proxies=proxies) == counted


def test_nothing_of_an_address_or_e_mail_can_be_read_in_the_book_of_budgets(served_shop: Shop) -> None:
    served_shop.visitor(address="203.0.113.77").send()
    with served_shop.book() as book, book.storage.reading() as connection:
        names = [row[0] for row in connection.exec_driver_sql("SELECT name FROM budgets")]

    assert len(names) >= 3
    assert not any("203.0.113" in name or "@" in name or "wilmot" in name for name in names)


def test_without_a_book_each_worker_goes_by_a_budget_of_its_own() -> None:
    """In this process: a server that is started has a book."""
    app = create_app(Settings(card=CARD, demo=True, base_url=HERE, most_prices_a_minute=3))
    visitor = Visitor(TestClient(app, base_url=HERE), "")

    assert [visitor.price().status_code for _ in range(4)] == [200, 200, 200, 429]
