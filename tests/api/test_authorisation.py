"""
Who may ask, from inside: what a key is read from, what the gate lets pass, how much is granted (A39, A50 to A54).

What is seen from outside is shown on real servers by the other tests of this room. These hold each bound and each
branch, as mutants of the same modules ask for (``python -m tests.mutants``).
"""

from __future__ import annotations

import datetime
import json
import logging
import re
import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import anyio
import pytest
from litestar.exceptions import WebSocketDisconnect
from litestar.testing import TestClient
from msgspec import Struct
from msgspec.structs import replace

from api import keys
from api.app import create_app
from api.calls import Answer, Call, Nothing, in_json
from api.clients import client_address
from api.desk import CARD_SECONDS, Desk
from api.etags import Tag
from api.gate import Gate
from api.keys import ANON, DEMO, Credential, credential_of, goes_on, holds_secret, sent_secret
from api.limits import Left, Limit, Limits
from api.media_types import JSON
from api.operations import Answers, Superseded, operation
from api.problems import ProblemError
from api.settings import Settings
from quoting.book import QuoteBook, tables
from quoting.book.access_keys import AccessKey
from quoting.errors import StorageError
from tests.api.asking import CARD, problem
from tests.api.conftest import HERE
from tests.book.shop import NOW, card

SECRET = "a-secret-that-stands-nowhere-in-the-book"
KEY = "qk_0123456789abcdef_" + "A" * 43
TOKEN = re.compile(r"[0-9a-f]{32}")
MINUTE = datetime.timedelta(minutes=1)
TEN_MINUTES = 10 * MINUTE


class Clock:
    """A clock that stands until it is set, or goes on by a step whenever it is looked at."""

    def __init__(self) -> None:
        self.at = NOW
        self.step = datetime.timedelta()

    def __call__(self) -> datetime.datetime:
        self.at += self.step
        return self.at


# What is read from a header.


@pytest.mark.parametrize("told", [f"Bearer {KEY}", f"bearer {KEY}", f"BEARER {KEY}", f"Bearer  {KEY} "])
def test_a_key_is_sent_as_bearer_in_whatever_case(told: str) -> None:
    """The scheme's case does not matter: RFC 9110, 11.1; one space or more: RFC 6750, 2.1 (A)."""
    assert sent_secret(told) == KEY


@pytest.mark.parametrize(
    "told",
    [
        "",
        "Bearer",
        "Bearer ",
        KEY,
        f"Basic {KEY}",
        f"Bearer{KEY}",
        f"Bearer {KEY}x",
        f"Bearer x{KEY}",
        f"Bearer {KEY[:-1]}",
        *(f"Bearer {KEY} {KEY}", f"Bearer\t{KEY}", f"Token {KEY}", f"Bearer {KEY[:5]}X{KEY[6:]}", f"Bearer {KEY}="),
    ],
)
def test_what_is_no_key_of_ours_is_refused_with_how_to_send_one(told: str) -> None:
    """401 comes with WWW-Authenticate: RFC 9110, 11.6.1 and 15.5.2; RFC 6750, 3 (A)."""
    with pytest.raises(ProblemError) as refused:
        sent_secret(told)

    assert (refused.value.told.name, refused.value.told.headers) == (
        "unauthorized",
        {"WWW-Authenticate": 'Bearer realm="quoting"'},
    )


def test_who_sends_nothing_sends_no_key() -> None:
    assert sent_secret(None) is None


def key_with(*scopes: str) -> AccessKey:
    return AccessKey(id="7", name="a", scopes=scopes, origins=(), made_at=NOW, ends_at=None)


@pytest.mark.parametrize(
    ("scopes", "role"),
    [
        (("owner",), "owner"),
        (("owner-ro",), "owner-ro"),
        (("form",), "form"),
        (("form", "owner"), "owner"),
        (("form", "owner-ro"), "owner-ro"),
        (("owner-ro", "owner"), "owner"),
        (("something", "form"), "form"),
    ],
)
def test_a_key_stands_for_the_greatest_of_its_roles(scopes: tuple[str, ...], role: str) -> None:
    found = credential_of(key_with(*scopes))

    assert found is not None
    assert (found.role, found.id, found.by) == (role, "7", f"{role} 7")


@pytest.mark.parametrize("scopes", [(), ("visitor",), ("anon",), ("OWNER",), ("owner ",), ("own",)])
def test_a_key_of_no_role_stands_for_nobody(scopes: tuple[str, ...]) -> None:
    """Nobody is made a visitor, or nobody, by a key: those two are roles of whom brings none."""
    assert credential_of(key_with(*scopes)) is None


def test_who_brings_no_key_is_told_by_the_part_alone() -> None:
    assert (ANON.by, DEMO.by, Credential("visitor").by) == ("anon", "owner demo", "visitor")


@pytest.mark.parametrize(
    ("role", "seconds", "on"),
    [
        ("form", 0, True),
        ("form", 10**6, True),
        ("owner", 0, True),
        ("owner", 59.9, True),
        ("owner", 60, False),
        ("owner", 61, False),
        ("owner-ro", 59.9, True),
        ("owner-ro", 60, False),
    ],
)
def test_while_the_book_does_not_answer_a_form_goes_on_and_an_owner_for_a_minute(
    role: keys.Role, seconds: float, on: bool
) -> None:
    """A34."""
    assert goes_on(Credential(role, "7"), seconds) is on


@pytest.mark.parametrize(
    ("text", "holds"),
    [(KEY, True), (f"x={KEY}&y", True), (f"a{KEY}b", True), (KEY[:-1], False), (KEY.upper(), False), ("qk_", False)],
)
def test_a_secret_is_seen_wherever_it_stands_in_a_text(text: str, holds: bool) -> None:
    assert holds_secret(text) is holds


# Who a client is.


@pytest.mark.parametrize(
    ("peer", "forwarded", "proxies", "counted"),
    [
        ("198.51.100.7", ["203.0.113.9"], 0, "198.51.100.7"),
        ("127.0.0.1", ["203.0.113.9"], 0, "127.0.0.1"),
        ("127.0.0.1", ["203.0.113.9"], 1, "203.0.113.9"),
        ("127.0.0.1", ["1.2.3.4, 203.0.113.9"], 1, "203.0.113.9"),
        ("127.0.0.1", ["1.2.3.4", "203.0.113.9"], 1, "203.0.113.9"),
        ("127.0.0.1", ["1.2.3.4", "203.0.113.9 , 10.0.0.9"], 2, "203.0.113.9"),
        ("127.0.0.1", ["203.0.113.9"], 2, "127.0.0.1"),
        ("127.0.0.1", ["unknown"], 1, "127.0.0.1"),
        ("127.0.0.1", [""], 1, "127.0.0.1"),
        ("127.0.0.1", [], 1, "127.0.0.1"),
        ("8.8.4.4", ["203.0.113.9"], 1, "8.8.4.4"),
        ("2001:4860::1", ["203.0.113.9"], 1, "2001:4860::/64"),
        ("", ["203.0.113.9"], 1, "203.0.113.9"),
        ("", [], 0, "unknown"),
        ("/run/socket", [], 1, "unknown"),
        ("2001:db8:1:2:3:4:5:6", [], 0, "2001:db8:1:2::/64"),
        ("2001:db8:1:3::", [], 0, "2001:db8:1:3::/64"),
        ("::ffff:203.0.113.9", [], 0, "203.0.113.9"),
        ("fe80::1%eth0", [], 0, "fe80::/64"),
        ("127.0.0.1", ["[2001:db8:1:2::9]"], 1, "2001:db8:1:2::/64"),
    ],
)
def test_a_client_is_the_peer_or_whom_a_proxy_of_the_shops_own_names(
    peer: str, forwarded: list[str], proxies: int, counted: str
) -> None:
    """A51: an IPv6 network of one household has 64 bits (RFC 4291, 2.5.4); a mapped address is IPv4 (2.5.5.2)."""
    assert client_address(peer, forwarded, trusted_proxies=proxies) == counted


# How much is granted.


@pytest.mark.parametrize(
    ("at", "seconds", "ends"),
    [
        ("10:00:00", 60, "10:01:00"),
        ("10:00:59.999999", 60, "10:01:00"),
        ("10:01:00", 60, "10:02:00"),
        ("10:59:59", 3600, "11:00:00"),
        ("00:00:00", 86_400, "24:00:00"),
        ("23:59:59", 86_400, "24:00:00"),
    ],
)
def test_windows_end_with_the_clocks_own_multiples(at: str, seconds: int, ends: str) -> None:
    """A9, A51: so that all workers have the same ones."""
    day = datetime.datetime(2026, 11, 25, tzinfo=datetime.UTC)
    end = (
        day + datetime.timedelta(days=1)
        if ends == "24:00:00"
        else datetime.datetime.fromisoformat(f"2026-11-25T{ends}Z")
    )

    assert Limit("looks", 5, seconds).window_end(datetime.datetime.fromisoformat(f"2026-11-25T{at}Z")) == end


def test_what_is_left_is_told_as_the_draft_of_ratelimit_fields_has_it() -> None:
    """draft-ietf-httpapi-ratelimit-headers: a policy with q and w, and r with t of it (A)."""
    assert Left(Limit("prices", 120, 60), 7, 13).headers == {
        "RateLimit-Policy": '"prices";q=120;w=60',
        "RateLimit": '"prices";r=7;t=13',
    }


class Desks:
    """Workers at one book, with one clock."""

    def __init__(self, book: Path, *, workers: int = 1, clock: Clock | None = None) -> None:
        self.clock = clock or Clock()
        told = Settings(card=CARD, book=str(book), secret=SECRET, workers=workers)
        self.desks = [Desk(told, clock=self.clock) for _ in range(workers)]
        self.limits = [desk.limits for desk in self.desks]

    def __enter__(self) -> Desks:
        return self

    def __exit__(self, *_: object) -> None:
        for desk in self.desks:
            desk.close()

    def spent(self, limit: Limit, whose: str, times: int, *, worker: int = 0) -> list[int]:
        """What is left after each of so many requests; how many seconds to wait, below zero, where one is refused."""

        async def spend() -> list[int]:
            found = []
            for _ in range(times):
                try:
                    found.append((await self.limits[worker].spend(limit, whose)).left)
                except ProblemError as error:
                    found.append(-int(error.told.headers["Retry-After"]))
            return found

        return anyio.run(spend)

    def used(self) -> dict[str, int]:
        """What the book has granted, by the names of the budgets."""
        with QuoteBook(self.desks[0].settings.book) as book, book.storage.reading() as connection:
            return {row.name: row.used for row in connection.execute(tables.budgets.select())}


@pytest.fixture
def book(tmp_path: Path) -> Path:
    return tmp_path / "book.sqlite"


PRICES = Limit("prices", 5, 60)


def test_so_many_are_granted_and_not_one_more(book: Path) -> None:
    """A9: five a minute, leased one by one; then Retry-After is what is left of the minute."""
    with Desks(book) as desks:
        desks.clock.at = NOW + datetime.timedelta(seconds=12.5)

        assert desks.spent(PRICES, "somebody", 7) == [0, 0, 0, 0, 0, -48, -48]
        desks.clock.at = NOW + datetime.timedelta(seconds=59.5)
        assert desks.spent(PRICES, "somebody", 1) == [-1]
        desks.clock.at = NOW + MINUTE
        assert desks.spent(PRICES, "somebody", 1) == [0]


def test_a_refusal_tells_the_limit_and_that_nothing_is_left(book: Path) -> None:
    """A9."""
    with Desks(book) as desks:
        desks.spent(PRICES, "somebody", 6)
        with pytest.raises(ProblemError) as refused:
            desks.limits[0].check(PRICES, "somebody")

    assert refused.value.told.headers == {
        "Retry-After": "60",
        "RateLimit-Policy": '"prices";q=5;w=60',
        "RateLimit": '"prices";r=0;t=60',
    }


def test_a_wait_is_a_second_at_least(book: Path) -> None:
    """Also where the minute is over between the look at the clock and the answer: 0 would be to ask again at once."""
    with Desks(book) as desks:
        desks.spent(PRICES, "somebody", 6)
        desks.clock.step = datetime.timedelta(microseconds=1)
        desks.clock.at = NOW + MINUTE - 2 * desks.clock.step
        with pytest.raises(ProblemError) as refused:
            desks.limits[0].check(PRICES, "somebody")

    assert desks.clock.at == NOW + MINUTE
    assert refused.value.told.headers["Retry-After"] == "1"


def test_what_is_told_with_each_request_is_what_is_left_and_when_it_begins_anew(book: Path) -> None:
    with Desks(book) as desks:
        desks.clock.at = NOW + datetime.timedelta(seconds=20)

        async def spend() -> Left:
            return await desks.limits[0].spend(Limit("looks", 40, 60), "somebody")

        assert anyio.run(spend) == Left(Limit("looks", 40, 60), 9, 40)


@pytest.mark.parametrize(("workers", "most", "share"), [(1, 40, 10), (2, 40, 5), (4, 40, 2), (4, 15, 1), (1, 3, 1)])
def test_a_worker_leases_a_quarter_of_its_part_at_a_time_and_one_at_least(
    book: Path, workers: int, most: int, share: int
) -> None:
    """A51: what other workers hold and do not spend is a quarter of the budget at most."""
    with Desks(book, workers=workers) as desks:
        assert desks.spent(Limit("looks", most, 60), "somebody", 1) == [share - 1]
        assert list(desks.used().values()) == [share]
        desks.spent(Limit("looks", most, 60), "somebody", share - 1)
        assert list(desks.used().values()) == [share]
        desks.spent(Limit("looks", most, 60), "somebody", 1)
        assert list(desks.used().values()) == [2 * share]


def test_requests_that_come_together_wait_for_one_lease(book: Path) -> None:
    """Ten at once lease ten, once: the others go by what the first one leased."""
    limit, left = Limit("looks", 40, 60), list[int]()
    with Desks(book) as desks:

        async def spend() -> None:
            left.append((await desks.limits[0].spend(limit, "somebody")).left)

        async def all_at_once() -> None:
            async with anyio.create_task_group() as tasks:
                for _ in range(10):
                    tasks.start_soon(spend)

        anyio.run(all_at_once)

        assert sorted(left) == list(range(10))
        assert list(desks.used().values()) == [10]


def test_two_workers_grant_one_budget_together(book: Path) -> None:
    """A51: seven by turns, of five: no worker knows of the other but by the book."""
    with Desks(book, workers=2) as desks:
        turns = [desks.spent(PRICES, "somebody", 1, worker=turn % 2)[0] for turn in range(7)]

    assert turns == [0] * 5 + [-60, -60]


def test_budgets_of_others_and_of_other_limits_are_others(book: Path) -> None:
    with Desks(book) as desks:
        for limit, whose in ((PRICES, "one"), (PRICES, "other"), (Limit("looks", 5, 60), "one")):
            assert desks.spent(limit, whose, 6) == [0] * 5 + [-60]


def test_a_budget_of_one_is_one(book: Path) -> None:
    with Desks(book) as desks:
        assert desks.spent(Limit("looks", 1, 60), "somebody", 2) == [0, -60]


def test_looking_whether_somebody_asked_for_too_much_spends_nothing(book: Path) -> None:
    with Desks(book) as desks:
        for _ in range(10):
            desks.limits[0].check(PRICES, "somebody")
        assert desks.used() == {}
        assert desks.spent(PRICES, "somebody", 5) == [0] * 5
        desks.limits[0].check(PRICES, "somebody")  # nothing is known of the budget's end until it was asked
        assert desks.spent(PRICES, "somebody", 1) == [-60]
        with pytest.raises(ProblemError):
            desks.limits[0].check(PRICES, "somebody")
        desks.limits[0].check(PRICES, "another")
        desks.clock.at += MINUTE
        desks.limits[0].check(PRICES, "somebody")


def test_what_a_worker_still_holds_is_granted_though_the_budget_is_over(book: Path) -> None:
    """It was leased while there was some: 7 of 8 are the other's, the last one is this one's to spend."""
    limit = Limit("looks", 8, 60)
    with Desks(book, workers=2) as desks:
        assert desks.spent(limit, "somebody", 1, worker=0) == [0]
        assert desks.spent(limit, "somebody", 8, worker=1) == [0] * 7 + [-60]
        desks.limits[0].check(limit, "somebody")


def test_while_the_book_does_not_answer_a_worker_goes_by_a_budget_of_its_own(book: Path) -> None:
    """A34: prices need no book; five of five, and not a sixth."""
    with Desks(book) as desks:
        settings = replace(desks.desks[0].settings, book="")
        alone = Limits(Desk(settings, clock=desks.clock), SECRET)
        desks.limits[0] = alone

        assert desks.spent(PRICES, "somebody", 6) == [4, 3, 2, 1, 0, -60]
        desks.clock.at += MINUTE
        assert desks.spent(PRICES, "somebody", 1) == [4]


def test_a_budget_has_a_name_that_nothing_can_be_read_out_of(book: Path) -> None:
    """A51: by whose secret it is made, so that nobody can try addresses against it."""
    with Desks(book) as desks:
        desks.spent(PRICES, "203.0.113.9", 1)
        desks.limits[0] = Limits(desks.desks[0], "another secret")
        desks.spent(PRICES, "203.0.113.9", 1)
        desks.limits[0] = Limits(desks.desks[0], "")
        desks.spent(PRICES, "203.0.113.9", 1)
        desks.spent(PRICES, "\ud800", 1)
        names = list(desks.used())

    assert len(names) == 4
    for name in names:
        kind, _, kept = name.partition(" ")
        assert (kind, TOKEN.fullmatch(kept) is not None) == ("prices", True)


def test_budgets_that_ended_are_forgotten_every_ten_minutes(book: Path) -> None:
    with Desks(book) as desks:
        desks.spent(PRICES, "one", 1)
        (first,) = desks.used()
        desks.clock.at += TEN_MINUTES - datetime.timedelta(microseconds=1)
        desks.spent(PRICES, "two", 1)
        assert first in desks.used()
        desks.clock.at = NOW + TEN_MINUTES
        desks.spent(PRICES, "three", 1)
        assert first in desks.used()  # it ended nine minutes before: a clock that is behind may still count in it
        desks.clock.at = NOW + 2 * TEN_MINUTES - datetime.timedelta(microseconds=1)
        desks.spent(PRICES, "four", 1)
        assert first in desks.used()
        desks.clock.at = NOW + 2 * TEN_MINUTES + datetime.timedelta(seconds=3)
        desks.spent(PRICES, "five", 1)
        assert first not in desks.used()
        assert len(desks.used()) == 3


def test_what_was_leased_stays_what_it_was_though_what_ended_cannot_be_forgotten(book: Path) -> None:
    """A51: a book that fails in between once granted a whole budget to one worker, besides what it had leased."""
    with Desks(book) as desks:
        assert desks.spent(PRICES, "another", 1) == [0]
        with closing(sqlite3.connect(book)) as beside:
            beside.execute("CREATE TRIGGER failing BEFORE DELETE ON budgets BEGIN DELETE FROM no_table; END")
            desks.clock.at += 2 * TEN_MINUTES
            spent = desks.spent(PRICES, "somebody", 6)
            beside.execute("DROP TRIGGER failing")

        assert spent == [0, 0, 0, 0, 0, -60]
        assert sorted(desks.used().values()) == [1, 5]


def test_whoever_leases_spends_first_also_while_what_ended_is_forgotten(book: Path) -> None:
    """A51: one who came in between once spent what the other had leased, who then was refused."""
    with Desks(book) as desks:
        limits = desks.limits[0]
        desks.spent(PRICES, "another", 1)
        desks.clock.at += 2 * TEN_MINUTES
        left: list[int] = []

        async def spend() -> None:
            left.append((await limits.spend(PRICES, "somebody")).left)

        async def spend_once_something_is_leased() -> None:
            with anyio.move_on_after(1):
                while not left and not any(lease.left for lease in limits._leases.values()):
                    await anyio.sleep(0)
            await spend()

        async def together() -> None:
            async with anyio.create_task_group() as tasks:
                tasks.start_soon(spend)
                tasks.start_soon(spend_once_something_is_leased)

        anyio.run(together)

        assert left == [0, 0]
        assert list(desks.used().values()) == [2]


def test_a_clock_that_is_set_back_begins_another_window(book: Path) -> None:
    with Desks(book) as desks:
        assert desks.spent(Limit("looks", 40, 60), "somebody", 1) == [9]
        desks.clock.at -= MINUTE
        assert desks.spent(Limit("looks", 40, 60), "somebody", 1) == [9]


def test_a_worker_remembers_so_many_and_what_it_forgets_stays_counted(
    book: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Those whose window is over go first; with none of those, all do, and the book knows of them."""
    monkeypatch.setattr("api.limits.MOST_REMEMBERED", 3)
    with Desks(book) as desks:
        for whose in ("one", "two", "three"):
            desks.spent(Limit("looks", 40, 60), whose, 1)
        assert len(desks.used()) == 3
        assert desks.spent(Limit("looks", 40, 60), "one", 1) == [8]  # remembered
        desks.spent(Limit("looks", 40, 60), "four", 1)
        assert desks.spent(Limit("looks", 40, 60), "one", 1) == [9]  # forgotten: leased anew, after what was granted
        assert sorted(desks.used().values()) == [10, 10, 10, 20]

        long = Limit("requests", 40, 3600)
        desks.clock.at += MINUTE
        desks.spent(long, "who stays", 1)
        desks.spent(Limit("looks", 40, 60), "five", 1)
        desks.clock.at += MINUTE + datetime.timedelta(seconds=1)
        for whose in ("six", "seven"):
            desks.spent(Limit("looks", 40, 60), whose, 1)
        assert desks.spent(long, "who stays", 1) == [8]


def test_what_is_over_is_forgotten_once_a_minute_and_what_is_not_stays(book: Path) -> None:
    """A visitor who came once is not remembered for good; half an hour of load showed it."""
    looks, requests = Limit("looks", 40, 60), Limit("requests", 40, 3600)
    with Desks(book) as desks:
        for whose in ("one", "two", "three"):
            desks.spent(looks, whose, 1)
        desks.spent(requests, "who stays", 1)
        assert len(desks.limits[0]._leases) == 4

        desks.clock.at += MINUTE - datetime.timedelta(seconds=1)
        desks.spent(looks, "four", 1)
        assert len(desks.limits[0]._leases) == 5

        desks.clock.at += datetime.timedelta(seconds=1)
        desks.spent(looks, "five", 1)
        assert len(desks.limits[0]._leases) == 2
        assert desks.spent(requests, "who stays", 1) == [8]


# What the gate lets pass.


class Handed(Struct, frozen=True):
    """What an operation was handed."""

    role: str
    by: str
    key: str
    tag: str
    client: str
    operation: str
    path: dict[str, str]
    language: str
    cookies: str
    card: str


def handed(call: Call[Any, Any]) -> Handed:
    return Handed(
        role=call.credential.role,
        by=call.credential.by,
        key=call.key,
        tag=repr(call.tag),
        client=call.client_address,
        operation=call.operation,
        path=dict(call.path),
        language=call.accept_language,
        cookies=call.cookies,
        card=call.card.card.version,
    )


def telling(id: str, *, method: str = "GET", path: str = "", may: tuple[keys.Role, ...], **told: Any) -> Any:
    """An operation that answers with what it was handed."""

    async def tell(call: Call[Nothing, Nothing]) -> Answer:
        return in_json(handed(call), ETag='"one"')

    words = {"summary": "Tells.", "face": "public", "answers": (Answers(what="It.", content={JSON: Handed}),), **told}
    return operation(method=method, path=path or f"/v1/{id}", id=id, may=may, **words)(tell)


async def _fails(_: Call[Nothing, Nothing]) -> Answer:
    raise RuntimeError("of the inside")


async def _failed(_: Call[Nothing, Nothing]) -> Answer:
    raise ProblemError("failed")


async def _busy(_: Call[Nothing, Nothing]) -> Answer:
    raise ProblemError("artwork-busy")


SINCE = datetime.datetime(2026, 11, 1, tzinfo=datetime.UTC)
MORE = (
    telling("owners-own", may=keys.READERS, face="owner"),
    telling("one-kind", path="/v1/kinds/{kind}", may=keys.ANYBODY),
    telling("all-kinds", method="POST", path="/v1/kinds/~all", may=keys.ANYBODY),
    telling("well", may=keys.ANYBODY, face="health"),
    telling("takes", method="POST", may=keys.ANYBODY, body=Left),
    telling("for-anybody", may=keys.ANYBODY),
    telling("for-forms", may=keys.FORM),
    telling("for-readers", may=keys.READERS),
    telling("for-owners", may=keys.OWNER),
    telling(
        "changes", method="POST", path="/v1/things/{thing}/parts/{part}", may=keys.OWNER, once=True, guarded="must"
    ),
    telling("may-change", method="PUT", path="/v1/may-change", may=keys.OWNER, guarded="may"),
    telling("reads-may-change", path="/v1/may-change", may=keys.ANYBODY, tagged=True),
    telling("never-guarded", method="DELETE", path="/v1/may-change", may=keys.OWNER),
    telling(
        "older",
        may=keys.ANYBODY,
        superseded=Superseded(since=SINCE, until=SINCE + datetime.timedelta(days=90), told_at="/n"),
    ),
    operation(
        method="GET",
        path="/v1/fails",
        id="fails",
        may=keys.ANYBODY,
        summary="Fails.",
        face="public",
        answers=(Answers(what="Never."),),
    )(_fails),
    operation(
        method="GET",
        path="/v1/busy",
        id="busy",
        may=keys.ANYBODY,
        summary="Is busy.",
        face="public",
        answers=(Answers(what="Never."),),
    )(_busy),
    operation(
        method="GET",
        path="/v1/failed",
        id="failed",
        may=keys.ANYBODY,
        summary="Has failed.",
        face="public",
        answers=(Answers(what="Never."),),
    )(_failed),
)


@pytest.fixture(scope="module")
def of_book(tmp_path_factory: pytest.TempPathFactory) -> str:
    return str(tmp_path_factory.mktemp("authorisation") / "book.sqlite")


@pytest.fixture(scope="module")
def secrets(of_book: str) -> dict[str, str]:
    """A secret of every role, of one that has none, and of keys that were good once."""
    told: dict[str, Any] = {"at": NOW, "by": "owner"}
    with QuoteBook(of_book) as book:
        made = {
            role: book.keys.make(role, scopes=(role,), **told) for role in ("owner", "owner-ro", "form", "nobody")
        }
        made["ended"] = book.keys.make("ended", scopes=("owner",), ends_at=NOW, **told)
        pages: dict[str, Any] = {"scopes": ("form",), "origins": ("https://pages.example",), **told}
        made["pages"] = book.keys.make("pages", **pages)
        book.keys.make("old pages", ends_at=NOW, **{**pages, "origins": ("https://old.example",)})
        return {name: new.secret for name, new in made.items()}


@pytest.fixture(scope="module")
def app(of_book: str, secrets: dict[str, str]) -> Iterator[TestClient[Any]]:
    """The app in this process, with what tells what it was handed; its clock stands."""
    told = Settings(
        card=CARD,
        book=of_book,
        base_url=HERE,
        hosts=("other.example:8443",),
        origins=("https://shop.example",),
        secret=SECRET,
        trusted_proxies=1,
    )
    with TestClient(
        create_app(told, clock=lambda: NOW, more=MORE), base_url=HERE, raise_server_exceptions=False
    ) as client:
        yield client


def bearer(secret: str) -> dict[str, str]:
    return {"Authorization": f"Bearer {secret}"}


MATRIX = {
    "for-anybody": {"anon": 200, "form": 200, "owner-ro": 200, "owner": 200},
    "for-forms": {"anon": 401, "form": 200, "owner-ro": 403, "owner": 403},
    "for-readers": {"anon": 401, "form": 403, "owner-ro": 200, "owner": 200},
    "for-owners": {"anon": 401, "form": 403, "owner-ro": 403, "owner": 200},
}


@pytest.mark.parametrize("path", MATRIX)
def test_an_operation_is_for_those_whom_it_names_and_for_nobody_else(
    app: TestClient[Any], secrets: dict[str, str], path: str
) -> None:
    """A39: 401 where a key could help, 403 where this one cannot (RFC 9110, 15.5.2 and 15.5.4)."""
    for role, status in MATRIX[path].items():
        answer = app.get(f"/v1/{path}", headers={} if role == "anon" else bearer(secrets[role]))

        assert answer.status_code == status, role
        if status == 200:
            assert answer.json()["role"] == role
        else:
            assert problem(answer) == {401: "unauthorized", 403: "forbidden"}[status]
        assert ("www-authenticate" in answer.headers) is (status == 401)


@pytest.mark.parametrize("secret", ["ended", "nobody", KEY])
def test_a_key_that_is_not_in_force_or_of_no_role_opens_nothing_not_even_what_is_for_anybody(
    app: TestClient[Any], secrets: dict[str, str], secret: str
) -> None:
    """Who sends a key means it: a wrong one is told, not passed over (RFC 6750, 3.1, invalid_token) (A)."""
    for path in MATRIX:
        answer = app.get(f"/v1/{path}", headers=bearer(secrets.get(secret, secret)))

        assert (answer.status_code, problem(answer)) == (401, "unauthorized")
        assert answer.headers["www-authenticate"] == 'Bearer realm="quoting"'


def test_an_operation_is_handed_who_asks_and_what_they_sent(app: TestClient[Any], secrets: dict[str, str]) -> None:
    key = "a-key-of-the-request"
    told = {
        "Idempotency-Key": key,
        "If-Match": '"one.7"',
        "Accept-Language": "nl",
        "Cookie": "a=b",
        **bearer(secrets["owner"]),
    }
    answer = app.post("/v1/things/one/parts/two", headers={**told, "X-Forwarded-For": "203.0.113.9"})
    got = answer.json()

    assert (got["role"], got["key"], got["operation"], got["path"]) == (
        "owner",
        key,
        "changes",
        {"thing": "one", "part": "two"},
    )
    assert re.fullmatch(r"owner [0-9a-f]{16}", got["by"])
    assert (got["language"], got["cookies"], got["client"]) == ("nl", "a=b", "203.0.113.9")
    assert got["tag"] == repr(Tag("one", 7))


def test_a_body_is_read_where_one_is_taken_and_a_path_says_its_names(app: TestClient[Any]) -> None:
    body = {"limit": {"name": "looks", "most": 1, "seconds": 1}, "left": 1, "seconds": 1}
    said = {one.id: one for one in app.app.state.desk.operations}

    assert app.post("/v1/takes", json=body).status_code == 200
    assert (
        problem(app.post("/v1/takes", content=b"{}", headers={"Content-Type": "text/plain"}))
        == "unsupported-media-type"
    )
    assert said["changes"].path_parameters == ("thing", "part")
    assert [said[id].takes_body for id in ("takes", "changes")] == [True, False]
    assert [said[id].takes_file for id in ("takes", "measure-artwork")] == [False, True]


def test_an_operation_is_handed_the_card_in_force_and_whether_all_is_well_needs_no_look(tmp_path: Path) -> None:
    told = Settings(card=CARD, book=str(tmp_path / "book.sqlite"), base_url=HERE)
    with TestClient(create_app(told, clock=lambda: NOW, more=MORE), base_url=HERE) as client:
        with QuoteBook(told.book) as book:
            book.publish_card(card("2027-1"), at=NOW + MINUTE, by="owner")
        time.sleep(CARD_SECONDS)
        versions = [client.get(f"/v1/{path}").json()["card"] for path in ("well", "for-anybody", "well")]

    assert versions == ["2026-1", "2027-1", "2027-1"]


def test_calls_of_the_owners_are_counted_by_key_and_others_are_not(tmp_path: Path) -> None:
    """A9: two a minute here; who may not ask is not counted, and told nothing of a limit."""
    told = Settings(card=CARD, book=str(tmp_path / "book.sqlite"), base_url=HERE, most_calls_a_minute=2)
    with QuoteBook(told.book) as book:
        one, other = (bearer(book.keys.make("a", scopes=("owner-ro",), at=NOW, by="owner").secret) for _ in range(2))
    with TestClient(create_app(told, clock=lambda: NOW, more=MORE), base_url=HERE) as client:
        strangers = [client.get("/v1/owners-own") for _ in range(3)]
        ones = [client.get("/v1/owners-own", headers=one) for _ in range(3)]
        others = client.get("/v1/owners-own", headers=other)
        public = client.get("/v1/for-readers", headers=one)

    assert [answer.status_code for answer in (*strangers, *ones, others, public)] == [401] * 3 + [
        200,
        200,
        429,
        200,
        200,
    ]
    assert {answer.headers["ratelimit-policy"] for answer in (*ones, others)} == {'"calls";q=2;w=60'}
    assert problem(ones[-1]) == "quota-exceeded"
    assert not any("ratelimit" in answer.headers for answer in (*strangers, public))


def test_what_must_be_told_a_version_is_refused_without_and_what_may_is_not(
    app: TestClient[Any], secrets: dict[str, str]
) -> None:
    """428: RFC 6585, 3 (A)."""
    owner = bearer(secrets["owner"])
    missing = app.post("/v1/things/one/parts/two", headers={**owner, "Idempotency-Key": "a-key-of-the-request"})
    keyless = app.post("/v1/things/one/parts/two", headers={**owner, "If-Match": '"one.7"'})
    with_one, without = (app.put("/v1/may-change", headers=owner | told) for told in ({"If-Match": '"one.7"'}, {}))
    passed_over = app.delete("/v1/may-change", headers={**owner, "If-Match": "nonsense", "Idempotency-Key": "x"})

    assert (missing.status_code, problem(missing)) == (428, "version-needed")
    assert (keyless.status_code, problem(keyless)) == (400, "idempotency-key-missing")
    assert (with_one.json()["tag"], without.json()["tag"]) == (repr(Tag("one", 7)), "None")
    assert (passed_over.json()["tag"], passed_over.json()["key"]) == ("None", "")


def test_what_has_not_changed_is_not_sent_again_where_it_has_a_tag(app: TestClient[Any]) -> None:
    """304: RFC 9110, 13.1.2 and 15.4.5 (A)."""
    known, other = (app.get("/v1/may-change", headers={"If-None-Match": tag}) for tag in ('"one"', '"two"'))
    untagged = app.get("/v1/for-anybody", headers={"If-None-Match": '"one"'})

    assert (known.status_code, known.content, known.headers["etag"]) == (304, b"", '"one"')
    assert (other.status_code, untagged.status_code) == (200, 200)


def test_what_something_newer_stands_in_place_of_says_so(app: TestClient[Any]) -> None:
    """RFC 9745 and RFC 8594 (A)."""
    old, new = app.get("/v1/older"), app.get("/v1/for-anybody")

    assert old.headers["deprecation"] == f"@{int(SINCE.timestamp())}"
    assert old.headers["sunset"] == "Sat, 30 Jan 2027 00:00:00 GMT"
    assert old.headers["link"] == '</n>; rel="deprecation"'
    assert not {"deprecation", "sunset", "link"} & set(new.headers)


@pytest.mark.parametrize(
    ("path", "method", "allowed"),
    [
        ("/v1/may-change", "POST", "DELETE, GET, HEAD, OPTIONS, PUT"),
        ("/v1/may-change/", "POST", "DELETE, GET, HEAD, OPTIONS, PUT"),
        ("/v1/things/one/parts/two", "GET", "OPTIONS, POST"),
        ("/v1/for-owners", "DELETE", "GET, HEAD, OPTIONS"),
        ("/v1/kinds/~all", "GET", "OPTIONS, POST"),
        ("/v1/kinds/red", "POST", "GET, HEAD, OPTIONS"),
    ],
)
def test_a_method_that_is_not_allowed_is_told_those_that_are(
    app: TestClient[Any], path: str, method: str, allowed: str
) -> None:
    """405 with Allow: RFC 9110, 15.5.6; OPTIONS tells the same (9.3.7) (A)."""
    refused, asked = app.request(method, path), app.options(path)

    assert (refused.status_code, refused.headers.get_list("allow")) == (405, [allowed])
    assert (asked.status_code, asked.headers["allow"], asked.content) == (204, allowed, b"")
    assert "content-length" not in asked.headers or asked.headers["content-length"] == "0"


def test_where_the_method_is_allowed_nothing_is_told_of_methods(app: TestClient[Any]) -> None:
    """Allow is for 405 and for who asks by OPTIONS: RFC 9110, 10.2.1 (A)."""
    answers = [app.get(f"/v1/{path}") for path in ("for-anybody", "for-owners", "nothing", "fails", "busy")]

    assert [answer.status_code for answer in answers] == [200, 401, 404, 500, 503]
    assert not any("allow" in answer.headers for answer in answers)


@pytest.mark.parametrize(
    ("told", "status"),
    [
        ({"headers": [(b"host", b"evil.example")]}, 400),
        ({"method": "OPTIONS"}, 204),
        ({"method": "HEAD"}, 200),
        ({}, 200),
        (
            {
                "method": "OPTIONS",
                "path": "/v1/public/offers",
                "headers": [
                    (b"host", b"testserver.local"),
                    (b"origin", b"https://shop.example"),
                    (b"access-control-request-method", b"POST"),
                ],
            },
            204,
        ),
    ],
)
def test_an_answer_begins_once_and_says_when_it_is_over(
    app: TestClient[Any], told: dict[str, Any], status: int
) -> None:
    """ASGI 3, http.response.start and http.response.body (A)."""
    found = anyio.run(_answered, app.app, told)

    assert found["status"] == status
    assert found["kinds"][0] == "http.response.start"
    assert set(found["kinds"][1:]) == {"http.response.body"}
    assert (found["body"] == b"") is (told.get("method") in {"HEAD", "OPTIONS"})
    assert found["more"][-1] is False
    assert all(found["more"][:-1])


@pytest.mark.parametrize("path", ["/v1/things/one/parts", "/v1/things/one/parts/two/three", "/v1/nothing"])
def test_where_nothing_is_no_method_is_allowed(app: TestClient[Any], path: str) -> None:
    assert app.options(path).status_code == 404


@pytest.mark.parametrize("method", ["TRACE", "CONNECT", "PROPFIND", "BREW"])
def test_other_methods_are_refused_before_anything_is_looked_up(app: TestClient[Any], method: str) -> None:
    """RFC 9110, 15.5.6; methods are told apart by their case (9.1) (A)."""
    answer = app.request(method, "/v1/for-anybody")

    assert (answer.status_code, problem(answer)) == (405, "method-not-allowed")
    assert answer.headers["allow"] == "GET, HEAD, OPTIONS"


def test_nothing_is_open_to_a_websocket(app: TestClient[Any]) -> None:
    with pytest.raises(WebSocketDisconnect), app.websocket_connect("/v1/for-anybody"):
        pass


def test_head_is_get_without_a_body(app: TestClient[Any], secrets: dict[str, str]) -> None:
    """RFC 9110, 9.3.2 (A)."""
    for path, headers in (("/v1/for-owners", bearer(secrets["owner"])), ("/v1/for-owners", {}), ("/v1/nothing", {})):
        head, got = app.head(path, headers=headers), app.get(path, headers=headers)

        assert head.status_code == got.status_code
        assert head.content == b"" != got.content
        assert head.headers["content-length"] == str(len(got.content))


HOSTS = {
    "testserver.local": 200,
    "TESTSERVER.local": 200,
    "testserver.local:80": 200,
    "testserver.local:65535": 200,
    "other.example:8443": 200,
    "other.example": 400,
    "other.example:443": 400,
    "testserver.local:": 400,
    "testserver.local:123456": 400,
    "testserver.local:80:80": 400,
    "xtestserver.local": 400,
    "testserver.localx": 400,
    "evil.example": 400,
}


@pytest.mark.parametrize(("host", "status"), HOSTS.items())
def test_only_a_host_of_ours_is_answered(app: TestClient[Any], host: str, status: int) -> None:
    """A52: with whatever port, where the name is ours; with its own, where it was told with one."""
    for headers in ({"Host": host}, {"Host": "testserver.local", "X-Forwarded-Host": host}):
        answer = app.get("/v1/for-anybody", headers=headers)

        assert answer.status_code == status
        assert status == 200 or problem(answer) == "unknown-host"


def test_other_headers_name_no_host(app: TestClient[Any]) -> None:
    for name in ("Accept", "X-Forwarded-Hosts", "X-Real-IP", "X-Forwarded", "Zone"):
        assert app.get("/v1/for-anybody", headers={name: "evil.example, */*"}).status_code == 200


def test_a_host_that_is_told_twice_or_not_at_all_is_refused(app: TestClient[Any]) -> None:
    """400 either way: RFC 9112, 3.2 (A)."""
    for hosts in ([], [b"testserver.local"] * 2, [b"testserver.local", b"evil.example"]):
        headers = [(b"host", host) for host in hosts]
        found = anyio.run(_answered, app.app, {"headers": headers})

        assert found["status"] == 400
        assert b"unknown-host" in found["body"]


async def _answered(app: Any, told: dict[str, Any]) -> dict[str, Any]:
    """What the app answers to a request as a server hands it over."""
    scope = {
        "type": "http",
        "method": "GET",
        "path": "/v1/for-anybody",
        "raw_path": b"/v1/for-anybody",
        "query_string": b"",
        "root_path": "",
        "scheme": "http",
        "http_version": "1.1",
        "headers": [(b"host", b"testserver.local")],
        "client": ("127.0.0.1", 4000),
        "state": {},
        **told,
    }
    found: dict[str, Any] = {"body": b"", "kinds": [], "more": []}

    async def receive() -> dict[str, Any]:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: dict[str, Any]) -> None:
        found.update({"status": message["status"], "headers": message["headers"]} if "status" in message else {})
        found["body"] += message.get("body", b"")
        found["kinds"].append(message["type"])
        found["more"] += [message.get("more_body", False)] if message["type"].endswith("body") else []

    await app(scope, receive, send)
    return found


@pytest.mark.parametrize("client", [None, ("", 0)])
def test_a_request_over_a_socket_of_this_machine_has_no_address(app: TestClient[Any], client: Any) -> None:
    found = anyio.run(_answered, app.app, {"client": client})

    assert json.loads(found["body"])["client"] == "unknown"


def test_a_client_is_told_apart_by_its_own_address_and_by_the_nearest_proxys(app: TestClient[Any]) -> None:
    host, elsewhere = (b"host", b"testserver.local"), b"203.0.113.50"
    others = {"headers": [host, (b"forwarded", elsewhere), (b"cookie", elsewhere), (b"x-real-ip", elsewhere)]}
    plain = anyio.run(_answered, app.app, others)
    headers = [(b"host", b"testserver.local"), (b"x-forwarded-for", b"1.2.3.4"), (b"x-forwarded-for", b"203.0.113.9")]
    forwarded = anyio.run(_answered, app.app, {"headers": headers})

    assert [json.loads(found["body"])["client"] for found in (plain, forwarded)] == ["127.0.0.1", "203.0.113.9"]


@pytest.mark.parametrize(
    "address",
    [
        *(
            f"/v1/for-anybody?{name}=x"
            for name in ("key", "api_key", "apikey", "token", "access_token", "authorization")
        ),
        *(
            "/v1/for-anybody?a=1&KEY=x",
            "/v1/for-anybody?%6bey=x",
            "/v1/for-anybody?token",
            "/v1/for-anybody?a=1& key =x",
        ),
        *(f"/v1/for-anybody?a={KEY}", f"/v1/for-anybody?{KEY}", f"/v1/{KEY}", f"/v1/{KEY.replace('_', '%5f')}"),
    ],
)
def test_a_secret_in_an_address_is_refused_whatever_it_asks_for(app: TestClient[Any], address: str) -> None:
    """A53; RFC 6750, 5.3: not in page addresses (A)."""
    answer = app.get(address)

    assert (answer.status_code, problem(answer)) == (400, "credentials-in-url")


def test_what_only_looks_like_one_is_not(app: TestClient[Any]) -> None:
    for query in ("", "keys=x", "a=key", "a=token%26"):
        answer = app.get(f"/v1/for-anybody?{query}")

        assert query == "" or problem(answer) != "credentials-in-url"
    assert app.get(f"/v1/{KEY[:-1]}").status_code == 404


ORIGINS = {"https://shop.example": True, "https://pages.example": True, "https://old.example": False, "null": False}


@pytest.mark.parametrize(("origin", "named"), ORIGINS.items())
def test_pages_of_named_origins_may_read_and_ask_and_others_may_not(
    app: TestClient[Any], origin: str, named: bool
) -> None:
    """A50: of the settings and of keys in force. Fetch standard, CORS protocol (A)."""
    path, headers = "/v1/public/offers", {"Origin": origin}
    read = app.get(path, headers=headers)
    asks = app.options(path, headers={**headers, "Access-Control-Request-Method": "POST"})

    assert read.headers["vary"] == "Origin"
    assert (read.headers.get("access-control-allow-origin") == origin) is named
    assert asks.status_code == (204 if named else 403)
    if named:
        assert asks.headers["access-control-allow-methods"] == "GET, HEAD, POST"
        assert asks.headers["access-control-allow-origin"] == origin
        assert asks.content == b""
    else:
        assert problem(asks) == "origin-refused"
        assert "access-control-allow-origin" not in asks.headers


def test_a_preflight_is_none_without_the_method_that_it_asks_for_or_elsewhere(app: TestClient[Any]) -> None:
    named = {"Origin": "https://shop.example"}
    plain = app.options("/v1/public/offers", headers=named)
    elsewhere = app.options("/v1/for-anybody", headers={**named, "Access-Control-Request-Method": "GET"})
    no_origin = app.options("/v1/public/offers", headers={"Access-Control-Request-Method": "GET"})
    got = app.get("/v1/public/offers", headers={**named, "Access-Control-Request-Method": "GET"})

    assert (plain.status_code, plain.headers["allow"]) == (204, "GET, HEAD, OPTIONS")
    assert (elsewhere.status_code, "access-control-allow-origin" in elsewhere.headers) == (204, False)
    assert (no_origin.status_code, problem(no_origin)) == (403, "origin-refused")
    posted = app.post("/v1/public/offers", headers={**named, "Access-Control-Request-Method": "GET"})
    assert (got.status_code, posted.status_code) == (401, 405)
    assert posted.headers["access-control-allow-origin"] == "https://shop.example"


def test_every_answer_has_an_id_and_what_keeps_browsers_from_guessing(app: TestClient[Any]) -> None:
    """A54."""
    answers = [
        app.get("/v1/for-anybody"),
        app.get("/v1/nothing"),
        app.options("/v1/for-anybody"),
        app.get("/v1/fails"),
    ]
    answers.append(app.get("/v1/for-anybody", headers={"Host": "evil.example"}))

    assert [answer.status_code for answer in answers] == [200, 404, 204, 500, 400]
    for answer in answers:
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["cache-control"] == "no-store"
        assert TOKEN.fullmatch(answer.headers["request-id"])
        for name in ("x-content-type-options", "cache-control", "content-security-policy", "request-id"):
            assert len(answer.headers.get_list(name)) == 1
    assert len({answer.headers["request-id"] for answer in answers}) == len(answers)
    refused = answers[-1]
    assert refused.headers["content-type"].startswith("application/problem+json")
    assert refused.headers["content-length"] == str(len(refused.content))
    assert refused.json()["instance"] == f"urn:quoting:request:{refused.headers['request-id']}"


def test_no_two_requests_have_one_id(app: TestClient[Any]) -> None:
    """Ids are drawn many at a time: so many requests that they are drawn anew."""
    ids = [app.get("/v1/for-anybody").headers["request-id"] for _ in range(600)]
    assert all(TOKEN.fullmatch(id) for id in ids)
    assert len(set(ids)) == len(ids)


def test_what_an_answer_says_of_itself_is_left_as_it_is(app: TestClient[Any]) -> None:
    """A file of our own may be kept by browsers: the gate's no-store stands beside nothing."""
    answers = [app.get("/docs"), app.get("/order/order.js")]

    assert all(len(answer.headers.get_list("cache-control")) == 1 for answer in answers)


@pytest.mark.parametrize(
    ("method", "path", "headers", "told"),
    [
        ("GET", "/v1/for-anybody", {}, ("GET", "for-anybody", "anon", 200, logging.INFO)),
        ("HEAD", "/v1/for-anybody", {}, ("HEAD", "for-anybody", "anon", 200, logging.INFO)),
        ("GET", "/v1/nothing", {}, ("GET", "", "", 404, logging.INFO)),
        ("BREW", "/v1/for-anybody", {}, ("another", "", "", 405, logging.INFO)),
        ("GET", "/v1/for-anybody", {"Host": "evil.example"}, ("GET", "", "", 400, logging.INFO)),
        ("GET", "/v1/for-owners", {}, ("GET", "for-owners", "", 401, logging.INFO)),
        ("GET", "/v1/fails", {}, ("GET", "fails", "anon", 500, logging.ERROR)),
        ("GET", "/v1/failed", {}, ("GET", "failed", "anon", 500, logging.ERROR)),
        ("GET", "/v1/busy", {}, ("GET", "busy", "anon", 503, logging.ERROR)),
    ],
)
def test_one_line_tells_each_request_and_nothing_of_what_was_sent(
    app: TestClient[Any],
    caplog: pytest.LogCaptureFixture,
    method: str,
    path: str,
    headers: dict[str, str],
    told: tuple[str, str, str, int, int],
) -> None:
    began = time.perf_counter()
    with caplog.at_level("INFO", logger="api.requests"):
        answer = app.request(method, path, headers={"Accept-Language": "seen-by-nobody", **headers})
    took_ms = (time.perf_counter() - began) * 1000
    (line,) = [record for record in caplog.records if record.name == "api.requests"]
    said = line.__dict__["told"]

    assert (said["method"], said["operation"], said["credential"]) == told[:3]
    assert (said["status"], line.levelno) == told[3:]
    assert answer.status_code == told[3]
    assert said["request"] == answer.headers["request-id"]
    assert 0 <= said["ms"] <= took_ms + 0.1
    assert said["ms"] > 0 or not told[1]
    assert said["ms"] == round(said["ms"], 1)
    assert "seen-by-nobody" not in repr(line.__dict__)
    assert (line.exc_info is not None and bool(line.exc_info[0])) is (path == "/v1/fails")


def test_a_request_that_nobody_answered_is_told_with_no_status(
    app: TestClient[Any], caplog: pytest.LogCaptureFixture
) -> None:
    """Such as one whose sender is gone before the answer."""

    async def silent(*_: Any) -> None:
        return

    with caplog.at_level("INFO", logger="api.requests"):
        anyio.run(_answered, Gate(silent, app.app.state.desk), {})

    (line,) = [record for record in caplog.records if record.name == "api.requests"]
    assert (line.__dict__["told"]["status"], line.levelno) == (0, logging.INFO)


def test_the_line_names_the_key_by_its_id(
    app: TestClient[Any], secrets: dict[str, str], caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level("INFO", logger="api.requests"):
        app.get("/v1/for-owners", headers=bearer(secrets["owner"]))

    assert [record.__dict__["told"]["credential"] for record in caplog.records if record.name == "api.requests"] == [
        secrets["owner"].split("_")[1]
    ]


# Keys while the book is there and while it is not.


def test_where_no_key_is_asked_for_everybody_is_the_owner(of_book: str) -> None:
    told = Settings(card=CARD, book=of_book, base_url=HERE, demo=True)
    with TestClient(create_app(told, clock=lambda: NOW, more=MORE), base_url=HERE) as client:
        assert client.get("/v1/for-owners").json()["by"] == "owner demo"
        assert client.get("/v1/for-anybody").json()["role"] == "owner"
        assert client.get("/v1/for-owners", headers={"Authorization": "nonsense"}).status_code == 200
        assert client.get("/v1/for-forms").status_code == 403


class Monotonic:
    """The clock of waits, which can be put forward."""

    def __init__(self) -> None:
        self.ahead = 0.0

    def monotonic(self) -> float:
        return time.monotonic() + self.ahead


@pytest.fixture
def waits(monkeypatch: pytest.MonkeyPatch) -> Monotonic:
    clock = Monotonic()
    monkeypatch.setattr("api.desk.time", clock)
    return clock


class KnownKeys(Struct, frozen=True):
    """A worker of a book, and what the book does beside it."""

    desk: Desk
    address: Path

    def role(self, secret: str | None) -> str:
        """Who a secret is good for now; the problem or failure where it is for nobody."""
        try:
            return anyio.run(self.desk.credential, f"Bearer {secret}" if secret else None).role
        except ProblemError as error:
            return error.told.name
        except StorageError:
            return "no book"

    def made(self, role: str, **told: Any) -> str:
        with QuoteBook(str(self.address)) as book:
            return book.keys.make(role, scopes=(role,), at=NOW, by="owner", **told).secret

    def ended(self, secret: str) -> None:
        with QuoteBook(str(self.address)) as book:
            book.keys.end(secret.split("_")[1], at=NOW, by="owner")

    def origins(self) -> set[str]:
        return set(anyio.run(self.desk.origins))

    @contextmanager
    def without_book(self) -> Iterator[None]:
        """The book is away meanwhile."""
        away = self.address.with_suffix(".away")
        self.address.rename(away)
        yield
        away.rename(self.address)


@pytest.fixture
def known(book: Path) -> Iterator[KnownKeys]:
    clock = Clock()
    desk = Desk(Settings(card=CARD, book=str(book), secret=SECRET, origins=("https://shop.example",)), clock=clock)
    with QuoteBook(str(book)):
        pass
    yield KnownKeys(desk, book)
    desk.close()


def test_a_new_key_is_good_at_once_and_one_that_is_ended_for_half_a_second_more(
    known: KnownKeys, waits: Monotonic
) -> None:
    """A53: what is not known is looked for; what is known is looked at again."""
    first = known.made("owner")
    assert (known.role(first), known.role(None), known.role(KEY)) == ("owner", "anon", "unauthorized")
    second = known.made("form")
    assert [known.role(one) for one in (second, first)] == ["form", "owner"]

    known.ended(first)
    assert known.role(first) == "owner"
    waits.ahead += 0.1
    assert known.role(first) == "owner"
    waits.ahead += 0.4
    assert [known.role(first), known.role(second)] == ["unauthorized", "form"]


def test_a_key_whose_role_is_none_is_nobodys(known: KnownKeys) -> None:
    assert known.role(known.made("visitor")) == "unauthorized"


def test_while_the_book_is_away_forms_go_on_and_owners_for_a_minute_and_strangers_are_not_judged(
    known: KnownKeys, waits: Monotonic
) -> None:
    """A34: who is not known cannot be told from who is not allowed, so that is a failure of ours, and no 401."""
    owner, reader, form = (known.made(role) for role in ("owner", "owner-ro", "form"))
    assert [known.role(one) for one in (owner, reader, form)] == ["owner", "owner-ro", "form"]
    with known.without_book():
        waits.ahead += 1
        assert [known.role(one) for one in (owner, reader, form, KEY)] == ["owner", "owner-ro", "form", "no book"]
        waits.ahead += 58
        assert [known.role(one) for one in (owner, reader, form)] == ["owner", "owner-ro", "form"]
        waits.ahead += 2
        assert [known.role(one) for one in (owner, reader, form)] == ["no book", "no book", "form"]
    assert [known.role(one) for one in (owner, reader, form)] == ["owner", "owner-ro", "form"]


def test_pages_are_known_by_the_settings_and_by_keys_that_are_in_force(known: KnownKeys, waits: Monotonic) -> None:
    """A50."""
    of_settings, of_key = "https://shop.example", "https://pages.example"
    secret = known.made("form", origins=(of_key,))
    known.made("form", origins=("https://old.example",), ends_at=NOW)
    assert known.origins() == {of_settings, of_key}

    known.ended(secret)
    assert known.origins() == {of_settings, of_key}
    waits.ahead += 0.5
    assert known.origins() == {of_settings}


def test_pages_stay_known_while_the_book_is_away(known: KnownKeys, waits: Monotonic) -> None:
    known.made("form", origins=("https://pages.example",))
    assert known.origins() == {"https://shop.example", "https://pages.example"}
    with known.without_book():
        waits.ahead += 3600
        assert known.origins() == {"https://shop.example", "https://pages.example"}


def test_without_a_book_pages_are_those_of_the_settings() -> None:
    desk = Desk(Settings(card=CARD, origins=("https://shop.example",)))

    assert anyio.run(desk.origins) == {"https://shop.example"}
