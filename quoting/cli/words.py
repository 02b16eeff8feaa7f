"""Amounts and hours as the terminal shows them."""

from __future__ import annotations

from decimal import Decimal

from quoting.money import minor_units, round_amount
from quoting.rate_card import RateCard


def amount(value: Decimal, card: RateCard) -> str:
    """An amount at the currency's own places, grouped by thousands."""
    currency = card.region.currency
    return f"{round_amount(value, currency):,.{minor_units(currency)}f}"
