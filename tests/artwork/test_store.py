"""Artwork kept beside the book: by its hash, by nobody's name, erased with its client, on both engines."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from msgspec.structs import replace

from quoting.artwork import Artwork, measure_artwork
from quoting.book import QuoteBook
from quoting.errors import ArtworkTooLargeError, BookError, QuoteNotFoundError, StateError, StorageError
from tests.artwork.drawn import circle, pdf_of, rule
from tests.book.conftest import address, addresses, server  # noqa: F401  # fixtures of the book
from tests.book.shop import LATER, NOW, SECRET, card, priced

NAME = "wedding of Linnet.pdf"
FIRST, SECOND = pdf_of("0 g " + rule(50, 50, 90, 90)), pdf_of("0 g " + circle(100, 100, 50))


@pytest.fixture(scope="module")
def measured() -> dict[bytes, Artwork]:
    return {content: measure_artwork(content, NAME) for content in (FIRST, SECOND)}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "kept"


@pytest.fixture
def book(address: str, folder: Path) -> Iterator[QuoteBook]:  # noqa: F811  # pytest's way to ask for a fixture
    with QuoteBook(address, secret=SECRET, artwork=folder) as opened:
        yield opened


def entry_of(book: QuoteBook, client: str = "Linnet Ashdown") -> str:
    return book.draft(priced(client=client), card(), at=NOW, by="owner").id


def files(folder: Path) -> list[Path]:
    return [path for path in folder.rglob("*") if path.is_file()]


def test_what_was_sent_comes_back_by_its_hash(book: QuoteBook, measured: dict[bytes, Artwork]) -> None:
    id = entry_of(book)
    kept = book.keep_artwork(id, FIRST, measured[FIRST])

    assert book.artwork.read(id, kept.content_hash) == (kept, FIRST)
    assert book.artwork.kept(id) == (kept,)
    assert book.keep_artwork(id, FIRST, measured[FIRST]) == kept


def test_it_lies_outside_the_books_rows_under_a_name_of_chance(
    book: QuoteBook, folder: Path, measured: dict[bytes, Artwork]
) -> None:
    id = entry_of(book)
    kept = book.keep_artwork(id, FIRST, measured[FIRST])
    names = {path.name for path in files(folder)}

    assert names == {kept.stored_as, f"{kept.stored_as}.json"}
    assert len(kept.stored_as) == 32
    assert kept.content_hash not in str(names)
    assert {path.stat().st_mode & 0o777 for path in files(folder)} == {0o600}
    assert (folder / id / kept.stored_as).read_bytes() == FIRST


def test_it_is_served_as_a_download_only(book: QuoteBook, measured: dict[bytes, Artwork]) -> None:
    kept = book.keep_artwork(entry_of(book), FIRST, measured[FIRST])
    headers = kept.headers()

    assert headers["Content-Disposition"].startswith('attachment; filename="')
    assert (headers["Content-Type"], headers["X-Content-Type-Options"]) == ("application/pdf", "nosniff")
    assert all("\r" not in value and "\n" not in value for value in headers.values())


def test_it_stays_through_issue_and_revision(book: QuoteBook, measured: dict[bytes, Artwork]) -> None:
    id = entry_of(book)
    kept = book.keep_artwork(id, FIRST, measured[FIRST])
    issued = book.issue(id, at=NOW, by="owner")

    assert book.artwork.kept(issued.id) == (kept,)
    assert book.keep_artwork(issued.number, SECOND, measured[SECOND]) in book.artwork.kept(id)
    assert book.verify().is_sound


def test_it_is_erased_with_its_client_and_nobody_elses_is(
    book: QuoteBook, folder: Path, measured: dict[bytes, Artwork]
) -> None:
    hers, his = entry_of(book), entry_of(book, "Isaura Penhale")
    for id in (hers, his):
        book.keep_artwork(id, FIRST, measured[FIRST])

    book.erase_client(book.get(hers).client, at=LATER, by="owner")

    assert book.artwork.kept(hers) == ()
    assert book.artwork.entries() == (his,)
    assert len(files(folder)) == 2
    with pytest.raises(StateError, match="erased"):
        book.keep_artwork(hers, FIRST, measured[FIRST])
    assert book.verify().is_sound


def test_what_an_end_in_the_midst_of_erasing_left_is_erased_when_the_book_is_opened(
    address: str,  # noqa: F811
    folder: Path,
    measured: dict[bytes, Artwork],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    with QuoteBook(address, secret=SECRET, artwork=folder) as book:
        id = entry_of(book)
        book.keep_artwork(id, FIRST, measured[FIRST])
        monkeypatch.setattr(type(book.artwork), "erase", lambda *_: (_ for _ in ()).throw(StorageError("the end")))
        with pytest.raises(StorageError):
            book.erase_client(book.get(id).client, at=LATER, by="owner")
        monkeypatch.undo()
    assert files(folder)

    QuoteBook(address, secret=SECRET, artwork=folder).close()

    assert files(folder) == []


def test_other_content_than_was_kept_is_not_handed_out(
    book: QuoteBook, folder: Path, measured: dict[bytes, Artwork]
) -> None:
    id = entry_of(book)
    kept = book.keep_artwork(id, FIRST, measured[FIRST])
    (folder / id / kept.stored_as).write_bytes(SECOND)

    with pytest.raises(StorageError, match="found other content"):
        book.artwork.read(id, kept.content_hash)


@pytest.mark.parametrize("asked", ["0" * 64, "../../etc/passwd", "", "*"])
def test_another_hash_finds_nothing(book: QuoteBook, measured: dict[bytes, Artwork], asked: str) -> None:
    id = entry_of(book)
    book.keep_artwork(id, FIRST, measured[FIRST])

    with pytest.raises(QuoteNotFoundError):
        book.artwork.read(id, asked)


@pytest.mark.parametrize("id", ["..", "../x", "a/b", "", "x" * 300])
def test_an_id_leads_nowhere_else(book: QuoteBook, id: str, measured: dict[bytes, Artwork]) -> None:
    with pytest.raises(QuoteNotFoundError):
        book.artwork.keep(id, FIRST, measured[FIRST])


def test_only_what_was_measured_is_kept(book: QuoteBook, measured: dict[bytes, Artwork]) -> None:
    with pytest.raises(BookError, match="expected the file that was measured"):
        book.keep_artwork(entry_of(book), SECOND, measured[FIRST])


def test_limits_hold_on_the_folder_and_on_an_entry(
    book: QuoteBook, folder: Path, measured: dict[bytes, Artwork], monkeypatch: pytest.MonkeyPatch
) -> None:
    id = entry_of(book)
    book.keep_artwork(id, FIRST, measured[FIRST])
    book.artwork.most_bytes = book.artwork.stored_bytes() + len(SECOND) - 1
    with pytest.raises(ArtworkTooLargeError) as refused:
        book.keep_artwork(id, SECOND, measured[SECOND])
    book.artwork.most_bytes += 1
    book.keep_artwork(id, SECOND, measured[SECOND])
    monkeypatch.setattr("quoting.book.artwork_store.MOST_AN_ENTRY", 2)
    third = pdf_of("0 g " + rule(9, 9, 9, 9))
    with pytest.raises(ArtworkTooLargeError, match="at most 2 files"):
        book.artwork.keep(id, third, replace(measured[FIRST], content_hash=measure_artwork(third, NAME).content_hash))

    assert refused.value.limit == "storage"
    assert len(files(folder)) == 4


def test_a_book_in_a_file_has_its_folder_beside_it(tmp_path: Path, measured: dict[bytes, Artwork]) -> None:
    with QuoteBook(str(tmp_path / "book.sqlite"), secret=SECRET) as book:
        book.keep_artwork(entry_of(book), FIRST, measured[FIRST])

    assert len(files(tmp_path / "book.sqlite.artwork")) == 2


def test_what_was_erased_elsewhere_and_what_waited_too_long_is_tidied_away(
    book: QuoteBook,
    address: str,  # noqa: F811  # pytest's way to ask for a fixture
    folder: Path,
    tmp_path: Path,
    measured: dict[bytes, Artwork],
) -> None:
    id = entry_of(book)
    book.keep_artwork(id, FIRST, measured[FIRST])
    book.artwork.waiting.put(FIRST, measured[FIRST], until=NOW)
    late = book.artwork.waiting.put(SECOND, measured[SECOND], until=LATER)
    with QuoteBook(address, secret=SECRET, artwork=tmp_path / "another") as elsewhere:
        elsewhere.erase_client(elsewhere.get(id).client, at=LATER, by="owner")
    assert len(files(folder)) == 6

    book.tidy_artwork(before=LATER)

    assert {path.name for path in files(folder)} == {late, f"{late}.json"}
    assert book.artwork.waiting.read(late) == (SECOND, measured[SECOND])


def test_so_much_waits_and_no_more(
    book: QuoteBook, monkeypatch: pytest.MonkeyPatch, measured: dict[bytes, Artwork]
) -> None:
    monkeypatch.setattr("quoting.book.artwork_waiting.MOST_WAITING_BYTES", len(FIRST) + 10)
    book.artwork.waiting.put(FIRST, measured[FIRST], until=LATER)

    with pytest.raises(ArtworkTooLargeError, match="bytes that wait"):
        book.artwork.waiting.put(SECOND, measured[SECOND], until=LATER)


def test_what_is_taken_up_waits_no_longer(book: QuoteBook, measured: dict[bytes, Artwork]) -> None:
    id = entry_of(book)
    name = book.artwork.waiting.put(FIRST, measured[FIRST], until=LATER)

    kept = book.take_up_artwork(id, name)

    assert book.artwork.read(id, kept.content_hash)[1] == FIRST
    for wrong in (name, "../" + name, "1-2"):
        with pytest.raises(QuoteNotFoundError):
            book.take_up_artwork(id, wrong)
