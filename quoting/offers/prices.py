"""What a choice costs a visitor, with the next quantities and what a hundred more would be; nothing is kept."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from decimal import Decimal

from msgspec import Struct

from quoting.artwork import Artwork
from quoting.checking import check_job
from quoting.errors import Fault, JobError, NoPlanError, NotPricedError
from quoting.estimate import Answer, Estimate, answer_of, estimate_job, figures_of
from quoting.job import Job
from quoting.job_artwork import measured_forms
from quoting.money import round_amount, unit_price
from quoting.numbers import in_engine_context
from quoting.offer import Offer
from quoting.offers.choice import ADVISE_ME, Choice, named_sides
from quoting.offers.chosen import NONE_MEASURED, Chosen, Measured, way_of
from quoting.offers.jobs import job_from_choice
from quoting.offers.offered import offer_by_key
from quoting.planning.prepared import PreparedJob
from quoting.pricing import Price
from quoting.rate_card import RateCard
from quoting.rules import RULES

NEXT_QUANTITIES = 2
# What the shop must look out or look at before it is bound by a price.
_TO_BE_SEEN = ("same as last time", "own plate")


class AskedPrice(Struct, frozen=True, kw_only=True):
    """
    One quantity asked for.

    ``each`` is the printed price of one; ``hundred_more`` what a hundred more, ordered together, would
    add to the printed price. ``in_time`` says whether the day it is needed can be met; where it cannot, and
    a rush is offered, ``rush_ready_on`` and ``rush_adds`` say what a rush would do.
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
    rush_ready_on: datetime.date | None = None
    rush_adds: Decimal | None = None


class NextPrice(Struct, frozen=True, kw_only=True):
    """A usual quantity over those asked for, for whoever may want more."""

    quantity: int
    net: Decimal
    tax: Decimal
    total: Decimal
    each: Decimal


class Prices(Struct, frozen=True, kw_only=True):
    """The prices of a choice. ``tax_included``: whether the printed prices have the tax in them."""

    product: str
    currency: str
    tax_name: str
    tax_included: bool
    valid_until: datetime.date
    issued: str
    stock: str
    options: tuple[AskedPrice, ...]
    next: tuple[NextPrice, ...]


@in_engine_context
def prices_of(choice: Choice, card: RateCard, *, on: datetime.date, artwork: Measured = NONE_MEASURED) -> Prices:
    """
    What a choice costs on a day.

    Args:
        artwork: What the files measure that its sides name.

    Raises:
        NotOfferedError: it is outside the offer.
        NotPricedError: no price can be worked out; it may be sent as an enquiry.
    """
    job, offer = job_from_choice(choice, card, on=on, artwork=artwork), offer_by_key(choice.product, card)
    try:
        check_job(job, card)
        prepared = PreparedJob(job, card)
        asked = tuple(_asked(answer_of(prepared, one, on), offer, card) for one in job.quantities)
        further = tuple(_next(prepared, one, on) for one in _next_quantities(choice, offer))
    except (NoPlanError, JobError) as error:
        raise NotPricedError(_reasons(error, job)) from error
    return Prices(
        product=offer.key,
        currency=card.region.currency,
        tax_name=card.tax.name,
        tax_included=card.tax.prices_include_tax,
        valid_until=on + datetime.timedelta(days=card.pricing.valid_days),
        issued="at once" if issued_at_once(choice, offer, artwork) else "by the owner",
        stock=Chosen(choice, offer, card).stock,
        options=asked,
        next=further,
    )


def quote_choice(choice: Choice, card: RateCard, *, on: datetime.date, artwork: Measured = NONE_MEASURED) -> Estimate:
    """
    The estimate of a choice, for the book: its quotation has the prices that ``prices_of`` tells.

    Raises:
        NotOfferedError: it is outside the offer.
        NotPricedError: no price can be worked out; it may be sent as an enquiry.
    """
    job: Job = job_from_choice(choice, card, on=on, artwork=artwork)
    try:
        return estimate_job(job, card, on=on)
    except (NoPlanError, JobError) as error:
        raise NotPricedError(_reasons(error, job)) from error


def unpriced(choice: Choice, card: RateCard, *, on: datetime.date, artwork: Measured = NONE_MEASURED) -> Estimate:
    """
    What is kept of a choice that cannot be priced: an estimate of no quantity yet.

    Raises:
        NotOfferedError: it is outside the offer.
    """
    return Estimate(
        rules=RULES,
        card_name=card.card.name,
        card_version=card.card.version,
        card_hash=card.content_hash,
        on=on,
        currency=card.region.currency,
        job=job_from_choice(choice, card, on=on, artwork=artwork),
        options=(),
    )


def issued_at_once(choice: Choice, offer: Offer, artwork: Measured = NONE_MEASURED) -> bool:
    """
    Whether a quotation goes out without the owner's look.

    The offer must say so, and nothing may be left to the shop: no stock to advise, no plate of an earlier job or of
    the client's own, no artwork that something must be said of.
    """
    seen = any(way_of(side, offer) in _TO_BE_SEEN for _, side in named_sides(choice))
    left = choice.stock == ADVISE_ME or seen or any(_has_notes(one) for one in artwork.values())
    return offer.issued == "at once" and not left


def _has_notes(artwork: Artwork) -> bool:
    return bool(artwork.notes) or any(form.notes for form in artwork.forms)


def _next_quantities(choice: Choice, offer: Offer) -> list[int]:
    """The offer's usual quantities next over the greatest asked for."""
    return [one for one in offer.quantities if one > max(choice.quantities)][:NEXT_QUANTITIES]


def _asked(answer: Answer, offer: Offer, card: RateCard) -> AskedPrice:
    price, late = answer.price, answer.late
    rush_ready_on, rush_adds = (late.rush_ready_on, late.rush_costs) if late and offer.rush else (None, None)
    return AskedPrice(
        quantity=answer.quantity,
        net=price.net,
        tax=price.total - price.net,
        total=price.total,
        deposit=round_amount(price.deposit, card.region.currency),
        each=_each(price, answer.quantity),
        hundred_more=answer.run_on,
        ready_on=answer.ready_on,
        in_time=late is None,
        rush_ready_on=rush_ready_on,
        rush_adds=rush_adds,
    )


def _next(prepared: PreparedJob, quantity: int, on: datetime.date) -> NextPrice:
    price = figures_of(prepared, quantity, on).price
    return NextPrice(
        quantity=quantity,
        net=price.net,
        tax=price.total - price.net,
        total=price.total,
        each=_each(price, quantity),
    )


def _each(price: Price, quantity: int) -> Decimal:
    """The printed price of one of them, or of one set, delivery left out."""
    goods = sum((item.price for item in price.items), Decimal(0))
    return unit_price(goods, quantity)


def _reasons(error: NoPlanError | JobError, job: Job) -> list[str]:
    """Why it cannot be priced, as far as a visitor may know: a reason of one press alone is the shop's own."""
    if isinstance(error, JobError):
        return [_told(fault) for fault in error.faults]
    reason = error.refusals.get("every press", "no press here takes it in this size, on this stock and as deep")
    return [f"{error.part}: {reason}", *_solids_of(error.part, job)]


def _solids_of(part: str, job: Job) -> Iterator[str]:
    """What of its artwork asks most of a press."""
    for one, _, form in measured_forms(job):
        found = form.measured
        if one.name == part and found is not None and found.largest_solid_size is not None:
            yield (
                f"{found.file}, {found.named}: its largest solid is {found.largest_solid_size};"
                " a smaller one, or a lighter impression, asks less of a press"
            )


def _told(fault: Fault) -> str:
    """A fault of the job; where it stands there is nothing to a visitor, but for what they name themselves."""
    told = f"expected {fault.expected}"
    return told if fault.where.startswith(("items", "$")) else f"{fault.where}: {told}"
