"""
Everything that the public face answers with, said here in full.

These types stand by themselves: none is made from one of the library's, none holds a cost, a margin, an hour,
a supplier, a note of the shop's or the hash of its card. ``told`` holds every answer to its type.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from decimal import Decimal
from typing import Any, Literal, TypeVar

import msgspec
from msgspec import Struct

from api.calls import Answer
from api.etags import tag_of_content
from quoting.reader import to_json

_T = TypeVar("_T", bound=Struct)

Issued = Literal["at once", "by the owner"]
RequestState = Literal["received", "open", "expired", "replaced", "accepted", "declined", "withdrawn", "erased"]


class PublicType(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """What every public type has in common: nothing but its strictness."""


class Choosable(PublicType, frozen=True):
    """One thing to choose: its key, and what visitors read of it."""

    key: str
    name: str


class OfferSummary(PublicType, frozen=True):
    """An offer in the list of them."""

    key: str
    name: str
    issued: Issued
    schema: str
    least_quantity: int
    greatest_quantity: int


class Shop(PublicType, frozen=True):
    """Whose offers they are."""

    name: str
    currency: str
    locale: str
    tax_name: str
    tax_included: bool


class OfferList(PublicType, frozen=True):
    """Everything that a shop offers on its pages."""

    shop: Shop
    offers: tuple[OfferSummary, ...]


class SizeChoice(PublicType, frozen=True):
    """A size, and what may be chosen with it."""

    name: str
    size: str
    shape: str
    stocks: tuple[str, ...]
    flat: bool
    folds: tuple[str, ...]
    envelopes: tuple[Choosable, ...]


class PieceChoice(PublicType, frozen=True):
    """A piece that may go with the product in sets."""

    name: str
    size: str
    per_set: int


class OfferDetails(PublicType, frozen=True):
    """One offer in full. The first of each list is what is taken where a visitor does not say."""

    key: str
    name: str
    issued: Issued
    schema: str
    least_quantity: int
    greatest_quantity: int
    quantities: tuple[int, ...]
    sizes: tuple[SizeChoice, ...]
    own_size: tuple[str, str] | None
    stocks: tuple[Choosable, ...]
    advise: bool
    inks: tuple[Choosable, ...]
    most_colours_a_side: int
    back: bool
    impressions: tuple[str, ...]
    printed_from: tuple[str, ...]
    artwork: tuple[str, ...]
    coverages: tuple[str, ...]
    founts: tuple[Choosable, ...]
    corners: bool
    edge_colours: tuple[str, ...]
    extras: tuple[str, ...]
    pieces: tuple[PieceChoice, ...]
    lining: bool
    addressing: bool
    most_spare_envelopes: int
    delivery: tuple[Choosable, ...]
    rush: bool


class PricedQuantity(PublicType, frozen=True):
    """
    The price of one quantity asked for.

    ``hundred_more``: what a hundred more, ordered together, would add to the printed price. Where the day
    that it is needed cannot be met and a rush is offered, ``rush_ready_on`` and ``rush_adds`` say what it does.
    """

    quantity: int
    net: Decimal
    tax: Decimal
    total: Decimal
    deposit: Decimal
    each: Decimal
    hundred_more: Decimal
    ready_on: datetime.date
    in_time: bool
    rush_ready_on: datetime.date | None
    rush_adds: Decimal | None


class NextQuantity(PublicType, frozen=True):
    """The price of a usual quantity over those asked for."""

    quantity: int
    net: Decimal
    tax: Decimal
    total: Decimal
    each: Decimal


class ChoicePrices(PublicType, frozen=True):
    """
    What a choice costs today. Nothing is kept, and nothing is promised until a quotation is issued.

    ``stock`` is the stock that it is priced on; ``issued`` says whether a request is answered at once.
    """

    product: str
    currency: str
    tax_name: str
    tax_included: bool
    valid_until: datetime.date
    issued: Issued
    stock: str
    options: tuple[PricedQuantity, ...]
    next: tuple[NextQuantity, ...]


class MeasuredForm(PublicType, frozen=True):
    """
    What one page, or one separation of it, prints: one form, and one colour.

    ``size`` is the rectangle round all of it, ``share_inked`` of that; ``coverage`` is of the trimmed page. The
    thinnest line and the finest gap are told where they are under 2 mm.
    """

    page: int
    separation: str
    page_size: str
    size: str
    share_inked: str
    coverage: str
    largest_solid_size: str | None
    thinnest_positive: str | None
    thinnest_reversed: str | None
    bleeds: bool
    colours: tuple[str, ...]
    notes: tuple[str, ...]


class MeasuredFile(PublicType, frozen=True):
    """
    A file of artwork that waits for its request until ``until``.

    ``artwork_file`` is what a side of a choice names it by; it has a form for each colour of that side.
    """

    artwork_file: str
    until: datetime.datetime
    name: str
    forms: tuple[MeasuredForm, ...]
    notes: tuple[str, ...]


class RequestAnswer(PublicType, frozen=True):
    """
    What became of a request.

    ``kind``: a quotation that is issued, a request that waits for the shop, or an enquiry that waits for a
    price. ``link`` is private: whoever has it may look, accept and decline.
    """

    kind: Literal["quotation", "request", "enquiry"]
    number: str
    link: str
    valid_until: datetime.date | None


class PublicShop(PublicType, frozen=True):
    """The shop as its letterhead has it."""

    name: str
    strapline: str
    address: tuple[str, ...]
    email: str
    telephone: str
    website: str
    tax_number: str
    payment: tuple[str, ...]
    terms: tuple[str, ...]


class PublicClient(PublicType, frozen=True):
    """Who asked."""

    name: str
    company: str
    email: str
    address: tuple[str, ...]
    is_business: bool
    locale: str


class PublicItem(PublicType, frozen=True):
    """One item in the client's words."""

    name: str
    lines: tuple[str, ...]


class PublicPrice(PublicType, frozen=True):
    """The printed price of one item of an option."""

    name: str
    pieces: int
    unit_price: Decimal
    price: Decimal


class PublicTax(PublicType, frozen=True):
    """Tax of one category (its code in EN 16931) and rate on its base."""

    rate: Decimal
    base: Decimal
    tax: Decimal
    code: str
    reason: str


class PublicOption(PublicType, frozen=True):
    """One quantity that may be accepted."""

    quantity: int
    prices: tuple[PublicPrice, ...]
    delivery: Decimal
    net: Decimal
    taxes: tuple[PublicTax, ...]
    total: Decimal
    deposit: Decimal
    balance: Decimal
    run_on: Decimal
    ready_on: datetime.date


class PublicQuotation(PublicType, frozen=True):
    """A quotation as it was issued."""

    shop: PublicShop
    locale: str
    currency: str
    paper: str
    client: PublicClient
    title: str
    reference: str
    dated: datetime.date
    valid_until: datetime.date
    needed_by: datetime.date | None
    items: tuple[PublicItem, ...]
    sold_by: str
    options: tuple[PublicOption, ...]
    tax_name: str
    tax_included: bool
    deposit_share: Decimal
    delivery: str
    included: tuple[str, ...]
    assumed: tuple[str, ...]
    not_included: tuple[str, ...]
    please_send: tuple[str, ...]
    terms: tuple[str, ...]
    notes: str
    number: str


class LinkedQuotation(PublicType, frozen=True):
    """
    What a private link leads to: its state, and the quotation once the shop has issued one.

    ``accepted`` is the quantity that was accepted.
    """

    kind: Literal["quotation", "request", "enquiry"]
    state: RequestState
    revision: int
    accepted: int | None
    quotation: PublicQuotation | None


def told(kind: type[_T], made: Any, *, status: int = 200, headers: Mapping[str, str] | None = None) -> Answer:
    """
    An answer of one public type, made field by field of what has fields, or keys, of the same names.

    What is written is read again as the type, strictly: anything else fails here and is not told.

    Raises:
        TypeError: the type is no public one.
        msgspec.ValidationError: what was made does not fit it.
    """
    if not issubclass(kind, PublicType):
        raise TypeError(f"expected a public type; found {kind.__name__}")
    content = to_json(msgspec.convert(made, kind, from_attributes=True))
    msgspec.json.decode(content, type=kind)
    return Answer(content=content, status=status, headers=dict(headers or {}))


def tagged(answer: Answer) -> Answer:
    """The same with the ETag of what it says."""
    return msgspec.structs.replace(answer, headers={**answer.headers, "ETag": tag_of_content(answer.content)})
