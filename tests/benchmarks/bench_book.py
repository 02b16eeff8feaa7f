"""
The quote book: quotations stored a second beside raw commits of the same rows; pages of small and large books.

A page's time is the least of its rounds, which the machine's other work touches least.

Run with ``python -m tests.benchmarks.bench_book``; ``--rows 1000000`` for the large book (the default), and
``--postgresql`` for pages on a server of its own too.
"""

from __future__ import annotations

import argparse
import datetime
import sqlite3
import tempfile
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path

from sqlalchemy import Connection, event, text

from quoting.book import QuoteBook, Wanted
from quoting.book.search import _cursor, statement_for
from quoting.book.tables import IN_ORDER
from tests.book.postgresql import Server
from tests.book.shop import NOW, card, issued, priced

STORED = 2000
CLIENTS = 64
ROUNDS = 41
SMALL = 1000


def main() -> None:
    """Both questions, each as ratios of this run."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--rows", type=int, default=1_000_000)
    parser.add_argument("--postgresql", action="store_true")
    told = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        _storing(Path(folder))
        for engine in ["sqlite", "postgresql"] if told.postgresql else ["sqlite"]:
            _pages(Path(folder), engine, told.rows)


def _storing(folder: Path) -> None:
    priced()
    path = folder / "book.sqlite"
    with QuoteBook(str(path)) as book:
        rates = {"one client": _rate(lambda: [issued(book) for _ in range(STORED // 10)], STORED // 10)}
        with ThreadPoolExecutor(CLIENTS) as crew:
            rates[f"{CLIENTS} clients"] = _rate(lambda: list(crew.map(lambda _: issued(book), range(STORED))), STORED)
            book.storage.engine.dispose()
            event.listen(book.storage.engine, "connect", _forget_the_disk)
            rates[f"{CLIENTS} clients, without the disk"] = _rate(
                lambda: list(crew.map(lambda _: issued(book), range(STORED))), STORED
            )
        preparing = _rate(lambda: [_prepared() for _ in range(200)], 200)
    raw = _raw_commits(path, folder / "raw.sqlite")
    print(f"raw sqlite3, the same rows, one by one   {raw:8.0f} a second   1.00 x")
    for name, rate in rates.items():
        print(f"the book, {name:31}{rate:8.0f} a second  {rate / raw:5.2f} x")
    print(f"making ready alone, on one core          {preparing:8.0f} a second  {preparing / raw:5.2f} x")


def _forget_the_disk(connection: sqlite3.Connection, _: object) -> None:
    connection.execute("PRAGMA synchronous=OFF")


def _prepared() -> object:
    from quoting.book.prepared import prepare

    prepared = prepare(priced(), card())
    return prepared.sealed(1, bytes, number="Q-00001", days=prepared.dated(NOW))


def _rate(work: Callable[[], object], count: int) -> float:
    began = time.perf_counter()
    work()
    return count / (time.perf_counter() - began)


def _raw_commits(source: Path, to: Path) -> float:
    """Quotations a second of a loop that inserts the rows of each and commits, at synchronous=FULL."""
    groups = list(_groups(source))
    with closing(sqlite3.connect(to, isolation_level=None)) as raw:
        with closing(sqlite3.connect(source)) as book:
            for (statement,) in book.execute("SELECT sql FROM sqlite_master WHERE type IN ('table', 'index')"):
                if statement:
                    raw.execute(statement)
        raw.execute("PRAGMA journal_mode=WAL")
        raw.execute("PRAGMA synchronous=FULL")

        def store() -> None:
            for rows in groups:
                raw.execute("BEGIN IMMEDIATE")
                for statement, row in rows:
                    raw.execute(statement, row)
                raw.execute("COMMIT")

        return _rate(store, len(groups))


def _groups(source: Path) -> Iterator[list[tuple[str, tuple[object, ...]]]]:
    """The rows of each quotation, with their statements."""
    found: dict[int, list[tuple[str, tuple[object, ...]]]] = {}
    with closing(sqlite3.connect(source)) as book:
        places = {id: entry for entry, id in book.execute("SELECT entry, id FROM quotes")}
        for table in IN_ORDER:
            columns = [column.name for column in table.columns]
            marks = ", ".join("?" for _ in columns)
            statement = f"INSERT INTO {table.name} VALUES ({marks})"
            for row in book.execute(f"SELECT * FROM {table.name}"):
                told = dict(zip(columns, row, strict=True))
                place = told.get("entry") or places.get(str(told.get("subject")))
                if isinstance(place, int):
                    found.setdefault(place, []).append((statement, row))
    yield from found.values()


ASKED = {
    "newest": (Wanted(), False),
    "deep in the list": (Wanted(), True),
    "of a client": (Wanted(client="client-7"), False),
    "of a client, deep": (Wanted(client="client-7"), True),
    "accepted": (Wanted(state="accepted"), False),
    "lapsed": (Wanted(state="lapsed"), False),
    "by a word": (Wanted(text="word3"), False),
    "by a word, deep": (Wanted(text="word3"), True),
    "by two words": (Wanted(text="word3 often"), False),
    "of some days": (
        Wanted(dated_from=datetime.date(2020, 6, 1), dated_until=datetime.date(2021, 6, 1)),
        False,
    ),
}


def _pages(folder: Path, engine: str, rows: int) -> None:
    server = Server() if engine == "postgresql" else None
    try:
        books = []
        for count in (SMALL, rows):
            address = server.new_database() if server else str(folder / f"pages-{count}.sqlite")
            book = QuoteBook(address)
            with book.storage.writing() as connection:
                _fill(connection, count)
            if server:
                with book.storage.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
                    connection.execute(text("VACUUM ANALYZE"))
            books.append(book)
        _compare(books, rows, engine)
        _by_number(books, rows)
        for book in books:
            book.close()
    finally:
        if server:
            server.remove()


def _compare(books: list[QuoteBook], rows: int, engine: str) -> None:
    print(f"\na page of 50, {engine}: {rows:,} quotations beside {SMALL:,}")
    for name, (wanted, deep) in ASKED.items():
        cursors = [_middle(book, wanted) if deep else "" for book in books]
        times: list[list[float]] = [[], []]
        for _ in range(ROUNDS):
            for place, book in enumerate(books):
                began = time.perf_counter()
                found = book.list(wanted, at=NOW, cursor=cursors[place])
                times[place].append(time.perf_counter() - began)
                assert found.quotations, name
        small, large = (min(found) for found in times)
        print(f"{name:20} {small * 1000:6.2f} ms  {large * 1000:6.2f} ms  {large / small:5.2f} x")


def _by_number(books: list[QuoteBook], rows: int) -> None:
    from quoting.book.page import id_of

    times: list[list[float]] = [[], []]
    for _ in range(ROUNDS):
        for place, (book, count) in enumerate(zip(books, (SMALL, rows), strict=True)):
            began = time.perf_counter()
            with book.storage.reading() as connection:
                assert id_of(connection, f"Q-{count // 2:05}") == f"quotation-{count // 2}"
            times[place].append(time.perf_counter() - began)
    small, large = (min(found) for found in times)
    print(f"{'by number':20} {small * 1000:6.2f} ms  {large * 1000:6.2f} ms  {large / small:5.2f} x")


def _middle(book: QuoteBook, wanted: Wanted) -> str:
    with book.storage.reading() as connection:
        from sqlalchemy import func, select

        matches = statement_for(wanted, NOW)
        count = connection.execute(select(func.count()).select_from(matches.subquery())).scalar_one()
        row = connection.execute(matches.offset(max(0, count // 2 - 60)).limit(1)).one()
    return _cursor(wanted, row)


_NUMBERS = {
    "sqlite": "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < {count})",
    "postgresql": "WITH n(i) AS (SELECT generate_series(1, {count}::bigint))",
}
_STATE = "CASE i % 5 WHEN 0 THEN 'accepted' WHEN 1 THEN 'declined' WHEN 2 THEN 'withdrawn' ELSE 'open' END"


def _day(engine: str, share: str) -> str:
    """A day of ten years, by place in the book."""
    if engine == "sqlite":
        return f"date('2015-01-01', '+' || ({share}) || ' days')"
    return f"to_char(date '2015-01-01' + ({share})::int, 'YYYY-MM-DD')"


def _fill(connection: Connection, count: int) -> None:
    """Quotations of ten clients, in the large book as in the small, with four words each."""
    engine = connection.dialect.name
    numbers = _NUMBERS[engine].format(count=count)
    day = _day(engine, f"i * 3650 / {count}")
    clients = _NUMBERS[engine].format(count=50)
    for statement in (
        f"{clients} INSERT INTO clients SELECT 'client-' || i, 1, 1, NULL, NULL, NULL FROM n",
        f"{numbers} INSERT INTO quotes SELECT i, 'quotation-' || i, 'Q', i, 1, 2, {_STATE},"
        f" 'client-' || (1 + i % 10), 'Client of the bench', 'A job of the bench', {day} || 'T10:00:00.000000Z',"
        f" {day} || 'T10:00:00.000000Z', {day}, {day}, {day}, {day} || 'T23:59:59.999999Z', 'GBP',"
        " 10000 + i % 90000, 0, 0, NULL, 0, NULL, NULL FROM n",
        f"{numbers} INSERT INTO words SELECT 'word' || (i % 10), i FROM n",
        f"{numbers} INSERT INTO words SELECT 'often', i FROM n",
        f"{numbers} INSERT INTO words SELECT 'only' || i, i FROM n",
        f"{numbers} INSERT INTO words SELECT 'client' || (i % 7), i FROM n",
    ):
        connection.execute(text(statement))


if __name__ == "__main__":
    main()
