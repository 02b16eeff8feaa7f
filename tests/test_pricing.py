"""
From cost to price: the order of the rules, each that acts a line of its own.

The worked examples stand beside their tests, to be followed with a pencil. One item of own labour at
100.00 and materials at 50.00 unless told. Source: arithmetic, and the order written in DEVELOPERS.
"""

from __future__ import annotations

import datetime
from decimal import ROUND_UP, Context, Decimal, localcontext
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from quoting import Job, JobError, NotOfferedError, RateCard, estimate_job, quotation_for
from quoting.buying import buy_plates
from quoting.calendar import working_days_until
from quoting.costing import RateMemory, exact_cost
from quoting.errors import InputError
from quoting.formulas import Plainly
from quoting.job import Item, OfferedDiscount, UnderFloor
from quoting.line_items import LineItem, line_items, rise_on
from quoting.money import round_amount
from quoting.pricing import Price, price_option, with_deposit
from quoting.rate_card import Pricing, Rounding, RushBand, Tax, TaxKind
from quoting.reader import convert
from quoting.requirements import Charge, CostClass, Draw, Labour, Requirement
from quoting.shop import MarkUps
from quoting.units import Amount, Rise, Share
from tests.conftest import DAY, SHOPS

PENNY = Rounding(step=Amount("0.01"), way="nearest", of="total")
PLAIN = Pricing(
    mark_ups=MarkUps(labour=Rise("0 %"), materials=Rise("0 %"), bought_in=Rise("0 %")),
    least_charge=Amount("0"),
    least_margin=Share("0 %"),
    rush=Share("0 %"),
    payment_fee_share=Share("0 %"),
    payment_fee_fixed=Amount("0"),
    commission=Share("0 %"),
    rounding=PENNY,
    deposit=Share("0 %"),
    valid_days=30,
    overs_and_unders=Share("0 %"),
    discounts={"trade": Share("10 %")},
)
NO_TAX = Tax(name="Tax", standing="input tax reclaimed", rate=Share("0 %"), input_rate=Share("0 %"))


@pytest.fixture(scope="module")
def base(cards: dict[str, RateCard]) -> RateCard:
    return replace(cards["marrowby-lane"], pricing=PLAIN, tax=NO_TAX)


@pytest.fixture(scope="module")
def job(jobs: dict[tuple[str, str], Job]) -> Job:
    return jobs["marrowby-lane", "coasters"]


def line(card: RateCard, cost: str, kind: CostClass, *, minutes: str = "0", item: int = 0, **more: Any) -> LineItem:
    """A line of one cost, priced by the card's own mark-up."""
    exact = Decimal(cost)
    price = round_amount(exact * (1 + rise_on(card, kind)), card.region.currency)
    return LineItem(
        operation="Running" if kind == "labour" else "Stock",
        what="",
        item=item,
        cost_class=kind,
        driver=Decimal(1),
        driver_unit="",
        rate=exact,
        rate_unit="",
        exact_cost=exact,
        cost=round_amount(exact, card.region.currency),
        price=price,
        sentence="",
        price_sentence="",
        workings=(),
        machine="platen-8x12" if kind == "labour" else None,
        minutes=Decimal(minutes),
        before_printing=False,
        **more,
    )


def priced(
    base: RateCard,
    job: Job,
    pricing: dict[str, Any] | None = None,
    tax: dict[str, Any] | None = None,
    *,
    labour: str = "100.00",
    materials: str = "50.00",
    minutes: str = "60",
    delivery: str = "",
    days_left: int | None = None,
    pieces: int = 100,
) -> Price:
    """The price of the worked example under some rules."""
    card = replace(base, pricing=replace(base.pricing, **(pricing or {})), tax=replace(base.tax, **(tax or {})))
    lines = [line(card, labour, "labour", minutes=minutes), line(card, materials, "materials")]
    if delivery:
        sent = line(card, delivery, "bought-in", is_delivery=True)
        lines.append(replace(sent, item=None, cost_shares=(sent.cost,), price_shares=(sent.price,)))
    return price_option(lines, job, card, [pieces], days_left=days_left)


def amounts(price: Price) -> dict[str, str]:
    return {rule.rule: str(rule.amount) for rule in price.rules}


MARK_UPS = {"mark_ups": MarkUps(labour=Rise("40 %"), materials=Rise("20 %"), bought_in=Rise("10 %"))}


def test_a_plan_is_chosen_by_what_its_lines_come_to(base: RateCard) -> None:
    """Minutes at their rate, pots bought once, charges after input tax: exactly what the lines add up to."""
    card = replace(base, tax=replace(base.tax, standing="input tax is a cost", input_rate=Share("20 %")))
    first, second = (
        Draw(pot="plates", key="estuary", what=str(item), item=item, amount=Decimal(area), unit="mm2")
        for item, area in enumerate(("4000", "30000"))
    )
    work = [
        Labour(
            operation="Running",
            what=machine or "by hand",
            item=0,
            driver=Decimal(1),
            driver_unit="",
            person="owner",
            minutes=Decimal(minutes),
            machine=machine,
        )
        for machine, minutes in (("platen-8x12", "7"), (None, "11"), ("platen-8x12", "13"))
    ]
    charge = Charge(
        operation="Die", what="", item=1, driver=Decimal(1), driver_unit="", cost=Decimal(30), cost_class="bought-in"
    )
    asked: list[Requirement] = [*work, first, charge, second]
    rates = RateMemory(card)
    lines = line_items(Plainly(), asked, card, 2, rates)

    assert exact_cost(Plainly(), asked, card, rates) == sum(line.exact_cost for line in lines)
    assert [line.exact_cost for line in lines if line.operation == "Die"] == [Decimal("36.0")]
    # 340 cm2 at 0.14 and 6.00 to begin with are 53.60, and the carriage 8.50; a fifth of tax on both.
    assert [line.exact_cost for line in lines if line.operation in {"Plates", "Carriage in"}] == [
        Decimal("53.60") * Decimal("1.2"),
        Decimal("8.50") * Decimal("1.2"),
    ]
    by_hand, at_press = (rates.an_hour(one) for one in (work[1], work[0]))
    assert [(line.minutes, line.exact_cost) for line in lines if line.operation == "Running"] == [
        (Decimal(20), Decimal(20) / 60 * at_press),
        (Decimal(11), Decimal(11) / 60 * by_hand),
    ]
    assert at_press - by_hand == card.machine_rate("platen-8x12") > 0
    assert rates.a_minute(work[0]) * 60 == pytest.approx(at_press, abs=Decimal("1e-20"))


def test_plates_of_a_supplier_who_sends_them_free_have_no_carriage(base: RateCard) -> None:
    supplier = replace(base.plate_suppliers["estuary"], carriage=Amount("0"))
    free = replace(base, plate_suppliers={"estuary": supplier})

    assert [one.operation for one in buy_plates(Plainly(), free, "estuary", Decimal(4000))] == ["Plates"]
    assert [one.operation for one in buy_plates(Plainly(), base, "estuary", Decimal(4000))] == [
        "Plates",
        "Carriage in",
    ]


def test_mark_up_by_class(base: RateCard, job: Job) -> None:
    """100 x 1.4 + 50 x 1.2 = 200: 50 put on 150."""
    assert amounts(priced(base, job, MARK_UPS)) == {"Cost": "150.00", "Mark-up": "50.00"}


def test_thirty_up_is_23_1_in(base: RateCard, job: Job) -> None:
    """30 % on the cost is 23.1 % of the price: trade.md, section 5."""
    up = MarkUps(labour=Rise("30 %"), materials=Rise("30 %"), bought_in=Rise("30 %"))

    assert round(priced(base, job, {"mark_ups": up}).margin, 3) == Decimal("0.231")


def test_mark_up_then_discount(base: RateCard, job: Job) -> None:
    """Labour 140 after its mark-up, 10 % off it: 14. Before the mark-up it would be 10."""
    price = priced(base, replace(job, discount="trade"), MARK_UPS)

    assert amounts(price) == {"Cost": "150.00", "Mark-up": "50.00", "Discount: trade": "-14.00"}


def test_the_clients_discount_then_the_quotations(base: RateCard, job: Job) -> None:
    """140 - 14 = 126 of own work left; 5 % of it is 6.30. Of 140 it would be 7.00."""
    asked = replace(job, discount="trade", offered_discount=OfferedDiscount(share=Share("5 %"), because="slow week"))

    assert amounts(priced(base, asked, MARK_UPS))["Discount: slow week"] == "-6.30"


def test_the_quotations_discount_alone_is_off_all_of_the_own_work(base: RateCard, job: Job) -> None:
    """5 % of 140 is 7.00."""
    asked = replace(job, offered_discount=OfferedDiscount(share=Share("5 %"), because="slow week"))

    assert amounts(priced(base, asked, MARK_UPS))["Discount: slow week"] == "-7.00"


def test_a_price_of_nothing_has_no_margin(base: RateCard, job: Job) -> None:
    price = priced(base, job, labour="0.00", materials="0.00")

    assert [price.net, price.total, price.margin] == [0, 0, 0]


def test_the_callers_context_changes_no_margin(base: RateCard, job: Job) -> None:
    price = priced(base, job, MARK_UPS, labour="123.45")
    expected = price.margin

    with localcontext(Context(prec=2, rounding=ROUND_UP)):
        assert price.margin == expected


def test_what_an_item_does_not_cost_bears_nothing_of_what_is_added(base: RateCard, job: Job) -> None:
    """
    By what the items stand at: 100.00 and nothing.

    All of the 80.00 up to the least charge is the first's, and all of the delivery follows it to its tax.
    """
    rules = replace(base.pricing, least_charge=Amount("180"))
    price = two_items(replace(base, pricing=rules), job, {}, None, "books", materials="0.00")

    assert [str(item.price) for item in price.items] == ["180.00", "0.00"]
    assert [(one.category, str(one.base)) for one in price.tax] == [("standard", "192.00"), ("zero", "0.00")]


@pytest.mark.parametrize(("included", "total"), [(False, "0.60"), (True, "0.50")])
def test_a_floor_that_is_waived_is_none(included: bool, total: str, base: RateCard, job: Job) -> None:
    """0.30 to the nearest 0.50 is 0.50; with 20 % on it 0.60, or 0.36 to the nearest 0.50 with its tax in it."""
    waived = replace(job, under_floor=UnderFloor(by="owner", because="a test"))
    taxed = {"rate": Share("20 %"), "prices_include_tax": included}
    rules = {"rounding": Rounding(Amount("0.50"), "nearest", "total")}

    assert str(priced(base, waived, rules, taxed, labour="0.30", materials="0.00").total) == total


def test_discount_and_rush_are_both_on_own_work_at_its_list_price(base: RateCard, job: Job) -> None:
    """Rush 25 % of 140 is 35.00 whatever the discount: their order does not matter, and is so by rule."""
    rushed = replace(job, discount="trade", rush=True)
    price = priced(base, rushed, {**MARK_UPS, "rush": Share("25 %")})

    assert amounts(price) | {"Rush": "35.00", "Discount: trade": "-14.00"} == amounts(price)


def test_rush_then_least_charge(base: RateCard, job: Job) -> None:
    """200 + 35 = 235 is over a least charge of 230, which then does not act; the other way 30 + 35 were added."""
    price = priced(base, replace(job, rush=True), {**MARK_UPS, "rush": Share("25 %"), "least_charge": Amount("230")})

    assert (str(price.net), "Least charge" in amounts(price)) == ("235.00", False)


def test_discount_then_least_charge(base: RateCard, job: Job) -> None:
    """200 - 14 = 186, raised to 190: the discount does not go under the least charge."""
    price = priced(base, replace(job, discount="trade"), {**MARK_UPS, "least_charge": Amount("190")})

    assert (str(price.net), amounts(price)["Least charge"]) == ("190.00", "4.00")


def test_least_charge_is_on_the_goods_and_delivery_comes_beside_it(base: RateCard, job: Job) -> None:
    """Goods 150 raised to 180; delivery 12 beside them: 192."""
    price = priced(base, job, {"least_charge": Amount("180")}, delivery="12.00")

    assert (str(price.net), str(price.delivery)) == ("192.00", "12.00")


def test_least_charge_then_floor(base: RateCard, job: Job) -> None:
    """150 / (1 - 0.2) = 187.50. A least charge of 160 goes first (10.00), the floor adds the rest (27.50)."""
    price = priced(base, job, {"least_charge": Amount("160"), "least_margin": Share("20 %")})

    assert amounts(price) == {"Cost": "150.00", "Least charge": "10.00", "Floor": "27.50"}


def test_discount_then_floor(base: RateCard, job: Job) -> None:
    """200 - 14 = 186; the floor 187.50 takes 1.50 of the discount back."""
    price = priced(base, replace(job, discount="trade"), {**MARK_UPS, "least_margin": Share("20 %")})

    assert (str(price.net), amounts(price)["Floor"]) == ("187.50", "1.50")


def test_floor_then_fees(base: RateCard, job: Job) -> None:
    """187.50 / (1 - 0.05) = 197.37: the fee comes on top, so that the margin is kept after it."""
    price = priced(base, job, {"least_margin": Share("20 %"), "payment_fee_share": Share("5 %")})

    assert (str(price.net), str(price.payment_fee)) == ("197.37", "9.87")
    assert price.net - price.payment_fee == Decimal("187.50")


def test_commission_and_fee_are_grossed_up_together_on_a_price_with_tax(base: RateCard, job: Job) -> None:
    """(150 x 0.1 + 180 x 0.02 + 0.30) / (1 - 0.1 - 0.02 x 1.2) = 18.90 / 0.876 = 21.58."""
    fees = {"commission": Share("10 %"), "payment_fee_share": Share("2 %"), "payment_fee_fixed": Amount("0.30")}
    price = priced(base, job, fees, {"rate": Share("20 %")})

    assert amounts(price)["Commission and payment fee"] == "21.58"
    assert abs(price.net - price.commission - price.payment_fee - 150) <= Decimal("0.01")
    assert abs(price.margin) < Decimal("0.0001")


def test_fees_then_rounding(base: RateCard, job: Job) -> None:
    """150 / 0.95 = 157.89, up to the next 5: 160. Rounded first it would be 150, then 157.89."""
    up = {"payment_fee_share": Share("5 %"), "rounding": Rounding(Amount("5"), "up", "total")}

    assert str(priced(base, job, up).net) == "160.00"


@pytest.mark.parametrize(
    ("step", "way", "of", "expected"),
    [
        ("0.01", "nearest", "total", "150.37"),
        ("0.50", "nearest", "total", "150.50"),
        ("0.50", "up", "total", "150.50"),
        ("5", "up", "total", "155"),
        ("5", "nearest", "total", "150"),
        ("0.05", "nearest", "unit price", "150.00"),
        ("0.05", "up", "unit price", "155.00"),
    ],
)
def test_rounding_to_a_step_nearest_or_up_of_the_total_or_of_each_unit_price(
    step: str, way: Any, of: Any, expected: str, base: RateCard, job: Job
) -> None:
    """150.37 in all; 100 pieces at 1.5037. The floor, here the cost, is waived, or nothing would go down."""
    waived = replace(job, under_floor=UnderFloor(by="owner", because="a test"))
    price = priced(base, waived, {"rounding": Rounding(Amount(step), way, of)}, labour="100.37")

    assert price.net == Decimal(expected)


@pytest.mark.parametrize("of", ["total", "unit price"])
@pytest.mark.parametrize("included", [False, True])
def test_rounding_never_goes_under_the_floor(of: Any, included: bool, base: RateCard, job: Job) -> None:
    """Floor 187.50 (1.875 each): to the nearest 5 it would be 185, to 0.05 each 1.85 or 1.90."""
    step = Amount("5") if of == "total" else Amount("0.05")
    rules = {"least_margin": Share("20 %"), "rounding": Rounding(step, "nearest", of)}
    price = priced(base, job, rules, {"rate": Share("20 %"), "prices_include_tax": included})

    assert price.net >= Decimal("187.50")
    assert sum(rule.amount for rule in price.rules) == price.net


def test_a_unit_price_with_its_tax_goes_up_where_the_nearest_step_is_under_the_floor(
    base: RateCard, job: Job
) -> None:
    """The floor of 1.875 is 2.25 with 20 %. To the nearest 0.20 that is 2.20, 1.83 of it net: so 2.40, 200.00 net."""
    rules = {"least_margin": Share("20 %"), "rounding": Rounding(Amount("0.20"), "nearest", "unit price")}
    price = priced(base, job, rules, {"rate": Share("20 %"), "prices_include_tax": True})

    assert (str(price.total), str(price.net), str(price.tax[0].tax)) == ("240.00", "200.00", "40.00")


def test_a_unit_price_whose_tax_takes_it_a_coin_under_the_floor_goes_a_step_further(base: RateCard, job: Job) -> None:
    """150 / 0.95 = 157.8947. One piece at 189.47 with 20 % leaves 157.89, which is under it; 189.48 leaves 157.90."""
    rules = {"least_margin": Share("5 %"), "rounding": Rounding(Amount("0.01"), "up", "unit price")}
    price = priced(base, job, rules, {"rate": Share("20 %"), "prices_include_tax": True}, pieces=1)

    assert (str(price.total), str(price.net)) == ("189.48", "157.90")


def test_a_unit_price_with_its_tax_goes_down_to_the_nearest_step_where_the_floor_lets_it(
    base: RateCard, job: Job
) -> None:
    """200 at a cost of 150: 2.40 each with 20 %, to the nearest 1.00 is 2.00, whose 166.67 is over the cost."""
    rules = {**MARK_UPS, "rounding": Rounding(Amount("1"), "nearest", "unit price")}
    price = priced(base, job, rules, {"rate": Share("20 %"), "prices_include_tax": True})

    assert (str(price.total), str(price.net)) == ("200.00", "166.67")


@pytest.mark.parametrize(
    ("step", "goods", "total", "net"), [("0.01", "240.00", "255.84", "213.20"), ("5", "244.16", "260.00", "216.67")]
)
def test_where_prices_have_the_tax_in_them_delivery_has_it_too(
    step: str, goods: str, total: str, net: str, base: RateCard, job: Job
) -> None:
    """12 of delivery at 10 % is 13.20, 15.84 with 20 % tax; the total goes up to the step: the goods bear that."""
    rules = {**MARK_UPS, "rounding": Rounding(Amount(step), "up", "total")}
    taxed = {"rate": Share("20 %"), "prices_include_tax": True}
    price = priced(base, job, rules, taxed, delivery="12.00")

    found = [str(one) for one in (price.delivery, price.items[0].price, price.total, price.net)]
    assert found == ["15.84", goods, total, net]


def test_a_fee_on_goods_of_several_taxes_is_of_what_the_client_pays(base: RateCard, job: Job) -> None:
    """
    120 + 50 of goods and 9.60 + 4 of delivery: 183.60 x 0.05 = 9.18.

    What is added bears 20 % on two thirds of it: 9.18 / (1 - 0.05 x 1.1333) = 9.73, which is 6.49 and 3.24; so 194.63
    is paid, and 5 % of that is 9.73 again.
    """
    price = two_items(replace(base, pricing=replace(base.pricing, **FEE)), job, {}, None, "books")

    assert amounts(price)["Commission and payment fee"] == "9.73"
    assert (str(price.payment_fee), str(price.total)) == ("9.73", "194.63")
    assert [str(item.price) for item in price.items] == ["106.49", "53.24"]


@pytest.mark.parametrize(
    ("share", "paid_before", "deposit"),
    [("50 %", "0", "75.00"), ("50 %", "80", "80"), ("50 %", "500", "150.00"), ("0 %", "80", "0")],
)
def test_a_deposit_covers_what_is_paid_before_printing_and_is_no_more_than_the_total(
    share: str, paid_before: str, deposit: str, base: RateCard, job: Job
) -> None:
    """Half of 150 is 75; 80 for plates and paper if they cost that; none at all where the shop asks for none."""
    price = with_deposit(priced(base, job, {"deposit": Share(share)}), Decimal(paid_before))

    assert price.deposit == Decimal(deposit)
    assert price.deposit + price.balance == price.total


def test_a_unit_price_with_its_tax_goes_up_where_the_card_says_so(base: RateCard, job: Job) -> None:
    """2.40 each, up to the next 1.00: 300, of which 250 is net."""
    rules = {**MARK_UPS, "rounding": Rounding(Amount("1"), "up", "unit price")}
    price = priced(base, job, rules, {"rate": Share("20 %"), "prices_include_tax": True})

    assert (str(price.total), str(price.net)) == ("300.00", "250.00")


def test_a_unit_price_that_is_at_its_step_is_not_rounded(base: RateCard, job: Job) -> None:
    """150 for 100 is 1.50 each."""
    price = priced(base, job, {"rounding": Rounding(Amount("0.05"), "nearest", "unit price")})

    assert amounts(price) == {"Cost": "150.00"}


def test_a_dear_unit_price_with_its_tax_goes_up_by_its_step_for_each_piece(base: RateCard, job: Job) -> None:
    """150 / 0.95 = 157.8947, two pieces: 94.73 each with 20 % are 189.46, 157.88; one coin more of each, 157.90."""
    rules = {"least_margin": Share("5 %"), "rounding": Rounding(Amount("0.01"), "nearest", "unit price")}
    price = priced(base, job, rules, {"rate": Share("20 %"), "prices_include_tax": True}, pieces=2)

    assert (str(price.total), str(price.net)) == ("189.48", "157.90")


def test_delivery_counts_for_the_floor_of_unit_prices(base: RateCard, job: Job) -> None:
    """Floor 162 / 0.9 = 180: to the nearest 0.60, 200 of goods are 180, and with 13.20 of delivery over it."""
    rules = {**MARK_UPS, "least_margin": Share("10 %"), "rounding": Rounding(Amount("0.60"), "nearest", "unit price")}

    assert str(priced(base, job, rules, delivery="12.00").net) == "193.20"


def test_a_total_whose_nearest_step_is_under_the_floor_goes_up(base: RateCard, job: Job) -> None:
    """150 / 0.81 = 185.19: to the nearest 5 it would be 185."""
    rules = {"least_margin": Share("19 %"), "rounding": Rounding(Amount("5"), "nearest", "total")}

    assert str(priced(base, job, rules).net) == "190.00"


def test_rounding_then_tax(base: RateCard, job: Job) -> None:
    """152 up to 155, 20 % of it 31.00. Taxed first 182.40 would be rounded to 185."""
    rules = {"rounding": Rounding(Amount("5"), "up", "total")}
    price = priced(base, job, rules, {"rate": Share("20 %")}, materials="52.00")

    assert (str(price.net), str(price.total)) == ("155.00", "186.00")


def test_where_prices_have_the_tax_in_them_the_total_is_rounded_with_it(base: RateCard, job: Job) -> None:
    """152 x 1.2 = 182.40 up to 185; 185 x 0.2 / 1.2 = 30.83 of it is tax."""
    rules = {"rounding": Rounding(Amount("5"), "up", "total")}
    taxed = {"rate": Share("20 %"), "prices_include_tax": True}
    price = priced(base, job, rules, taxed, materials="52.00")

    assert (str(price.total), str(price.tax[0].tax), str(price.net)) == ("185.00", "30.83", "154.17")


def test_tax_then_deposit(base: RateCard, job: Job) -> None:
    """150 with 20 % is 180; half of it 90. Before tax it would be 75."""
    price = priced(base, job, {"deposit": Share("50 %")}, {"rate": Share("20 %")})

    assert (str(price.deposit), str(price.balance)) == ("90.00", "90.00")


UP_TO_5 = {"rounding": Rounding(Amount("5"), "up", "total")}
FEE = {"payment_fee_share": Share("5 %")}
TRADE, RUSHED = {"discount": "trade"}, {"rush": True}


@pytest.mark.parametrize(
    ("asked", "pricing", "expected", "other_way"),
    [
        pytest.param({}, {**MARK_UPS, "least_charge": Amount("180")}, "200.00", "230.00", id="mark-up, least charge"),
        pytest.param(RUSHED, {**MARK_UPS, "rush": Share("25 %")}, "235.00", "225.00", id="mark-up, rush"),
        pytest.param({}, {**MARK_UPS, "least_margin": Share("20 %")}, "200.00", "237.50", id="mark-up, floor"),
        pytest.param({}, {**MARK_UPS, **FEE}, "210.53", "207.89", id="mark-up, fee: 200 / 0.95 or 150 / 0.95 + 50"),
        pytest.param(
            RUSHED,
            {"rush": Share("25 %"), "least_margin": Share("20 %")},
            "187.50",
            "212.50",
            id="rush, floor: 150 + 25 is under 187.50; or 187.50 + 25",
        ),
        pytest.param(
            TRADE, {**MARK_UPS, **FEE}, "195.79", "196.53", id="discount, fee: 186 / 0.95 or 200 / 0.95 - 14"
        ),
        pytest.param(
            RUSHED,
            {**MARK_UPS, **FEE, "rush": Share("25 %")},
            "247.37",
            "245.53",
            id="rush, fee: 235 / 0.95 or 200 / 0.95 + 35",
        ),
        pytest.param(
            {}, {**FEE, "least_charge": Amount("160")}, "168.42", "160.00", id="least charge, fee: 160 / 0.95 or 160"
        ),
        pytest.param({}, {**UP_TO_5, "least_charge": Amount("162")}, "165.00", "162.00", id="least charge, rounding"),
        pytest.param(
            TRADE, {**MARK_UPS, **UP_TO_5}, "190.00", "186.00", id="discount, rounding: 186 up, or 200 - 14"
        ),
        pytest.param(
            RUSHED,
            {**MARK_UPS, **UP_TO_5, "rush": Share("10 %")},
            "215.00",
            "214.00",
            id="rush, rounding: 214 up, or 200 + 14",
        ),
    ],
)
def test_of_two_rules_the_first_acts_first(
    asked: dict[str, Any],
    pricing: dict[str, Any],
    expected: str,
    other_way: str,
    base: RateCard,
    job: Job,
) -> None:
    """Each worked with a pencil both ways round: cost 150 (labour 100), 200 (labour 140) marked up."""
    price = priced(base, replace(job, **asked), pricing)

    assert str(price.net) == expected != other_way
    assert sum(rule.amount for rule in price.rules) == price.net


def test_least_charge_an_item_then_of_the_job(base: RateCard, job: Job) -> None:
    """100 and 50: the second up to 80 is 30, then 180 up to 190 is 10. The job first: 126.67 + 80 = 206.67."""
    least = {"least_charge_item": Amount("80"), "least_charge": Amount("190")}
    price = two_items(replace(base, pricing=replace(base.pricing, **least)), job, {}, None, None)

    assert [amounts(price)[name] for name in ("Least charge an item", "Least charge")] == ["30.00", "10.00"]
    assert str(price.net) == "202.00"


def test_rounding_then_deposit(base: RateCard, job: Job) -> None:
    """152 up to 155, half of it 77.50. Before rounding it would be 76."""
    price = priced(base, job, {**UP_TO_5, "deposit": Share("50 %")}, materials="52.00")

    assert str(price.deposit) == "77.50"


def test_a_fee_is_of_the_price_with_its_tax(base: RateCard, job: Job) -> None:
    """150 / (1 - 0.05 x 1.2) = 159.57, and 5 % of 191.48 is 9.57. Of the price before tax: 157.89."""
    price = priced(base, job, FEE, {"rate": Share("20 %")})

    assert (str(price.net), str(price.total), str(price.payment_fee)) == ("159.57", "191.48", "9.57")


def test_an_hour_at_a_press_earns_what_it_should(base: RateCard, job: Job) -> None:
    """90 min at 120 an hour is 180 to earn; 180 - 100 labour = 80 put on; 50 passed on at cost: 230."""
    rules = {"mark_ups": None, "hour_target": Amount("120")}
    price = priced(base, job, rules, minutes="90")

    assert amounts(price) == {"Cost": "150.00", "Hour to be earned": "80.00"}
    assert (price.net - Decimal(50)) / Decimal("1.5") == Decimal(120)


def test_where_an_hour_is_to_be_earned_nothing_is_put_on_line_by_line(base: RateCard) -> None:
    """The target is a rule of its own: put on the lines as well, an hour would earn it twice."""
    card = replace(base, pricing=replace(base.pricing, mark_ups=None, hour_target=Amount("120")))
    kinds: tuple[CostClass, ...] = ("labour", "materials", "bought-in")

    assert [rise_on(card, kind) for kind in kinds] == [0, 0, 0]


def test_what_is_bought_in_does_not_count_as_labour_that_earns_the_hour(base: RateCard, job: Job) -> None:
    """180 to earn, 100 of labour: 80, whatever a die costs."""
    card = replace(base, pricing=replace(base.pricing, mark_ups=None, hour_target=Amount("120")))
    lines = [line(card, "100.00", "labour", minutes="90"), line(card, "30.00", "bought-in")]

    assert amounts(price_option(lines, job, card, [100]))["Hour to be earned"] == "80.00"


def test_an_hour_target_that_labour_costs_more_than_adds_nothing(base: RateCard, job: Job) -> None:
    price = priced(base, job, {"mark_ups": None, "hour_target": Amount("10")})

    assert amounts(price) == {"Cost": "150.00"}


def test_hour_target_then_discount(base: RateCard, job: Job) -> None:
    """Own work stands at 180; 10 % off it is 18.00. Before the target it would be 10.00."""
    rules = {"mark_ups": None, "hour_target": Amount("120")}
    price = priced(base, replace(job, discount="trade"), rules, minutes="90")

    assert amounts(price)["Discount: trade"] == "-18.00"


@pytest.mark.parametrize(
    ("days", "expected"), [(1, "60.00"), (2, "60.00"), (3, "40.00"), (5, "40.00"), (6, "25.00"), (None, "25.00")]
)
def test_rush_by_the_days_that_are_left(days: int | None, expected: str, base: RateCard, job: Job) -> None:
    """60 % with 2 days left, 40 % with 5, else 25 %: of 100."""
    bands = (RushBand(2, Rise("60 %")), RushBand(5, Rise("40 %")))
    price = priced(base, replace(job, rush=True), {"rush": Share("25 %"), "rush_by_days": bands}, days_left=days)

    assert amounts(price)["Rush"] == expected


def test_working_days_left_are_counted_over_closed_days(base: RateCard) -> None:
    """Wednesday 23 December 2026 to Tuesday 29: 24 and 29; Christmas, the week-end and the 28th are closed."""
    assert working_days_until(datetime.date(2026, 12, 29), datetime.date(2026, 12, 23), base) == 2
    assert working_days_until(datetime.date(2026, 12, 1), datetime.date(2026, 12, 23), base) == 0


def test_a_rush_by_days_is_priced_from_the_day_it_is_needed_by(
    cards: dict[str, RateCard], jobs: dict[tuple[str, str], Job]
) -> None:
    card = cards["marrowby-lane"]
    bands = (RushBand(5, Rise("100 %")),)
    dear = replace(card, pricing=replace(card.pricing, rush_by_days=bands))
    rushed = replace(jobs["marrowby-lane", "coasters"], rush=True)

    near, far = (
        estimate_job(replace(rushed, needed_by=DAY + datetime.timedelta(days=days)), dear, on=DAY).options[0].price
        for days in (3, 60)
    )

    assert Decimal(amounts(near)["Rush"]) > 3 * Decimal(amounts(far)["Rush"])


def test_the_owner_may_go_under_the_floor_by_name_and_it_is_recorded(base: RateCard, job: Job) -> None:
    rules = {"least_margin": Share("20 %")}
    waived = replace(job, under_floor=UnderFloor(by="owner", because="a first order"))

    price = priced(base, waived, rules)

    told = [rule for rule in price.rules if rule.rule == "Floor waived"]
    assert price.net == Decimal("150.00")
    assert [rule.amount for rule in told] == [Decimal("0.00")]
    assert "Odile Farrant: a first order; the floor is 187.5" in told[0].sentence


def test_only_a_name_of_the_cards_people_waives_the_floor(
    cards: dict[str, RateCard], jobs: dict[tuple[str, str], Job]
) -> None:
    stranger = replace(jobs["marrowby-lane", "coasters"], under_floor=UnderFloor(by="a friend", because="kind"))

    with pytest.raises(NotOfferedError) as refused:
        estimate_job(stranger, cards["marrowby-lane"], on=DAY)

    assert refused.value.faults[0].where == "under_floor.by"


KINDS = {
    "books": TaxKind(category="zero"),
    "charity": TaxKind(category="exempt", reason="Exempt: supplied to an eligible body"),
    "abroad": TaxKind(category="reverse charge", reason="Reverse charge: the client accounts for the tax"),
    "reduced": TaxKind(category="standard", rate=Share("5 %")),
}


def two_items(
    base: RateCard,
    job: Job,
    tax: dict[str, Any],
    *kinds: str | None,
    whole: str | None = None,
    materials: str = "50.00",
) -> Price:
    """Goods of 100 and 50 with 12 of delivery, each item with its own kind of tax."""
    card = replace(base, tax=replace(base.tax, rate=Share("20 %"), kinds=KINDS, **tax))
    item: Item = job.items[0]
    both = replace(
        job, items=tuple(replace(item, name=str(place), tax=kind) for place, kind in enumerate(kinds)), tax=whole
    )
    sent = line(card, "12.00", "bought-in", is_delivery=True)
    lines = [
        line(card, "100.00", "labour"),
        line(card, materials, "materials", item=1),
        replace(sent, item=None, cost_shares=(sent.cost, Decimal(0)), price_shares=(sent.price, Decimal(0))),
    ]
    return price_option(lines, both, card, [100, 100])


def test_several_taxes_in_one_quotation_and_delivery_follows_the_goods_by_value(base: RateCard, job: Job) -> None:
    """12 of delivery by 100 : 50 is 8 and 4. 20 % of 108 is 21.60; nothing on 54."""
    price = two_items(base, job, {}, None, "books")

    assert [(one.category, str(one.base), str(one.tax)) for one in price.tax] == [
        ("standard", "108.00", "21.60"),
        ("zero", "54.00", "0.00"),
    ]
    assert str(price.total) == "183.60"


def test_delivery_may_have_its_own_rate(base: RateCard, job: Job) -> None:
    price = two_items(base, job, {"delivery": "own rate", "delivery_rate": Share("5 %")}, None, "books")

    assert [(one.rate, str(one.base), str(one.tax)) for one in price.tax] == [
        (Decimal("0.20"), "100.00", "20.00"),
        (Decimal("0.05"), "12.00", "0.60"),
        (Decimal(0), "50.00", "0.00"),
    ]


@pytest.mark.parametrize(("kind", "code"), [("charity", "E"), ("abroad", "AE"), ("books", "Z")])
def test_a_whole_quotation_may_be_exempt_or_of_reverse_charge(kind: str, code: str, base: RateCard, job: Job) -> None:
    price = two_items(base, job, {}, None, None, whole=kind)

    assert [(one.code, str(one.tax), one.reason) for one in price.tax] == [(code, "0.00", KINDS[kind].reason)]
    assert price.total == price.net


def test_an_items_tax_goes_before_the_jobs(base: RateCard, job: Job) -> None:
    assert {one.rate for one in two_items(base, job, {}, "reduced", None, whole="books").tax} == {
        Decimal("0.05"),
        Decimal(0),
    }


def test_a_tax_that_the_card_does_not_know_is_refused(
    cards: dict[str, RateCard], jobs: dict[tuple[str, str], Job]
) -> None:
    with pytest.raises(JobError) as refused:
        estimate_job(replace(jobs["marrowby-lane", "coasters"], tax="window"), cards["marrowby-lane"], on=DAY)

    assert refused.value.faults[0].where == "tax"


@pytest.mark.parametrize(
    "told",
    [
        {"hour_target": "80"},
        {"mark_ups": None},
        {"mark_ups": None, "hour_target": "80", "target_margin": "30 %"},
        {"rush_by_days": [{"days_left": 5, "rise": "40 %"}, {"days_left": 2, "rise": "60 %"}]},
    ],
)
def test_pricing_that_contradicts_itself_is_refused(told: dict[str, Any]) -> None:
    from quoting.reader import json_data, to_json

    with pytest.raises(InputError):
        convert({**json_data(to_json(PLAIN)), **told}, Pricing)


rules_of_a_card = st.fixed_dictionaries(
    {
        "least_charge": st.integers(0, 400).map(lambda pounds: Amount(str(pounds))),
        "least_margin": st.integers(0, 50).map(lambda share: Share(f"{share} %")),
        "payment_fee_share": st.integers(0, 8).map(lambda share: Share(f"{share} %")),
        "commission": st.integers(0, 10).map(lambda share: Share(f"{share} %")),
        "deposit": st.integers(0, 100).map(lambda share: Share(f"{share} %")),
        "rounding": st.builds(
            Rounding,
            st.sampled_from([Amount("0.01"), Amount("0.05"), Amount("0.50"), Amount("5")]),
            st.sampled_from(["nearest", "up"]),
            st.sampled_from(["total", "unit price"]),
        ),
    }
)
pounds = st.integers(1, 100_000).map(lambda pence: f"{Decimal(pence) / 100:.2f}")


@settings(max_examples=300)
@given(rules=rules_of_a_card, labour=pounds, materials=pounds, included=st.booleans(), discounted=st.booleans())
def test_the_lines_add_up_and_the_price_is_never_under_the_floor(
    rules: dict[str, Any],
    labour: str,
    materials: str,
    included: bool,
    discounted: bool,
    base: RateCard,
    job: Job,
) -> None:
    asked = replace(job, discount="trade" if discounted else None)
    price = priced(
        base,
        asked,
        rules,
        {"rate": Share("20 %"), "prices_include_tax": included},
        labour=labour,
        materials=materials,
        delivery="9.99",
    )

    assert sum(rule.amount for rule in price.rules) == price.net
    printed = sum(item.price for item in price.items) + price.delivery
    assert printed == (price.total if included else price.net)
    assert price.net * (1 - rules["least_margin"]) >= price.cost - Decimal("0.005")
    assert price.deposit + price.balance == price.total


@settings(max_examples=400)
@given(
    least=st.integers(0, 50),
    step=st.sampled_from([Amount("0.01"), Amount("0.05")]),
    of=st.sampled_from(["total", "unit price"]),
    rate=st.sampled_from([Share("20 %"), Share("5 %"), Share("7.7 %")]),
    labour=pounds,
    materials=pounds,
    sent=st.integers(1, 3000).map(lambda pence: f"{Decimal(pence) / 100:.2f}"),
)
def test_a_price_with_tax_in_it_is_not_a_coin_under_the_floor_once_the_tax_is_out(
    least: int,
    step: Amount,
    of: Any,
    rate: Share,
    labour: str,
    materials: str,
    sent: str,
    base: RateCard,
    job: Job,
) -> None:
    """Goods and delivery bear one tax together: backed out of each alone, a coin was lost now and then."""
    rules = {"least_margin": Share(f"{least} %"), "rounding": Rounding(step, "nearest", of)}
    taxed = {"rate": rate, "prices_include_tax": True}
    price = priced(base, job, rules, taxed, labour=labour, materials=materials, delivery=sent)

    assert price.net >= round_amount(price.cost / (1 - Decimal(least) / 100), "GBP")


@settings(max_examples=300)
@given(
    labour=pounds,
    materials=pounds,
    sent=st.integers(0, 3000),
    kinds=st.tuples(*[st.sampled_from([None, *KINDS])] * 2),
    rate=st.integers(0, 250),
    included=st.booleans(),
    own_rate=st.booleans(),
)
def test_every_priced_option_holds_the_sums_of_en_16931(
    labour: str,
    materials: str,
    sent: int,
    kinds: tuple[str | None, str | None],
    rate: int,
    included: bool,
    own_rate: bool,
    base: RateCard,
    job: Job,
) -> None:
    """BR-CO-13 to BR-CO-17 and BR-S-08 of EN 16931-1:2017 (A), with Fractions, on what is printed."""
    tax = {
        "rate": Share(f"{Decimal(rate) / 10} %"),
        "prices_include_tax": included,
        "kinds": KINDS,
        "delivery_rate": Share("5 %") if own_rate else None,
        "delivery": "own rate" if own_rate else "with the goods",
    }
    card = replace(base, tax=replace(base.tax, **tax))
    both = replace(
        job, items=tuple(replace(job.items[0], name=str(place), tax=kind) for place, kind in enumerate(kinds))
    )
    delivery = line(card, f"{Decimal(sent) / 100:.2f}", "bought-in", is_delivery=True)
    lines = [
        line(card, labour, "labour"),
        line(card, materials, "materials", item=1),
        replace(
            delivery, item=None, cost_shares=(delivery.cost, Decimal(0)), price_shares=(delivery.price, Decimal(0))
        ),
    ]

    price = price_option(lines, both, card, [100, 100])

    assert price.net == sum(one.base for one in price.tax)
    for one in price.tax:
        exact = Fraction(one.base) * Fraction(one.rate) * 100
        assert one.tax * 100 == int(exact + Fraction(1, 2))
    printed = sum(item.price for item in price.items) + price.delivery
    assert price.net + sum(one.tax for one in price.tax) + price.rounding == price.total
    if included:
        assert price.total == printed
        assert abs(price.rounding) <= Decimal("0.01") * len(price.tax)
    else:
        assert price.net == printed
        assert not price.rounding


@settings(max_examples=200)
@given(margin=st.integers(0, 80), labour=pounds, materials=pounds)
def test_the_margin_asked_is_the_margin_got_to_the_rounding(
    margin: int, labour: str, materials: str, base: RateCard, job: Job
) -> None:
    rules = {"mark_ups": None, "target_margin": Share(f"{margin} %")}
    price = priced(base, job, rules, labour=labour, materials=materials)

    assert abs(price.net * (1 - Decimal(margin) / 100) - price.cost) <= Decimal("0.01")


@pytest.mark.parametrize("shop", SHOPS)
def test_a_clients_quotation_of_several_taxes_holds_them_all(
    shop: str, cards: dict[str, RateCard], jobs: dict[tuple[str, str], Job]
) -> None:
    card = replace(cards[shop], tax=replace(cards[shop].tax, kinds={"books": TaxKind(category="zero")}))
    suite = jobs[shop, "invitation"]
    mixed = replace(suite, items=(replace(suite.items[0], tax="books"), *suite.items[1:]))

    estimate = estimate_job(mixed, card, on=DAY)
    quoted = quotation_for(estimate, card).options[0]

    assert sum(one.base for one in quoted.taxes) == quoted.net
    assert quoted.net + sum(one.tax for one in quoted.taxes) == quoted.total
    assert len(quoted.taxes) >= 2


@pytest.mark.parametrize(("currency", "places"), [("JPY", 0), ("EUR", 2), ("KWD", 3)])
def test_every_amount_of_a_price_has_the_places_of_its_currency(
    currency: str, places: int, base: RateCard, job: Job
) -> None:
    """ISO 4217 (A): JPY 0, EUR 2, KWD 3, in the JSON too."""
    card = replace(base, region=replace(base.region, currency=currency))
    rules = {
        "deposit": Share("33 %"),
        "rounding": Rounding(Amount("5"), "up", "total"),
        "least_margin": Share("13 %"),
    }
    price = priced(card, job, rules, {"rate": Share("21 %")}, labour="1234", materials="567", delivery="12")

    shown = [
        price.net,
        price.total,
        price.deposit,
        price.balance,
        price.cost,
        price.delivery,
        *(line.tax for line in price.tax),
    ]
    assert {-int(amount.as_tuple().exponent) for amount in shown} == {places}
