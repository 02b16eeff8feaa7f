"""A shop whose public face is served, by real servers on each engine."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path

import httpx
import pytest
from msgspec import Struct

from api.settings import Settings
from quoting.book import Entry, QuoteBook
from quoting.book.chain import Event
from tests.api.conftest import MANY, SECRET, Mounted, asking
from tests.api.documents import Held
from tests.api.mounted import SetClock
from tests.api.public.visiting import ORIGIN, Visitor
from tests.api.serving import Served
from tests.book.shop import NOW


class Shop(Struct):
    """A served shop: how to ask it, its keys, its settings."""

    client: httpx.Client
    form_key: str
    owner_key: str
    settings: Settings
    served: Served
    set_clock: SetClock | None = None

    @property
    def clock(self) -> SetClock:
        """The clock of a server that has one to be set."""
        assert self.set_clock is not None
        return self.set_clock

    def visitor(self, *, address: str = "") -> Visitor:
        """A new visitor of its pages."""
        return Visitor(self.client, self.form_key, address=address)

    def stranger(self) -> Visitor:
        """Somebody without a key."""
        return Visitor(self.client, "")

    def book(self) -> QuoteBook:
        """Its book, opened beside the server."""
        artwork = Path(self.settings.artwork) if self.settings.artwork else None
        return QuoteBook(self.settings.book, secret=SECRET.encode(), artwork=artwork)

    @property
    def owner(self) -> dict[str, str]:
        """The owner's key, as the header that it is sent in."""
        return {"Authorization": f"Bearer {self.owner_key}"}

    @contextmanager
    def happening(self) -> Iterator[list[Event]]:
        """What happens in its book meanwhile; it is there at the end."""
        with self.book() as book:
            before, meanwhile = book.head(), list[Event]()
            yield meanwhile
            meanwhile += book.events(after=before.position if before else 0, most=MANY)

    def entry(self, path: str) -> Entry:
        """The entry that a private link leads to."""
        with self.book() as book:
            return book.by_link(path.rpartition("/")[2])


def made_keys(address: str) -> tuple[str, str]:
    """A key of the form and one of the owner, in a book."""
    with QuoteBook(address, secret=SECRET.encode()) as book:
        form = book.keys.make("pages", scopes=("form",), origins=(ORIGIN,), at=NOW, by="owner")
        owner = book.keys.make("desk", scopes=("owner",), at=NOW, by="owner")
        return form.secret, owner.secret


kept_keys = cache(made_keys)  # of a server that many tests ask


@pytest.fixture
def served_shop(running: Served, held: Held) -> Iterator[Shop]:
    """The real server of four workers, on each engine; other tests have written in its book."""
    with shop_of(running, held, keys=kept_keys(running.settings.book)) as shop:
        yield shop


@pytest.fixture
def mounted_shop(mounted: Mounted, held: Held) -> Iterator[Shop]:
    """The real server in which the tests mount what they need, on each engine; likewise."""
    keys = kept_keys(mounted.served.settings.book)
    with shop_of(mounted.served, held, mounted.clock, keys=keys) as shop:
        yield shop


@contextmanager
def shop_of(
    served: Served, held: Held, clock: SetClock | None = None, *, keys: tuple[str, str] | None = None
) -> Iterator[Shop]:
    """A server that runs, with new keys to it unless they are told."""
    form, owner = keys or made_keys(served.settings.book)
    with asking(served, held) as client:
        yield Shop(client, form, owner, served.settings, served, clock)
