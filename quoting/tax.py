"""
Tax on a quotation: once per rate on the summed base, then rounded (EN 16931, BR-CO-14 and BR-S-08).

Local rules and an accountant come first.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from msgspec import Struct

from quoting.money import round_amount


class TaxedAmount(Struct, frozen=True):
    """A printed price and the rate that it bears."""

    amount: Decimal
    rate: Decimal


class TaxLine(Struct, frozen=True, kw_only=True):
    """One rate: the base it is charged on and the tax, both rounded."""

    rate: Decimal
    base: Decimal
    tax: Decimal


def tax_lines(amounts: Sequence[TaxedAmount], currency: str, *, included: bool) -> tuple[TaxLine, ...]:
    """
    Tax by rate, highest rate first.

    Args:
        included: Whether the amounts hold the tax already; it is then backed out by rate.
    """
    lines = []
    for rate in sorted({one.rate for one in amounts}, reverse=True):
        summed = sum((one.amount for one in amounts if one.rate == rate), Decimal(0))
        if included:
            tax = round_amount(summed * rate / (1 + rate), currency)
            lines.append(TaxLine(rate=rate, base=summed - tax, tax=tax))
        else:
            lines.append(TaxLine(rate=rate, base=summed, tax=round_amount(summed * rate, currency)))
    return tuple(lines)
