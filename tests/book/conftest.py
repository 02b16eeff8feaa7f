"""What the tests of the book share: both engines, priced jobs, a moment."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from quoting.book import QuoteBook
from tests.book.postgresql import Server
from tests.book.shop import SECRET

Addresses = Callable[[], str]


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    """A PostgreSQL server of this test run."""
    running = Server()
    yield running
    running.remove()


@pytest.fixture(params=["sqlite", "postgresql"])
def addresses(request: pytest.FixtureRequest, tmp_path: Path) -> Addresses:
    """Addresses of new books, on each engine."""
    if request.param == "sqlite":
        names = iter(range(1000))
        return lambda: str(tmp_path / f"book-{next(names)}.sqlite")
    server: Server = request.getfixturevalue("server")
    return server.new_database


@pytest.fixture
def address(addresses: Addresses) -> str:
    """The address of a new book, on each engine."""
    return addresses()


@pytest.fixture
def book(address: str) -> Iterator[QuoteBook]:
    """A new book, on each engine."""
    with QuoteBook(address, secret=SECRET) as opened:
        yield opened
