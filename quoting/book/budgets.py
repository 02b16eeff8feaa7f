"""Budgets: how much of something may be used until an instant, shared by every process at the book."""

from __future__ import annotations

import datetime

from sqlalchemy import delete, select, update

from quoting.book import tables
from quoting.book.chain import written_instant
from quoting.book.desk import Desk
from quoting.book.doors import plain_words
from quoting.book.page import Page, insert_rows


class Budgets:
    """
    The budgets of one book. Names hold nothing personal: hash an address first.

    A worker takes a share for many requests at once, so that most requests write nothing.
    """

    def __init__(self, desk: Desk) -> None:
        self._desk = desk

    def take(self, name: str, amount: int, *, most: int, until: datetime.datetime) -> int:
        """
        Take a share of a budget.

        Args:
            amount: How much is wanted.
            most: How much there is in all until then.
            until: When the budget ends; another end begins it anew.

        Returns:
            How much is granted, 0 where nothing is left.
        """
        plain_words("name", name, least=1)
        return self._desk.write(lambda page: _take(page, name, amount, most, written_instant(until)))

    def forget(self, *, before: datetime.datetime) -> None:
        """Forget budgets that ended before an instant."""
        old = delete(tables.budgets).where(tables.budgets.c.until < written_instant(before))
        self._desk.write(lambda page: page.execute(old))


def _take(page: Page, name: str, amount: int, most: int, until: str) -> int:
    budgets = tables.budgets
    row = page.connection.execute(select(budgets).where(budgets.c.name == name)).first()
    used = row.used if row is not None and row.until == until else 0
    granted = max(0, min(amount, most - used))
    if not granted:
        return 0
    page.put_down += 1
    now = {"until": until, "used": used + granted}
    if row is None:
        insert_rows(page.connection, budgets, [{"name": name, **now}])
    else:
        page.connection.execute(update(budgets).where(budgets.c.name == name).values(now))
    return granted
