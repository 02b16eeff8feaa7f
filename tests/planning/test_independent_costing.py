"""The engine against a second costing that knows nothing of it: every operation and the total, to the penny."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from fractions import Fraction

import pytest

from quoting import NoPlanError, RateCard, estimate_job, read_job
from quoting.estimate import Option
from quoting.planning.pins import Pin
from tests.conftest import DAY, SHOPS, demo_card_path, demo_jobs
from tests.independent import Card, Costed, Told, cost_of
from tests.planning.few_operations import drawn_jobs, jobs_by_hand
from tests.strategies import Data, job_data_of

MOST_AT_A_PRESS = 6  # passes: every order and parting of them is tried


@pytest.fixture(scope="module")
def own_cards() -> dict[str, Card]:
    """The demo cards as the second costing reads them."""
    return {shop: Card(demo_card_path(shop)) for shop in SHOPS}


def told(option: Option) -> list[Told]:
    """The plan that the engine chose, with its numbers for the knife."""
    plans = [part.plan for part in option.parts]
    return [
        Told(
            plan.press,
            plan.imposition,
            plan.across,
            plan.down,
            plan.sheets_a_parent,
            plan.cuts_to_size,
            plan.settings_to_size,
        )
        for plan in plans
    ]


def costed_by_the_engine(option: Option) -> Costed:
    """The engine's own figures in the same shape."""
    operations: dict[str, Fraction] = defaultdict(Fraction)
    for line in option.lines:
        operations[line.operation] += Fraction(line.cost)
    return Costed(
        operations={operation: cost for operation, cost in operations.items() if cost},
        total=sum(operations.values(), Fraction(0)),
        sheets=tuple(part.sheets_from_stock for part in option.parts),
        sittings=tuple(sitting.further_days for sitting in option.sittings),
    )


def is_small(option: Option) -> bool:
    presses = [work.press for part in option.parts for work in part.plan.passes]
    return all(presses.count(press) <= MOST_AT_A_PRESS for press in presses)


def first_option(job: Data, card: RateCard, pins: Sequence[Pin] = ()) -> Option:
    """The engine's answer for the first quantity."""
    return estimate_job(read_job(job), card, on=DAY, pins=pins).options[0]


def hold_together(job: Data, option: Option, own: Card) -> None:
    """Both costings of one option are the same."""
    assert cost_of(own, job, told(option), option.quantity) == costed_by_the_engine(option)


def compared(jobs: Iterable[tuple[str, Data]], card: RateCard, own: Card) -> list[Option]:
    """Every job that some press can print with few enough passes, compared."""
    found = []
    for _, job in jobs:
        try:
            option = first_option(job, card)
        except NoPlanError:
            continue
        if is_small(option):
            hold_together(job, option, own)
            found.append(option)
    return found


BY_HAND = [(shop, name) for shop in SHOPS for name in jobs_by_hand(shop)]


@pytest.mark.parametrize(("shop", "name"), BY_HAND)
def test_a_job_written_by_hand_costs_the_same_by_a_second_costing(
    shop: str, name: str, cards: dict[str, RateCard], own_cards: dict[str, Card]
) -> None:
    job = jobs_by_hand(shop)[name]
    option = first_option(job, cards[shop])
    hold_together(job, option, own_cards[shop])

    assert len(option.sittings) == 2 or "two sittings" not in name


@pytest.mark.parametrize(("shop", "job"), demo_jobs())
def test_a_demo_job_costs_the_same_by_a_second_costing(
    shop: str, job: str, cards: dict[str, RateCard], own_cards: dict[str, Card]
) -> None:
    data = job_data_of(shop, job)
    hold_together(data, first_option(data, cards[shop]), own_cards[shop])


@pytest.mark.parametrize("shop", SHOPS)
def test_drawn_jobs_cost_the_same_by_a_second_costing(
    shop: str, cards: dict[str, RateCard], own_cards: dict[str, Card]
) -> None:
    options = compared(drawn_jobs(shop, range(25)), cards[shop], own_cards[shop])

    assert len(options) >= 15
    assert sum(len(option.parts) >= 3 for option in options) >= 2
    assert sum(len(option.sittings) > len({sitting.press for sitting in option.sittings}) for option in options) >= 1


@pytest.mark.long
@pytest.mark.parametrize("shop", SHOPS)
def test_many_drawn_jobs_cost_the_same_by_a_second_costing(
    shop: str, cards: dict[str, RateCard], own_cards: dict[str, Card]
) -> None:
    assert len(compared(drawn_jobs(shop, range(100, 500)), cards[shop], own_cards[shop])) >= 200


@pytest.mark.parametrize("quantity", [0, 1])
def test_of_two_partings_that_cost_the_same_the_one_of_fewer_sittings_is_chosen(
    quantity: int, cards: dict[str, RateCard], own_cards: dict[str, Card]
) -> None:
    """Gold, 28 min to clean or to black, and black, 12 min: 28 + 12 in one sitting and in two; a day saved in one."""
    job = job_data_of("pellam-hollow", "duplexed")
    option = estimate_job(read_job(job), cards["pellam-hollow"], on=DAY).options[quantity]

    own = cost_of(own_cards["pellam-hollow"], job, told(option), option.quantity)

    assert len(own.sittings) == 1
    assert own.sittings == tuple(sitting.further_days for sitting in option.sittings)


PINNED = [
    ("both sides in one ink", Pin(imposition="work-and-turn")),
    ("both sides in one ink", Pin(imposition="work-and-tumble")),
    ("one wet solid on both sides", Pin(imposition="work-and-turn")),
    ("wet solids on both sides: two sittings", Pin(imposition="work-and-turn")),
    ("an ink a side", Pin(imposition="work-and-turn")),
    ("an ink a side", Pin(imposition="work-and-tumble")),
    ("both sides in one ink, the back rolled twice", Pin(imposition="work-and-turn")),
    ("both sides in one ink", Pin(imposition="sheetwise", number_up=2)),
    ("both sides in one ink", Pin(press="platen-8x12", number_up=1)),
    ("versions apart or ganged", Pin(imposition="ganged")),
    ("versions apart or ganged", Pin(imposition="one side", number_up=2)),
    ("versions of plates", Pin(imposition="ganged", number_up=2)),
    ("two colours in close register", Pin(number_up=4, press="platen-10x15")),
    ("proofed on the press and sent", Pin(imposition="work-and-turn")),
    ("a bleed", Pin(number_up=2)),
]


@pytest.mark.parametrize("shop", SHOPS)
@pytest.mark.parametrize(("name", "pin"), PINNED)
def test_a_pinned_plan_costs_the_same_by_a_second_costing(
    name: str, pin: Pin, shop: str, cards: dict[str, RateCard], own_cards: dict[str, Card]
) -> None:
    job = jobs_by_hand(shop)[name]
    option = first_option(job, cards[shop], [pin])
    hold_together(job, option, own_cards[shop])

    assert all(pin.holds(part.plan) for part in option.parts)
