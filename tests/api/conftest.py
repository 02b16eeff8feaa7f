"""What the tests of the API share: an app in this process, real servers on both engines."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from litestar import Litestar
from litestar.testing import TestClient
from msgspec.structs import replace

from api.app import create_app
from api.settings import Settings
from tests.api.serving import Served, free_url
from tests.book.postgresql import Server
from tests.conftest import demo_card_path

ENGINES = ("sqlite", "postgresql")
HERE = "http://testserver.local"
CARD = demo_card_path("marrowby-lane")

Client = TestClient[Litestar]
Serve = Callable[..., Served]


@pytest.fixture(scope="session")
def database() -> Iterator[Server]:
    """A PostgreSQL server of this test run."""
    running = Server()
    yield running
    running.remove()


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    """A server that asks for keys, with a new book."""
    return Settings(card=CARD, book=str(tmp_path / "book.sqlite"), base_url=HERE)


@pytest.fixture
def client(settings: Settings) -> Iterator[Client]:
    """The app in this process; everybody is the owner."""
    with TestClient(create_app(replace(settings, demo=True)), raise_server_exceptions=False) as found:
        yield found


@pytest.fixture(params=ENGINES)
def book_address(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Where a new book is to be, on each engine."""
    if request.param == "sqlite":
        return str(tmp_path / "book.sqlite")
    database: Server = request.getfixturevalue("database")
    return database.new_database()


@pytest.fixture
def serve(book_address: str, tmp_path: Path) -> Iterator[Serve]:
    """Starts real servers on a new book, on each engine; they are stopped at the end of the test."""
    with ExitStack() as stack:

        def start(**told: object) -> Served:
            settings = Settings(**{"card": CARD, "book": book_address, "base_url": free_url(), **told})  # type: ignore[arg-type]  # by name
            return stack.enter_context(Served(settings, tmp_path / "server.log"))

        yield start
