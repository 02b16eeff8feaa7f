"""
The quote book goes away under a real server: full disks, read-only ones, a lost file, a database that restarts or
hangs (A34). Each time whoever writes is told to come again, prices go on, and nothing has to be started anew.
"""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path
from typing import Any

import httpx
import psycopg
import pytest

from api.settings import Settings
from quoting.book import QuoteBook
from tests.api.asking import BOOK, CARD, job, made_key, once, problem
from tests.api.crowd import Crowd, crowd_at
from tests.api.documents import Held
from tests.api.serving import Served, family, free_url
from tests.book.postgresql import Server
from tests.disks import read_only, small_disk

KEYS = ("while-it-is-away-owner", "while-it-is-away-visitor")
SOON_SECONDS = 20  # a guard; each of these takes a few milliseconds


@pytest.fixture(scope="module")
def own_database() -> Iterator[Server]:
    """A PostgreSQL server that the tests of this module may harm."""
    running = Server()
    yield running
    running.remove()


def test_a_database_that_restarts_mid_load_loses_nothing(held: Held, own_database: Server, tmp_path: Path) -> None:
    """A34: four clients send with keys while PostgreSQL crashes and comes back, for longer behind the marker."""
    restarted(held, own_database, tmp_path, times=1)


@pytest.mark.long
def test_a_database_that_restarts_again_and_again_loses_nothing(
    held: Held, own_database: Server, tmp_path: Path
) -> None:
    """A34: ten times."""
    restarted(held, own_database, tmp_path, times=10)


def restarted(held: Held, database: Server, folder: Path, *, times: int) -> None:
    address = database.new_database()
    with crowd_at(address, held, folder) as clients:
        with clients.at_work():
            for _ in range(times):
                time.sleep(0.7)
                database.crash()
                time.sleep(0.7)
        clients.hold_refusals()
        with QuoteBook(address) as book:
            clients.hold_kept(book)


def test_a_file_that_is_moved_away_mid_load_and_back_loses_nothing(held: Held, tmp_path: Path) -> None:
    """A34: the same on SQLite."""
    book_file = tmp_path / "book.sqlite"
    with crowd_at(str(book_file), held, tmp_path) as clients:
        with clients.at_work():
            for _ in range(2):
                time.sleep(0.5)
                book_file.rename(tmp_path / "away")
                time.sleep(0.5)
                (tmp_path / "away").rename(book_file)
        clients.hold_refusals()
        with QuoteBook(str(book_file)) as book:
            clients.hold_kept(book)


def test_nothing_waits_for_a_database_that_hangs(held: Held, own_database: Server, tmp_path: Path) -> None:
    """A34, A59: every process of PostgreSQL stands still; connections stay open and nobody answers."""
    with crowd_at(own_database.new_database(), held, tmp_path) as clients:
        client = clients.client
        with _frozen(own_database):
            alive = [client.get("/livez").status_code for _ in range(5)]
            ready = [client.get("/readyz").status_code for _ in range(5)]
            for _ in range(5):
                clients.ask_prices()
            hold_refused(clients)
        hold_served_again(clients)

    assert (alive, ready) == ([200] * 5, [503] * 5)


def hold_refused(clients: Crowd) -> None:
    """Whoever writes is told to come again; whoever asks for prices gets them."""
    clients.refused = [clients.send(key) for key in KEYS]
    clients.ask_prices()
    clients.hold_refusals()


def hold_served_again(clients: Crowd) -> None:
    """Nothing was started anew, and what was refused is kept at last."""
    _wait_until(lambda: clients.client.get("/readyz").status_code == 200)
    _wait_until(lambda: [clients.send(key).status_code for key in KEYS] == [201, 201])


@contextmanager
def _frozen(database: Server) -> Iterator[None]:
    postmaster = int((database.folder / "data" / "postmaster.pid").read_text().split()[0])
    all_of_it = family(postmaster)
    for pid in all_of_it:
        os.kill(pid, signal.SIGSTOP)
    try:
        yield
    finally:
        for pid in all_of_it:
            os.kill(pid, signal.SIGCONT)


@pytest.fixture
def small(own_database: Server) -> Iterator[Path]:
    """A disk that is soon full, where the PostgreSQL server may keep something too."""
    with small_disk(own_database.folder / "disk", 24) as folder:
        yield folder


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Path]:
    """A disk with room enough for a server to be ready."""
    with small_disk(tmp_path / "disk", 500) as folder:
        yield folder


@pytest.mark.parametrize("engine", ["sqlite", "postgresql"])
def test_a_full_disk_keeps_nothing_half_and_goes_on_when_there_is_room(
    held: Held, own_database: Server, small: Path, tmp_path: Path, engine: str
) -> None:
    """A34: the disk of the file, or that of the database's tables, fills up under four clients and is cleared."""
    address = str(small / "book.sqlite") if engine == "sqlite" else _database_on(small, own_database)
    with crowd_at(address, held, tmp_path) as clients:
        with clients.at_work():
            time.sleep(0.5)
            _fill(small)
            _wait_until(lambda: len(clients.refused) > 20)
            before = len(clients.prices)
            _wait_until(lambda: len(clients.prices) > before + 4)
            (small / "filler").unlink()
            kept = len(clients.kept)
            _wait_until(lambda: len(clients.kept) > kept + 20)
        clients.hold_refusals()
        with QuoteBook(address) as book:
            clients.hold_kept(book)


def _database_on(disk: Path, database: Server) -> str:
    """A database whose tables are on a disk; its log of writes is not."""
    folder = disk / "tables"
    folder.mkdir()
    if database.user:
        shutil.chown(folder, database.user)
    address = database.new_database()
    server, _, name = address.rpartition("/")
    with psycopg.connect(f"{server}/postgres", autocommit=True) as connection:
        connection.execute(f"CREATE TABLESPACE of_{name} LOCATION '{folder}'".encode())
        connection.execute(f"ALTER DATABASE {name} SET TABLESPACE of_{name}".encode())
    return address


def _fill(disk: Path) -> None:
    with (disk / "filler").open("wb", buffering=0) as filler, suppress(OSError):  # that there is no room left
        while True:
            filler.write(bytes(4096))


def _wait_until(happened: Any) -> None:
    until = time.monotonic() + SOON_SECONDS
    while not happened():
        assert time.monotonic() < until
        time.sleep(0.02)


def test_a_database_that_turns_read_only_is_told_and_waited_for(
    held: Held, own_database: Server, tmp_path: Path
) -> None:
    """A34, A59: PostgreSQL, as on a standby."""
    address = own_database.new_database()
    with crowd_at(address, held, tmp_path) as clients:
        _set(address, "default_transaction_read_only = on")
        ready = clients.client.get("/readyz")
        hold_refused(clients)
        _set(address, "default_transaction_read_only = off")
        hold_served_again(clients)

    assert (ready.status_code, problem(ready)) == (503, "storage-unavailable")


def _set(address: str, told: str) -> None:
    server, _, name = address.rpartition("/")
    with psycopg.connect(f"{server}/postgres", autocommit=True) as connection:
        connection.execute(f"ALTER DATABASE {name} SET {told}".encode())
        connection.execute("SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = %s", (name,))


def test_a_file_that_is_read_only_is_told_and_waited_for(held: Held, disk: Path, tmp_path: Path) -> None:
    """A34, A59: every write to the file is refused by the system, as it is once a file system turned read-only."""
    book_file = disk / "book.sqlite"
    with crowd_at(str(book_file), held, tmp_path) as clients:
        with _refusing_writes(clients.served.pid, book_file):
            hold_refused(clients)
        hold_served_again(clients)


@contextmanager
def _refusing_writes(pid: int, book_file: Path) -> Iterator[None]:
    """What the system answers to processes that had a file open before its file system turned read-only."""
    told = ["-e", "inject=pwrite64,ftruncate:error=EROFS", "-e", "trace=pwrite64,ftruncate", "-o", "/dev/null"]
    files = [word for end in ("", "-wal") for word in ("-P", f"{book_file}{end}")]
    processes = [word for one in family(pid) for word in ("-p", str(one))]
    with subprocess.Popen(["strace", "-f", *told, *files, *processes], stderr=subprocess.PIPE, text=True) as tracer:
        assert tracer.stderr is not None
        for _ in family(pid):
            assert "attached" in tracer.stderr.readline()
        try:
            yield
        finally:
            tracer.terminate()


def test_a_server_that_starts_on_a_read_only_disk_works_once_it_can_be_written(disk: Path, tmp_path: Path) -> None:
    """A34, A59: it lives, and says that it is not ready."""
    settings = Settings(card=CARD, book=str(disk / "book.sqlite"), base_url=free_url())
    headers = made_key(settings.book)
    with ExitStack() as stack:
        with read_only(disk):
            client = stack.enter_context(httpx.Client(base_url=settings.base_url))
            stack.enter_context(Served(settings, tmp_path / "server.log"))
            found = [client.get(path).status_code for path in ("/livez", "/readyz")]
            refused = client.post(BOOK, json={"job": job()}, headers={**headers, **once()})
        _wait_until(lambda: client.get("/readyz").status_code == 200)
        kept = client.post(BOOK, json={"job": job()}, headers={**headers, **once()})

    assert (found, problem(refused)) == ([200, 503], "storage-unavailable")
    assert (kept.status_code, kept.json()["number"]) == (201, "Q-00001")


def test_a_lost_file_takes_nothing_more_and_comes_back_from_its_backup(held: Held, tmp_path: Path) -> None:
    """A34: file, log and index are removed under the server; the backup is put in their place."""
    book_file, away = tmp_path / "book.sqlite", tmp_path / "away"
    with crowd_at(str(book_file), held, tmp_path) as clients:
        first = clients.send("before-it-was-lost-owner")
        with QuoteBook(str(book_file)) as book:
            book.back_up(away)
        for end in ("", "-wal", "-shm"):
            book_file.with_name(book_file.name + end).unlink(missing_ok=True)
        hold_refused(clients)
        looked = clients.client.get("/v1/public/quotations/of-nobody")
        made = book_file.exists()
        away.rename(book_file)
        hold_served_again(clients)
        again = clients.send("before-it-was-lost-owner")

    assert (looked.status_code, problem(looked), made) == (503, "storage-unavailable", False)
    assert (again.status_code, again.content) == (201, first.content)
