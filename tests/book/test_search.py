"""A10, in the library: lists by cursor, each quotation once while others write; filters beside a plain reading."""

from __future__ import annotations

import base64
import datetime
import random
import threading
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from sqlalchemy import text

from quoting.book import Listed, QuoteBook, Wanted
from quoting.book.papers import folded_words
from quoting.book.search import statement_for
from quoting.errors import CursorError, InputError
from tests.book.shop import NOW, card, drafted, issued, priced

CLIENTS = ("Linnet Ashdown", "Isaac Pell", "Ödön Größe", "")


def walked(book: QuoteBook, wanted: Wanted, at: datetime.datetime, most: int) -> list[Listed]:
    """Every page of a list."""
    found: list[Listed] = []
    cursor = ""
    while True:
        page = book.list(wanted, at=at, most=most, cursor=cursor)
        found += page.quotations
        assert len(page.quotations) == most or not page.cursor
        if not (cursor := page.cursor):
            return found


@pytest.fixture
def busy(book: QuoteBook) -> QuoteBook:
    """A book with quotations in every state, over many days."""
    chance = random.Random(5)
    for number in range(60):
        at = NOW + datetime.timedelta(days=number)
        estimate = priced(chance.choice(["reprint", "cards"]), client=chance.choice(CLIENTS), quantities=(100,))
        move = chance.choice(["draft", "", "", "accept", "decline", "withdraw"])
        if move == "draft":
            drafted(book, estimate, at=at)
            continue
        entry = issued(book, estimate, at=at, series=chance.choice("QW"))
        if move:
            getattr(book, move)(entry.id, at=at, by="owner")
    return book


def test_every_filter_gives_what_a_plain_reading_gives(busy: QuoteBook) -> None:
    at = NOW + datetime.timedelta(days=50)
    everything = walked(busy, Wanted(), at, 200)
    client = everything[0].client
    day = datetime.date(2026, 12, 20)
    asked: list[tuple[Wanted, Any]] = [
        *((Wanted(state=state), lambda one, state=state: one.state == state) for state in STATES),
        (Wanted(client=client), lambda one: one.client == client),
        (Wanted(client=client, state="open"), lambda one: one.client == client and one.state == "open"),
        (Wanted(series="W"), lambda one: one.number.startswith("W-")),
        (Wanted(number="W-00002"), lambda one: one.number == "W-00002"),
        (Wanted(number="no number"), lambda one: False),
        (Wanted(text="GRÖSSE ödön"), lambda one: "Größe" in one.client_name),
        (Wanted(text="linnet", state="open"), lambda one: "Linnet" in one.client_name and one.state == "open"),
        (Wanted(text="reading room"), lambda one: "reading room" in one.title),
        (Wanted(text="nobody of that name"), lambda one: False),
        (Wanted(dated_from=day), lambda one: one.dated is not None and one.dated >= day),
        (Wanted(dated_until=day), lambda one: one.dated is not None and one.dated <= day),
        (Wanted(dated_from=day, dated_until=day, text="cards"), lambda one: one.dated == day),
    ]
    for wanted, fits in asked:
        expected = [one for one in everything if fits(one)]
        for most in (1, 7, 200):
            assert walked(busy, wanted, at, most) == expected, wanted
    assert len(everything) == 60
    assert {one.state for one in everything} == set(STATES)


STATES: tuple[Any, ...] = ("draft", "open", "lapsed", "accepted", "declined", "withdrawn")


@pytest.mark.parametrize(("there", "more"), [(120, 30), pytest.param(10_000, 500, marks=pytest.mark.long)])
def test_a_walk_sees_each_quotation_once_while_others_write(book: QuoteBook, there: int, more: int) -> None:
    with ThreadPoolExecutor(16) as crew:
        ids = [entry.id for entry in crew.map(lambda _: issued(book), range(there))]
    pages = []

    def write() -> None:
        for number in range(more):
            issued(book)
            if number % 2:
                book.revise(ids[-number], priced(), card(), at=NOW, by="owner")

    somebody = threading.Thread(target=write)
    somebody.start()
    found = walked(book, Wanted(), NOW, 10)
    somebody.join()
    pages += [one.id for one in found]

    assert sorted(set(pages) & set(ids)) == sorted(ids)
    assert len(pages) == len(set(pages))


def test_a_cursor_of_another_list_or_of_nobody_is_refused(book: QuoteBook) -> None:
    for _ in range(6):
        issued(book)
    cursor = book.list(at=NOW, most=2).cursor
    plain = base64.urlsafe_b64decode(cursor)
    forged = [
        cursor[:-1],
        cursor[:8],
        cursor + "A",
        "x",
        "é",
        "====",
        base64.urlsafe_b64encode(plain[:-2] + b"9]").decode(),
        base64.urlsafe_b64encode(b"0" * 12 + b'["",5]').decode(),
    ]
    for told in forged:
        with pytest.raises(CursorError):
            book.list(at=NOW, most=2, cursor=told)
    with pytest.raises(CursorError):
        book.list(Wanted(state="open"), at=NOW, most=2, cursor=cursor)


@pytest.mark.parametrize("most", [0, -1, 201, 10**9])
def test_a_page_is_of_one_to_two_hundred(book: QuoteBook, most: int) -> None:
    with pytest.raises(InputError, match="limit"):
        book.list(at=NOW, most=most)


@pytest.mark.parametrize(
    "name",
    [
        "'; DROP TABLE quotes; --",
        "%",
        "_",
        "\\",
        "a\0b",
        "{{7*7}}",
        "\u202eevil",
        "👩‍🚀",
        "ﬁne",
        "İstanbul",
        "x" * 110,
    ],
)
def test_hostile_text_is_kept_as_it_is_and_found_by_its_words(book: QuoteBook, name: str) -> None:
    entry = issued(book, priced(client=name))

    contact = book.client(entry.client).contact
    found = book.list(Wanted(text=name), at=NOW).quotations

    assert contact is not None
    assert contact.name == name
    assert [one.id for one in found] == [entry.id]
    assert book.verify(engines={}).tampering == ()
    assert len(folded_words(name)) <= 64


@pytest.mark.parametrize("addresses", ["sqlite"], indirect=True)  # PostgreSQL reads so small a table through
def test_a_list_goes_along_an_index(busy: QuoteBook) -> None:
    for wanted in (
        Wanted(),
        Wanted(state="open"),
        Wanted(client="x"),
        Wanted(text="linnet"),
        Wanted(dated_from=NOW.date()),
    ):
        plan = _plan(busy, wanted)
        assert "TEMP B-TREE" not in plan
        assert "SCAN quotes" not in plan or wanted == Wanted()


def _plan(book: QuoteBook, wanted: Wanted) -> str:
    statement = statement_for(wanted, NOW).compile(book.storage.engine, compile_kwargs={"literal_binds": True})
    with book.storage.reading() as connection:
        return " ".join(row[3] for row in connection.execute(text(f"EXPLAIN QUERY PLAN {statement}")))
