"""Backups: each a book in a file of SQLite, whatever engine it was taken from; it may be restored to either."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from sqlalchemy import Connection, insert, inspect, select

from quoting.book import tables
from quoting.book.storage import Storage, create_file, told_plainly
from quoting.book.upgrading import upgrade, version_of
from quoting.errors import BookNotReadyError, StorageError

_AT_ONCE = 500


def back_up(storage: Storage, to: Path) -> None:
    """
    Write a backup while the book is in use. It holds everything that was kept before this began.

    Raises:
        StorageError: the file is there already, or cannot be written.
    """
    with _new_file(to) as part:
        if storage.path is not None:
            _copy_file(storage.path, part)
        else:
            with _new_book(part) as copy, storage.reading() as source, copy.writing() as target:
                copy_rows(source, target)
        _check_whole(part)


def restore(backup: Path, storage: Storage) -> None:
    """
    Bring a backup back, to a place where there is no book yet, at the newest tables.

    Raises:
        StorageError: a book is there already, or the backup is damaged.
    """
    if storage.path is not None:
        with _new_file(storage.path) as part:
            _upgraded_copy(backup, part)
        return
    with told_plainly(), storage.engine.connect() as connection:
        if version_of(connection):
            raise StorageError("expected a database without a book; found one that has it")
    upgrade(storage.engine)
    with _new_file(backup.with_suffix(f".{os.getpid()}.copy"), keep=False) as part:
        _upgraded_copy(backup, part)
        with closing(Storage(str(part))) as copy, copy.engine.connect() as source, storage.writing() as target:
            copy_rows(source, target)


def copy_rows(source: Connection, target: Connection) -> None:
    """Every row of a book into another that is empty."""
    for table in tables.IN_ORDER:
        if inspect(target).has_table(table.name) and target.execute(select(table).limit(1)).first():
            raise StorageError("expected a book without rows; found some")
        rows = source.execute(select(table), execution_options={"yield_per": _AT_ONCE}).mappings()
        for part in rows.partitions(_AT_ONCE):
            target.execute(insert(table), [dict(row) for row in part])


def _upgraded_copy(backup: Path, part: Path) -> None:
    _copy_file(backup, part)
    _check_whole(part)
    with closing(Storage(str(part))) as copy:
        with told_plainly(), copy.engine.connect() as connection:
            if not version_of(connection):
                raise BookNotReadyError(f"expected a backup of a quote book at {backup}; found something else")
        upgrade(copy.engine)
        copy.forget_deleted()


@contextmanager
def _new_book(path: Path) -> Iterator[Storage]:
    create_file(path)
    with closing(Storage(str(path))) as storage:
        upgrade(storage.engine)
        storage.start()
        yield storage
        storage.forget_deleted()


@contextmanager
def _new_file(path: Path, *, keep: bool = True) -> Iterator[Path]:
    """A file beside its place, which takes that place when it is whole and on the disk."""
    if path.exists():
        raise StorageError(f"expected no file at {path} yet; found one")
    part = path.with_name(f"{path.name}.part")
    try:
        part.parent.mkdir(parents=True, exist_ok=True)
        part.unlink(missing_ok=True)
        yield part
        if keep:
            _settle(part, path)
    except OSError as error:
        raise StorageError(f"expected to write {path}; found {error.strerror}") from error
    finally:
        for name in (part, *(part.with_name(part.name + end) for end in ("-wal", "-shm"))):
            name.unlink(missing_ok=True)


def _settle(part: Path, path: Path) -> None:
    for name in (part, part.parent):
        handle = os.open(name, os.O_RDONLY)
        os.fsync(handle)
        os.close(handle)
        if name == part:
            os.replace(part, path)


def _copy_file(source: Path, to: Path) -> None:
    with (
        told_plainly(),
        closing(sqlite3.connect(f"{source.resolve().as_uri()}?mode=ro", uri=True)) as book,
        closing(sqlite3.connect(to)) as copy,
    ):
        book.backup(copy)


def _check_whole(path: Path) -> None:
    with told_plainly(), closing(sqlite3.connect(path)) as book:
        faults = book.execute("PRAGMA integrity_check").fetchone()[0]
        orphans = book.execute("PRAGMA foreign_key_check").fetchone()
    if faults != "ok" or orphans is not None:
        raise StorageError(f"expected a whole book at {path}; found it damaged")
