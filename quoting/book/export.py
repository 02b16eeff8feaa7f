"""Everything the book holds, as files that need no book to be read: a shop may leave with what is its own."""

from __future__ import annotations

import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import msgspec
from sqlalchemy import Connection, Table, select

from quoting.book import tables
from quoting.book.papers import unpacked
from quoting.book.states import written_number
from quoting.errors import StorageError

_ABOUT = """\
A quote book, whole.

events.jsonl      the history, oldest first; each line carries the hash of the one before
quotations.jsonl  how each quotation stands; revisions.jsonl, options.jsonl what was issued, sums in smallest coins
clients.jsonl     the address book
cards/            every published rate card, by the hash of its content
papers/           by number (or a draft's id) and revision: job, estimate, quotation, documents as they were sent
outbox.jsonl      what is to be told, deliveries.jsonl to whom, and how far that has come
requests.jsonl    keys of requests; counters.jsonl the last number of each series
access_keys.jsonl keys of the API, by the hashes of their secrets
"""
_ENDINGS = {"application/json": ".json", "application/pdf": ".pdf", "application/xml": ".xml"}
_AS_LINES = (
    (tables.events, "events"),
    (tables.quotes, "quotations"),
    (tables.revisions, "revisions"),
    (tables.options, "options"),
    (tables.outbox, "outbox"),
    (tables.deliveries, "deliveries"),
    (tables.access_keys, "access_keys"),
    (tables.requests, "requests"),
    (tables.counters, "counters"),
)
_AT_ONCE = 500


def export(connection: Connection, to: Path) -> None:
    """
    Write everything into one ZIP file.

    Raises:
        StorageError: the file is there already, or cannot be written.
    """
    try:
        with zipfile.ZipFile(to, "x", zipfile.ZIP_DEFLATED) as archive:
            archive.writestr("ABOUT.txt", _ABOUT)
            for table, name in _AS_LINES:
                _write_lines(archive, f"{name}.jsonl", _rows(connection, table))
            _write_lines(archive, "clients.jsonl", _clients(connection))
            for card in _rows(connection, tables.cards):
                archive.writestr(f"cards/{card['hash']}.json", unpacked(card["body"]))
            for name, content in _papers(connection):
                archive.writestr(name, content)
    except OSError as error:
        raise StorageError(f"expected to write {to}; found {error.strerror}") from error


def _write_lines(archive: zipfile.ZipFile, name: str, rows: Iterator[dict[str, Any]]) -> None:
    with archive.open(name, "w", force_zip64=True) as file:
        for row in rows:
            file.write(msgspec.json.encode(row) + b"\n")


def _rows(connection: Connection, table: Table) -> Iterator[dict[str, Any]]:
    statement = select(table).order_by(*table.primary_key.columns)
    for row in connection.execute(statement, execution_options={"yield_per": _AT_ONCE}).mappings():
        yield dict(row)


def _clients(connection: Connection) -> Iterator[dict[str, Any]]:
    for row in _rows(connection, tables.clients):
        contact = msgspec.Raw(unpacked(row["body"])) if row["body"] is not None else None
        yield {"id": row["id"], "version": row["version"], "erased": row["erased"], "contact": contact}


def _papers(connection: Connection) -> Iterator[tuple[str, bytes]]:
    quotes, papers = tables.quotes.c, tables.papers
    joined = papers.join(tables.quotes, quotes.entry == papers.c.entry)
    statement = select(papers, quotes.id, quotes.series, quotes.ordinal).select_from(joined)
    ordered = statement.order_by(papers.c.entry, papers.c.revision, papers.c.kind)
    for row in connection.execute(ordered, execution_options={"yield_per": 50}):
        named = written_number(row.series, row.ordinal) if row.ordinal else row.id
        yield (
            f"papers/{named}/{row.revision}/{row.kind}{_ENDINGS.get(row.media_type, '')}",
            unpacked(row.body),
        )
