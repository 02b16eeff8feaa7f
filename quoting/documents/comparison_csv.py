"""The comparison as CSV that a spreadsheet opens without running anything: text stays text, numbers stay numbers."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from decimal import Decimal

from quoting.compare import Cell, Comparison, Variant
from quoting.numbers import plain

# What a spreadsheet may take for the start of a formula, full-width forms among them (OWASP, CSV injection).
_STARTS = tuple("=+-@\t\r\n\0＝＋－＠'")
_NUMBER = re.compile(r"-?[0-9]+(\.[0-9]+)?")
_HEADERS = (
    "size",
    "stock",
    "press",
    "quantity",
    "currency",
    "labour",
    "materials",
    "bought in",
    "cost",
    "price before tax",
    "tax",
    "total",
    "deposit",
    "each",
    "a hundred more",
    "margin",
    "contribution",
    "labour hours",
    "press hours",
    "earned a press hour",
    "earned a labour hour",
    "plan",
    "changed",
    "left at the price asked about",
    "refused",
)


def comparison_csv(comparison: Comparison) -> str:
    """Every cell a row; a variant that cannot be made one row with the reasons."""
    rows: list[Sequence[object]] = [_HEADERS]
    for variant in comparison.variants:
        rows.extend(_row(comparison, variant, cell) for cell in variant.cells)
        if variant.refusals:
            empty = [""] * (len(_HEADERS) - 4)
            refused = "; ".join(f"{way}: {why}" for way, why in variant.refusals.items())
            rows.append([variant.size, variant.stock, variant.press or "", *empty, refused])
    return written(rows)


def _row(comparison: Comparison, variant: Variant, cell: Cell) -> list[object]:
    return [
        variant.size,
        variant.stock,
        variant.press or "",
        cell.quantity,
        comparison.currency,
        cell.labour,
        cell.materials,
        cell.bought_in,
        cell.cost,
        cell.net,
        cell.tax,
        cell.total,
        cell.deposit,
        cell.each,
        "" if cell.a_hundred_more is None else cell.a_hundred_more,
        Decimal(plain(cell.margin, places=6)),
        cell.contribution,
        Decimal(plain(cell.labour_hours)),
        Decimal(plain(cell.press_hours)),
        "" if cell.earned_a_press_hour is None else cell.earned_a_press_hour,
        "" if cell.earned_a_labour_hour is None else cell.earned_a_labour_hour,
        "; ".join(cell.ways),
        " and ".join(cell.changed),
        "" if cell.at_price is None else Decimal(plain(cell.at_price)),
        "",
    ]


def written(rows: Sequence[Sequence[object]]) -> str:
    """Rows as CSV (RFC 4180), every text inert."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerows([[inert(value) for value in row] for row in rows])
    return text.getvalue()


def inert(value: object) -> str:
    """
    A value as a cell that no spreadsheet works out.

    A number is written as it is. Text that starts as a formula may, blanks before it or not, or as an
    apostrophe, gets an apostrophe before it; ``as_told`` takes it off again.
    """
    if isinstance(value, (int, Decimal)):
        return f"{value:f}" if isinstance(value, Decimal) else str(value)
    text = str(value)
    return f"'{text}" if text.startswith(_STARTS) or text.lstrip().startswith(_STARTS) else text


def as_told(cell: str) -> str:
    """A cell as it was told, before it was made inert."""
    return cell[1:] if cell.startswith("'") else cell


def is_number(cell: str) -> bool:
    """Whether a cell is a number and nothing else."""
    return _NUMBER.fullmatch(cell) is not None
