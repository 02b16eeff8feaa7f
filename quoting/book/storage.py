"""The database behind the book: SQLite or PostgreSQL by URL, one writer at a time, checked before it is used."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import quote

from sqlalchemy import URL, Connection, Engine, create_engine, event, make_url, text
from sqlalchemy.exc import ArgumentError, DBAPIError, IntegrityError, SQLAlchemyError
from sqlalchemy.pool import QueuePool

from quoting.book.queueing import turn, while_busy
from quoting.book.start_checks import BUSY_MILLISECONDS, check
from quoting.errors import BookNotReadyError, StorageError

_WRITING = "quoting_writing"
_READ_ONLY = text("SELECT pg_is_in_recovery() OR current_setting('default_transaction_read_only')::boolean")
# How long a server that a network lost is waited for: to connect, and for word that what was sent came there.
_PATIENCE = {
    "connect_timeout": 5,
    "keepalives_idle": 10,
    "keepalives_interval": 5,
    "keepalives_count": 3,
    "tcp_user_timeout": 20_000,
}
_PRAGMAS = (
    f"PRAGMA busy_timeout={BUSY_MILLISECONDS}",
    "PRAGMA journal_mode=WAL",
    "PRAGMA synchronous=FULL",
    "PRAGMA foreign_keys=ON",
    "PRAGMA secure_delete=ON",  # what is erased is overwritten in the file
)


class Storage:
    """Connections to one book. Reading never waits; writing takes the book's one lock first."""

    def __init__(self, address: str) -> None:
        self.url = url_of(address)
        self.path = Path(self.url.database or "") if self.is_sqlite else None
        self.engine = _sqlite_engine(self.path) if self.path else _postgresql_engine(self.url)
        self._file: tuple[int, int] | None = None

    @property
    def is_sqlite(self) -> bool:
        """Whether the book is a file of SQLite."""
        return self.url.get_backend_name() == "sqlite"

    def start(self) -> None:
        """
        Hold that the book is there, at the newest schema, and set up as it must be.

        Raises:
            BookNotReadyError: with what was expected, and what was found.
        """
        self._file = self._file_now()
        with told_plainly(), self.engine.connect() as connection:
            check(connection)

    def check_ready(self, least_bytes: int) -> None:
        """
        Hold that the book can be read and written now: set up as it must be, not read-only, room on the disk.

        Raises:
            StorageError: with what was expected, and what was found.
        """
        with self.reading() as connection:
            check(connection)
            if not self.is_sqlite and connection.execute(_READ_ONLY).scalar():
                raise StorageError("expected a database that can be written; found a read-only one")
        if self.path is not None:
            _check_disk(self.path, least_bytes)

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A connection that sees the book as it is at its first question, however long it takes."""
        with told_plainly():
            self._hold_on_to_file()
            level = {} if self.is_sqlite else {"isolation_level": "REPEATABLE READ"}
            with self.engine.connect().execution_options(**level) as connection, connection.begin():
                yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """A transaction that nobody else writes beside; kept on the disk when this is left."""
        with told_plainly():
            self._hold_on_to_file()
            with (
                turn(self.path),
                self.engine.connect().execution_options(**{_WRITING: True}) as connection,
                connection.begin(),
            ):
                if not self.is_sqlite:
                    connection.execute(text("LOCK TABLE events IN EXCLUSIVE MODE"))
                yield connection
            self._still_there()

    def forget_deleted(self) -> None:
        """Empty the log of writes, where SQLite keeps what was erased until then."""
        if self.is_sqlite:
            with told_plainly(), self.engine.connect() as connection:
                connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")

    def close(self) -> None:
        """Let every connection go."""
        self.engine.dispose()

    def _file_now(self) -> tuple[int, int] | None:
        if self.path is None:
            return None
        try:
            found = self.path.stat()
        except OSError as error:
            raise StorageError(f"expected the book at {self.path}; found {error.strerror}") from error
        return found.st_dev, found.st_ino

    def _still_there(self) -> None:
        if self._file_now() != self._file:
            raise StorageError(f"expected the book at {self.path}; found that it was moved while it was written")

    def _hold_on_to_file(self) -> None:
        # A connection to a removed file would go on writing to what nobody can open again.
        if self._file_now() != self._file:
            self.engine.dispose()
            self.start()


def url_of(address: str) -> URL:
    """
    The URL of a book, from a URL or from the path of a SQLite file.

    Raises:
        BookNotReadyError: neither a file nor a PostgreSQL database.
    """
    try:
        url = make_url(address if "://" in address else f"sqlite:///{address}")
    except ArgumentError:
        url = make_url("unknown://")
    kind = url.get_backend_name()
    if kind == "sqlite" and url.database not in {None, "", ":memory:"}:
        return url.set(drivername="sqlite")
    if kind == "postgresql":
        return url.set(drivername="postgresql+psycopg")
    raise BookNotReadyError("expected a path, sqlite:///PATH or postgresql://USER@HOST/NAME; found another address")


@contextmanager
def told_plainly() -> Iterator[None]:
    """Turn what a database or a disk refuses into an error of ours that shows no SQL."""
    try:
        yield
    except IntegrityError:
        raise
    except DBAPIError as error:
        raise StorageError(f"expected the book to answer; found {_first_line(error.orig)}") from error
    except (SQLAlchemyError, sqlite3.Error) as error:
        raise StorageError(f"expected the book to answer; found {_first_line(error)}") from error


def _check_disk(path: Path, least_bytes: int) -> None:
    found = os.statvfs(path)
    if found.f_flag & os.ST_RDONLY or not os.access(path, os.W_OK):
        raise StorageError(f"expected to write the book at {path}; found it read-only")
    if (free := found.f_bavail * found.f_frsize) < least_bytes:
        raise StorageError(f"expected {least_bytes} bytes free for the book at {path}; found {free}")


def _first_line(error: BaseException | None) -> str:
    return (str(error).splitlines() or ["no reason"])[0]


def create_file(path: Path) -> None:
    """Make an empty SQLite file where there is none."""
    with told_plainly():
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            os.close(os.open(path, os.O_CREAT | os.O_RDWR, 0o600))
        except OSError as error:
            raise StorageError(f"expected to make the book at {path}; found {error.strerror}") from error


def _sqlite_engine(path: Path) -> Engine:
    address = f"file:{quote(str(path.resolve()))}?mode=rw"  # a missing file is refused, not made anew

    def connect() -> sqlite3.Connection:
        return sqlite3.connect(address, uri=True, isolation_level=None, check_same_thread=False)

    engine = create_engine("sqlite://", creator=connect, pool_size=10, max_overflow=40, poolclass=QueuePool)
    event.listen(engine, "connect", _set_up_sqlite)
    event.listen(engine, "begin", _begin_sqlite)
    return engine


def _set_up_sqlite(connection: sqlite3.Connection, _: object) -> None:
    while_busy(lambda: [connection.execute(pragma).fetchall() for pragma in _PRAGMAS])


def _begin_sqlite(connection: Connection) -> None:
    writing = connection.get_execution_options().get(_WRITING)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writing else "BEGIN")


def _postgresql_engine(url: URL) -> Engine:
    # Four processes together stay under the hundred connections that a server takes unless it is told otherwise.
    return create_engine(url, pool_pre_ping=True, pool_size=5, max_overflow=15, connect_args=_PATIENCE)
