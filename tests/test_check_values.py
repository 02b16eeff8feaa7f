"""
Published figures against our functions: the source and its standing stand beside each.

A standard or public authority, B trade textbook or handbook, C trade web page, D practitioners'
forum. 'Derived' is arithmetic on the source's figures. C and D test arithmetic; they are no
standards. Sheets into pieces are checked in ``tests/cutting``.
"""

from __future__ import annotations

import datetime
from decimal import Decimal
from typing import Any

import pytest
from msgspec.structs import replace

from quoting import Job, RateCard, estimate_job, quotation_for, read_job
from quoting.bench.composing import all_in_minutes, text_minutes
from quoting.bench.inking import film_weight, ink_grams
from quoting.bench.packing import weight_grams
from quoting.bench.running import net_speed, running_minutes
from quoting.buying import SHEETS_A_REAM, sheets_cost
from quoting.costing import labour_cost
from quoting.estimate import Option
from quoting.job import HandSet, TextBlock
from quoting.line_items import marked_up, rise_on
from quoting.money import minor_units, round_amount, smallest_coin
from quoting.numbers import whole_down, whole_up
from quoting.operations.finishing import bought_in_charge
from quoting.planning.counting import least_sheets, sheets_of, sheets_taken, step_in, trip_in
from quoting.pricing import with_deposit
from quoting.shop import Fount
from quoting.tax import TaxedAmount, TaxLine, tax_lines
from quoting.units import (
    BASIC_SIZES_IN,
    GRAMS_PER_POUND,
    TYPE_HEIGHT_MM,
    Area,
    Force,
    Grammage,
    Length,
    Mass,
    Pressure,
    Share,
    Size,
    Speed,
)
from quoting.wording import measure_type
from tests.conftest import DAY, SHOPS

ZERO, ONE = Decimal(0), Decimal(1)


def to_places(amount: Decimal, places: int) -> Decimal:
    return amount.quantize(ONE.scaleb(-places))


def pounds(grams: Decimal) -> Decimal:
    return grams / GRAMS_PER_POUND


# Paper


# Derived from the exact pound and inch; four of them printed in PrintWiki, 'Grammage' (B).
@pytest.mark.parametrize(
    ("paper", "factor"),
    [
        ("bond", "3.7597"),
        ("book", "1.4801"),
        ("text", "1.4801"),
        ("cover", "2.7041"),
        ("index", "1.8080"),
        ("bristol", "2.1928"),
        ("tag", "1.6275"),
    ],
)
def test_a_pound_of_basis_weight_is_its_factor_in_grams_a_square_metre(paper: str, factor: str) -> None:
    assert Decimal(factor) == to_places(Grammage(f"1 lb {paper}").in_base_unit, 4)


# PrintWiki, 'Grammage' (B): printed factors.
@pytest.mark.parametrize(("paper", "factor"), [("bond", "3.760"), ("book", "1.480"), ("cover", "2.704")])
def test_the_printed_factors_are_ours_to_three_places(paper: str, factor: str) -> None:
    assert Decimal(factor) == to_places(Grammage(f"1 lb {paper}").in_base_unit, 3)


# PrintWiki, 'Grammage' (B); the other two: Times Printers, paper size conversion factors (C).
@pytest.mark.parametrize(("weight", "gsm"), [("20 lb bond", "75.2"), ("50 lb cover", "135"), ("50 lb text", "74")])
def test_a_basis_weight_in_grams_a_square_metre(weight: str, gsm: str) -> None:
    expected = Decimal(gsm)

    assert expected == Grammage(weight).in_base_unit.quantize(expected)


# Robert Paper, 'Paper Math' (C).
@pytest.mark.parametrize(("sheets", "mass"), [(1_000, 120), (10_000, 1_200), (123_456, 14_815)])
def test_sheets_of_a_60_lb_paper_weigh(sheets: int, mass: int) -> None:
    grams = weight_grams(
        pieces=sheets, area_mm2=Size("25 x 38 in").area_mm2, grammage=Grammage("60 lb book").in_base_unit
    )

    assert mass == to_places(pounds(grams), 0)


# Robert Paper, 'Paper Math' (C): 2,000 lb of it, floored.
def test_a_ton_of_a_60_lb_paper_is_so_many_whole_sheets() -> None:
    sheet = weight_grams(pieces=1, area_mm2=Size("25 x 38 in").area_mm2, grammage=Grammage("60 lb book").in_base_unit)

    assert whole_down(Mass("2000 lb") / sheet) == 16_666


# W. B. Wheelwright, From Paper-mill to Pressroom, 1920, ch. VIII (B): four sheets of 50 lb book bulk .011 in.
def test_four_sheets_bulk_as_their_basis_weights() -> None:
    ratio = Grammage("60 lb book") / Grammage("50 lb book")

    assert Length("0.0132 in").in_base_unit == to_places(Length("0.011 in") * ratio, 7)


# E. A. Dawe, Paper and Its Uses, 1914, p. 148 (B): 6,500 copies, 400 pages, 32 pages a sheet.
def test_the_reams_of_a_book() -> None:
    sheets = sheets_of(pieces=6_500 * 400, number_up=32)

    assert Decimal("162.5") == Decimal(sheets) / SHEETS_A_REAM


# Arithmetic: two web pages print 686.
def test_the_basic_area_of_bristol_is_641_and_a_quarter_square_inches() -> None:
    wide, high = BASIC_SIZES_IN["bristol"]

    assert Decimal("641.25") == wide * high
    assert Decimal("641.25") == Size("22.5 x 28.5 in").area_mm2 / Area("1 sq in")


# Type and copy


# A. A. Stewart, Typesetting, UTA series II/16, 1919 (B).
@pytest.mark.parametrize(
    ("points", "inches"), [("1 pt", ".013837"), ("12 pt", ".166044"), ("1 pica", ".166044"), ("72 pt", ".996264")]
)
def test_american_points_in_inches(points: str, inches: str) -> None:
    assert Length(f"0{inches} in").in_base_unit == Length(points).in_base_unit


# A. A. Stewart, Type, UTA series I/1, 1918 (B).
@pytest.mark.parametrize("shop", SHOPS)
def test_height_to_paper_is_918_thousandths_of_an_inch(shop: str, cards: dict[str, RateCard]) -> None:
    heights = {fount.height_mm for fount in cards[shop].founts.values() if fount.height is None}

    assert {Length("0.918 in").in_base_unit} == heights | {TYPE_HEIGHT_MM}


# Derived: 3.5 / .166044.
def test_three_and_a_half_inches_in_picas() -> None:
    assert Decimal("21.08") == to_places(Length("3 1/2 in") / Length("1 pica"), 2)


def text_face(body: str, name: str = "face") -> dict[str, Fount]:
    fount = Fount(
        name=name,
        material="metal",
        body=Length(body),
        average_set=Share("50 %"),
        share_inked=Share("17 %"),
        ems_an_hour=Speed("600 an hour"),
    )
    return {name: fount}


# B. Drew, Pens and Types, 1889, p. 21 (B): 20 ems x 50 lines is 1,000 ems. Practitioners' forum (D):
# unleaded roman text prints about 17 % of its body area.
def test_a_thousand_ems_fill_20_ems_by_50_lines_and_print_17_per_cent_of_them() -> None:
    form = HandSet(text=TextBlock(fount="face", ems=1_000), size=Size("240 x 600 pt"))

    assert Decimal("0.17") == measure_type(form, text_face("12 pt")).share_inked


# Derived from the same forum's figure (D): 10 on 12 point.
def test_the_same_text_leaded_two_points_prints_14_per_cent() -> None:
    form = HandSet(text=TextBlock(fount="face", ems=1_000), size=Size("200 x 600 pt"))

    assert Decimal("0.14") == to_places(measure_type(form, text_face("10 pt")).share_inked, 2)


# B. Drew, 1889, pp. 21-22 (B): set, corrected and distributed.
@pytest.mark.parametrize(("ems", "ems_an_hour"), [(6_000, 600), (4_000, 400)])
def test_ems_that_are_a_fair_day_of_ten_hours(ems: int, ems_an_hour: int) -> None:
    text = text_minutes(ems=Decimal(ems), ems_an_hour=Decimal(ems_an_hour))
    minutes = all_in_minutes(display=ZERO, wood=ZERO, text=text, copies=1, correcting=ZERO, distributing=ZERO)

    assert minutes == 10 * 60


# Barnes, McCann & Duguid, 1887 (B): 1,700 ems an hour 'was wonderful'.
@pytest.mark.parametrize("shop", SHOPS)
def test_no_fount_of_a_demo_shop_is_set_at_a_wonderful_speed(shop: str, cards: dict[str, RateCard]) -> None:
    wonderful = cards[shop].composing.wonderful_ems_an_hour

    assert Decimal(1_700) == wonderful.in_base_unit
    assert [name for name, fount in cards[shop].founts.items() if fount.ems_an_hour > wonderful] == []


# The same: warn above it.
def test_a_speed_that_would_be_wonderful_is_warned_of(cards: dict[str, RateCard]) -> None:
    card = cards["pellam-hollow"]
    fast = replace(card.founts["roman-12"], ems_an_hour=Speed("1800 an hour"))
    form = {"kind": "hand-set", "text": {"fount": "roman-12", "ems": 400}, "size": "3 x 4 in", "share_inked": "12 %"}

    option = option_of(card_with_form(form), replace(card, founts={**card.founts, "roman-12": fast}))

    assert any("1700" in warning for warning in option.warnings)


# Spoilage


# T. MacKellar, The American Printer, 1893, p. 298 (B): pages a form = the format; each form for 1,000
# copies takes 22 quires (of 24 sheets: 500 half-sheet forms and 28 over, derived); 20 quires a ream.
def test_a_book_of_408_pages_in_twelves_takes_34_forms_and_37_reams_8_quires() -> None:
    forms = sheets_of(pieces=408, number_up=12)
    sheets = sheets_taken(run=sheets_of(pieces=1_000, number_up=2), set_up=28, least_extra=0)
    quires, over = divmod(forms * sheets, 24)

    assert (forms, over) == (34, 0)
    assert divmod(quires, 20) == (37, 8)


# MacKellar 1893, p. 295 (B): short runs up to 150 take six sheets over.
def test_a_short_run_takes_six_sheets_over() -> None:
    assert least_sheets(pieces=150, least_pieces=6, least_share=ZERO, number_up=1) == 156


# MacKellar 1893, p. 295 (B).
def test_750_labels_of_32_on_a_sheet_take_24_sheets_and_leave_18_over() -> None:
    sheets = sheets_of(pieces=750, number_up=32)

    assert (sheets, sheets * 32 - 750) == (24, 18)


# Printers' forum, from a college class (D): 3 % a pass, the score included, of the number wanted.
def test_500_wanted_of_two_colours_and_a_score_take_545() -> None:
    share = 3 * Share("3 %")

    assert least_sheets(pieces=500, least_pieces=0, least_share=share, number_up=1) == 545


# The same, derived: worked backwards step by step the share is of what goes in, and so a little more.
def test_counted_backwards_the_same_rates_never_ask_for_less() -> None:
    count = 500
    for _ in range(3):
        count = step_in(out=count, pieces_per_out=1, rate=Share("3 %").in_base_unit, set_up=0)

    assert 545 <= count <= 550


# MIT student letterpress shop, 2009 (D): the greater of 10 % or 50.
@pytest.mark.parametrize(("wanted", "over"), [(200, 50), (501, 51), (1_000, 100)])
def test_the_greater_of_ten_per_cent_or_fifty(wanted: int, over: int) -> None:
    sheets = least_sheets(pieces=wanted, least_pieces=50, least_share=Share("10 %").in_base_unit, number_up=1)

    assert over == sheets - wanted


# American Printer, 1 Jan 1996 (B): make-ready sheets do not depend on the length of the run, running waste does.
def test_the_share_spoiled_falls_as_the_run_grows() -> None:
    shares = []
    for wanted in (100, 1_000, 10_000, 100_000):
        run = trip_in(first=Decimal(wanted), first_rate=Share("2 %").in_base_unit, second=ZERO, second_rate=ZERO)
        shares.append(Decimal(sheets_taken(run=run, set_up=10, least_extra=0)) / wanted - 1)

    assert sorted(shares, reverse=True) == shares
    assert len(set(shares)) == len(shares)


# The same, of a whole estimate.
@pytest.mark.parametrize("shop", SHOPS)
def test_a_longer_run_is_set_up_with_the_same_sheets(
    shop: str, cards: dict[str, RateCard], jobs: dict[tuple[str, str], Job]
) -> None:
    counts = [
        option_of(replace(jobs[shop, "coasters"], quantities=(quantity,)), cards[shop]).parts[0].count
        for quantity in (500, 1_000, 5_000)
    ]
    shares = [Decimal(count.spoilage) / count.sheets_good for count in counts]

    assert len({count.fresh_set_up for count in counts}) == 1
    assert sorted(shares, reverse=True) == shares


# Presswork, ink, impression


# Graphic Design & Printing Technology, vocational textbook, p. 61 (B).
def test_run_make_ready_and_wash_up_of_an_hour_and_a_quarter_at_100_cost_125() -> None:
    run = running_minutes(usual=250, long=0, long_run_factor=ONE, speed=Decimal(1_000))
    minutes = run + 30 + 30

    assert (15, Decimal("1.25")) == (run, minutes / 60)
    assert labour_cost(minutes=minutes, rate=Decimal(100)) == 125


# Handbooks and forum: 500 to 1,500 an hour (B, D), on ordinary stock.
@pytest.mark.parametrize("shop", SHOPS)
def test_a_hand_fed_platen_prints_500_to_1500_an_hour(shop: str, cards: dict[str, RateCard]) -> None:
    speeds = [
        net_speed(
            speed=press.speeds["card"].in_base_unit,
            treadle=press.treadle_factor.in_base_unit,
            register=ONE,
            rolling=ONE,
            blank=ONE,
        )
        for press in cards[shop].presses.values()
        if press.kind == "hand-fed platen"
    ]

    assert 500 <= min(speeds) <= max(speeds) <= 1_500


# C. Babbage, Economy of Manufactures, 1832, par. 259 (B): by the 250 sheets, broken numbers as whole.
@pytest.mark.parametrize(("sheets", "shillings"), [(3_000, 70), (2_751, 70)])
def test_work_charged_by_the_250_sheets_at_5s_10d(sheets: int, shillings: int) -> None:
    pence = sheets_cost(sheets=whole_up(Decimal(sheets) / 250), price=Decimal(5 * 12 + 10))

    assert Decimal(shillings) * 12 == pence


# Practitioners' forum, litho (D): 93.5 sq in of solid, 100,000 impressions.
@pytest.mark.parametrize(("mass", "film"), [("30 lb", "2.26"), ("45 lb", "3.38")])
def test_a_mass_of_ink_is_a_film_on_paper_and_a_film_is_a_mass(mass: str, film: str) -> None:
    solid = {"pulls": 100_000, "area_mm2": Area("93.5 sq in").in_base_unit, "share_inked": ONE}

    assert Decimal(film) == to_places(Mass(mass) / ink_grams(**solid, film=ONE), 2)
    assert Decimal(mass.removesuffix(" lb")) == to_places(pounds(ink_grams(**solid, film=Decimal(film))), 0)


# The same (D): uncoated over coated.
def test_uncoated_paper_takes_half_as_much_ink_again() -> None:
    films = [
        film_weight(reference_film=Grammage("2.26 g/m2").in_base_unit, stock_factor=Decimal(factor), ink_factor=ONE)
        for factor in ("1", "1.5")
    ]

    assert [Decimal("2.26"), Decimal("3.39")] == films


# The same (D): the films of the demo cards are those of an uncoated paper.
@pytest.mark.parametrize("shop", SHOPS)
def test_the_reference_film_of_a_demo_card_is_the_forums(shop: str, cards: dict[str, RateCard]) -> None:
    assert Decimal("3.4") == to_places(cards[shop].inking.reference_film.in_base_unit, 1)


# Central Ink Co., Estimating Ink Requirements (C): mass goes as specific gravity, 2.40 against 1.20.
def test_an_ink_of_twice_the_gravity_weighs_twice() -> None:
    grams = [
        ink_grams(
            pulls=1_000,
            area_mm2=Area("10 sq in").in_base_unit,
            share_inked=Share("50 %").in_base_unit,
            film=film_weight(
                reference_film=Decimal("3.4"), stock_factor=ONE, ink_factor=Decimal(gravity) / Decimal("1.20")
            ),
        )
        for gravity in ("1.20", "2.40")
    ]

    assert grams[0] * 2 == grams[1]


# Practitioners' forum (D): 150 to 400 psi on the inked area.
@pytest.mark.parametrize("shop", SHOPS)
def test_pressures_of_a_demo_card_lie_where_practitioners_put_them(shop: str, cards: dict[str, RateCard]) -> None:
    pressures = [
        pressure for stock_class in cards[shop].stock_classes.values() for pressure in stock_class.pressure.values()
    ]

    assert Pressure("150 psi") <= min(pressures)
    assert max(pressures) <= Pressure("400 psi")


def card_with_form(form: dict[str, Any]) -> Job:
    """A 5 x 7 in card, fed as it comes, printed from one form."""
    colours = [{"ink": "black", "form": form}]
    return read_job(
        {
            "format": 1,
            "title": "A card",
            "client": {"name": "A client"},
            "quantities": [100],
            "items": [{"name": "Card", "stock": "card-a7", "size": "5 x 7 in", "front": {"colours": colours}}],
        }
    )


def plate(size: str, share_inked: str) -> dict[str, Any]:
    return {"kind": "plate", "supplier": "ridgeway", "size": size, "share_inked": share_inked}


def option_of(job: Job, card: RateCard) -> Option:
    return estimate_job(job, card, on=DAY).options[0]


def at_300_psi(card: RateCard) -> RateCard:
    """The demo card with 300 psi on card, and the 8 x 12 in press alone."""
    stock_class = replace(card.stock_classes["card"], pressure={"visible": Pressure("300 psi")})
    return replace(
        card,
        stock_classes={**card.stock_classes, "card": stock_class},
        presses={"platen-8x12": card.presses["platen-8x12"]},
    )


# Practitioners' forum (D): 10 sq in at 300 psi is 3,000 lbf, 13.3 kN.
def test_ten_square_inches_at_300_psi_ask_13_kilonewtons(cards: dict[str, RateCard]) -> None:
    option = option_of(card_with_form(plate("2 x 5 in", "100 %")), at_300_psi(cards["pellam-hollow"]))

    force = option.parts[0].plan.passes[0].force_n

    assert Decimal("13.3") == to_places(force / 1_000, 1)
    assert to_places(Force("3000 lbf").in_base_unit, 6) == to_places(force, 6)


# The same: only the inked share of a form is pressed.
def test_a_form_inked_by_half_asks_half_the_force(cards: dict[str, RateCard]) -> None:
    card = at_300_psi(cards["pellam-hollow"])
    forces = [
        option_of(card_with_form(plate("2 x 5 in", share)), card).parts[0].plan.passes[0].force_n
        for share in ("100 %", "50 %")
    ]

    assert forces[0] == 2 * forces[1]


# Practitioners' forum (D), derived: a third of an 8 x 12 in chase is 32 sq in. Of 31 nothing is said.
@pytest.mark.parametrize(("size", "is_large"), [("5 x 6.2 in", False), ("5 x 6.6 in", True)])
def test_a_form_over_a_third_of_the_chase_is_a_large_one(
    size: str, is_large: bool, cards: dict[str, RateCard]
) -> None:
    option = option_of(card_with_form(plate(size, "10 %")), at_300_psi(cards["pellam-hollow"]))

    assert [is_large] == [work.large_form for work in option.parts[0].plan.passes]


# The same: it is printed, and warned of.
@pytest.mark.parametrize(("size", "is_large"), [("5 x 6.2 in", False), ("5 x 6.6 in", True)])
def test_a_form_over_a_third_of_the_chase_is_warned_of(size: str, is_large: bool, cards: dict[str, RateCard]) -> None:
    option = option_of(card_with_form(plate(size, "10 %")), at_300_psi(cards["pellam-hollow"]))

    assert is_large == any("a large form" in warning for warning in option.warnings)


# The same, derived: two text forms of 5 x 7 in, 15 % inked, at 350 psi.
@pytest.mark.parametrize("shop", SHOPS)
def test_two_text_forms_are_well_within_the_force_of_every_platen(shop: str, cards: dict[str, RateCard]) -> None:
    force = 2 * Size("5 x 7 in").area_mm2 * Share("15 %") * Pressure("350 psi")
    platens = [press for press in cards[shop].presses.values() if press.kind != "flat bed, hand-inked"]

    assert force < min(press.greatest_force for press in platens)


# Cutting


# N. Gray, Paper-Cutting Machines, UTA series I/10, 1918 (B): a pile trimmed at once is about 3 in.
@pytest.mark.parametrize("shop", SHOPS)
def test_no_lift_of_a_demo_card_is_over_three_inches(shop: str, cards: dict[str, RateCard]) -> None:
    assert max(stock_class.lift for stock_class in cards[shop].stock_classes.values()) <= Length("3 in")


# Cost, price, documents


# R. C. Binkley, Methods of Reproducing Research Materials, 1931, pp. 3-4 (B): rounded at each step as printed.
def test_a_chain_of_mark_up_copy_and_retail_price_rounded_at_each_step() -> None:
    cost = marked_up(cost=Decimal(370), rise=Share("20 %").in_base_unit)
    copy = round_amount(cost / 900, "USD")

    assert Decimal(444) == cost
    assert Decimal("0.49") == copy
    assert Decimal("1.47") == round_amount(copy * 3, "USD")


# The same, derived: rounded only at the end.
def test_the_same_chain_rounded_only_at_the_end_is_a_cent_more() -> None:
    cost = marked_up(cost=Decimal(370), rise=Share("20 %").in_base_unit)

    assert Decimal("1.48") == round_amount(cost / 900 * 3, "USD")


# Estimate to a publisher, 29 Aug 1930, University of Reading MS 2750/96/8 (B): fixed 3 pounds 10s,
# run-on 30s a thousand. In shillings.
@pytest.mark.parametrize(("copies", "shillings"), [(500, 4 * 20 + 5), (1_000, 5 * 20)])
def test_two_quantities_of_one_job_are_a_fixed_charge_and_a_run_on(copies: int, shillings: int) -> None:
    charge = bought_in_charge(
        pieces=copies, price_a_hundred=Decimal(3), set_up_charge=Decimal(3 * 20 + 10), least_charge=ZERO
    )

    assert shillings == charge


# British cost-finding scheme, about 1913 (B): handling of material, at least 10 %.
@pytest.mark.parametrize("shop", SHOPS)
def test_a_demo_card_puts_a_tenth_at_least_on_materials(shop: str, cards: dict[str, RateCard]) -> None:
    assert Decimal("0.1") <= rise_on(cards[shop], "materials")


# Printing trade customs, 1922, revised 1985 (B): overs and unders 10 % up to 10,000.
@pytest.mark.parametrize("shop", SHOPS)
def test_a_quotation_by_the_trades_customs_names_ten_per_cent(
    shop: str, cards: dict[str, RateCard], jobs: dict[tuple[str, str], Job]
) -> None:
    job = replace(jobs[shop, "cards"], count="trade overs and unders", quantities=(500,))

    quotation = quotation_for(estimate_job(job, cards[shop], on=DAY), cards[shop])

    assert "Up to 10 % over or under may be delivered, and what is delivered is charged" in quotation.assumed


# Printing trade customs (B): a quotation holds for 30 or 60 days.
@pytest.mark.parametrize("shop", SHOPS)
def test_a_quotation_holds_for_30_or_60_days(
    shop: str, cards: dict[str, RateCard], jobs: dict[tuple[str, str], Job]
) -> None:
    quotation = quotation_for(estimate_job(jobs[shop, "cards"], cards[shop], on=DAY), cards[shop])

    assert quotation.valid_until - quotation.dated in {datetime.timedelta(days=30), datetime.timedelta(days=60)}


# Arithmetic; a deposit of 50 % stands in trade terms (C).
def test_a_deposit_of_half_of_801_79_and_its_balance(
    cards: dict[str, RateCard], jobs: dict[tuple[str, str], Job]
) -> None:
    card = cards["pellam-hollow"]
    total = Decimal("801.79")
    price = option_of(jobs["pellam-hollow", "cards"], card).price
    deposit = round_amount(total * card.pricing.deposit, "USD")

    price = with_deposit(replace(price, total=total, deposit=deposit), ZERO)

    assert (Decimal("400.90"), Decimal("400.89")) == (price.deposit, price.balance)


def taxed(rows: list[tuple[str, str]], *, included: bool = False) -> tuple[TaxLine, ...]:
    return tax_lines([TaxedAmount(Decimal(amount), Share(rate)) for amount, rate in rows], "EUR", included=included)


# EN 16931 (A), example 1.
def test_example_1_of_the_european_invoice() -> None:
    lines = taxed([("183.23", "6 %"), ("46.37", "21 %")])

    assert [Decimal("9.74"), Decimal("10.99")] == [line.tax for line in lines]
    assert Decimal("20.73") == sum(line.tax for line in lines)
    assert Decimal("229.60") == sum(line.base for line in lines)
    assert Decimal("250.33") == sum(line.base + line.tax for line in lines)


# EN 16931 (A), example 3.
def test_example_3_of_the_european_invoice() -> None:
    lines = taxed([("900", "25 %"), ("800", "10 %")])

    assert [Decimal("225.00"), Decimal("80.00")] == [line.tax for line in lines]
    assert Decimal("2005.00") == sum(line.base + line.tax for line in lines)


# EN 16931 (A), BR-S-08: the amounts of one rate are summed, taxed once and then rounded. Derived figures.
def test_tax_is_taken_once_on_the_sum_of_one_rate() -> None:
    (line,) = taxed([("0.12", "20 %")] * 3)

    assert (Decimal("0.36"), Decimal("0.07")) == (line.base, line.tax)


# The same, derived: backed out of prices that hold it, base and tax are the prices again.
def test_tax_backed_out_of_printed_prices_adds_up_to_them() -> None:
    lines = taxed([("100.00", "19 %"), ("0.01", "19 %"), ("33.33", "7 %")], included=True)

    assert [Decimal("100.01"), Decimal("33.33")] == [line.base + line.tax for line in lines]
    assert [Decimal("15.97"), Decimal("2.18")] == [line.tax for line in lines]


# ISO 4217 (A).
@pytest.mark.parametrize(("currency", "places", "coin"), [("JPY", 0, "1"), ("EUR", 2, "0.01"), ("KWD", 3, "0.001")])
def test_minor_units_of_currencies(currency: str, places: int, coin: str) -> None:
    assert places == minor_units(currency)
    assert Decimal(coin) == smallest_coin(currency)
    assert Decimal("1.234").quantize(Decimal(coin)) == round_amount(Decimal("1.234"), currency)
