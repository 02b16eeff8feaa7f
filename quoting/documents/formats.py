"""Money, days, counts and shares in the client's format. The engine has rounded before this."""

from __future__ import annotations

import datetime
import re
from collections.abc import Callable
from decimal import Decimal
from typing import Any

from babel.core import Locale
from babel.dates import format_date
from babel.numbers import format_currency, format_decimal, format_percent

from quoting.money import minor_units, round_amount, to_next_step


class Formats:
    """One language, region and currency."""

    def __init__(self, locale: str, currency: str) -> None:
        self.locale = Locale.parse(locale, sep="-")
        self.currency = currency

    def money(self, amount: Decimal) -> str:
        """An amount at the currency's own places."""
        return format_currency(amount + 0, self.currency, locale=self.locale)

    def unit_money(self, amount: Decimal) -> str:
        """A unit price at all its places."""
        return format_currency(
            amount + 0, self.currency, locale=self.locale, currency_digits=False, decimal_quantization=False
        )

    def amount(self, amount: Decimal) -> str:
        """An amount at the currency's own places, rounded first, without the currency: for a column that names it."""
        places = minor_units(self.currency)
        pattern = re.sub(r"\.[0#]+", f".{'0' * places}" if places else "", self.locale.decimal_formats[None].pattern)
        return format_decimal(round_amount(amount, self.currency), format=pattern, locale=self.locale)

    def number(self, number: Decimal) -> str:
        """A number with every place that it has and no needless zeros."""
        return format_decimal(number + 0, locale=self.locale, decimal_quantization=False)

    def count(self, number: int) -> str:
        """A count, grouped as the region groups it."""
        return format_decimal(number, locale=self.locale)

    def share(self, share: Decimal) -> str:
        """A share as per cent, no needless zeros."""
        return format_percent(share + 0, format=None, locale=self.locale, decimal_quantization=False)

    def rounded_share(self, share: Decimal) -> str:
        """A share as per cent, to one place."""
        rounded = to_next_step(share, Decimal("0.001"), up=False) + 0
        pattern = re.sub(r"0(?=[^0]*%)", "0.0", self.locale.percent_formats[None].pattern)
        return format_percent(rounded, format=pattern, locale=self.locale)

    def rounded_money(self, amount: Decimal) -> str:
        """An amount that is not in whole coins yet, rounded first."""
        return self.money(round_amount(amount, self.currency))

    def day(self, day: datetime.date) -> str:
        """A day in full."""
        return format_date(day, format="long", locale=self.locale)

    def short_day(self, day: datetime.date) -> str:
        """A day for a narrow column."""
        return format_date(day, format="medium", locale=self.locale)

    def filters(self) -> dict[str, Callable[[Any], str]]:
        """All of them, by the name a template calls them."""
        return {
            "money": self.money,
            "unit_money": self.unit_money,
            "count": self.count,
            "share": self.share,
            "rounded_share": self.rounded_share,
            "rounded_money": self.rounded_money,
            "day": self.day,
            "short_day": self.short_day,
        }
