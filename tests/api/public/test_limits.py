"""How much may be asked for: over every worker, by address, key and e-mail; who a client is (A9, A51)."""

from __future__ import annotations

from pathlib import Path

import pytest
from litestar.testing import TestClient
from msgspec.structs import replace

from api.app import create_app
from api.clients import client_address
from tests.api.conftest import HERE
from tests.api.public.conftest import Shop, made_keys
from tests.api.public.visiting import CONTACT, Visitor, new_address


def limited(shop: Shop, tmp_path: Path, **told: int) -> Shop:
    """The same shop with tighter limits and a book of its own."""
    settings = replace(shop.settings, book=str(tmp_path / "limited.sqlite"), **told)
    form, owner = made_keys(settings.book)
    client = TestClient(create_app(settings), base_url=HERE, raise_server_exceptions=False)
    return Shop(client, form, owner, settings)


def test_who_asks_too_often_is_told_when_to_come_again(shop: Shop, tmp_path: Path) -> None:
    visitor = limited(shop, tmp_path, most_prices_a_minute=3).visitor()
    answers = [visitor.price() for _ in range(5)]

    refused = answers[-1]
    assert (refused.status_code, refused.json()["type"]) == (429, "urn:quoting:problem:quota-exceeded")
    assert 1 <= int(refused.headers["retry-after"]) <= 60
    assert refused.headers["ratelimit"].startswith('"prices";r=0;t=')
    assert answers[0].headers["ratelimit-policy"] == '"prices";q=3;w=60'


def test_requests_are_limited_by_e_mail_however_it_is_written(shop: Shop, tmp_path: Path) -> None:
    few = limited(shop, tmp_path, most_requests_an_email_a_day=2)
    spellings = ["wilmot@lantern.example", "Wilmot@Lantern.example", "WILMOT@LANTERN.EXAMPLE"]
    statuses = [few.visitor().send(contact={**CONTACT, "email": one}).status_code for one in spellings]

    assert statuses == [201, 201, 429]
    assert few.visitor().send(contact={**CONTACT, "email": "hesper@tern-barn.example"}).status_code == 201


def test_one_key_has_so_many_clients_worth_and_no_more(shop: Shop, tmp_path: Path) -> None:
    few = limited(shop, tmp_path, most_requests_an_hour=1, clients_a_key=2)
    statuses = [
        few.visitor().send(contact={**CONTACT, "email": f"v{one}@post.example"}).status_code for one in range(3)
    ]

    assert statuses == [201, 201, 429]


def test_a_retry_of_what_was_kept_counts_nothing(shop: Shop, tmp_path: Path) -> None:
    visitor = limited(shop, tmp_path, most_requests_an_hour=1).visitor()
    answers = [visitor.send(key="one-key-of-the-order-form") for _ in range(5)]

    assert {answer.status_code for answer in answers} == {201}
    assert len({answer.content for answer in answers}) == 1


def test_guesses_of_links_are_limited(shop: Shop, tmp_path: Path) -> None:
    few = limited(shop, tmp_path, most_looks_a_minute=10)
    guesser = few.stranger()
    statuses = [guesser.get(f"/v1/public/quotations/guess-{one}").status_code for one in range(12)]

    assert statuses.count(429) >= 2
    assert set(statuses) == {404, 429}


def test_without_a_book_each_worker_goes_by_a_budget_of_its_own(shop: Shop) -> None:
    app = create_app(replace(shop.settings, book="", demo=True, most_prices_a_minute=3))
    visitor = Visitor(TestClient(app, base_url=HERE), "")

    assert [visitor.price().status_code for _ in range(4)] == [200, 200, 200, 429]


def test_nothing_of_an_address_or_e_mail_can_be_read_in_the_book_of_budgets(shop: Shop) -> None:
    visitor = shop.visitor(address="203.0.113.77")
    visitor.send()
    with shop.book() as book, book.storage.reading() as connection:
        names = [row[0] for row in connection.exec_driver_sql("SELECT name FROM budgets")]

    assert len(names) == 3
    assert not any("203.0.113" in name or "@" in name or "wilmot" in name for name in names)


def test_a_thousand_forged_addresses_of_one_peer_are_one_client(shop: Shop, tmp_path: Path) -> None:
    settings = replace(shop.settings, book=str(tmp_path / "direct.sqlite"), trusted_proxies=0, most_looks_a_minute=20)
    form, _ = made_keys(settings.book)
    client = TestClient(create_app(settings), base_url=HERE)
    statuses = []
    for number in range(1000):
        visitor = Visitor(client, form, address=new_address())
        forwarded = f"for=203.0.113.{number % 250}"
        statuses.append(visitor.get("/v1/public/offers/nothing", Forwarded=forwarded).status_code)

    # Two minutes may be touched.
    assert 20 <= statuses.count(404) <= 40


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
    assert client_address(peer, forwarded, trusted_proxies=proxies) == counted
