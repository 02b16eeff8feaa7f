"""A quotation of the book as the owner sees it: how it stands, its sums as amounts of money."""

from __future__ import annotations

import datetime
from decimal import Decimal

from msgspec import Struct

from api.calls import Answer, Call, in_json
from api.etags import Tag
from quoting.book import Entry, Listed, State, Sums
from quoting.money import minor_units
from quoting.numbers import in_engine_context


class KeptOption(Struct, frozen=True, kw_only=True):
    """What one option comes to."""

    quantity: int
    net: Decimal
    tax: Decimal
    total: Decimal
    deposit: Decimal


class KeptQuotation(Struct, frozen=True, kw_only=True):
    """
    A quotation as it stands; what is personal of it stands in its papers.

    ``accepted`` is the quantity that was taken. ``total`` is that option's, until then the least. ``card`` is
    the content hash of the rate card that priced it.
    """

    id: str
    number: str
    revision: int
    version: int
    state: State
    client: str
    offer: str
    currency: str
    options: tuple[KeptOption, ...]
    accepted: int | None
    total: Decimal
    deposit: Decimal
    paid: Decimal
    balance: Decimal
    dated: datetime.date | None
    valid_until: datetime.date | None
    lapses_at: datetime.datetime | None
    card: str
    rules: int
    priced_on: datetime.date
    made_at: datetime.datetime
    changed_at: datetime.datetime
    erased: bool


class ListedQuotation(Struct, frozen=True, kw_only=True):
    """One quotation of a list."""

    id: str
    number: str
    revision: int
    version: int
    state: State
    client: str
    client_name: str
    title: str
    dated: datetime.date | None
    valid_until: datetime.date | None
    currency: str
    total: Decimal
    paid: Decimal
    made_at: datetime.datetime
    changed_at: datetime.datetime


@in_engine_context
def kept(entry: Entry, at: datetime.datetime | None = None) -> KeptQuotation:
    """
    An entry of the book as the owner sees it.

    Args:
        at: When it is looked at; if left out, as it was recorded, which stays the same however late it is asked.
    """
    terms, days = entry.terms, entry.days

    def money(minor: int) -> Decimal:
        return Decimal(minor).scaleb(-minor_units(terms.currency))

    return KeptQuotation(
        id=entry.id,
        number=entry.number,
        revision=entry.revision,
        version=entry.version,
        state=entry.state_at(at) if at else entry.state,
        client=entry.client,
        offer=entry.offer,
        currency=terms.currency,
        options=tuple(_option(one, terms.currency) for one in terms.options),
        accepted=None if entry.accepted is None else terms.options[entry.accepted].quantity,
        total=money(entry.total_minor),
        deposit=money(entry.deposit_minor),
        paid=money(entry.paid_minor),
        balance=money(entry.balance_minor),
        dated=days.dated if days else None,
        valid_until=days.valid_until if days else None,
        lapses_at=days.lapses_at if days else None,
        card=terms.card,
        rules=terms.rules,
        priced_on=terms.priced_on,
        made_at=entry.made_at,
        changed_at=entry.changed_at,
        erased=entry.erased,
    )


def _option(sums: Sums, currency: str) -> KeptOption:
    places = -minor_units(currency)
    return KeptOption(
        quantity=sums.quantity,
        net=Decimal(sums.net_minor).scaleb(places),
        tax=Decimal(sums.tax_minor).scaleb(places),
        total=Decimal(sums.total_minor).scaleb(places),
        deposit=Decimal(sums.deposit_minor).scaleb(places),
    )


@in_engine_context
def listed(one: Listed) -> ListedQuotation:
    """A row of a list as the owner sees it."""
    places = -minor_units(one.currency)
    told = {name: getattr(one, name) for name in ListedQuotation.__struct_fields__ if name not in {"total", "paid"}}
    return ListedQuotation(
        total=Decimal(one.total_minor).scaleb(places), paid=Decimal(one.paid_minor).scaleb(places), **told
    )


def tag_of(entry: Entry) -> Tag:
    """The tag of a quotation at one of its versions."""
    return Tag(entry.id, entry.version)


def changed(entry: Entry) -> Answer:
    """What a change of a quotation answers."""
    return in_json(kept(entry), ETag=tag_of(entry).written)


def created(call: Call[object, object], entry: Entry) -> Answer:
    """What a new quotation answers; it follows from the entry alone, so that it can be said again."""
    where = f"{call.desk.settings.base_url}/v1/book/quotations/{entry.id}"
    return in_json(kept(entry), status=201, ETag=tag_of(entry).written, Location=where)
