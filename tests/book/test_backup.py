"""A37: backups while the book is written, restored elsewhere and worked out again; the export is whole."""

from __future__ import annotations

import json
import sqlite3
import threading
import time
import zipfile
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from quoting.book import QuoteBook
from quoting.book.tables import metadata
from quoting.errors import BookNotReadyError, StorageError
from tests.book.conftest import Addresses
from tests.book.shop import NOW, SECRET, issued, priced
from tests.book.test_tampering import a_year_of_work


class Steady:
    """Somebody who issues so many quotations a second until told to stop."""

    def __init__(self, book: QuoteBook, a_second: int) -> None:
        self.book, self.pause = book, 1 / a_second
        self.answered: list[str] = []
        self.over = threading.Event()
        self.thread = threading.Thread(target=self._work)

    def _work(self) -> None:
        while not self.over.is_set():
            self.answered.append(issued(self.book).number)
            time.sleep(self.pause)

    def __enter__(self) -> Steady:
        """Begin."""
        self.thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        """Stop."""
        self.over.set()
        self.thread.join()


def numbers_in(book: QuoteBook) -> set[str]:
    """Every number of a book."""
    found: set[str] = set()
    cursor = ""
    while True:
        page = book.list(at=NOW, most=200, cursor=cursor)
        found |= {one.number for one in page.quotations}
        if not (cursor := page.cursor):
            return found


@pytest.mark.parametrize("seconds", [2, pytest.param(60, marks=pytest.mark.long)])
def test_a_backup_under_way_holds_everything_answered_before_and_reprices(
    addresses: Addresses, tmp_path: Path, seconds: int
) -> None:
    restored: list[tuple[set[str], Path]] = []
    with QuoteBook(addresses()) as book, Steady(book, 50) as somebody:
        ends = time.monotonic() + seconds
        while time.monotonic() < ends:
            time.sleep(seconds / 4)
            before = set(somebody.answered)
            backup = tmp_path / f"backup-{len(restored)}.sqlite"
            book.back_up(backup)
            restored.append((before, backup))

    for number, (before, backup) in enumerate(restored):
        for address in (str(tmp_path / f"restored-{number}.sqlite"), addresses()):
            QuoteBook.restore(backup, address)
            with QuoteBook(address) as again:
                report = again.verify() if number == 0 else again.verify(engines={})
                assert before - numbers_in(again) == set()
                assert report.is_sound
                assert issued(again).ordinal == report.quotations + 1
    assert len(restored[-1][0]) > len(restored[0][0])


def test_a_backup_is_the_whole_book_on_either_engine(addresses: Addresses, tmp_path: Path) -> None:
    with QuoteBook(addresses(), secret=SECRET) as book:
        a_year_of_work(book)
        book.back_up(tmp_path / "backup.sqlite")
        expected = rows_of(book)

    for address in (str(tmp_path / "other.sqlite"), addresses()):
        QuoteBook.restore(tmp_path / "backup.sqlite", address)
        with QuoteBook(address) as again:
            assert rows_of(again) == expected
            assert again.verify().is_sound


def rows_of(book: QuoteBook) -> dict[str, list[str]]:
    """Every row of a book."""
    with book.storage.reading() as connection:
        return {
            name: sorted(map(repr, connection.execute(table.select()))) for name, table in metadata.tables.items()
        }


def test_nothing_is_written_over_and_nothing_half_is_left(address: str, tmp_path: Path) -> None:
    taken = tmp_path / "taken"
    taken.write_text("mine")
    with QuoteBook(address) as book:
        issued(book)
        for write in (book.back_up, book.export):
            with pytest.raises(StorageError):
                write(taken)
            with pytest.raises(StorageError):
                write(Path("/proc/nowhere/backup"))
        book.back_up(tmp_path / "backup")
        with pytest.raises(StorageError, match="found one"):
            QuoteBook.restore(tmp_path / "backup", address)
        assert book.verify().is_sound

    assert taken.read_text() == "mine"
    assert [name.name for name in tmp_path.iterdir() if "part" in name.name or "copy" in name.name] == []


def test_a_damaged_backup_is_refused_and_leaves_no_book(tmp_path: Path) -> None:
    backup, address = tmp_path / "backup", tmp_path / "again.sqlite"
    with QuoteBook(str(tmp_path / "book.sqlite"), secret=SECRET) as book:
        a_year_of_work(book)
        book.back_up(backup)
    content = bytearray(backup.read_bytes())
    content[len(content) // 2 : len(content) // 2 + 4096] = bytes(4096)
    backup.write_bytes(content)
    with closing(sqlite3.connect(tmp_path / "recipes")) as plain:
        plain.execute("CREATE TABLE recipes (name TEXT)")

    for damaged, error in ((backup, StorageError), (tmp_path / "recipes", BookNotReadyError)):
        with pytest.raises(error):
            QuoteBook.restore(damaged, str(address))
        assert not address.exists()
    with pytest.raises(StorageError):
        QuoteBook.restore(tmp_path / "nowhere", str(address))


def test_an_export_holds_every_row_and_every_paper(book: QuoteBook, tmp_path: Path) -> None:
    a_year_of_work(book)

    book.export(tmp_path / "all.zip")

    with zipfile.ZipFile(tmp_path / "all.zip") as archive:
        names = set(archive.namelist())
        lines = {name: archive.read(name).splitlines() for name in names if name.endswith(".jsonl")}
        papers = {name: archive.read(name) for name in names if name.startswith("papers/")}
        cards = {name for name in names if name.startswith("cards/")}
        about = archive.read("ABOUT.txt").decode()
    rows = {name: len(found) for name, found in rows_of(book).items()}
    told = {name.removesuffix(".jsonl"): len(found) for name, found in lines.items()}
    assert told == {
        "quotations": rows["quotes"],
        **{name: rows[name] for name in told if name != "quotations"},
    }
    assert rows.keys() - told.keys() == {"quotes", "papers", "words", "cards", "budgets"}
    assert (len(papers), len(cards)) == (rows["papers"], rows["cards"])
    assert papers["papers/W-00001/2/pdf.pdf"] == book.paper("W-00001", "pdf").content
    assert all(name.removesuffix(".jsonl") in about for name in lines)
    clients: list[dict[str, Any]] = [json.loads(line) for line in lines["clients.jsonl"]]
    assert {one["contact"]["name"] for one in clients if one["contact"]} >= {"Linnet Ashdown", "Nobody yet"}
    assert next(one for one in clients if one["erased"])["contact"] is None


def test_a_long_name_makes_no_path_of_its_own(book: QuoteBook, tmp_path: Path) -> None:
    issued(book, priced(client="../../etc/passwd"))

    book.export(tmp_path / "all.zip")

    with zipfile.ZipFile(tmp_path / "all.zip") as archive:
        assert [name for name in archive.namelist() if ".." in name or name.startswith("/")] == []
