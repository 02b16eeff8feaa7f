"""A34, A35: full disks, vanished files, servers that restart, and a fault at every single call."""

from __future__ import annotations

import os
import shutil
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import event
from sqlalchemy.exc import OperationalError

from quoting import estimate_job
from quoting.book import Entry, QuoteBook, keep_documents
from quoting.errors import BookError, DocumentError, StorageError
from tests.book.postgresql import Server
from tests.book.shop import LATER, NOW, card, drafted, issued, priced
from tests.conftest import DAY


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of four megabytes."""
    folder = tmp_path / "disk"
    folder.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "-o", "size=4m", "tmpfs", str(folder)], check=True)
    yield folder
    subprocess.run(["umount", "-l", str(folder)], check=True)


def test_a_full_disk_keeps_nothing_half_and_goes_on_when_there_is_room(small_disk: Path) -> None:
    filler = small_disk / "filler"
    with QuoteBook(str(small_disk / "book.sqlite")) as book:
        filler.write_bytes(bytes(1_500_000))
        kept: list[Entry] = []
        with pytest.raises(StorageError, match="full"):
            _issue_without_end(book, kept)

        with pytest.raises(StorageError, match="expected 3000000 bytes free"):
            book.check_ready(least_bytes=3_000_000)
        assert book.get(kept[-1].number) == kept[-1]
        assert estimate_job(priced().job, card(), on=DAY).options
        filler.unlink()
        again = issued(book, key=f"request-{len(kept)}")
        assert again.ordinal == len(kept) + 1
        assert book.verify(engines={}).tampering == ()


def _issue_without_end(book: QuoteBook, kept: list[Entry]) -> None:
    while True:
        kept.append(issued(book, key=f"request-{len(kept)}"))


def test_a_file_system_that_turned_read_only_is_told_and_waited_for(small_disk: Path) -> None:
    with QuoteBook(str(small_disk / "book.sqlite")) as book:
        entry = issued(book)
        book.storage.engine.dispose()  # a file that is open to be written keeps its file system writable
        subprocess.run(["mount", "-o", "remount,ro", str(small_disk)], check=True)
        try:
            with pytest.raises(StorageError):
                issued(book)
            with pytest.raises(StorageError):
                book.check_ready()
            assert estimate_job(priced().job, card(), on=DAY).options
        finally:
            book.storage.engine.dispose()
            subprocess.run(["mount", "-o", "remount,rw", str(small_disk)], check=True)

        assert issued(book).ordinal == 2
        assert book.get(entry.id) == entry


def test_a_removed_file_takes_nothing_more_and_comes_back_from_its_backup(tmp_path: Path) -> None:
    path, away = tmp_path / "book.sqlite", tmp_path / "away"
    with QuoteBook(str(path)) as book:
        first = issued(book)
        book.back_up(away)
        for name in (path, *(path.with_name(path.name + end) for end in ("-wal", "-shm"))):
            name.unlink(missing_ok=True)

        for refused in (lambda: issued(book), lambda: book.get(first.id), lambda: book.list(at=NOW)):
            with pytest.raises(StorageError, match="No such file"):
                refused()
        assert not path.exists()
        shutil.copy(away, path)
        assert book.get(first.id) == first
        assert issued(book).ordinal == 2


def test_a_server_that_crashes_mid_load_is_told_and_found_again(server: Server) -> None:
    own = Server()
    try:
        with QuoteBook(own.new_database()) as book:
            answers, failures = _load_while(book, own.crash)
            report = book.verify(engines={})
            again = [issued(book, key=key).number for key in answers]
    finally:
        own.remove()

    assert failures > 0
    assert again == list(answers.values())
    assert report.tampering == ()
    assert report.quotations >= len(answers)


def _load_while(book: QuoteBook, harm: Callable[[], object]) -> tuple[dict[str, str], int]:
    """Issue from four threads while something happens; every key until it is answered."""
    answers: dict[str, str] = {}
    failures: list[StorageError] = []
    over = threading.Event()

    def client(name: int) -> None:
        number = 0
        while not over.is_set() or number < 5:
            key = f"client-{name}-{number}"
            try:
                answers[key] = issued(book, key=key).number
                number += 1
            except StorageError as error:
                failures.append(error)
                time.sleep(0.05)

    crew = [threading.Thread(target=client, args=(name,)) for name in range(4)]
    for one in crew:
        one.start()
    time.sleep(0.5)
    harm()
    time.sleep(0.5)
    over.set()
    for one in crew:
        one.join()
    return answers, len(failures)


def scenario(book: QuoteBook, made: dict[str, str]) -> None:
    """One of everything, each step asked for with its key until it is answered."""
    estimate = priced(quantities=(100,))
    made["draft"] = drafted(book, estimate, key="the-draft-of-the-scenario").id
    id = book.issue(made["draft"], at=NOW, by="owner", key="the-issue-of-the-scenario").id
    book.revise(id, estimate, card(), at=NOW, by="owner", key="the-revision-of-the-scenario")
    book.keep_document(id, "pdf", b"%PDF", media_type="application/pdf", at=NOW, by="owner")
    book.accept(id, at=NOW, by="client", key="the-acceptance-of-the-scenario")
    issued(book, key="the-second-of-the-scenario")
    book.erase_client(book.get(id).client, at=LATER, by="owner")


class Faults:
    """Fails one call to the database: the one that is named by its place."""

    def __init__(self, book: QuoteBook) -> None:
        self.calls, self.fails_at = 0, 0
        for name in ("before_cursor_execute", "commit"):
            event.listen(book.storage.engine, name, self._called)

    def _called(self, *_: Any) -> None:
        self.calls += 1
        if self.calls == self.fails_at:
            raise OperationalError("a call", {}, Exception("failed by the test"))

    def fail(self, place: int, work: Callable[[], None]) -> str:
        """How work is refused with one call failing; nothing if it gets to its end."""
        self.calls, self.fails_at = 0, place
        try:
            work()
        except BookError as error:
            return str(error)
        finally:
            self.fails_at = 0
        return ""


def test_a_fault_at_every_single_call_leaves_the_book_whole(book: QuoteBook) -> None:
    faults = Faults(book)
    made: dict[str, str] = {}
    reasons = []
    for place in range(1, 1000):
        reasons.append(faults.fail(place, lambda: scenario(book, made)))
        over = faults.calls < place

        assert book.verify(engines={}).tampering == ()
        if over:
            break

    history = [one.kind for one in book.history(made["draft"])]
    failed = [reason for reason in reasons if "failed by the test" in reason]
    assert history == ["drafted", "issued", "revised", "kept", "accepted", "erased"]
    assert len(book.list(at=NOW).quotations) == 2
    assert reasons == [*failed, *reasons[len(failed) :]]
    assert len(failed) > 10


def test_a_document_that_cannot_be_made_leaves_the_quotation_issued(tmp_path: Path, pango: None) -> None:
    templates = tmp_path / "templates" / "quotation"
    templates.mkdir(parents=True)
    (templates / "page.html").write_text("{{ nothing.of.the.kind }}")
    with QuoteBook(str(tmp_path / "book.sqlite")) as book:
        entry = issued(book)
        with pytest.raises(DocumentError):
            keep_documents(book, entry.id, at=NOW, by="owner", templates=templates.parent)

        kept = keep_documents(book, entry.id, at=LATER, by="owner")

        assert {"1/pdf", "1/xml"} <= kept.commitments.keys()
        assert kept.state == "open"
        assert book.verify().is_sound
        assert sorted(os.listdir(tmp_path)) == sorted(
            ["book.sqlite", "book.sqlite-shm", "book.sqlite-wal", "templates"]
        )


def test_a_closed_book_refuses(tmp_path: Path) -> None:
    book = QuoteBook(str(tmp_path / "book.sqlite"))
    book.close()

    with pytest.raises(BookError, match="closed"):
        issued(book)
