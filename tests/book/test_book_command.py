"""`quoting book` as a person runs it: processes, output, exit codes, beside an open book."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from quoting.artwork import measure_artwork
from quoting.book import QuoteBook
from tests.artwork.drawn import pdf_of, rule
from tests.book.shop import NOW, issued
from tests.conftest import demo_card_path, demo_job_path

CARD = str(demo_card_path("marrowby-lane"))
JOB = str(demo_job_path("marrowby-lane", "reprint"))


def run(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """Run `quoting book` in a folder."""
    command = [sys.executable, "-m", "quoting.cli", "book", *words]
    return subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)


def said(folder: Path, *words: str) -> str:
    """What a command that succeeds prints."""
    done = run(folder, *words)

    assert (done.returncode, done.stderr) == (0, "")
    return done.stdout


def test_a_quotation_goes_from_job_to_paid(tmp_path: Path, pango: None) -> None:
    assert said(tmp_path, "issue", JOB, "--card", CARD).startswith("Q-00001: open, valid until")
    draft = said(tmp_path, "draft", JOB, "--card", CARD).partition(":")[0]
    assert said(tmp_path, "issue", draft, "--no-pdf").startswith("Q-00002: open")
    assert "revision 2" in said(tmp_path, "revise", "Q-00002", JOB, "--card", CARD, "--no-pdf")
    quantity = json.loads(said(tmp_path, "show", "Q-00001", "--json"))["terms"]["options"][0]["quantity"]
    assert "deposit" in said(tmp_path, "accept", "Q-00001", "--quantity", str(quantity), "--who", "Lettice")
    assert "balance" in said(tmp_path, "pay", "Q-00001", "10.00", "--key", "payment-of-november")
    assert "declined" in said(tmp_path, "decline", "Q-00002", "--note", "too dear")

    said(tmp_path, "paper", "Q-00001", "pdf", "--out", "sent.pdf")
    shown, listed = said(tmp_path, "show", "Q-00001"), said(tmp_path, "list", "--text", "lettice corder")
    assert (tmp_path / "sent.pdf").read_bytes().startswith(b"%PDF-")
    assert [word in shown for word in ("accepted", "drafted", "issued", "kept", "paid")] == [True] * 5
    assert [word in listed for word in ("Q-00001", "Q-00002", "declined", "GBP")] == [True] * 4
    assert "0 tampered with, 0 drifted" in said(tmp_path, "verify")
    assert (tmp_path / "quotations" / "book.sqlite").exists()


def test_a_backup_is_restored_and_verified_and_an_export_is_whole(tmp_path: Path) -> None:
    said(tmp_path, "issue", JOB, "--card", CARD, "--no-pdf")

    said(tmp_path, "backup", "kept.sqlite")
    said(tmp_path, "export", "all.zip")

    assert "1 quotations restored" in said(tmp_path, "restore", "kept.sqlite", "--book", "again.sqlite")
    assert "Q-00001" in said(tmp_path, "list", "--book", "again.sqlite")
    assert run(tmp_path, "restore", "kept.sqlite", "--book", "again.sqlite").returncode == 8
    assert (tmp_path / "all.zip").stat().st_size > 0


def test_the_command_line_works_beside_an_open_book(tmp_path: Path) -> None:
    with QuoteBook(str(tmp_path / "quotations" / "book.sqlite")) as book:
        first = issued(book)
        assert first.client in said(tmp_path, "clients")
        said(tmp_path, "withdraw", first.number)
        issued(book)
        assert "Q-00003" in said(tmp_path, "issue", JOB, "--card", CARD, "--no-pdf")
        assert [one.number for one in book.list(at=NOW).quotations] == ["Q-00003", "Q-00002", "Q-00001"]
        assert said(tmp_path, "erase", first.client, "--yes").endswith("the papers of 3 quotations\n")


@pytest.mark.parametrize(
    ("words", "code", "told"),
    [
        (("show", "Q-00009"), 7, "Q-00009"),
        (("issue", "nothing"), 7, "nothing"),
        (("issue", JOB, "--card", "nowhere"), 3, "rate card"),
        (("list", "--book", "/proc/nowhere/book.sqlite"), 8, "/proc/nowhere"),
        (("list", "--book", "mysql://nowhere/x"), 8, "postgresql://"),
        (("list", "--cursor", "forged"), 7, "cursor"),
        (("accept", "Q-00001", "--at", "2026-11-25T10:00"), 2, "offset"),
        (("pay", "Q-00001", "much"), 2, "12.50"),
    ],
)
def test_what_the_book_refuses_is_told_with_its_exit_code(
    tmp_path: Path, words: tuple[str, ...], code: int, told: str
) -> None:
    with QuoteBook(str(tmp_path / "quotations" / "book.sqlite")):
        done = run(tmp_path, *words)

    assert done.returncode == code
    assert told in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize("words", [("list",), ("show", "Q-00001"), ("verify",), ("issue", "a-draft"), ("clients",)])
def test_only_a_first_quotation_makes_a_book(tmp_path: Path, words: tuple[str, ...]) -> None:
    done = run(tmp_path, *words)

    assert (done.returncode, done.stderr) == (8, "expected a quote book at quotations/book.sqlite; found none\n")
    assert list(tmp_path.iterdir()) == []


def test_documents_that_were_left_out_are_made_later(tmp_path: Path, pango: None) -> None:
    said(tmp_path, "issue", JOB, "--card", CARD, "--no-pdf")
    before = run(tmp_path, "paper", "Q-00001", "pdf", "--out", "sent.pdf")

    said(tmp_path, "documents", "Q-00001")
    said(tmp_path, "paper", "Q-00001", "pdf", "--out", "sent.pdf")

    assert (before.returncode, before.stderr) == (
        7,
        "Q-00001: expected a paper of the kind pdf; found none kept\n",
    )
    assert (tmp_path / "sent.pdf").read_bytes().startswith(b"%PDF-")


def test_a_quotation_is_shown_with_its_client_and_plain_times(tmp_path: Path) -> None:
    said(tmp_path, "issue", JOB, "--card", CARD, "--no-pdf", "--at", "2026-11-25T10:00:00.123456+00:00")

    shown = said(tmp_path, "show", "Q-00001")
    refused = run(tmp_path, "accept", "Q-00001", "--quantity", "7", "--at", "2026-11-26T10:00+00:00").stderr
    said(tmp_path, "accept", "Q-00001", "--quantity", "500", "--at", "2026-11-26T10:00+00:00")
    paid = run(tmp_path, "pay", "Q-00001", "100000").stderr

    assert "Lettice Corder, Corder & Niece (" in shown
    assert "2026-11-25 10:00:00 UTC" in shown
    assert "quantity: expected one of [" in refused
    assert "found 100000.00 GBP" in paid


def test_what_could_not_be_told_is_listed_and_tried_again(tmp_path: Path) -> None:
    with QuoteBook(str(tmp_path / "book.sqlite")) as book:
        issued(book)
        [told] = book.outbox.waiting()
        book.outbox.hand_out(told.position, ["client", "shop"], at=NOW)
        for one in book.outbox.claim(at=NOW, until=NOW):
            book.outbox.failed(one, "answered 500", next_at=None)

    listed = said(tmp_path, "undeliverable", "--book", "book.sqlite")

    assert [word in listed for word in ("issued", "client", "shop", "answered 500")] == [True] * 4
    assert said(tmp_path, "undeliverable", "--again", "--book", "book.sqlite").startswith("2 to be tried again")
    assert said(tmp_path, "undeliverable", "--book", "book.sqlite").startswith("Nothing")


def test_tampering_makes_verify_fail(tmp_path: Path) -> None:
    import sqlite3

    said(tmp_path, "issue", JOB, "--card", CARD, "--no-pdf")
    with sqlite3.connect(tmp_path / "quotations" / "book.sqlite") as plain:
        plain.execute("UPDATE quotes SET total_minor = total_minor - 1")

    done = run(tmp_path, "verify", "--quick")

    assert done.returncode == 7
    assert "Q-00001: total_minor" in done.stderr


def test_erasing_takes_artwork_out_of_the_folder_that_the_environment_names(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "artwork"
    with QuoteBook(str(tmp_path / "quotations" / "book.sqlite"), artwork=folder) as book:
        entry = issued(book)
        content = pdf_of("0 g " + rule(50, 50, 90, 90))
        book.keep_artwork(entry.id, content, measure_artwork(content, "plate.pdf"))
    monkeypatch.setenv("QUOTING_ARTWORK", str(folder))

    said(tmp_path, "erase", entry.client, "--yes")

    assert [path for path in folder.rglob("*") if path.is_file()] == []
