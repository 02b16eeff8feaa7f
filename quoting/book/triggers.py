"""What the database itself refuses: to change or to remove what the history holds."""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy import Connection, text

# Papers go when their client was erased, and a draft's when it is drafted again or issued.
_PAPERS_STAY = (
    "OLD.revision > 0 AND NOT EXISTS (SELECT 1 FROM quotes JOIN clients ON clients.id = quotes.client"
    " WHERE quotes.entry = OLD.entry AND clients.erased = 1)"
)
FOR_EVER = ("events", "cards", "revisions", "options")
_RULES = (
    *((table, moment, "1 = 1") for table in FOR_EVER for moment in ("UPDATE", "DELETE")),
    ("papers", "UPDATE", "1 = 1"),
    ("papers", "DELETE", _PAPERS_STAY),
    ("quotes", "DELETE", "1 = 1"),
    ("clients", "DELETE", "1 = 1"),
    ("counters", "DELETE", "1 = 1"),
    ("counters", "UPDATE", "NEW.last < OLD.last"),
)


def trigger_names() -> frozenset[str]:
    """The triggers that a book must have."""
    return frozenset(_name(table, moment) for table, moment, _ in _RULES)


def create_triggers(connection: Connection) -> None:
    """Make every trigger."""
    make = _for_sqlite if connection.dialect.name == "sqlite" else _for_postgresql
    for statement in make():
        connection.execute(text(statement))


def drop_triggers(connection: Connection) -> None:
    """Take every trigger away, so that a migration may rebuild a table; it makes them again at its end."""
    for table, moment, _ in _RULES:
        on = "" if connection.dialect.name == "sqlite" else f" ON {table}"
        connection.execute(text(f"DROP TRIGGER IF EXISTS {_name(table, moment)}{on}"))


def _name(table: str, moment: str) -> str:
    return f"{table}_refuse_{moment.lower()}"


def _for_sqlite() -> Iterator[str]:
    for table, moment, when in _RULES:
        yield (
            f"CREATE TRIGGER {_name(table, moment)} BEFORE {moment} ON {table} WHEN {when}"
            f" BEGIN SELECT RAISE(ABORT, '{table} are kept for ever as they are'); END"
        )


def _for_postgresql() -> Iterator[str]:
    for table, moment, when in _RULES:
        back = "OLD" if moment == "DELETE" else "NEW"
        yield (
            f"CREATE OR REPLACE FUNCTION {_name(table, moment)}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN"
            f" IF {when} THEN RAISE EXCEPTION '{table} are kept for ever as they are'; END IF;"
            f" RETURN {back}; END $$"
        )
        yield (
            f"CREATE TRIGGER {_name(table, moment)} BEFORE {moment} ON {table}"
            f" FOR EACH ROW EXECUTE FUNCTION {_name(table, moment)}()"
        )
