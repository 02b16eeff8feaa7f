"""Amounts and tables as the terminal shows them."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

import click
from tabulate import tabulate

from quoting.money import minor_units, round_amount
from quoting.rate_card import RateCard


def amount(value: Decimal, card: RateCard) -> str:
    """An amount at the currency's own places, grouped by thousands."""
    currency = card.region.currency
    return f"{round_amount(value, currency):,.{minor_units(currency)}f}"


def table(
    rows: Sequence[Sequence[str]], *, headers: Sequence[str] = (), left: Sequence[int] = (0,), title: str = ""
) -> str:
    """Rows under headers; the columns in ``left`` to the left, the others to the right."""
    columns = max((len(row) for row in rows), default=len(headers))
    align = ["left" if column in left else "right" for column in range(columns)]
    text = tabulate(
        rows,
        headers=headers,
        tablefmt="simple" if headers else "plain",
        colalign=align if rows else None,
        disable_numparse=True,
    )
    return f"{click.style(title, bold=True)}\n{text}" if title else text
