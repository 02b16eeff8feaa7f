"""What the tests of the API share: real servers on both engines, and the app in this process."""

from __future__ import annotations

import secrets
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from functools import cache
from pathlib import Path
from typing import Any

import httpx
import pytest
from litestar import Litestar
from litestar.testing import TestClient
from msgspec import Struct
from msgspec.structs import replace

from api.app import create_app
from api.settings import Settings
from tests.api.asking import CARD, made_key
from tests.api.documents import Held
from tests.api.mounted import CLOCK, MORE, RENDER_SECONDS, REPEATING, SetClock
from tests.api.serving import Served, free_url
from tests.book.postgresql import Server

ENGINES = ("sqlite", "postgresql")
HERE = "http://testserver.local"
SECRET = "a-secret-that-stands-nowhere-in-the-book"
MANY = 100_000
MOST_PRICES = 200
OPEN_HANDED: dict[str, Any] = {
    "secret": SECRET,
    "trusted_proxies": 1,
    "most_calls_a_minute": 1_000_000,
    "most_looks_a_minute": MANY,
    "most_prices_a_minute": MOST_PRICES,
    "most_requests_an_hour": MANY,
    "most_requests_an_email_a_day": MANY,
    "most_artwork_an_hour": MANY,
    "clients_a_key": MANY,
}
MOUNTED = ("tests.api.mounted",)
ANOTHER_HOST = "office.example"
CONNECTIONS = httpx.Limits(max_connections=200, max_keepalive_connections=200)

owners_key = cache(made_key)

Client = TestClient[Litestar]
Serve = Callable[..., Served]


@pytest.fixture(scope="session")
def database() -> Iterator[Server]:
    """A PostgreSQL server of this test run."""
    running = Server()
    yield running
    running.remove()


def new_book(request: pytest.FixtureRequest, engine: str, folder: Path) -> str:
    """Where a new book on an engine is to be."""
    if engine == "sqlite":
        return str(folder / f"book-{secrets.token_hex(4)}.sqlite")
    database: Server = request.getfixturevalue("database")
    return database.new_database()


@pytest.fixture(scope="session", params=ENGINES)
def running(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """A real server of four workers on each engine, for all tests of this run, behind a proxy that is trusted."""
    folder = tmp_path_factory.mktemp(f"running-{request.param}")
    address = new_book(request, request.param, folder)
    artwork = str(folder / "artwork")
    told = Settings(card=CARD, book=address, artwork=artwork, base_url=free_url(), workers=4, **OPEN_HANDED)
    with Served(told, folder / "server.log") as served:
        yield served
    hold_log(served)


def hold_log(served: Served) -> None:
    """Hold that nothing passed the app unanswered: the server under it would say so (A1)."""
    escaped = [line for line in served.log.read_text().splitlines() if "Exception in ASGI application" in line]
    assert escaped == []


@pytest.fixture(scope="session")
def held() -> Held:
    """Holds the answers of real servers to the owner's document, which tells the public operations too."""
    return Held(create_app(Settings(card=CARD), more=MORE))


def asking(served: Served, held: Held, **headers: str) -> httpx.Client:
    """Somebody who asks a real server; every answer is held to the document."""
    hooks: dict[str, list[Callable[..., Any]]] = {"response": [held]}
    # Nothing is encrypted on the loopback interface; to read the certificates of the world takes longer than asking.
    return httpx.Client(
        base_url=served.url, headers=headers, limits=CONNECTIONS, timeout=60, event_hooks=hooks, verify=False
    )


@pytest.fixture
def asked(running: Served, held: Held) -> Iterator[httpx.Client]:
    """Somebody with an owner's key who asks the real server."""
    with asking(running, held, **owners_key(running.settings.book)) as client:
        yield client


@pytest.fixture
def book_address(request: pytest.FixtureRequest, engine: str, tmp_path: Path) -> str:
    """Where a new book is to be, on each engine."""
    return new_book(request, engine, tmp_path)


@pytest.fixture(params=ENGINES)
def engine(request: pytest.FixtureRequest) -> str:
    """Each of both engines."""
    name: str = request.param
    return name


@pytest.fixture
def serve(book_address: str, tmp_path: Path) -> Iterator[Serve]:
    """Starts real servers on a new book, on each engine; they are stopped at the end of the test."""
    with ExitStack() as stack:

        def start(**told: Any) -> Served:
            settings = Settings(**{"card": CARD, "book": book_address, "base_url": free_url(), **told})
            return stack.enter_context(Served(settings, tmp_path / "server.log"))

        yield start


class Mounted(Struct, frozen=True):
    """A real server of one worker with what the tests mount in it, and its clock."""

    served: Served
    clock: SetClock


def mounted_server(
    settings: Settings, folder: Path, *, repeating: bool = False, render_seconds: float = 0, url: str = ""
) -> Mounted:
    """One that is not started yet."""
    clock = SetClock(folder / f"clock-{secrets.token_hex(4)}")
    clock.set(None)
    told = {CLOCK: str(clock.path)}
    told |= {REPEATING: "yes"} if repeating else {}
    told |= {RENDER_SECONDS: str(render_seconds)} if render_seconds else {}
    served = Served(settings, folder / "server.log", command=MOUNTED, environment=told, url=url)
    return Mounted(served, clock)


@pytest.fixture(scope="session", params=ENGINES)
def mounted_running(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Mounted]:
    """A real server on each engine, for all tests of this run, in which the tests mount what they need."""
    folder = tmp_path_factory.mktemp(f"mounted-{request.param}")
    address = new_book(request, request.param, folder)
    artwork = str(folder / "artwork")
    at: dict[str, Any] = {"base_url": free_url(), "hosts": (ANOTHER_HOST,)}
    settings = Settings(card=CARD, book=address, artwork=artwork, **at, **OPEN_HANDED)
    mounted = mounted_server(settings, folder, render_seconds=3)
    with mounted.served:
        yield mounted
    hold_log(mounted.served)


@pytest.fixture
def mounted(mounted_running: Mounted) -> Iterator[Mounted]:
    """The same for one test; its clock runs with the system's until it is set."""
    yield mounted_running
    mounted_running.clock.set(None)


@pytest.fixture
def asked_mounted(mounted: Mounted, held: Held) -> Iterator[httpx.Client]:
    """Somebody with an owner's key who asks it."""
    with asking(mounted.served, held, **owners_key(mounted.served.settings.book)) as client:
        yield client


# The app in this process, for what can only be seen from inside.


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
