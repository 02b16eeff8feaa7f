"""What a quotation in the book is: its sums, its days, and the state that it is in."""

from __future__ import annotations

import datetime
from typing import Literal
from zoneinfo import ZoneInfo

from msgspec import Struct

from quoting.estimate import Estimate, Option
from quoting.money import minor_units
from quoting.numbers import in_engine_context

Recorded = Literal["draft", "open", "accepted", "declined", "withdrawn"]
State = Literal["draft", "open", "accepted", "declined", "withdrawn", "lapsed", "replaced"]
ENDED: tuple[State, ...] = ("accepted", "declined", "withdrawn")


class Sums(Struct, frozen=True, kw_only=True):
    """What one option comes to, in whole smallest coins of the quotation's currency."""

    quantity: int
    net_minor: int
    tax_minor: int
    total_minor: int
    deposit_minor: int


class Terms(Struct, frozen=True, kw_only=True):
    """What a price rests on, and what it comes to: ``card`` is the rate card's content hash."""

    card: str
    rules: int
    priced_on: datetime.date
    currency: str
    options: tuple[Sums, ...]


class Days(Struct, frozen=True, kw_only=True):
    """When a revision was dated, the last day it holds, and the instant that day is over where the shop is."""

    dated: datetime.date
    valid_until: datetime.date
    lapses_at: datetime.datetime


class Link(Struct, frozen=True):
    """A private link: what it was made with, and the hash of what opens it. Neither gives the link away."""

    salt: str
    hash: str


class Entry(Struct, frozen=True, kw_only=True):
    """
    A quotation as it stands after one change of its history; no personal data is in it.

    ``state`` is what was recorded; whether an open one has lapsed depends on the time: ``state_at``.
    ``version`` counts the changes, ``revision`` the revisions issued. ``commitments`` are salted
    hashes of what is kept of it, by paper (``1/job``). ``accepted`` is the place of the option chosen.
    ``offer`` is the one that somebody outside asked by; empty where the owner began it.
    """

    id: str
    version: int
    state: Recorded
    client: str
    terms: Terms
    commitments: dict[str, str]
    made_at: datetime.datetime
    changed_at: datetime.datetime
    series: str = ""
    ordinal: int = 0
    revision: int = 0
    first_dated: datetime.date | None = None
    days: Days | None = None
    accepted: int | None = None
    paid_minor: int = 0
    erased: bool = False
    offer: str = ""
    link: Link | None = None

    @property
    def number(self) -> str:
        """The number that the client knows it by; empty for a draft."""
        return written_number(self.series, self.ordinal) if self.ordinal else ""

    @property
    def named(self) -> str:
        """Its number, or its id while it has none."""
        return self.number or self.id

    @property
    def is_enquiry(self) -> bool:
        """Whether it has no price yet."""
        return not self.terms.options

    @property
    def total_minor(self) -> int:
        """The accepted option's total; until then the least option's, 0 of what has no price yet."""
        options = self.terms.options
        if self.accepted is None:
            return min((one.total_minor for one in options), default=0)
        return options[self.accepted].total_minor

    @property
    def deposit_minor(self) -> int:
        """The deposit asked for what was accepted; 0 until then."""
        return 0 if self.accepted is None else self.terms.options[self.accepted].deposit_minor

    @property
    def balance_minor(self) -> int:
        """What is still to be paid of what was accepted; 0 until then."""
        return 0 if self.accepted is None else self.total_minor - self.paid_minor

    def state_at(self, at: datetime.datetime) -> State:
        """Its state at an instant: open ones lapse when their last day is over where the shop is."""
        lapsed = self.state == "open" and self.days is not None and at >= self.days.lapses_at
        return "lapsed" if lapsed else self.state


def written_number(series: str, ordinal: int) -> str:
    """A number as it is written: ``Q-00012``."""
    return f"{series}-{ordinal:05}"


def read_number(written: str) -> tuple[str, int] | None:
    """Series and ordinal of a written number; None where it is none."""
    series, dash, ordinal = written.rpartition("-")
    fits = dash and series and ordinal.isascii() and ordinal.isdecimal() and len(ordinal) < 16
    return (series, int(ordinal)) if fits else None


def day_over(day: datetime.date, time_zone: str) -> datetime.datetime:
    """The first instant after a day where the shop is, in UTC; right on the days that clocks change too."""
    after = datetime.datetime.combine(day + datetime.timedelta(days=1), datetime.time(), ZoneInfo(time_zone))
    return after.astimezone(datetime.UTC)


@in_engine_context
def terms_of(estimate: Estimate) -> Terms:
    """What is kept of an estimate beside its papers."""
    return Terms(
        card=estimate.card_hash,
        rules=estimate.rules,
        priced_on=estimate.on,
        currency=estimate.currency,
        options=tuple(_sums(option, estimate.currency) for option in estimate.options),
    )


def _sums(option: Option, currency: str) -> Sums:
    places, price = minor_units(currency), option.price
    return Sums(
        quantity=option.quantity,
        net_minor=int(price.net.scaleb(places)),
        tax_minor=int((price.total - price.net).scaleb(places)),
        total_minor=int(price.total.scaleb(places)),
        deposit_minor=int(price.deposit.scaleb(places)),
    )
