"""A30, A33: what a book starts on, and what is on the disk before anybody is answered."""

from __future__ import annotations

import re
import sqlite3
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import psycopg
import pytest

from quoting.book import QuoteBook
from quoting.book.start_checks import check
from quoting.book.storage import Storage
from quoting.errors import BookNotReadyError
from tests.book.postgresql import Server
from tests.book.shop import issued

ROOT = Path(__file__).resolve().parents[2]


@contextmanager
def plain(path: Path) -> Iterator[sqlite3.Connection]:
    """The file of a book, without the book."""
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        yield connection


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """The file of a closed book with one quotation."""
    file = tmp_path / "book.sqlite"
    with QuoteBook(str(file)) as book:
        issued(book)
    return file


@pytest.mark.parametrize(
    ("pragma", "told"),
    [
        ("synchronous=1", r"synchronous: expected 2 \(FULL\); found 1"),
        ("synchronous=0", r"synchronous: expected 2 \(FULL\); found 0"),
        ("foreign_keys=0", "foreign_keys: expected 1; found 0"),
        ("busy_timeout=4999", "busy_timeout: expected 5000 or more; found 4999"),
        ("journal_mode=DELETE", "journal_mode: expected wal; found delete"),
    ],
)
def test_a_connection_that_is_set_up_otherwise_is_refused(path: Path, pragma: str, told: str) -> None:
    with closing(Storage(str(path))) as storage, storage.engine.connect() as connection:
        check(connection)
        connection.rollback()
        driver = connection.connection.driver_connection
        assert driver is not None
        driver.execute(f"PRAGMA {pragma}").fetchall()

        with pytest.raises(BookNotReadyError, match=told):
            check(connection)


@pytest.mark.parametrize(
    ("harm", "told"),
    [
        ("UPDATE alembic_version SET version_num = '0000'", "expected the book's tables at version 0002"),
        ("DELETE FROM alembic_version", "found another database"),
        ("DROP TRIGGER events_refuse_update", "trigger events_refuse_update: expected it; found none"),
        ("DROP TABLE requests", "table requests: expected it; found none"),
        ("DROP TABLE words; CREATE TABLE words (word TEXT, entry INTEGER)", "table words: expected STRICT"),
    ],
)
def test_a_file_that_is_not_as_it_must_be_is_refused(path: Path, harm: str, told: str) -> None:
    with plain(path) as connection:
        connection.executescript(harm)

    with pytest.raises(BookNotReadyError, match=told):
        QuoteBook(str(path))


def test_a_server_that_is_not_as_it_must_be_is_refused(server: Server) -> None:
    address = server.new_database()
    with QuoteBook(address):
        pass
    for harm, told in (
        ("ALTER TABLE events DISABLE TRIGGER events_refuse_update", "trigger events_refuse_update"),
        (f"ALTER DATABASE {address.rpartition('/')[2]} SET synchronous_commit = off", "synchronous_commit"),
    ):
        with psycopg.connect(address, autocommit=True) as connection:
            connection.execute(harm.encode())
        with pytest.raises(BookNotReadyError, match=told):
            QuoteBook(address)


def test_another_database_is_not_taken_for_a_book(tmp_path: Path) -> None:
    for name, statement in (("other", "CREATE TABLE recipes (name TEXT)"), ("none", "")):
        with plain(tmp_path / f"{name}.sqlite") as connection:
            connection.executescript(statement)
    (tmp_path / "text.sqlite").write_text("no database at all, but long enough to be read as one" * 40)

    with pytest.raises(BookNotReadyError, match="another database"):
        QuoteBook(str(tmp_path / "other.sqlite"))
    with pytest.raises(Exception, match="not a database"):
        QuoteBook(str(tmp_path / "text.sqlite"))
    with QuoteBook(str(tmp_path / "none.sqlite")) as book:
        assert issued(book).number == "Q-00001"


@pytest.mark.parametrize("address", ["sqlite://", "sqlite:///:memory:", "mysql://host/x", "://", ""])
def test_an_address_of_something_else_is_refused(address: str) -> None:
    with pytest.raises(BookNotReadyError, match="expected a path"):
        QuoteBook(address)


TRACED = """
import os, sys
from quoting.book import QuoteBook
from tests.book.shop import issued
with QuoteBook(sys.argv[1]) as book:
    issued(book)
    for number in range(int(sys.argv[2])):
        os.write(2, b"<ask>")
        issued(book, key=f"request-{number}")
        os.write(2, b"<answer>")
"""


@pytest.mark.parametrize("answers", [5, pytest.param(200, marks=pytest.mark.long)])
def test_nobody_is_answered_before_the_log_is_on_the_disk(tmp_path: Path, answers: int) -> None:
    trace = tmp_path / "trace"
    calls = "trace=fsync,fdatasync,write,pwrite64"
    command = [sys.executable, "-c", TRACED, str(tmp_path / "book.sqlite"), str(answers)]

    done = subprocess.run(
        ["strace", "-f", "-y", "-e", calls, "-o", str(trace), *command],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )

    assert (done.returncode, done.stderr) == (0, "<ask><answer>" * answers)
    between = re.findall(r"<ask>(.*?)<answer>", trace.read_text(), flags=re.DOTALL)
    assert len(between) == answers
    for calls_made in between:
        log = [(call, kept) for call, kept in re.findall(r"(\w+)\(\d+<[^>]*(-wal)>", calls_made)]
        assert log[-1][0] in {"fsync", "fdatasync"}
        assert "pwrite64" in {call for call, _ in log}


@pytest.mark.parametrize("answers", [5, pytest.param(200, marks=pytest.mark.long)])
def test_a_server_answers_nobody_before_its_log_is_on_the_disk(server: Server, tmp_path: Path, answers: int) -> None:
    address, trace = server.new_database(), tmp_path / "trace"
    with QuoteBook(address) as book:
        issued(book)
    postmaster = (server.folder / "data" / "postmaster.pid").read_text().split()[0]
    calls = "trace=fsync,fdatasync,recvfrom,pwrite64"
    command = ["strace", "-f", "-y", "-s", "64", "-e", calls, "-o", str(trace), "-p", postmaster]

    with subprocess.Popen(command, stderr=subprocess.PIPE, text=True) as tracer:
        assert tracer.stderr is not None
        assert "attached" in tracer.stderr.readline()
        with QuoteBook(address) as book, psycopg.connect(address, autocommit=True, prepare_threshold=None) as marks:
            for number in range(answers):
                marks.execute("SELECT 'asked'")
                issued(book, key=f"request-{number}")
                marks.execute("SELECT 'answered'")
        tracer.terminate()

    between = re.findall(r"SELECT 'asked'(.*?)SELECT 'answered'", trace.read_text(), flags=re.DOTALL)
    assert len(between) == answers
    for calls_made in between:
        log = re.findall(r"(\w+)\(\d+<[^>]*/pg_wal/", calls_made)
        assert log[-1] in {"fsync", "fdatasync"}
        assert "pwrite64" in log


def test_a_new_file_that_another_is_writing_is_waited_for(tmp_path: Path) -> None:
    """SQLite itself does not wait there: it found "database is locked" at once."""
    path = tmp_path / "book.sqlite"
    with closing(sqlite3.connect(path, isolation_level=None, check_same_thread=False)) as other:
        other.execute("BEGIN IMMEDIATE")
        threading.Timer(0.3, lambda: other.execute("ROLLBACK")).start()
        with QuoteBook(str(path)) as book:
            assert issued(book).number == "Q-00001"
