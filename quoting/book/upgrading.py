"""Bringing a database to the book's newest tables: all steps in one transaction, or none."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, Engine, inspect, text

from quoting.book.triggers import create_triggers, drop_triggers
from quoting.errors import BookNotReadyError

HERE = Path(__file__).parent / "migrations"
STEPS = (HERE / "versions",)
_LOCK = 0x51B0  # any number, the same in every process


@cache
def head(steps: Sequence[Path] = STEPS) -> str:
    """The newest version of the tables."""
    return ScriptDirectory.from_config(_config(steps)).get_current_head() or ""


def version_of(connection: Connection) -> str:
    """The version of the tables that a database has; empty for none."""
    if not inspect(connection).has_table("alembic_version"):
        return ""
    return MigrationContext.configure(connection).get_current_revision() or ""


def upgrade(engine: Engine, *, to: str = "head", steps: Sequence[Path] = STEPS) -> None:
    """
    Bring a database to a version of the tables. Whoever is killed on the way leaves the old one.

    Args:
        to: The version; the newest if left out.
        steps: Folders of the steps.

    Raises:
        BookNotReadyError: rows that do not fit each other afterwards.
    """
    with engine.connect().execution_options(quoting_writing=True) as connection:
        _without_foreign_keys(connection)
        try:
            with connection.begin():
                _take_steps(connection, to, steps)
        finally:
            connection.invalidate()  # its settings were the upgrade's own


def _take_steps(connection: Connection, to: str, steps: Sequence[Path]) -> None:
    if connection.dialect.name == "postgresql":
        connection.execute(text(f"SELECT pg_advisory_xact_lock({_LOCK})"))
    if version_of(connection) == (head(tuple(steps)) if to == "head" else to):
        return
    if version_of(connection):
        drop_triggers(connection)
    config = _config(steps)
    config.attributes["connection"] = connection
    command.upgrade(config, to)
    create_triggers(connection)
    if connection.dialect.name == "sqlite" and connection.exec_driver_sql("PRAGMA foreign_key_check").first():
        raise BookNotReadyError("expected rows that fit each other after the upgrade; found some that do not")


def _without_foreign_keys(connection: Connection) -> None:
    # SQLite rebuilds a table by dropping it, and ignores this setting inside a transaction.
    if connection.dialect.name == "sqlite":
        driver = connection.connection.driver_connection
        if driver is not None:
            driver.execute("PRAGMA foreign_keys=OFF")


def _config(steps: Sequence[Path]) -> Config:
    config = Config()
    for name, value in (
        ("script_location", str(HERE)),
        ("version_locations", "\n".join(str(folder) for folder in steps)),
        ("path_separator", "newline"),
    ):
        config.set_main_option(name, value.replace("%", "%%"))
    return config
