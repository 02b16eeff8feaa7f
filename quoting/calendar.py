"""Working days: when a job can be ready, counted over the shop's closed days."""

from __future__ import annotations

import datetime
from decimal import Decimal

from quoting.numbers import whole_up
from quoting.rate_card import RateCard

_WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")


def is_open(day: datetime.date, card: RateCard) -> bool:
    """Whether the shop works on a day."""
    closed = card.working_days.closed_on
    return _WEEKDAYS[day.weekday()] not in card.working_days.closed and day not in closed


def after_working_days(day: datetime.date, days: int, card: RateCard) -> datetime.date:
    """The day on which ``days`` working days after ``day`` are over."""
    while days > 0:
        day += datetime.timedelta(days=1)
        days -= is_open(day, card)
    return day


def working_days_until(needed_by: datetime.date, on: datetime.date, card: RateCard) -> int:
    """Working days after ``on``, up to the day itself; none where that is past."""
    days = (needed_by - on).days
    return sum(is_open(on + datetime.timedelta(days=after), card) for after in range(1, days + 1))


def working_days_needed(
    card: RateCard,
    *,
    labour_minutes: Decimal,
    sittings: int,
    waiting_days: int,
    supplier_days: int,
    rush: bool = False,
) -> int:
    """
    Working days from order to ready.

    The days before a job (or a rush) is begun, or the plates' days where those are longer; then the hours
    at the bench, not fewer days than press sittings; then drying and outside work.
    """
    hours_a_day = card.working_days.bench_hours * 60
    at_the_bench = max(whole_up(labour_minutes / hours_a_day), sittings)
    return max(_days_before(card, rush=rush), supplier_days) + at_the_bench + waiting_days


def _days_before(card: RateCard, *, rush: bool) -> int:
    """Working days before a job is begun; of a rush those that the card gives it, if it does."""
    days = card.working_days
    return days.lead_days if not rush or days.rush_lead_days is None else days.rush_lead_days
