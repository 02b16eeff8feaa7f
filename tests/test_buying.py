"""Pots: what is bought for the whole job, and what it costs the shop. Worked with a pencil unless told."""

from __future__ import annotations

from decimal import Decimal
from typing import Any, get_args

import pytest
from msgspec.structs import replace

from quoting import RateCard
from quoting.buying import (
    BUYERS,
    Purchase,
    after_tax,
    buy_ink,
    buy_plates,
    buy_stock,
    price_a_sheet,
    sheets_to_buy,
)
from quoting.formulas import Plainly, Recording
from quoting.requirements import PotKind
from quoting.shop import ParentSheets, PriceBand, ReadyCut, Stock
from quoting.units import Amount, Area, Grammage, Mass, Share, Size
from tests.conftest import SHOPS

RECLAIMED: dict[str, Any] = {"standing": "input tax reclaimed", "input_rate": Share("20 %")}
A_COST: dict[str, Any] = {"standing": "input tax is a cost", "input_rate": Share("20 %")}


@pytest.fixture(scope="module")
def base(cards: dict[str, RateCard]) -> RateCard:
    card = cards[SHOPS[0]]
    return replace(card, tax=replace(card.tax, **RECLAIMED))


def bands(*told: tuple[int, str]) -> tuple[PriceBand, ...]:
    return tuple(PriceBand(at_least=mark, price=Amount(price)) for mark, price in told)


def sheets(card: RateCard, **told: Any) -> Stock:
    """500 x 700 mm of 100 gsm, 35 g a sheet, in packs of 250 at 0.20 each."""
    stock = next(one for one in card.stocks.values() if isinstance(one, ParentSheets))
    plain: dict[str, Any] = {
        "size": Size("500 x 700 mm"),
        "grammage": Grammage("100 gsm"),
        "pack": 250,
        "price_unit": "each",
        "prices": bands((1, "0.20")),
        "supply": "ordered",
        "usual_order": 1,
        "least_order": 1,
        "carriage_in": Amount("0"),
        "prices_include_tax": False,
    }
    return replace(stock, **(plain | told))


def bought(card: RateCard, count: int, tax: dict[str, Any] = RECLAIMED, **told: Any) -> tuple[Purchase, ...]:
    stock = sheets(card, **told)
    shop = replace(card, stocks={"paper": stock}, tax=replace(card.tax, **tax))
    return buy_stock(Plainly(), shop, "paper", count)


@pytest.mark.parametrize(
    ("unit", "price", "a_sheet"),
    [
        ("each", "0.20", "0.20"),
        ("hundred", "20", "0.20"),
        ("thousand", "200", "0.20"),
        ("ream", "100", "0.20"),
        ("pack", "50", "0.20"),
        ("kg", "2.00", "0.07"),
        ("tonne", "2000", "0.07"),
        ("100 lb", "90.718474", "0.07"),
    ],
)
def test_a_sheet_costs_its_part_of_the_merchants_unit(unit: str, price: str, a_sheet: str, base: RateCard) -> None:
    """
    A ream is 500 sheets (ISO 4046-3) (A); 100 lb are 45.359237 kg (international pound, 1959) (A).

    0.35 m2 of 100 gsm are 35 g: at 2.00 a kilogram, 0.07.
    """
    stock = sheets(base, price_unit=unit, prices=bands((1, price)))

    assert round(price_a_sheet(stock, 1), 20) == Decimal(a_sheet)


@pytest.mark.parametrize(
    ("count", "price"), [(1, "0.20"), (999, "0.20"), (1000, "0.15"), (5000, "0.12"), (9000, "0.12")]
)
def test_a_price_band_begins_with_its_mark(count: int, price: str, base: RateCard) -> None:
    stock = sheets(base, prices=bands((1, "0.20"), (1000, "0.15"), (5000, "0.12")))

    assert price_a_sheet(stock, count) == Decimal(price)


@pytest.mark.parametrize(
    ("needed", "told", "count"),
    [
        (1, {}, 250),
        (250, {}, 250),
        (251, {}, 500),
        (1, {"least_order": 600}, 750),
        (800, {"least_order": 600}, 1000),
        (700, {"prices": ((1, "0.20"), (1000, "0.10"))}, 1000),  # 750 at 0.20 are 150.00, 1000 at 0.10 are 100.00
        (700, {"prices": ((1, "0.20"), (1000, "0.15"))}, 750),  # as dear as 1000 at 0.15: the smaller
        (700, {"prices": ((1, "0.20"), (1000, "0.16"))}, 750),
        (1200, {"prices": ((1, "0.20"), (1000, "0.15"))}, 1250),
    ],
)
def test_whole_packs_are_bought_and_more_where_a_band_makes_more_cost_less(
    needed: int, told: dict[str, Any], count: int, base: RateCard
) -> None:
    prices = {"prices": bands(*told["prices"])} if "prices" in told else {}

    assert sheets_to_buy(sheets(base, **{**told, **prices}), needed) == count


def test_what_is_ordered_is_paid_by_the_pack_with_its_carriage(base: RateCard) -> None:
    """700 in packs of 250 are 750 at 0.20, 150.00; 12.00 brings them, once, and both before the press runs."""
    paper, carriage = bought(base, 700, carriage_in=Amount("12.00"))

    assert [paper.operation, paper.drawn, paper.quantity, paper.unit] == ["Stock", 700, 750, "sheets"]
    assert (paper.cost, paper.cost_class, paper.before_printing) == (Decimal("150.00"), "materials", True)
    assert (carriage.operation, carriage.cost, carriage.cost_class) == ("Carriage in", Decimal("12.00"), "bought-in")
    assert [carriage.drawn, carriage.quantity, carriage.unit, carriage.before_printing] == [1, 1, "orders", True]
    assert carriage.what == f"{paper.what}, carriage in"


def test_what_is_brought_free_has_no_line_of_carriage(base: RateCard) -> None:
    assert [one.operation for one in bought(base, 700)] == ["Stock"]


def test_what_is_on_the_shelf_is_paid_as_it_is_used_with_its_share_of_the_carriage(base: RateCard) -> None:
    """Usually 900 are ordered, in packs 1000 at 0.15, with 30.00 to bring them: 0.18 a sheet; 700 are 126.00."""
    prices = bands((1, "0.20"), (1000, "0.15"))
    told: dict[str, Any] = {"supply": "house", "usual_order": 900, "prices": prices, "carriage_in": Amount("30.00")}
    (paper,) = bought(base, 700, **told)

    assert [paper.drawn, paper.quantity, paper.cost, paper.before_printing] == [700, 700, Decimal("126.00"), False]


def test_the_shelf_is_filled_by_the_least_order_at_least(base: RateCard) -> None:
    """1000 must be ordered, though 100 usually would be: 0.15 and not 0.20 a sheet."""
    told: dict[str, Any] = {
        "supply": "house",
        "usual_order": 100,
        "least_order": 1000,
        "prices": bands((1, "0.20"), (1000, "0.15")),
    }

    assert bought(base, 100, **told)[0].cost == Decimal("15.00")


def test_blanks_are_counted_as_blanks(base: RateCard) -> None:
    blank = next(one for one in base.stocks.values() if isinstance(one, ReadyCut))
    shop = replace(base, stocks={"blank": blank})

    assert buy_stock(Plainly(), shop, "blank", 10)[0].unit == "blanks"


@pytest.mark.parametrize(
    ("standing", "included", "cost"),
    [(RECLAIMED, False, "50.00"), (RECLAIMED, True, "41.67"), (A_COST, False, "60.00"), (A_COST, True, "50.00")],
)
def test_input_tax_is_out_of_what_a_purchase_costs_or_in_it(
    standing: dict[str, Any], included: bool, cost: str, base: RateCard
) -> None:
    """250 at 0.20 are 50.00: with 20 % on it where it cannot be reclaimed, 50 / 1.2 where it was in it and can."""
    (paper,) = bought(base, 250, standing, prices_include_tax=included)

    assert round(paper.cost, 2) == Decimal(cost)


def test_a_carriage_never_has_the_tax_in_it_though_the_papers_prices_do(base: RateCard) -> None:
    """12.00 and 20 % on it: what a carrier's list says is without tax, here."""
    told: dict[str, Any] = {"prices_include_tax": True, "carriage_in": Amount("12.00")}

    assert bought(base, 250, A_COST, **told)[1].cost == Decimal("14.40")


def test_what_tax_does_is_told_just_where_it_does_something(base: RateCard) -> None:
    do = Recording()
    assert after_tax(do, base, Decimal(50)) == 50
    assert do.taken() == ()
    shop = replace(base, tax=replace(base.tax, **A_COST))
    assert after_tax(do, shop, Decimal(50)) == 60
    assert [step.formula for step in do.taken()] == ["after_input_tax"]


@pytest.mark.parametrize(("grams", "cost"), [("200", "12.00"), ("50", "4.00"), ("0", "4.00"), ("66.6", "4.00")])
def test_ink_is_paid_by_its_mass_and_not_under_its_least_charge(grams: str, cost: str, base: RateCard) -> None:
    """30.00 for 500 g, 4.00 at least: 200 g are 12.00, 66.6 g would be 3.996."""
    ink = replace(
        next(iter(base.inks.values())), price=Amount("30.00"), price_mass=Mass("500 g"), least_charge=Amount("4.00")
    )
    (found,) = buy_ink(Plainly(), replace(base, inks={"red": ink}), "red", Decimal(grams))

    assert (found.operation, found.cost, found.drawn, found.quantity, found.unit) == (
        "Ink",
        Decimal(cost),
        Decimal(grams),
        Decimal(grams),
        "g",
    )
    assert (found.cost_class, found.before_printing) == ("materials", False)


@pytest.mark.parametrize(("area", "cost"), [("20000", "34.00"), ("5000", "18.00"), ("0", "18.00")])
def test_an_order_of_plates_is_its_area_over_a_base_charge_and_not_under_a_least_one(
    area: str, cost: str, base: RateCard
) -> None:
    """0.14 a cm2 over 6.00, 18.00 at least: 200 cm2 are 34.00, 50 cm2 would be 13.00. 8.50 brings them."""
    supplier = replace(
        next(iter(base.plate_suppliers.values())),
        price=Amount("0.14"),
        price_area=Area("1 cm2"),
        base_charge=Amount("6.00"),
        least_charge=Amount("18.00"),
        carriage=Amount("8.50"),
    )
    shop = replace(base, plate_suppliers={"one": supplier})
    plates, carriage = buy_plates(Plainly(), shop, "one", Decimal(area))

    assert (plates.operation, plates.cost, plates.drawn, plates.quantity) == (
        "Plates",
        Decimal(cost),
        Decimal(area),
        Decimal(area),
    )
    assert (plates.unit, plates.cost_class, plates.before_printing) == ("mm2", "bought-in", True)
    assert (carriage.cost, carriage.before_printing) == (Decimal("8.50"), True)
    assert [one.operation for one in buy_plates(Plainly(), shop, "one", Decimal(area))] == ["Plates", "Carriage in"]


def test_there_is_a_buyer_for_every_pot_and_sheets_are_whole(base: RateCard) -> None:
    shop = replace(base, stocks={"paper": sheets(base, pack=1)})

    assert set(BUYERS) == set(get_args(PotKind))
    assert BUYERS["stock"](Plainly(), shop, "paper", Decimal("99.01"))[0].quantity == 100
