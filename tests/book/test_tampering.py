"""A38: what is kept for ever cannot be changed through the database, and what is changed behind it is found."""

from __future__ import annotations

import random
import sqlite3
from contextlib import closing
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import ColumnElement, Connection, Table, and_, create_engine, event, text
from sqlalchemy.exc import DBAPIError

from quoting.book import Anchor, Contact, QuoteBook, Report
from quoting.book.repricing import ENGINES
from quoting.book.storage import url_of
from quoting.book.tables import metadata
from quoting.book.triggers import trigger_names
from quoting.book.verifying import verify
from tests.book.shop import LATER, NOW, SECRET, card, drafted, issued, priced

FOR_EVER = ("events", "cards", "revisions", "options")


def a_year_of_work(book: QuoteBook) -> None:
    """Some of everything that a book holds."""
    the_owners_year(book)
    asked = book.ask(priced(), card(), offer=card().offers[0].name, at=NOW, by="form", key="a-request-of-the-form")
    book.make_link(asked.id, at=LATER, by="owner")
    old = book.keys.make("site", scopes=["form"], origins=["https://shop.example"], at=NOW, by="owner").key
    book.keys.rotate(old.id, at=LATER, by="owner")
    told = book.outbox.waiting()[0]
    book.outbox.hand_out(told.position, ["mail to shop"], at=LATER)


def the_owners_year(book: QuoteBook) -> None:
    """Some of everything that a book of the first schema holds."""
    one = issued(book, priced(quantities=(100,)), key="the-first-of-the-year")
    book.accept(one.id, at=NOW, by="client", who="Lettice Corder")
    book.record_payment(one.id, Decimal("10.00"), at=LATER, by="owner", key="a-payment")
    two = issued(book, priced("cards"), series="W")
    book.revise(two.id, priced("cards", quantities=(70, 90)), card(), at=LATER, by="owner")
    book.keep_document(two.id, "pdf", b"%PDF-1.7", media_type="application/pdf", at=LATER, by="owner")
    three = issued(book, priced(client="Linnet Ashdown"))
    book.decline(three.id, at=LATER, by="client", note="too dear")
    erased = issued(book, priced(client="Isaac Pell"))
    book.erase_client(erased.client, at=LATER, by="owner")
    drafted(book)
    book.keep_client(Contact(name="Nobody yet", terms="30 days"), at=NOW, by="owner")
    book.publish_card(card("2026-2"), at=LATER, by="owner")


@pytest.mark.parametrize("table", [*FOR_EVER, "papers"])
@pytest.mark.parametrize("statement", ["UPDATE {table} SET {column} = {column}", "DELETE FROM {table}"])
def test_the_database_refuses_to_change_what_is_kept_for_ever(book: QuoteBook, table: str, statement: str) -> None:
    a_year_of_work(book)
    column = metadata.tables[table].columns.keys()[0]

    with pytest.raises(DBAPIError, match="kept for ever"), book.storage.engine.begin() as connection:
        connection.execute(text(statement.format(table=table, column=column)))
    with pytest.raises(DBAPIError, match="kept for ever"), book.storage.engine.begin() as connection:
        connection.execute(text("DELETE FROM quotes"))
    with pytest.raises(DBAPIError, match="kept for ever"), book.storage.engine.begin() as connection:
        connection.execute(text("UPDATE counters SET last = last - 1"))

    assert book.verify().is_sound


class Behind:
    """Somebody who changes rows behind the book, with the database's own guards taken away."""

    def __init__(self, address: str, chance: random.Random) -> None:
        self.chance = chance
        self.is_sqlite = "://" not in address
        self.engine = create_engine(f"sqlite:///{address}" if self.is_sqlite else url_of(address))
        event.listen(self.engine, "begin", self._begin)

    def _begin(self, connection: Connection) -> None:
        if not self.is_sqlite:
            connection.execute(text("SET LOCAL session_replication_role = replica"))
            return
        connection.exec_driver_sql("BEGIN")
        for name in trigger_names():
            connection.exec_driver_sql(f"DROP TRIGGER {name}")

    def tamper(self) -> tuple[str, Report]:
        """Change, remove or add one row, and what verify says of it; then it is undone."""
        while True:
            with self.engine.connect() as connection:
                told = self._tampered(connection)
                if told:
                    report = verify(connection, {})
                    connection.rollback()
                    return told, report

    def _tampered(self, connection: Connection) -> str:
        table = metadata.tables[self.chance.choice(sorted(metadata.tables.keys() - WORK_UNDER_WAY))]
        row = dict(self.chance.choice(connection.execute(table.select()).mappings().all()))
        how = self.chance.choice(["change", "change", "change", "remove", "add"])
        statement, told = getattr(self, f"_{how}")(table, row)
        try:
            changed = connection.execute(statement).rowcount if statement is not None else 0
        except DBAPIError:  # a type or a constraint that stands without any trigger
            changed = 0
        return f"{how} {table.name}: {told}" if changed == 1 else ""

    def _change(self, table: Table, row: dict[str, Any]) -> tuple[Any, str]:
        column = self.chance.choice([name for name in row if (table.name, name) not in FREE])
        value = (
            NOTHING_BUT.get(str(table.c[column].type), 1)
            if row[column] is None
            else other_than(row[column], self.chance)
        )
        statement = table.update().where(_is(table, row)).values({column: value})
        return statement, f"{column} from {row[column]!r:.60} to {value!r:.60}"

    def _remove(self, table: Table, row: dict[str, Any]) -> tuple[Any, str]:
        statement = None if table.name == "requests" else table.delete().where(_is(table, row))
        return statement, f"{row!r:.90}"  # keys are forgotten by right

    def _add(self, table: Table, row: dict[str, Any]) -> tuple[Any, str]:
        for key in table.primary_key.columns:
            row[key.name] = other_than(row[key.name], self.chance)
        return table.insert().values(row), f"{row!r:.90}"


NOTHING_BUT = {"TEXT": "x", "BLOB": b"x"}
# How far telling a change has come, and what is left of a budget, is no part of the history.
FREE = {("outbox", "delivered_at")}
WORK_UNDER_WAY = {"deliveries", "budgets"}


def _is(table: Table, row: dict[str, Any]) -> ColumnElement[bool]:
    return and_(*(column == row[column.name] for column in table.primary_key.columns))


def other_than(value: Any, chance: random.Random) -> Any:
    """A value of the same kind, with one thing changed."""
    if isinstance(value, int):
        return value + chance.choice([-1, 1, 7])
    if not value:
        return "x"
    at = chance.randrange(len(value))
    if isinstance(value, bytes):
        return value[:at] + bytes([value[at] ^ (1 << chance.randrange(8))]) + value[at + 1 :]
    return value[:at] + chance.choice([one for one in "abc019-" if one != value[at]]) + value[at + 1 :]


@pytest.mark.parametrize("times", [60, pytest.param(1000, marks=pytest.mark.long)])
def test_every_single_row_that_is_tampered_with_is_found(address: str, times: int) -> None:
    with QuoteBook(address, secret=SECRET) as book:
        a_year_of_work(book)
        before = book.verify()
    behind = Behind(address, random.Random(times))

    found = [behind.tamper() for _ in range(times)]

    assert [told for told, report in found if not report.tampering] == []
    assert before.is_sound
    with QuoteBook(address) as book:
        assert book.verify() == before
    behind.engine.dispose()


def test_a_history_that_was_cut_off_is_found_by_what_was_written_down(address: str) -> None:
    with QuoteBook(address) as book:
        issued(book)
        early, head = book.history(issued(book).id)[0], book.head()
        assert head is not None
        assert book.verify(anchor=Anchor(early.position, early.hash)).is_sound
        assert book.verify(anchor=Anchor(head.position, head.hash)).is_sound

        longer = book.verify(anchor=Anchor(head.position + 1, head.hash))
        other = book.verify(anchor=Anchor(early.position, head.hash))

    assert longer.tampering == (f"event {head.position + 1}: expected it; found {head.position} events",)
    assert other.tampering == (f"event {early.position}: expected the hash that was written down; found another",)


def test_what_was_erased_may_not_come_back(tmp_path: Path) -> None:
    address = str(tmp_path / "book.sqlite")
    with QuoteBook(address) as book:
        entry = issued(book, priced(client="Isaac Pell"))
        with closing(sqlite3.connect(address)) as plain:
            paper = plain.execute("SELECT * FROM papers WHERE kind = 'job'").fetchone()
        book.erase_client(entry.client, at=LATER, by="owner")
        assert book.verify().is_sound

        with closing(sqlite3.connect(address)) as plain, plain:
            plain.execute("INSERT INTO papers VALUES (?, ?, ?, ?, ?, ?)", paper)

        assert book.verify().tampering == (f"{entry.number}: 1/job: expected nothing; found another",)


@pytest.mark.parametrize(
    ("statement", "told"),
    [
        ("UPDATE requests SET version = 1 WHERE operation = 'draft and issue'", "request draft and issue"),
        ("INSERT INTO outbox VALUES (999, 'issued', 'nobody', '2026', NULL)", "outbox 999"),
        ("UPDATE events SET body = '{}' WHERE kind = 'client kept'", "clients: expected rows"),
        ("INSERT INTO quotes SELECT entry + 900, 'x', NULL, NULL, 0, 1, 'draft', client, NULL, NULL, made_at,"
         " changed_at, NULL, NULL, NULL, NULL, currency, 1, 0, 0, NULL, 0, NULL, NULL FROM quotes LIMIT 1",
         "expected a history"),
        ("UPDATE papers SET body = X'00' WHERE kind = 'quotation'", "quotation: expected it as it was kept"),
        ("UPDATE cards SET body = X'00'", "card Marrowby Lane Press"),
        ("DELETE FROM counters WHERE series = 'W'", "series W"),
    ],
)  # fmt: skip
def test_what_once_went_unseen_or_stopped_verify_is_told(tmp_path: Path, statement: str, told: str) -> None:
    address = str(tmp_path / "book.sqlite")
    with QuoteBook(address, secret=SECRET) as book:
        a_year_of_work(book)
    behind = Behind(address, random.Random())

    with behind.engine.connect() as connection:
        assert connection.execute(text(statement)).rowcount > 0
        report = verify(connection, ENGINES)
        connection.rollback()

    assert [fault for fault in report.tampering if told in fault]
    behind.engine.dispose()
