"""
Which sizes and quantities pay: one job over a grid of quantities, piece sizes, stocks and presses.

Every cell is what estimating it alone would give. For the owner: nothing of it is a client's.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from itertools import pairwise
from typing import Protocol, get_args

from msgspec import Struct
from msgspec.structs import replace

from quoting.checking import check_job
from quoting.errors import Fault, JobError, MeasureError, NoPlanError, NotOfferedError
from quoting.estimate import Figures, client_pieces, figures_of, printed
from quoting.formulas import formula
from quoting.job import Item, Job, Part
from quoting.languages import SOURCE, Language, message
from quoting.money import read_amount, round_amount, smallest_coin, unit_price
from quoting.numbers import in_engine_context, whole_up
from quoting.planning.part_plan import PartPlan
from quoting.planning.pins import Pin
from quoting.planning.prepared import PreparedJob
from quoting.planning.search import plan_job, way
from quoting.pricing import Price
from quoting.rate_card import RateCard
from quoting.requirements import CostClass
from quoting.shop import ReadyCut
from quoting.units import Size

MOST_CELLS = 5_000
GREATEST_QUANTITY = 100_000
WIDEST_TABLE = 8  # quantities side by side


class Cell(Struct, frozen=True, kw_only=True):
    """
    One quantity of one variant.

    ``bought`` is what is bought of each stock, in sheets or blanks; ``changed`` says what is not as
    at the quantity before it: the plan, or the packs. ``held_up``: least charge or floor had to lift
    the price. ``a_hundred_more``: what each hundred on the way to the next quantity adds to the price
    before tax. ``at_price``: what is left after cost, fee and commission at the price asked about.
    """

    quantity: int
    ways: tuple[str, ...]
    cost: Decimal
    labour: Decimal
    materials: Decimal
    bought_in: Decimal
    net: Decimal
    tax: Decimal
    total: Decimal
    deposit: Decimal
    each: Decimal
    margin: Decimal
    contribution: Decimal
    labour_hours: Decimal
    press_hours: Decimal
    earned_a_press_hour: Decimal | None
    earned_a_labour_hour: Decimal | None
    bought: tuple[tuple[str, Decimal], ...]
    changed: tuple[str, ...] = ()
    held_up: bool = False
    a_hundred_more: Decimal | None = None
    at_price: Decimal | None = None


class PlanFrom(Struct, frozen=True):
    """The cheapest way to make each part from a quantity on."""

    quantity: int
    ways: tuple[str, ...]


class Offer(Struct, frozen=True, kw_only=True):
    """A larger quantity that is priced ``less`` under a smaller one, and so is offered in its place."""

    instead_of: int
    quantity: int
    less: Decimal


class Variant(Struct, frozen=True, kw_only=True):
    """
    One size on one stock at one press (or at the cheapest), over the quantities.

    ``cells`` is empty where it cannot be made, and ``refusals`` says why. ``plans`` are the plans chosen,
    each with the quantity that it begins at. From ``pays_from`` on neither least charge nor floor lifts the
    price at any quantity compared. Both are found to the piece, by halving between the two quantities
    compared that differ. ``break_even`` answers the price asked about; ``offers`` are larger quantities
    priced under smaller ones.
    """

    size: str
    stock: str
    press: str | None
    cells: tuple[Cell, ...] = ()
    refusals: dict[str, str] = {}
    plans: tuple[PlanFrom, ...] = ()
    pays_from: int | None = None
    break_even: int | None = None
    offers: tuple[Offer, ...] = ()

    @property
    def label(self) -> str:
        """Size, stock and press in a line."""
        return ", ".join(word for word in (self.size, self.stock, self.press) if word)


class PriceAsked(Struct, frozen=True):
    """A net price to hold the costs against: of one piece, or of the whole quantity."""

    amount: Decimal
    of: str


class Comparison(Struct, frozen=True, kw_only=True):
    """The grid. For the owner, never for a client."""

    title: str
    part: str
    currency: str
    locale: str
    card_name: str
    card_version: str
    on: datetime.date
    quantities: tuple[int, ...]
    price_asked: PriceAsked | None
    variants: tuple[Variant, ...]


@formula(unit="money", sentence="{net} × (1 − {commission} − {fee_share} × (1 + {tax_rate})) − {fixed} − {cost}")
def left_over(
    *, net: Decimal, cost: Decimal, commission: Decimal, fee_share: Decimal, fixed: Decimal, tax_rate: Decimal
) -> Decimal:
    """What a net price leaves when cost, commission and payment fee are paid. [money]"""
    return net * (1 - commission - fee_share * (1 + tax_rate)) - fixed - cost


@in_engine_context
def compare_job(
    job: Job,
    card: RateCard,
    *,
    on: datetime.date,
    quantities: Sequence[int] = (),
    sizes: Sequence[str] = (),
    stocks: Sequence[str] = (),
    presses: Sequence[str] = (),
    part: str | None = None,
    price_asked: PriceAsked | None = None,
) -> Comparison:
    """
    Compare a job over quantities, sizes, stocks and presses; what is left out stays as the job has it.

    Args:
        sizes: Finished sizes of the part, as a job writes them. Its forms stay as they are.
        stocks: Names of the card's stocks.
        presses: Names of the card's presses; the cheapest is taken where none is named.
        part: Whose size and stock change; needed where the job has several.

    Raises:
        JobError: quantities, sizes, stocks or presses that cannot be, or too many cells.
        NotOfferedError: the job asks for what the card does not hold.
    """
    counts = tuple(sorted(set(quantities or job.quantities)))
    chosen = _part(job, part)
    check_job(job, card)
    _check(card, counts, sizes, stocks, presses)
    grid = [
        (size, stock, press)
        for stock in stocks or (chosen.stock,)
        for size in sizes or (chosen.size.written,)
        for press in presses or (None,)
    ]
    if len(grid) * len(counts) > MOST_CELLS:
        raise JobError([Fault("$", f"at most {MOST_CELLS:,} cells", f"{len(grid) * len(counts):,}")])
    variants = tuple(
        _variant(job, card, chosen.name, size, stock, press, counts, on, price_asked) for size, stock, press in grid
    )
    return Comparison(
        title=job.title,
        part=chosen.name,
        currency=card.region.currency,
        locale=card.region.locale,
        card_name=card.card.name,
        card_version=card.card.version,
        on=on,
        quantities=counts,
        price_asked=price_asked,
        variants=variants,
    )


def asked_price(written: str, card: RateCard) -> PriceAsked:
    """
    A price as somebody writes it: ``"4.20 each"`` or ``"420 in all"``, before tax.

    Raises:
        JobError: no amount of the card's currency, or finer than its smallest coin.
    """
    text, _, ending = written.partition(" ")
    of = {"each": "a piece", "in all": "in all", "": "in all"}.get(ending.strip())
    if of is None:
        raise JobError([Fault("price", "an amount, then 'each' or 'in all'", repr(written)[:60])])
    try:
        return PriceAsked(read_amount(text, card.region.currency, "price"), of)
    except MeasureError as error:
        raise JobError(error.faults) from error


def _part(job: Job, name: str | None) -> Part:
    """The part whose size and stock change."""
    parts = [part for item in job.items for part in item.all_parts()]
    named = [part for part in parts if name in {None, part.name}]
    if len(named) != 1:
        told = ", ".join(part.name for part in parts)
        raise JobError([Fault("part", f"the name of one part: {told}", repr(name) if name else "none")])
    return named[0]


def _check(
    card: RateCard, quantities: Sequence[int], sizes: Sequence[str], stocks: Sequence[str], presses: Sequence[str]
) -> None:
    faults = [
        Fault(f"quantities[{place}]", f"a whole number from 1 to {GREATEST_QUANTITY:,}", str(count))
        for place, count in enumerate(quantities)
        if not 1 <= count <= GREATEST_QUANTITY
    ]
    for key, names, known in (("stocks", stocks, card.stocks), ("presses", presses, card.presses)):
        faults += [
            Fault(f"{key}[{place}]", f"one of {', '.join(known)}", repr(name))
            for place, name in enumerate(names)
            if name not in known
        ]
    for place, size in enumerate(sizes):
        try:
            Size(size)
        except MeasureError as error:
            faults.append(Fault(f"sizes[{place}]", error.faults[0].expected, error.faults[0].found))
    if faults:
        raise JobError(faults)


def _variant(
    job: Job,
    card: RateCard,
    part: str,
    size: str,
    stock: str,
    press: str | None,
    quantities: Sequence[int],
    on: datetime.date,
    price_asked: PriceAsked | None,
) -> Variant:
    stock = _stock_of_size(card, stock, Size(size))
    changed = with_part(job, part, size=Size(size), stock=stock)
    empty = Variant(size=size, stock=card.stocks[stock].name, press=card.presses[press].name if press else None)
    try:
        check_job(changed, card)
        prepared = PreparedJob(changed, card, (Pin(part=part, press=press),) if press else ())
        known = _known_plans(prepared, quantities)
        found = [figures_of(prepared, quantity, on, plans=known.get(quantity, ())) for quantity in quantities]
    except NoPlanError as error:
        return replace(empty, refusals=error.refusals)
    except NotOfferedError as error:
        return replace(empty, refusals={fault.where: str(fault) for fault in error.faults})
    cells = tuple(_cells(found, prepared, price_asked))
    return replace(
        empty,
        cells=cells,
        plans=tuple(_plans(cells, prepared, known)),
        pays_from=_pays_from(cells, prepared, on),
        break_even=_break_even(prepared, on, price_asked, quantities[-1]) if price_asked else None,
        offers=tuple(offers([(one.quantity, printed(one.price)) for one in found])),
    )


MANY_QUANTITIES = 24
WIDEST_AT_ONCE = 10_000


def _known_plans(prepared: PreparedJob, quantities: Sequence[int]) -> dict[int, tuple[PartPlan]]:
    """The plan by quantity, of a job of one part over many of them: looked for at once, those between them too."""
    if len(prepared.parts) != 1 or len(quantities) < MANY_QUANTITIES:
        return {}
    from quoting.planning.at_once import cheapest_plans  # numpy

    every = range(quantities[0], quantities[-1] + 1)
    asked = every if len(every) <= WIDEST_AT_ONCE else quantities
    return {one: (plan,) for one, plan in zip(asked, cheapest_plans(prepared, asked), strict=True) if plan}


def _stock_of_size(card: RateCard, name: str, size: Size) -> str:
    """The stock itself; of ready-cut blanks, those of the same class and shape that have the size."""
    stock = card.stocks[name]
    if not isinstance(stock, ReadyCut):
        return name
    alike = [
        key
        for key, other in card.stocks.items()
        if isinstance(other, ReadyCut)
        and (other.stock_class, other.shape) == (stock.stock_class, stock.shape)
        and (other.size.width_mm, other.size.height_mm) == (size.width_mm, size.height_mm)
    ]
    return name if name in alike or not alike else alike[0]


def with_part(job: Job, name: str, *, size: Size, stock: str) -> Job:
    """The job with another size and stock for one of its parts."""

    def changed(item: Item) -> Item:
        if not item.parts:
            return replace(item, size=size, stock=stock) if item.name == name else item
        parts = tuple(replace(part, size=size, stock=stock) if part.name == name else part for part in item.parts)
        return replace(item, parts=parts)

    return replace(job, items=tuple(changed(item) for item in job.items))


def _cells(found: Sequence[Figures], prepared: PreparedJob, price_asked: PriceAsked | None) -> Iterator[Cell]:
    cells = [_cell(one, prepared, price_asked) for one in found]
    more = [*run_ons(cells, prepared.card.region.currency), None]
    for place, (cell, a_hundred) in enumerate(zip(cells, more, strict=True)):
        changed = tuple(_changes(cells[place - 1], cell)) if place else ()
        yield replace(cell, changed=changed, a_hundred_more=a_hundred)


def _changes(before: Cell, cell: Cell) -> Iterator[str]:
    if before.ways != cell.ways:
        yield message("plan")
    if before.bought != cell.bought:
        yield message("packs")


_HELD_UP = {"Least charge", "Least charge an item", "Floor"}


def _cell(one: Figures, prepared: PreparedJob, price_asked: PriceAsked | None) -> Cell:
    price, hours = one.price, one.hours
    of_class: dict[CostClass, Decimal] = dict.fromkeys(get_args(CostClass), Decimal(0))
    for line in one.lines:
        of_class[line.cost_class] += line.cost
    return Cell(
        quantity=one.quantity,
        ways=tuple(way(plan, prepared.card) for plan in one.plans),
        cost=price.cost,
        labour=of_class["labour"],
        materials=of_class["materials"],
        bought_in=of_class["bought-in"],
        net=price.net,
        tax=price.total - price.net,
        total=price.total,
        deposit=price.deposit,
        each=unit_price(printed(price), sum(item.pieces for item in price.items)),
        margin=price.margin,
        contribution=hours.contribution,
        labour_hours=hours.labour,
        press_hours=hours.press,
        earned_a_press_hour=hours.earned_a_press_hour,
        earned_a_labour_hour=hours.earned_a_labour_hour,
        bought=tuple(
            (line.what, line.driver) for line in one.lines if line.operation == "Stock" and line.before_printing
        ),
        held_up=_is_held_up(price),
        at_price=_left(one, prepared, price_asked) if price_asked else None,
    )


def _left(one: Figures, prepared: PreparedJob, asked: PriceAsked) -> Decimal:
    """What the price asked about leaves."""
    return left_at(_net_asked(asked, prepared.job, one.quantity), one, prepared)


def left_at(net: Decimal, one: Figures, prepared: PreparedJob) -> Decimal:
    """
    What a net price leaves of one quantity once cost, commission and payment fee are paid.

    The tax on which the fee is charged is at the rate that the price itself bears.
    """
    pricing, price = prepared.card.pricing, one.price
    left: Decimal = left_over(
        net=net,
        cost=price.cost,
        commission=pricing.commission.in_base_unit,
        fee_share=pricing.payment_fee_share.in_base_unit,
        fixed=pricing.payment_fee_fixed * (2 if pricing.deposit else 1),
        tax_rate=(price.total - price.net) / price.net if price.net else Decimal(0),
    )
    return left


def _net_asked(asked: PriceAsked, job: Job, quantity: int) -> Decimal:
    if asked.of == "in all":
        return asked.amount
    return asked.amount * sum(client_pieces(item, quantity) for item in job.items)


def _plans(cells: Sequence[Cell], prepared: PreparedJob, known: Mapping[int, tuple[PartPlan]]) -> Iterator[PlanFrom]:
    """The plans over the quantities; between two that differ the change is looked for."""

    def between(low: PlanFrom, high: PlanFrom) -> Iterator[PlanFrom]:
        if low.ways == high.ways:
            return
        if high.quantity - low.quantity == 1:
            yield high
            return
        middle = _plan_at((low.quantity + high.quantity) // 2, prepared, known)
        yield from between(low, middle)
        yield from between(middle, high)

    compared = [PlanFrom(cell.quantity, cell.ways) for cell in cells]
    yield compared[0]
    for low, high in pairwise(compared):
        yield from between(low, high)


def _plan_at(quantity: int, prepared: PreparedJob, known: Mapping[int, tuple[PartPlan]]) -> PlanFrom:
    plans: Sequence[PartPlan] = known.get(quantity, ())
    if not plans:
        plans = [load.plan for load in plan_job(prepared, quantity, recording=False).loads]
    return PlanFrom(quantity, tuple(way(plan, prepared.card) for plan in plans))


def _pays_from(cells: Sequence[Cell], prepared: PreparedJob, on: datetime.date) -> int | None:
    """The quantity from which on nothing has to lift the price; None where something does at the greatest."""
    held = [place for place, cell in enumerate(cells) if cell.held_up]
    if not held:
        return cells[0].quantity
    if held[-1] == len(cells) - 1:
        return None
    low, high = cells[held[-1]].quantity, cells[held[-1] + 1].quantity
    while high - low > 1:
        middle = (low + high) // 2
        if _is_held_up(figures_of(prepared, middle, on).price):
            low = middle
        else:
            high = middle
    return high


def _is_held_up(price: Price) -> bool:
    return any(rule.rule in _HELD_UP for rule in price.rules)


def _break_even(prepared: PreparedJob, on: datetime.date, asked: PriceAsked, most: int) -> int | None:
    """
    At a unit price the least quantity after which it never fails again, at a total price the greatest.

    Looked for up to the greatest quantity compared; None where there is none up to it.
    """
    margins = _Margins(prepared, on, asked)
    if asked.of == "in all":
        return margins.last(1, most, paying=True)
    failing = margins.last(1, most, paying=False)
    return None if failing == most else (failing or 0) + 1


class _Margins:
    """What the price asked about leaves at any quantity, each worked out once."""

    def __init__(self, prepared: PreparedJob, on: datetime.date, asked: PriceAsked) -> None:
        self.prepared, self.on, self.asked = prepared, on, asked
        self._figures: dict[int, Figures] = {}

    def last(self, low: int, high: int, *, paying: bool) -> int | None:
        """
        The last quantity of a range that pays, or that does not; ranges that are settled are not looked into.

        A cost never falls with quantity, so the price of one end against the cost of the other bounds
        all between; a coin a line is allowed for rounding.
        """
        worst, best = self._left(low, high) - self._coins(high), self._left(high, low) + self._coins(high)
        if (best < 0) if paying else (worst >= 0):
            return None
        if (worst >= 0) if paying else (best < 0):
            return high
        if low == high:
            return low if (self._left(low, low) >= 0) == paying else None
        middle = (low + high) // 2
        return self.last(middle + 1, high, paying=paying) or self.last(low, middle, paying=paying)

    def _left(self, net_of: int, cost_of: int) -> Decimal:
        return left_at(_net_asked(self.asked, self.prepared.job, net_of), self._at(cost_of), self.prepared)

    def _coins(self, quantity: int) -> Decimal:
        return len(self._at(quantity).lines) * smallest_coin(self.prepared.card.region.currency)

    def _at(self, quantity: int) -> Figures:
        if quantity not in self._figures:
            self._figures[quantity] = figures_of(self.prepared, quantity, self.on)
        return self._figures[quantity]


def offers(prices: Sequence[tuple[int, Decimal]]) -> Iterator[Offer]:
    """
    Where a larger quantity is priced lower than a smaller one, that it should be offered instead.

    Only a price falls with quantity, at a price break or in rounding; a cost never does.
    """
    for place, (quantity, price) in enumerate(prices):
        cheaper = [(other, more) for more, other in prices[place + 1 :] if other < price]
        if cheaper:
            other, more = min(cheaper)
            yield Offer(instead_of=quantity, quantity=more, less=price - other)


def in_tables(cells: Sequence[Cell]) -> list[Sequence[Cell]]:
    """Cells for as few tables as their width allows, as many in each."""
    tables = max(1, whole_up(Decimal(len(cells)) / WIDEST_TABLE))
    ends = [len(cells) * place // tables for place in range(tables + 1)]
    return [cells[start:end] for start, end in pairwise(ends)]


class Words(Protocol):
    """How a region writes counts and amounts."""

    def count(self, number: int) -> str:
        """A count, grouped."""

    def number(self, number: Decimal) -> str:
        """A number with every place that it has."""

    def amount(self, amount: Decimal) -> str:
        """An amount without its currency."""


def offer_words(offer: Offer, words: Words, language: Language = SOURCE) -> str:
    """That the larger quantity should be offered."""
    more, few = words.count(offer.quantity), words.count(offer.instead_of)
    return language.say(
        "{more} are {saved} less than {quantity}: offer {more} instead.",
        more=more,
        saved=words.amount(offer.less),
        quantity=few,
    )


def answers(comparison: Comparison, variant: Variant, words: Words, language: Language = SOURCE) -> tuple[str, ...]:
    """What an owner asks of a variant, in a line each."""
    told = []
    if variant.cells and variant.pays_from is None:
        told.append(language.say("Least charge or floor holds the price up at every quantity compared."))
    elif variant.cells and variant.pays_from != variant.cells[0].quantity:
        under = message("Under {quantity} the job does not pay: least charge or floor holds its price up.")
        told.append(language.say(under, quantity=words.count(variant.pays_from or 0)))
    asked = comparison.price_asked
    if asked is not None and variant.cells:
        told.append(_break_even_words(asked, variant, comparison, words, language))
    told.extend(offer_words(offer, words, language) for offer in variant.offers)
    return tuple(told)


_EACH = {
    "from": message("At {amount} {currency} each, before tax, it breaks even from {quantity} on."),
    "never": message("At {amount} {currency} each, before tax, it does not break even by {quantity}."),
}
_IN_ALL = {
    "from": message(
        "At {amount} {currency} in all, before tax, the greatest quantity that breaks even is {quantity}."
    ),
    "all": message(
        "At {amount} {currency} in all, before tax, the greatest quantity that breaks even is {quantity} and more."
    ),
    "never": message("At {amount} {currency} in all, before tax, no quantity up to {quantity} breaks even."),
}


def _break_even_words(
    asked: PriceAsked, variant: Variant, comparison: Comparison, words: Words, language: Language
) -> str:
    most, found = comparison.quantities[-1], variant.break_even
    reached = "all" if asked.of == "in all" and found == most else "from"
    sentence = (_IN_ALL if asked.of == "in all" else _EACH)["never" if found is None else reached]
    return language.say(
        sentence,
        amount=words.amount(asked.amount),
        currency=comparison.currency,
        quantity=words.count(most if found is None else found),
    )


class TwoPoints(Struct, frozen=True):
    """A price as something fixed and something for each hundred more."""

    fixed: Decimal
    run_on_a_hundred: Decimal


def two_points(first: tuple[int, Decimal], second: tuple[int, Decimal]) -> TwoPoints:
    """
    Two quantities of one job, read as a fixed price and a run-on.

    Source:
        Estimate to a publisher, 29 August 1930, University of Reading MS 2750/96/8 (B).
    """
    (few, less), (many, more) = first, second
    run_on = (more - less) / (Decimal(many) - few) * 100
    return TwoPoints(fixed=less - run_on * few / 100, run_on_a_hundred=run_on)


def run_ons(cells: Sequence[Cell], currency: str) -> Iterator[Decimal]:
    """What a hundred more cost before tax from each quantity compared to the next, rounded."""
    for one, other in pairwise(cells):
        points = two_points((one.quantity, one.net), (other.quantity, other.net))
        yield round_amount(points.run_on_a_hundred, currency)
