"""The client's view: what is quoted, at what price, on what it rests. No cost is in it."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from decimal import Decimal

from msgspec import Struct

from quoting.estimate import Estimate, Option
from quoting.job import Client, ClientPlate, Colour, HandSet, Item, Job, Part, ReliefPlate, Side, StandingType
from quoting.money import unit_price
from quoting.numbers import in_engine_context, plain
from quoting.operations.finishing import FinishingBase
from quoting.rate_card import Letterhead, RateCard
from quoting.units import Size


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
    """Tax of one rate on its base."""

    rate: Decimal
    base: Decimal
    tax: Decimal


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


class Quotation(Struct, frozen=True, kw_only=True):
    """All that a client is shown, and nothing else: what a document for a client is made from."""

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
    sold_by: str
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


@in_engine_context
def quotation_for(estimate: Estimate, rate_card: RateCard) -> Quotation:
    """
    The quotation that a client gets from an estimate.

    Args:
        rate_card: The card that priced it: its letterhead, terms and region are shown.
    """
    job = estimate.job
    return Quotation(
        shop=rate_card.letterhead,
        locale=rate_card.region.locale,
        currency=rate_card.region.currency,
        paper=rate_card.region.paper,
        client=job.client,
        title=job.title,
        reference=job.reference,
        dated=estimate.on,
        valid_until=estimate.on + datetime.timedelta(days=rate_card.pricing.valid_days),
        needed_by=job.needed_by,
        items=tuple(QuotedItem(name=item.name, lines=tuple(_item_lines(item, rate_card))) for item in job.items),
        sold_by="sets" if len(job.items) > 1 else "pieces of each design" if job.items[0].versions > 1 else "pieces",
        options=tuple(_option(option) for option in estimate.options),
        tax_name=rate_card.tax.name,
        tax_included=rate_card.tax.prices_include_tax,
        deposit_share=rate_card.pricing.deposit.in_base_unit,
        delivery=_delivery(job, rate_card),
        included=tuple(_included(job)),
        assumed=tuple(_assumed(job, rate_card)),
        not_included=tuple(_not_included(job)),
        please_send=tuple(_please_send(estimate)),
        terms=rate_card.letterhead.terms,
        notes=job.notes,
    )


def _option(option: Option) -> QuotedOption:
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
        delivery=price.delivery,
        net=price.net,
        taxes=tuple(QuotedTax(rate=line.rate, base=line.base, tax=line.tax) for line in price.tax),
        total=price.total,
        deposit=price.deposit,
        balance=price.balance,
        run_on=option.run_on,
        ready_on=option.ready_on,
    )


def _item_lines(item: Item, card: RateCard) -> Iterator[str]:
    parts = item.all_parts()
    for part in parts:
        head = f"{part.name}: " if len(parts) > 1 else ""
        yield head + _size_and_stock(part, card)
        yield from _printing_words(part, card)
        yield from _finishing_words(part.finishing, part)
    yield from _finishing_words(item.joining, None)
    if item.versions > 1:
        yield f"In {item.versions} designs"


def _printing_words(part: Part, card: RateCard) -> Iterator[str]:
    if part.front and part.back:
        yield f"Front: {_side_words(part.front, card)}"
        yield f"Back: {_side_words(part.back, card)}"
    else:
        for side in (part.front, part.back):
            if side is not None:
                yield f"Printed on one side: {_side_words(side, card)}"


def _finishing_words(operations: tuple[object, ...], part: Part | None) -> Iterator[str]:
    words = [asked.words for asked in operations if isinstance(asked, FinishingBase)]
    if part is not None and part.fold:
        words.append(f"the fold along its {part.fold.along}")
    if words:
        told = ", ".join(words)
        yield told[0].upper() + told[1:]


def _size_and_stock(part: Part, card: RateCard) -> str:
    stock = "your own stock" if part.stock_from == "client" else card.stocks[part.stock].name
    return f"{_size_words(part.size, part.shape)}, on {stock}"


def _size_words(size: Size, shape: str) -> str:
    told = size.written.replace(" x ", " × ")
    return {"round": f"Round, {told}", "rectangular": told}.get(shape, f"{told}, cut to shape")


_NUMBERS = {1: "one", 2: "two", 3: "three", 4: "four", 5: "five", 6: "six"}


def _side_words(side: Side, card: RateCard) -> str:
    inks = [card.inks[colour.ink].name if colour.ink else "blind, without ink" for colour in side.colours]
    word = "color" if card.region.locale == "en-US" else "colour"
    count = _NUMBERS.get(len(inks), str(len(inks))) + f" {word}" + ("s" if len(inks) > 1 else "")
    return f"{count} ({', '.join(inks)}), {_forms_words(side.colours)}, {side.impression} impression"


def _forms_words(colours: tuple[Colour, ...]) -> str:
    words = {
        HandSet: "from type set by hand",
        ReliefPlate: "from a relief plate",
        StandingType: "from standing type",
        ClientPlate: "from your own plate",
    }
    return " and ".join(dict.fromkeys(words.get(type(colour.form), "from last time's plate") for colour in colours))


def _delivery(job: Job, card: RateCard) -> str:
    if job.delivery.method == "collect":
        return "Collected from the shop"
    where = f", to {job.delivery.to}" if job.delivery.to else ""
    return f"{card.delivery[job.delivery.method].name}{where}"


def _included(job: Job) -> Iterator[str]:
    rounds = job.proofs.screen_rounds
    if rounds:
        yield "One round of proofs on screen" if rounds == 1 else f"{rounds} rounds of proofs on screen"
    if job.proofs.press_proof:
        yield "A proof pulled on the press"
    if any(isinstance(colour.form, ReliefPlate) for colour in _colours(job)):
        yield "Making the plates"
    if any(isinstance(colour.form, HandSet) for colour in _colours(job)):
        yield "Setting the type, and putting it back in its cases"
    if len(job.items) > 1:
        yield "Assembling the sets"
    if job.rush:
        yield "Rush working"
    yield "Counting, banding and packing"


def _assumed(job: Job, card: RateCard) -> Iterator[str]:
    yield _count_words(job, card)
    yield _artwork_words(job)
    yield "Nothing prints over the edge" if not _bleeds(job) else "Printing runs over the edge and is trimmed"
    yield _coverage_words(job)
    if any(isinstance(colour.form, ClientPlate) for colour in _colours(job)):
        yield "Your plate reaches us clean, flat and at the thickness you gave"


def _count_words(job: Job, card: RateCard) -> str:
    if job.count == "exact":
        return "The exact count is delivered"
    share = plain(card.pricing.overs_and_unders * 100)
    return f"Up to {share} % over or under may be delivered, and what is delivered is charged"


def _artwork_words(job: Job) -> str:
    to_see = any(isinstance(colour.form, ReliefPlate) and colour.form.artwork != "ready" for colour in _colours(job))
    return "The price is subject to sight of artwork" if to_see else "The price is firm for what is described"


def _bleeds(job: Job) -> bool:
    return any(getattr(colour.form, "bleed", False) for colour in _colours(job))


def _coverage_words(job: Job) -> str:
    """The heaviest form decides: what it may print of its own rectangle."""
    told = [colour.form.share_inked for colour in _colours(job) if getattr(colour.form, "share_inked", None)]
    heaviest = max((Decimal(share) for share in told if share is not None), default=Decimal(0))
    if heaviest > Decimal("0.3"):
        return "Heavy coverage, with solids, as described"
    if heaviest > Decimal("0.15"):
        return "Medium coverage, without large solids"
    return "Light coverage: type and line, without solids"


def _not_included(job: Job) -> Iterator[str]:
    if not job.proofs.press_proof:
        yield "A proof pulled on the press"
    yield "Changes after a proof is passed"
    if job.delivery.method == "collect":
        yield "Delivery"


def _please_send(estimate: Estimate) -> Iterator[str]:
    parts = [part for item in estimate.job.items for part in item.all_parts()]
    for place, part in enumerate(parts):
        if part.stock_from == "client":
            for option in estimate.options:
                sheets = option.parts[place].sheets_from_stock
                yield f"{part.name}: {sheets} sheets for {option.quantity}"


def _colours(job: Job) -> list[Colour]:
    parts = [part for item in job.items for part in item.all_parts()]
    return [colour for part in parts for side in (part.front, part.back) if side for colour in side.colours]
