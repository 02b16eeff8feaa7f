"""A shop whose public face is served: in this process, and by four workers on each engine."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from litestar.testing import TestClient
from msgspec import Struct

from api.app import create_app
from api.settings import Settings
from quoting.book import QuoteBook
from tests.api.conftest import CARD, ENGINES, HERE
from tests.api.public.visiting import ORIGIN, Visitor
from tests.api.serving import Served, free_url
from tests.book.postgresql import Server
from tests.book.shop import NOW

SECRET = "a secret that stands nowhere in the book".replace(" ", "-")
MANY = 100_000
MOST_PRICES = 200
OPEN_HANDED = {
    "secret": SECRET,
    "trusted_proxies": 1,
    "most_looks_a_minute": MANY,
    "most_prices_a_minute": MOST_PRICES,
    "most_requests_an_hour": MANY,
    "most_requests_an_email_a_day": MANY,
    "clients_a_key": MANY,
}


class Shop(Struct):
    """A served shop: how to ask it, its keys, its book."""

    client: httpx.Client
    form_key: str
    owner_key: str
    settings: Settings
    served: Served | None = None

    def visitor(self, *, address: str = "") -> Visitor:
        """A new visitor of its pages."""
        return Visitor(self.client, self.form_key, address=address)

    def stranger(self) -> Visitor:
        """Somebody without a key."""
        return Visitor(self.client, "")

    def book(self) -> QuoteBook:
        """Its book, opened beside the server."""
        return QuoteBook(self.settings.book, secret=SECRET.encode())


def made_keys(address: str) -> tuple[str, str]:
    """A key of the form and one of the owner, in a new book."""
    with QuoteBook(address, secret=SECRET.encode()) as book:
        form = book.keys.make("pages", scopes=("form",), origins=(ORIGIN,), at=NOW, by="owner")
        owner = book.keys.make("desk", scopes=("owner",), at=NOW, by="owner")
        return form.secret, owner.secret


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    """The app in this process, with keys."""
    settings = Settings(card=CARD, book=str(tmp_path / "book.sqlite"), base_url=HERE, **OPEN_HANDED)  # type: ignore[arg-type]  # by name
    form, owner = made_keys(settings.book)
    with TestClient(create_app(settings), base_url=HERE, raise_server_exceptions=False) as client:
        yield Shop(client, form, owner, settings)


@pytest.fixture(params=ENGINES)
def served_shop(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Shop]:
    """Four workers behind a proxy that is trusted, on each engine."""
    address = str(tmp_path / "book.sqlite")
    if request.param == "postgresql":
        database: Server = request.getfixturevalue("database")
        address = database.new_database()
    form, owner = made_keys(address)
    settings = Settings(card=CARD, book=address, base_url=free_url(), workers=4, **OPEN_HANDED)  # type: ignore[arg-type]  # by name
    limits = httpx.Limits(max_connections=64, max_keepalive_connections=64)
    with (
        Served(settings, tmp_path / "server.log") as served,
        httpx.Client(base_url=served.url, timeout=60, limits=limits) as client,
    ):
        yield Shop(client, form, owner, settings, served)
