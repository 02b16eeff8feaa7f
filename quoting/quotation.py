"""The client's view: what is quoted, at what price, on what it rests. No cost is in it."""

from __future__ import annotations

import datetime
from decimal import Decimal
from typing import Literal

from msgspec import Struct

from quoting.client_words import assumed, days_told, delivery_words, included, item_lines, not_included, please_send
from quoting.estimate import Estimate, Option
from quoting.job import Client, Job
from quoting.languages import check_locale, language
from quoting.money import round_amount, unit_price
from quoting.numbers import in_engine_context
from quoting.rate_card import Letterhead, RateCard
from quoting.tax import TaxLine

SoldBy = Literal["sets", "pieces of each design", "pieces"]


class QuotedItem(Struct, frozen=True, kw_only=True):
    """One item in the client's words."""

    name: str
    lines: tuple[str, ...]


class QuotedPrice(Struct, frozen=True, kw_only=True):
    """The printed price of one item; ``unit_price`` has as many places as it takes to add up."""

    name: str
    pieces: int
    unit_price: Decimal
    price: Decimal


class QuotedTax(Struct, frozen=True, kw_only=True):
    """Tax of one category (its code in EN 16931) and rate on its base; ``reason`` where there is none on it."""

    rate: Decimal
    base: Decimal
    tax: Decimal
    code: str = "S"
    reason: str = ""


class QuotedOption(Struct, frozen=True, kw_only=True):
    """
    One quantity with its prices, tax, total, deposit and balance.

    ``run_on`` is what a hundred more, ordered together, would add to the sum of the prices.
    """

    quantity: int
    prices: tuple[QuotedPrice, ...]
    delivery: Decimal
    net: Decimal
    taxes: tuple[QuotedTax, ...]
    total: Decimal
    deposit: Decimal
    balance: Decimal
    run_on: Decimal
    ready_on: datetime.date

    @property
    def rounding(self) -> Decimal:
        """What a total with the tax in it is off base and tax (EN 16931, BT-114): a coin or nothing."""
        return self.total - self.net - sum((tax.tax for tax in self.taxes), Decimal(0))


class Quotation(Struct, frozen=True, kw_only=True):
    """
    All that a client is shown, and nothing else: what a document for a client is made from.

    Its words are said already, in ``locale``: what was quoted does not change when a catalogue does,
    and JSON, PDF and XML carry the same text. Figures and days are bare. ``number`` is empty until
    the quotation is issued.
    """

    shop: Letterhead
    locale: str
    currency: str
    paper: str
    client: Client
    title: str
    reference: str
    dated: datetime.date
    valid_until: datetime.date
    needed_by: datetime.date | None
    items: tuple[QuotedItem, ...]
    sold_by: SoldBy
    options: tuple[QuotedOption, ...]
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
    number: str = ""


@in_engine_context
def quotation_for(
    estimate: Estimate, rate_card: RateCard, *, locale: str | None = None, number: str = ""
) -> Quotation:
    """
    The quotation that a client gets from an estimate.

    Args:
        rate_card: The card that priced it: its letterhead, terms and region are shown.
        locale: Language and region that it is written in; the client's own if left out, else the shop's.
        number: The number it is issued under.

    Raises:
        InputError: a language that documents cannot be written in.
    """
    check_locale(locale)
    job = estimate.job
    region = rate_card.region
    words = language(locale or job.client.locale or region.locale)
    return Quotation(
        shop=rate_card.letterhead,
        locale=words.locale,
        currency=region.currency,
        paper=region.paper if words.locale == region.locale else words.paper,
        client=job.client,
        title=job.title,
        reference=job.reference,
        dated=estimate.on,
        valid_until=estimate.on + datetime.timedelta(days=rate_card.pricing.valid_days),
        needed_by=job.needed_by,
        items=tuple(
            QuotedItem(name=item.name, lines=tuple(item_lines(item, rate_card, words))) for item in job.items
        ),
        sold_by=_sold_by(job),
        options=tuple(_option(option, rate_card.region.currency) for option in estimate.options),
        tax_name=rate_card.tax.name,
        tax_included=rate_card.tax.prices_include_tax,
        deposit_share=rate_card.pricing.deposit.in_base_unit,
        delivery=delivery_words(job, rate_card, words),
        included=tuple(included(job, words)),
        assumed=(*assumed(job, rate_card, words), *days_told(estimate, words)),
        not_included=tuple(not_included(job, words)),
        please_send=tuple(please_send(estimate, words)),
        terms=rate_card.letterhead.terms,
        notes=job.notes,
        number=number,
    )


def _sold_by(job: Job) -> SoldBy:
    if len(job.items) > 1:
        return "sets"
    return "pieces of each design" if job.items[0].versions > 1 else "pieces"


def _tax(line: TaxLine) -> QuotedTax:
    return QuotedTax(rate=line.rate, base=line.base, tax=line.tax, code=line.code, reason=line.reason)


def _option(option: Option, currency: str) -> QuotedOption:
    """What is nothing is told in coins too: 0.00, not 0."""
    price = option.price
    return QuotedOption(
        quantity=option.quantity,
        prices=tuple(
            QuotedPrice(
                name=item.name,
                pieces=item.pieces,
                unit_price=unit_price(item.price, item.pieces),
                price=item.price,
            )
            for item in price.items
        ),
        delivery=round_amount(price.delivery, currency),
        net=price.net,
        taxes=tuple(_tax(line) for line in price.tax),
        total=price.total,
        deposit=round_amount(price.deposit, currency),
        balance=price.balance,
        run_on=option.run_on,
        ready_on=option.ready_on,
    )
