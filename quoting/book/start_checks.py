"""What must hold of a database before a book is kept in it."""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy import Connection, inspect, text

from quoting.book.tables import metadata
from quoting.book.triggers import trigger_names
from quoting.book.upgrading import head, version_of
from quoting.errors import BookNotReadyError

BUSY_MILLISECONDS = 20_000
_LEAST_BUSY_MILLISECONDS = 5_000
_FULL, _EXTRA = 2, 3


def check(connection: Connection) -> None:
    """
    Hold that a database is fit for the book.

    Raises:
        BookNotReadyError: with everything that is not as it must be.
    """
    version = version_of(connection)
    if version != head():
        raise BookNotReadyError(
            f"expected the book's tables at version {head()}; found {version or 'none'}: run quoting book upgrade"
        )
    settings = _sqlite_faults if connection.dialect.name == "sqlite" else _postgresql_faults
    faults = [*settings(connection), *_missing(connection)]
    if faults:
        raise BookNotReadyError("\n".join(faults))


def _sqlite_faults(connection: Connection) -> Iterator[str]:
    def told(pragma: str) -> object:
        return connection.exec_driver_sql(f"PRAGMA {pragma}").scalar()

    if (mode := told("journal_mode")) != "wal":
        yield f"journal_mode: expected wal; found {mode}"
    if (level := told("synchronous")) not in {_FULL, _EXTRA}:
        yield f"synchronous: expected 2 (FULL); found {level}"
    if (keys := told("foreign_keys")) != 1:
        yield f"foreign_keys: expected 1; found {keys}"
    busy = connection.exec_driver_sql("PRAGMA busy_timeout").scalar_one()
    if busy < _LEAST_BUSY_MILLISECONDS:
        yield f"busy_timeout: expected {_LEAST_BUSY_MILLISECONDS} or more; found {busy}"
    strict = {row.name for row in connection.exec_driver_sql("PRAGMA table_list") if row.strict}
    for name in sorted(metadata.tables.keys() - strict):
        yield f"table {name}: expected STRICT; found it not"


def _postgresql_faults(connection: Connection) -> Iterator[str]:
    for name in ("fsync", "full_page_writes", "synchronous_commit"):
        value = connection.exec_driver_sql(f"SHOW {name}").scalar()
        if value == "off":
            yield f"{name}: expected on; found off"
    if (encoding := connection.exec_driver_sql("SHOW server_encoding").scalar()) != "UTF8":
        yield f"server_encoding: expected UTF8; found {encoding}"


def _missing(connection: Connection) -> Iterator[str]:
    tables = set(inspect(connection).get_table_names())
    for name in sorted(metadata.tables.keys() - tables):
        yield f"table {name}: expected it; found none"
    for name in sorted(trigger_names() - _triggers(connection)):
        yield f"trigger {name}: expected it; found none"


def _triggers(connection: Connection) -> set[str]:
    asked = {
        "sqlite": "SELECT name FROM sqlite_master WHERE type = 'trigger'",
        "postgresql": "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal AND tgenabled <> 'D'"
        " AND tgrelid IN (SELECT oid FROM pg_class WHERE relnamespace = current_schema()::regnamespace)",
    }
    return set(connection.execute(text(asked[connection.dialect.name])).scalars())
