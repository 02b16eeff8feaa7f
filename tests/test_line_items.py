"""Line items: one for each operation, person and machine, rounded once, shared over the items to the last coin."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from msgspec.structs import replace

from quoting import RateCard
from quoting.formulas import Plainly, Recording
from quoting.line_items import LineItem, line_items, rise_on
from quoting.requirements import Charge, CostClass, Draw, Labour, Requirement
from quoting.shop import MarkUps
from quoting.units import Amount, Mass, Rise, Share
from tests.conftest import SHOPS

MARKS = MarkUps(labour=Rise("40 %"), materials=Rise("20 %"), bought_in=Rise("10 %"))
KINDS: tuple[CostClass, ...] = ("labour", "materials", "bought-in")


@pytest.fixture(scope="module")
def base(cards: dict[str, RateCard]) -> RateCard:
    """A card on which input tax does nothing and mark-ups are 40, 20 and 10 %."""
    card = cards[SHOPS[0]]
    tax = replace(card.tax, standing="input tax reclaimed")
    return replace(card, tax=tax, pricing=replace(card.pricing, mark_ups=MARKS, target_margin=None, hour_target=None))


def labour(operation: str, minutes: str, *, item: int | None = 0, **told: Any) -> Labour:
    plain: dict[str, Any] = {"what": "", "driver": Decimal(1), "driver_unit": "sheets", "person": "owner"}
    return Labour(operation=operation, item=item, minutes=Decimal(minutes), **(plain | told))


def charge(cost: str, *, item: int | None = 0, **told: Any) -> Charge:
    plain: dict[str, Any] = {"operation": "Die", "what": "", "driver": Decimal(1), "driver_unit": "dies"}
    return Charge(item=item, cost=Decimal(cost), cost_class="bought-in", **(plain | told))


def lines_of(card: RateCard, *asked: Requirement, items: int = 1) -> list[LineItem]:
    return list(line_items(Plainly(), asked, card, items))


def test_what_is_put_on_is_by_the_class_of_the_cost(base: RateCard) -> None:
    assert [rise_on(base, kind) for kind in KINDS] == [Decimal("0.4"), Decimal("0.2"), Decimal("0.1")]


def test_a_margin_asked_for_is_put_on_whatever_the_class(base: RateCard) -> None:
    """A margin of 20 % of the price is a quarter of the cost: 0.2 / 0.8."""
    card = replace(base, pricing=replace(base.pricing, mark_ups=None, target_margin=Share("20 %")))

    assert [rise_on(card, kind) for kind in KINDS] == [Decimal("0.25")] * 3


def test_minutes_of_one_operation_person_and_machine_are_one_line(base: RateCard) -> None:
    """7 and 13 minutes at the press are one line of 20; by hand, of another operation or item they are others."""
    asked = [
        labour("Running", "7", machine="platen-8x12", what="front", driver=Decimal(100)),
        labour("Running", "3"),
        labour("Running", "13", machine="platen-8x12", what="back", driver=Decimal(90)),
        labour("Lock-up", "5", machine="platen-8x12"),
        labour("Running", "2", machine="platen-8x12", item=1),
    ]
    found = [
        (one.operation, one.item, one.machine, int(one.minutes), int(one.driver), one.what)
        for one in lines_of(base, *asked, items=2)
    ]

    assert found == [
        ("Lock-up", 0, "platen-8x12", 5, 1, ""),
        ("Running", 0, "platen-8x12", 20, 190, "front; back"),
        ("Running", 0, None, 3, 1, ""),
        ("Running", 1, "platen-8x12", 2, 1, ""),
    ]


def test_a_line_is_rounded_once_from_its_exact_cost_and_its_price_from_that_too(base: RateCard) -> None:
    """2.345 is 2.35; with 10 % on it 2.5795 is 2.58. Of the rounded cost it would be 2.585, 2.59."""
    (line,) = lines_of(base, charge("2.345"))

    assert (line.exact_cost, str(line.cost), str(line.price)) == (Decimal("2.345"), "2.35", "2.58")


def test_what_is_paid_to_others_takes_nobodys_time(base: RateCard) -> None:
    """So that it counts in no hour of a press or of a person."""
    draw = Draw(pot="plates", key="estuary", what="", item=0, amount=Decimal(4000), unit="mm2")

    assert {(one.minutes, one.person, one.machine) for one in lines_of(base, charge("30"), draw)} == {
        (Decimal(0), None, None)
    }


def test_what_costs_nothing_has_no_line(base: RateCard) -> None:
    assert lines_of(base, charge("0"), labour("Running", "0")) == []


def test_lines_stand_in_the_order_of_the_work_with_finishing_between_press_and_packing(base: RateCard) -> None:
    names = ["Delivery", "Scoring", "Running", "Handling", "Packing", "Folding", "Make-ready", "Wash-up"]
    found = [one.operation for one in lines_of(base, *(labour(name, "1") for name in names))]

    assert found == ["Handling", "Make-ready", "Running", "Wash-up", "Scoring", "Folding", "Packing", "Delivery"]


def test_a_charge_for_nothing_that_is_counted_is_at_no_rate(base: RateCard) -> None:
    assert [one.rate for one in lines_of(base, charge("30", driver=Decimal(0)), charge("30", driver=Decimal(4)))] == [
        Decimal(0),
        Decimal("7.5"),
    ]


def test_a_purchase_is_at_what_one_of_it_comes_to_and_at_no_rate_where_none_of_it_is_used(base: RateCard) -> None:
    """200 g of ink at 30.00 for 500 g are 12.00, 0.06 a gram; of nothing the least charge of 4.00 is left."""
    ink = replace(
        next(iter(base.inks.values())), price=Amount("30.00"), price_mass=Mass("500 g"), least_charge=Amount("4.00")
    )
    card = replace(base, inks={"red": ink})
    rates = []
    for grams in ("200", "0"):
        draw = Draw(pot="ink", key="red", what="", item=0, amount=Decimal(grams), unit="g")
        (line,) = lines_of(card, draw)
        rates.append((line.cost, line.rate))

    assert rates == [(Decimal("12.00"), Decimal("0.06")), (Decimal("4.00"), Decimal(0))]


def shares(line: LineItem) -> list[str]:
    return [str(share) for share in line.cost_shares]


def test_a_pot_is_borne_by_what_each_item_draws_from_it(base: RateCard) -> None:
    """50 g and 150 g of ink of 12.00: 3.00 and 9.00; the price 14.40 likewise: 3.60 and 10.80."""
    ink = replace(
        next(iter(base.inks.values())), price=Amount("30.00"), price_mass=Mass("500 g"), least_charge=Amount("0")
    )
    draws = [
        Draw(pot="ink", key="red", what="", item=item, amount=Decimal(grams), unit="g")
        for item, grams in ((0, "20"), (1, "150"), (0, "30"))
    ]
    (line,) = lines_of(replace(base, inks={"red": ink}), *draws, items=2)

    assert [line.item, line.driver, shares(line)] == [None, 200, ["3.00", "9.00"]]
    assert [str(share) for share in line.price_shares] == ["3.60", "10.80"]


def test_what_the_job_does_once_is_shared_by_its_weights(base: RateCard) -> None:
    """40.00 by 1 : 3 is 10.00 and 30.00."""
    (line,) = lines_of(base, charge("40", item=None, weights=(Decimal(1), Decimal(3))), items=2)

    assert shares(line) == ["10.00", "30.00"]


def test_weights_of_several_shares_of_one_line_count_by_their_minutes(base: RateCard) -> None:
    """30 minutes by 1 : 1 and 10 by 0 : 1 are 15 and 25 of 40: three eighths and five."""
    asked = [
        labour("Running", "30", item=None, machine="platen-8x12", weights=(Decimal(1), Decimal(1))),
        labour("Running", "10", item=None, machine="platen-8x12", weights=(Decimal(0), Decimal(1))),
    ]
    (line,) = lines_of(base, *asked, items=2)

    assert abs(line.cost_shares[0] - line.cost * 3 / 8) < Decimal("0.01")
    assert sum(line.cost_shares) == line.cost


def test_weights_are_of_their_own_operation_and_machine(base: RateCard) -> None:
    asked = [
        labour("Running", "60", item=None, weights=(Decimal(1), Decimal(0))),
        labour("Running", "60", item=None, machine="platen-8x12", weights=(Decimal(0), Decimal(1))),
        labour("Lock-up", "60", item=None, weights=(Decimal(1), Decimal(1))),
    ]
    found = {(one.operation, one.machine): one for one in lines_of(base, *asked, items=2)}

    assert [share > 0 for share in found["Running", None].cost_shares] == [True, False]
    assert [share > 0 for share in found["Running", "platen-8x12"].cost_shares] == [False, True]
    assert [share > 0 for share in found["Lock-up", None].cost_shares] == [True, True]


def test_weights_of_what_an_item_bears_itself_say_nothing_of_what_the_job_does_once(base: RateCard) -> None:
    asked = [
        charge("5", operation="Proofs"),
        charge("40", weights=(Decimal(1), Decimal(0))),
        charge("40", item=None, weights=(Decimal(0), Decimal(1))),
    ]
    of_one, of_all = (one for one in lines_of(base, *asked, items=2) if one.operation == "Die")

    assert (shares(of_one), shares(of_all)) == ([], ["0.00", "40.00"])


def test_weights_of_nothing_share_equally(base: RateCard) -> None:
    (line,) = lines_of(base, charge("40", item=None, weights=(Decimal(0), Decimal(0))), items=2)

    assert shares(line) == ["20.00", "20.00"]


def test_without_weights_it_is_shared_by_what_each_item_costs_itself(base: RateCard) -> None:
    """Items of 10.00 and 30.00 bear 20.00 as 5.00 and 15.00."""
    asked = [charge("10"), charge("30", item=1), charge("20", item=None, operation="Delivery", is_delivery=True)]
    found = lines_of(base, *asked, items=2)

    assert [shares(one) for one in found] == [[], [], ["5.00", "15.00"]]
    assert [one.is_delivery for one in found] == [False, False, True]


def test_one_item_bears_all_that_the_job_does_once(base: RateCard) -> None:
    (line,) = lines_of(base, charge("20", item=None))

    assert (shares(line), line.price_shares) == (["20.00"], (Decimal("22.00"),))


def test_what_is_written_down_costs_what_is_not(base: RateCard) -> None:
    """The search counts plainly, and the plan that is chosen is told in sentences: to the same coin."""
    asked: list[Requirement] = [
        labour("Running", "7", machine="platen-8x12", what="front"),
        charge("30", before_printing=True),
        Draw(pot="plates", key="estuary", what="", item=0, amount=Decimal(4000), unit="mm2"),
    ]
    told, plain = line_items(Recording(), asked, base, 1), line_items(Plainly(), asked, base, 1)

    assert [(one.exact_cost, one.cost, one.price) for one in told] == [
        (one.exact_cost, one.cost, one.price) for one in plain
    ]
    assert all(one.sentence and one.price_sentence for one in told)
    assert not any(one.sentence or one.price_sentence for one in plain)
    assert {one.operation: one.before_printing for one in told} == {
        "Plates": True,
        "Carriage in": True,
        "Running": False,
        "Die": True,
    }
    assert ["4000 mm2 drawn" in one.sentence for one in told].count(True) == 1
    assert ["front: 7 min" in one.sentence for one in told].count(True) == 1
    assert ["a charge of 30" in one.sentence for one in told].count(True) == 1
