"""A38: from every earlier schema to the newest, with everything in it, and killed on the way."""

from __future__ import annotations

import multiprocessing
import signal
from contextlib import closing
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import Connection, event, insert, inspect, select, text

from quoting.book import QuoteBook
from quoting.book.repricing import ENGINES
from quoting.book.storage import Storage, create_file, url_of
from quoting.book.tables import IN_ORDER, metadata
from quoting.book.upgrading import STEPS, head, upgrade, version_of
from quoting.book.verifying import verify
from quoting.errors import BookNotReadyError
from tests.book.conftest import Addresses
from tests.book.shop import LATER, SECRET
from tests.book.test_tampering import a_year_of_work, the_owners_year
from tests.book.worker import upgrade_and_die

PROCESSES = multiprocessing.get_context("forkserver")
PROCESSES.set_forkserver_preload(["tests.book.worker"])
ALL_STEPS = (*STEPS, Path(__file__).parent / "later_steps")
NEWEST = "0004"

_OF_SQLITE = (
    "SELECT type, name, replace(replace(sql, '\"', ''), char(10), ' ') FROM sqlite_master WHERE sql IS NOT NULL"
)
_OF_POSTGRESQL = """
SELECT 'column', table_name, column_name || ' ' || data_type || ' ' || is_nullable
  FROM information_schema.columns WHERE table_schema = current_schema()
UNION ALL SELECT 'constraint', conname, pg_get_constraintdef(oid) FROM pg_constraint
  WHERE connamespace = current_schema()::regnamespace
UNION ALL SELECT 'index', indexname, indexdef FROM pg_indexes WHERE schemaname = current_schema()
UNION ALL SELECT 'trigger', tgname, pg_get_triggerdef(oid) FROM pg_trigger WHERE NOT tgisinternal
UNION ALL SELECT 'function', proname, prosrc FROM pg_proc WHERE pronamespace = current_schema()::regnamespace
"""


def schema_of(storage: Storage) -> set[tuple[str, ...]]:
    """Everything of a database but its rows."""
    asked = _OF_SQLITE if storage.is_sqlite else _OF_POSTGRESQL
    with storage.engine.connect() as connection:
        return {(kind, name, " ".join(told.split())) for kind, name, told in connection.execute(text(asked))}


def fresh(address: str, to: str = "head") -> Storage:
    """An empty book at a version of the tables."""
    if "://" not in address:
        create_file(Path(address))
    storage = Storage(address)
    upgrade(storage.engine, to=to, steps=ALL_STEPS)
    return storage


def rows_of(connection: Connection) -> dict[str, list[str]]:
    """Every row of the book's own tables and columns."""
    return {name: sorted(map(repr, connection.execute(table.select()))) for name, table in metadata.tables.items()}


def test_the_tables_are_as_they_are_read(address: str) -> None:
    with QuoteBook(address) as book, book.storage.engine.connect() as connection:
        assert compare_metadata(MigrationContext.configure(connection), metadata) == []
        assert version_of(connection) == head()


@pytest.mark.parametrize("by", ["0002", "0003"])
def test_a_full_book_of_an_earlier_schema_becomes_the_newest(addresses: Addresses, by: str) -> None:
    address = addresses()
    with QuoteBook(address, secret=SECRET) as book:
        a_year_of_work(book)
        before = book.verify()
        with book.storage.reading() as connection:
            rows = rows_of(connection)
    with closing(Storage(address)) as storage, closing(fresh(addresses())) as other:
        upgrade(storage.engine, to=by, steps=ALL_STEPS)
        upgrade(storage.engine, steps=ALL_STEPS)
        upgrade(storage.engine, steps=ALL_STEPS)

        assert schema_of(storage) == schema_of(other)
        with storage.engine.begin() as connection:
            assert version_of(connection) == NEWEST
            assert rows_of(connection) == rows
            assert verify(connection, ENGINES) == before
            assert connection.execute(text("SELECT count(*) FROM remarks WHERE remark <> ''")).scalar() == len(
                rows["quotes"]
            )


def test_a_full_book_of_the_first_schema_opens_once_it_is_upgraded(addresses: Addresses) -> None:
    address = addresses()
    with QuoteBook(addresses()) as book, closing(fresh(address, "0001")) as first:
        the_owners_year(book)
        before = book.verify()
        with book.storage.reading() as source, first.engine.begin() as target:
            _copy_what_both_have(source, target)
    with pytest.raises(BookNotReadyError, match="found 0001: run quoting book upgrade"):
        QuoteBook(address)

    QuoteBook.upgrade(address)

    with QuoteBook(address, secret=SECRET) as book:
        assert book.verify() == before
        linked = book.make_link("Q-00001", at=LATER, by="owner")
        assert book.by_link(book.link_token(linked)) == linked


def _copy_what_both_have(source: Connection, target: Connection) -> None:
    known = inspect(target)
    for table in (table for table in IN_ORDER if known.has_table(table.name)):
        columns = [table.c[column["name"]] for column in known.get_columns(table.name)]
        rows = [dict(row) for row in source.execute(select(*columns)).mappings()]
        assert rows or table.name == "requests"
        target.execute(insert(table), rows)


def test_an_upgrade_killed_at_twenty_points_ends_at_the_old_or_the_new(addresses: Addresses) -> None:
    address = addresses()
    with QuoteBook(address, secret=SECRET) as book:
        a_year_of_work(book)
        before = book.verify(engines={})
    with closing(fresh(addresses(), head())) as one, closing(fresh(addresses())) as other:
        old, new = schema_of(one), schema_of(other)
    calls = _calls_of_an_upgrade(addresses)
    places = sorted({round(1 + (calls - 1) * point / 19) for point in range(20)})
    assert len(places) == 20

    ends = []
    for place in places:
        process = PROCESSES.Process(target=upgrade_and_die, args=(address, place, ALL_STEPS))
        process.start()
        process.join()
        with closing(Storage(address)) as storage:
            schema = schema_of(storage)
            with storage.engine.begin() as connection:
                version, report = version_of(connection), verify(connection, {})
        assert process.exitcode == -signal.SIGKILL
        assert (version, schema) in [(head(), old), (NEWEST, new)]
        assert report == before
        ends.append(version)
    with closing(Storage(address)) as storage:
        upgrade(storage.engine, steps=ALL_STEPS)
        assert schema_of(storage) == new

    assert ends == [head()] * 20


def _calls_of_an_upgrade(addresses: Addresses) -> int:
    """How many calls an upgrade makes, its COMMIT the last."""
    with closing(fresh(addresses(), head())) as storage:
        calls: list[object] = []
        for name in ("after_cursor_execute", "commit"):
            event.listen(storage.engine, name, lambda *told: calls.append(told))
        upgrade(storage.engine, steps=ALL_STEPS)
        return len(calls)


def test_a_book_that_is_newer_than_this_library_is_left_alone(address: str) -> None:
    fresh(address).close()

    with pytest.raises(Exception, match="expected the book's tables at version 0002; found 0004"):
        QuoteBook(address)
    assert url_of(address)
