"""Pots: what the whole job draws from one stock, one ink, one plate order, bought once and shared out."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal

from msgspec import Struct

from quoting.formulas import Do, Step, formula
from quoting.numbers import at_least, cheapest, in_step, number, whole_up
from quoting.rate_card import RateCard
from quoting.requirements import CostClass, PotKind
from quoting.shop import Ink, ParentSheets, PlateSupplier, ReadyCut
from quoting.units import GRAMS_PER_POUND

SHEETS_A_REAM = 500


class Purchase(Struct, frozen=True, kw_only=True):
    """
    One thing bought for the whole job.

    ``quantity`` is what is paid for; ``drawn`` what the job uses of it.
    """

    operation: str
    what: str
    cost_class: CostClass
    drawn: Decimal
    quantity: Decimal
    unit: str
    cost: Decimal
    before_printing: bool
    steps: tuple[Step, ...] = ()


@formula(unit="money", sentence="{sheets} sheets × {price} a sheet")
def sheets_cost(*, sheets: int, price: Decimal) -> Decimal:
    """What so many sheets cost. [money]"""
    return sheets * price


@formula(
    unit="money a sheet",
    sentence="({usual_order} sheets × {price} a sheet + {carriage_in} carriage in) / {usual_order}",
)
def house_price(*, usual_order: int, price: Decimal, carriage_in: Decimal) -> Decimal:
    """What a sheet from the shelf stands the shop in, its share of carriage with it. [money a sheet]"""
    return (usual_order * price + carriage_in) / usual_order


@formula(
    unit="money",
    sentence="the greater of {least_charge} and {grams} g × {price} / {price_mass} g",
)
def ink_cost(*, grams: Decimal, price: Decimal, price_mass: Decimal, least_charge: Decimal) -> Decimal:
    """What the ink costs, by mass. [money]"""
    return at_least(least_charge, grams * price / price_mass)


@formula(
    unit="money",
    sentence="the greater of {least_charge} and {base_charge} + {area_mm2} mm2 × {price} / {price_area_mm2} mm2",
)
def plates_cost(
    *,
    area_mm2: Decimal,
    price: Decimal,
    price_area_mm2: Decimal,
    base_charge: Decimal,
    least_charge: Decimal,
) -> Decimal:
    """What one order of plates costs, carriage left out. [money]"""
    return at_least(least_charge, base_charge + area_mm2 * price / price_area_mm2)


@formula(unit="money", sentence="{paid} paid × {share} of it a cost to the shop after input tax")
def after_input_tax(*, paid: Decimal, share: Decimal) -> Decimal:
    """What a purchase costs once the shop's tax standing has had its say. [money]"""
    return paid * share


def price_a_sheet(stock: ParentSheets | ReadyCut, sheets: int) -> Decimal:
    """The price of one sheet or blank where so many are bought together. [money a sheet]"""
    marks = [band.at_least for band in stock.prices]
    return in_step(sheets, marks, [band.price for band in stock.prices]) * _units_a_sheet(stock)


def _units_a_sheet(stock: ParentSheets | ReadyCut) -> Decimal:
    """How much of the merchant's unit one sheet is."""
    grams = stock.size.area_mm2 / 1_000_000 * stock.grammage
    return {
        "each": Decimal(1),
        "hundred": Decimal(1) / 100,
        "thousand": Decimal(1) / 1000,
        "ream": Decimal(1) / SHEETS_A_REAM,
        "pack": Decimal(1) / stock.pack,
        "100 lb": grams / GRAMS_PER_POUND / 100,
        "tonne": grams / 1_000_000,
        "kg": grams / 1000,
    }[stock.price_unit]


def sheets_to_buy(stock: ParentSheets | ReadyCut, sheets: int) -> int:
    """
    Sheets bought so that ``sheets`` are there: whole packs, the least order, and the cheapest count.

    Where a price band makes a larger count cheaper than what is needed, the larger is bought.
    """
    least = at_least(stock.least_order, sheets)
    marks = dict.fromkeys(at_least(least, band.at_least) for band in stock.prices)
    counts = [_whole_packs(stock, mark) for mark in marks]
    return cheapest(counts, [count * price_a_sheet(stock, count) for count in counts])


def _whole_packs(stock: ParentSheets | ReadyCut, sheets: int) -> int:
    return whole_up(number(sheets) / stock.pack) * stock.pack


def after_tax(do: Do, card: RateCard, paid: Decimal, *, includes_tax: bool = False) -> Decimal:
    """What a sum paid to a supplier costs the shop: input tax is in it, out of it or on top. [money]"""
    share = card.tax.cost_of(Decimal(1), includes_tax=includes_tax)
    return paid if share == 1 else do(after_input_tax, paid=paid, share=share)


def buy_stock(do: Do, card: RateCard, name: str, sheets: int) -> tuple[Purchase, ...]:
    """One stock for the whole job: from the shelf as used, or ordered by whole packs with its carriage."""
    stock = card.stocks[name]
    if stock.supply == "house":
        usual = _whole_packs(stock, max(stock.usual_order, stock.least_order))
        price = do(
            house_price,
            usual_order=usual,
            price=price_a_sheet(stock, usual),
            carriage_in=stock.carriage_in.in_base_unit,
        )
        bought = sheets
    else:
        bought = sheets_to_buy(stock, sheets)
        price = price_a_sheet(stock, bought)
    paid = do(sheets_cost, sheets=bought, price=price)
    cost = after_tax(do, card, paid, includes_tax=stock.prices_include_tax)
    paper = Purchase(
        operation="Stock",
        what=stock.name,
        cost_class="materials",
        drawn=number(sheets),
        quantity=number(bought),
        unit="sheets" if isinstance(stock, ParentSheets) else "blanks",
        cost=cost,
        before_printing=stock.supply == "ordered",
        steps=do.taken(),
    )
    if stock.supply == "house" or not stock.carriage_in:
        return (paper,)
    return paper, _carriage(do, card, f"{stock.name}, carriage in", stock.carriage_in.in_base_unit)


def _carriage(do: Do, card: RateCard, what: str, paid: Decimal) -> Purchase:
    cost = after_tax(do, card, paid)
    return Purchase(
        operation="Carriage in",
        what=what,
        cost_class="bought-in",
        drawn=Decimal(1),
        quantity=Decimal(1),
        unit="orders",
        cost=cost,
        before_printing=True,
        steps=do.taken(),
    )


def buy_ink(do: Do, card: RateCard, name: str, grams: Decimal) -> tuple[Purchase, ...]:
    """One ink for the whole job, by mass, not under its least charge."""
    ink: Ink = card.inks[name]
    paid = do(
        ink_cost,
        grams=grams,
        price=ink.price.in_base_unit,
        price_mass=ink.price_mass.in_base_unit,
        least_charge=ink.least_charge.in_base_unit,
    )
    cost = after_tax(do, card, paid)
    return (
        Purchase(
            operation="Ink",
            what=ink.name,
            cost_class="materials",
            drawn=grams,
            quantity=grams,
            unit="g",
            cost=cost,
            before_printing=False,
            steps=do.taken(),
        ),
    )


def buy_plates(do: Do, card: RateCard, name: str, area_mm2: Decimal) -> tuple[Purchase, ...]:
    """One order of plates for the whole job, and its carriage."""
    supplier: PlateSupplier = card.plate_suppliers[name]
    paid = do(
        plates_cost,
        area_mm2=area_mm2,
        price=supplier.price.in_base_unit,
        price_area_mm2=supplier.price_area.in_base_unit,
        base_charge=supplier.base_charge.in_base_unit,
        least_charge=supplier.least_charge.in_base_unit,
    )
    cost = after_tax(do, card, paid)
    plates = Purchase(
        operation="Plates",
        what=supplier.name,
        cost_class="bought-in",
        drawn=area_mm2,
        quantity=area_mm2,
        unit="mm2",
        cost=cost,
        before_printing=True,
        steps=do.taken(),
    )
    if not supplier.carriage:
        return (plates,)
    return plates, _carriage(do, card, f"{supplier.name}, carriage in", supplier.carriage.in_base_unit)


def _buy_whole_sheets(do: Do, card: RateCard, name: str, sheets: Decimal) -> tuple[Purchase, ...]:
    return buy_stock(do, card, name, whole_up(sheets))


BUYERS: dict[PotKind, Callable[[Do, RateCard, str, Decimal], tuple[Purchase, ...]]] = {
    "stock": _buy_whole_sheets,
    "ink": buy_ink,
    "plates": buy_plates,
}
