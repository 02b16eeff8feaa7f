"""A shop whose public face is served: by four workers on each engine, and in this process."""

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
from tests.api.asking import CARD
from tests.api.conftest import HERE, OPEN_HANDED, SECRET, Mounted, asking
from tests.api.documents import Held
from tests.api.public.visiting import ORIGIN, Visitor
from tests.api.serving import Served
from tests.book.shop import NOW


class Shop(Struct):
    """A served shop: how to ask it, its keys, its settings."""

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
    """A key of the form and one of the owner, in a book."""
    with QuoteBook(address, secret=SECRET.encode()) as book:
        form = book.keys.make("pages", scopes=("form",), origins=(ORIGIN,), at=NOW, by="owner")
        owner = book.keys.make("desk", scopes=("owner",), at=NOW, by="owner")
        return form.secret, owner.secret


@pytest.fixture
def served_shop(running: Served, held: Held) -> Iterator[Shop]:
    """The real server of four workers, on each engine; other tests have written in its book."""
    yield from _shop(running, held)


@pytest.fixture
def mounted_shop(mounted: Mounted, held: Held) -> Iterator[Shop]:
    """The real server in which the tests mount what they need, on each engine; likewise."""
    yield from _shop(mounted.served, held)


def _shop(served: Served, held: Held) -> Iterator[Shop]:
    form, owner = made_keys(served.settings.book)
    with asking(served, held) as client:
        yield Shop(client, form, owner, served.settings, served)


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    """The app in this process with a book of its own, for what can only be seen from inside."""
    settings = Settings(card=CARD, book=str(tmp_path / "book.sqlite"), base_url=HERE, **OPEN_HANDED)
    form, owner = made_keys(settings.book)
    with TestClient(create_app(settings), base_url=HERE, raise_server_exceptions=False) as client:
        yield Shop(client, form, owner, settings)
