"""What the tests of the API share: an app in this process, real servers on both engines."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import httpx
import pytest
from litestar import Litestar
from litestar.testing import TestClient
from msgspec.structs import replace

from api.app import create_app
from api.settings import Settings
from tests.api.asking import made_key
from tests.api.documents import Held
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


@pytest.fixture(scope="module")
def settings(tmp_path_factory: pytest.TempPathFactory) -> Settings:
    """A server that asks for keys, with a new book."""
    return Settings(card=CARD, book=str(tmp_path_factory.mktemp("book") / "book.sqlite"), base_url=HERE)


@pytest.fixture(scope="module")
def demo(settings: Settings) -> Iterator[Client]:
    """The app in this process; everybody is the owner. Every answer is held to the owner's document."""
    with _held(create_app(replace(settings, demo=True))) as client:
        yield client


@pytest.fixture(scope="module")
def client(settings: Settings) -> Iterator[Client]:
    """The app in this process, which asks for keys, with the owner's key. Answers are held to the document."""
    with _held(create_app(settings)) as client:
        client.headers.update(made_key(settings.book))
        yield client


def _held(app: Litestar) -> Client:
    client: Any = TestClient(app, raise_server_exceptions=False)
    client.event_hooks = {"response": [Held(app)]}
    held: Client = client
    return held


@pytest.fixture(scope="session", params=ENGINES)
def running(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """A real server of four workers on each engine, for all tests of this run."""
    folder = tmp_path_factory.mktemp(f"running-{request.param}")
    if request.param == "sqlite":
        address = str(folder / "book.sqlite")
    else:
        database: Server = request.getfixturevalue("database")
        address = database.new_database()
    told = Settings(card=CARD, book=address, base_url=free_url(), workers=4)
    with Served(told, folder / "server.log") as served:
        yield served


@pytest.fixture
def asked(running: Served) -> Iterator[httpx.Client]:
    """Somebody with an owner's key who asks the real server."""
    limits = httpx.Limits(max_connections=200, max_keepalive_connections=200)
    headers = made_key(running.settings.book)
    with httpx.Client(base_url=running.url, headers=headers, limits=limits, timeout=60) as client:
        yield client


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

        def start(**told: Any) -> Served:
            settings = Settings(**{"card": CARD, "book": book_address, "base_url": free_url(), **told})
            return stack.enter_context(Served(settings, tmp_path / "server.log"))

        yield start
