"""What requirements cost, unrounded: the figure by which one plan is chosen over another."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from typing import Any

from quoting.buying import BUYERS, after_tax
from quoting.formulas import Do, formula
from quoting.rate_card import MINUTES_AN_HOUR, RateCard
from quoting.requirements import Charge, Labour, PotKind, Requirement


@formula(unit="money", sentence="{minutes} min / 60 × {rate}")
def labour_cost(*, minutes: Decimal, rate: Decimal) -> Decimal:
    """What the minutes cost at person and machine together. [money]"""
    return minutes / MINUTES_AN_HOUR * rate


def hour_rate(card: RateCard, labour: Labour) -> Decimal:
    """Person and machine together, an hour. [money]"""
    return card.person_rate(labour.person) + card.machine_rate(labour.machine)


def exact_cost(do: Do, requirements: Iterable[Requirement], card: RateCard, rates: RateMemory) -> Decimal:
    """What requirements cost in all, unrounded: pots are bought once over all of them. [money]"""
    total = Decimal(0)
    pots: dict[tuple[PotKind, str], Decimal] = {}
    for asked in requirements:
        if isinstance(asked, Labour):
            total += asked.minutes * rates.a_minute(asked)
        elif isinstance(asked, Charge):
            total += after_tax(do, card, asked.cost)
        else:
            pots[asked.pot, asked.key] = pots.get((asked.pot, asked.key), Decimal(0)) + asked.amount
    for (pot, key), amount in pots.items():
        total += sum((bought.cost for bought in BUYERS[pot](do, card, key, amount)), Decimal(0))
    return total


class RateMemory:
    """
    Hour rates of one card, worked out once for many plans.

    ``lines`` is where ``line_items`` keeps what it has worked out at those rates.
    """

    def __init__(self, card: RateCard) -> None:
        self._card = card
        self.lines: dict[object, Any] = {}
        self._minutes: dict[tuple[str, str | None], Decimal] = {}
        self._hours: dict[tuple[str, str | None], Decimal] = {}

    def a_minute(self, labour: Labour) -> Decimal:
        """Person and machine together, a minute. [money]"""
        key = (labour.person, labour.machine)
        if key not in self._minutes:
            self._minutes[key] = self.an_hour(labour) / MINUTES_AN_HOUR
        return self._minutes[key]

    def an_hour(self, labour: Labour) -> Decimal:
        """Person and machine together, an hour. [money]"""
        key = (labour.person, labour.machine)
        if key not in self._hours:
            self._hours[key] = hour_rate(self._card, labour)
        return self._hours[key]
