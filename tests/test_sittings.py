"""The order of passes: the cheapest of all orders and of all ways to part them into sittings."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal
from itertools import permutations, product
from random import Random

import pytest

from quoting.bench.washing_up import CLEAN
from quoting.planning.sittings import MOST_EXACT, Sitting, Stint, WashCosts, best_sittings

Parted = tuple[tuple[int, ...], ...]


def wash_costs(washes: dict[tuple[str, str], Decimal], inkings: dict[str, Decimal]) -> WashCosts:
    """Costs with what a clean press asks: nothing to wash off, nothing to ink."""
    inks = [*inkings, CLEAN]
    rows = [(before, after, cost) for (before, after), cost in washes.items()]
    return WashCosts(
        (*rows, *((CLEAN, after, Decimal(0)) for after in inks)), (*inkings.items(), (CLEAN, Decimal(0)))
    )


def closed(washes: dict[tuple[str, str], Decimal], inks: Sequence[str]) -> dict[tuple[str, str], Decimal]:
    """The table closed under going through a third ink, or through a clean press."""
    shortest = dict(washes)
    for through, before, after in product(inks, inks, [*inks, CLEAN]):
        shortest[before, after] = min(
            shortest[before, after], shortest[before, through] + shortest[through, after], shortest[before, CLEAN]
        )
    return shortest


def drawn_costs(chance: Random) -> WashCosts:
    """A wash table of three inks, as a card's would be, and what each costs to put on."""
    inks = ["black", "red", "yellow"]
    washes = {
        (before, after): Decimal(0 if before == after else chance.randint(1, 30))
        for before in inks
        for after in [*inks, CLEAN]
    }
    for _ in inks:  # thrice: closed under chains of three
        washes = closed(washes, inks)
    return wash_costs(washes, {ink: Decimal(chance.randint(1, 12)) for ink in inks})


def drawn_stints(chance: Random, number: int) -> tuple[Stint, ...]:
    """Passes of up to three sheets, front and back; a side's colours keep their order."""
    sides = [(chance.randint(0, 2), chance.choice("fb")) for _ in range(number)]
    return tuple(
        Stint(
            ink=chance.choice(["black", "red", "yellow", CLEAN]),
            sheet=side[0],
            wet=chance.random() < 0.4,
            after=tuple(before for before in range(place) if sides[before] == side),
        )
        for place, side in enumerate(sides)
    )


def cost_of(parted: Parted, stints: Sequence[Stint], costs: WashCosts) -> Decimal:
    """Every inking and every wash, a sitting at a time."""
    washes = {(before, after): cost for before, after, cost in costs.washes}
    inkings = dict(costs.inkings)
    total = Decimal(0)
    for sitting in parted:
        on_the_press = CLEAN
        for place in sitting:
            ink = stints[place].ink
            if ink != on_the_press:
                total += washes[on_the_press, ink] + inkings[ink]
            on_the_press = ink
        total += washes[on_the_press, CLEAN]
    return total


def is_allowed(parted: Parted, stints: Sequence[Stint]) -> bool:
    """Each after what it must follow; in a sitting nothing on a sheet after a wet pass of it."""
    order = [place for sitting in parted for place in sitting]
    if any(order.index(before) > order.index(place) for place in order for before in stints[place].after):
        return False
    return not any(
        stints[before].wet and stints[before].sheet == stints[place].sheet
        for sitting in parted
        for number, place in enumerate(sitting)
        for before in sitting[:number]
    )


def every_parting(number: int) -> Iterator[Parted]:
    """All orders of so many passes, and all ways to part each into sittings."""
    for order in permutations(range(number)):
        for ends in product([False, True], repeat=number - 1):
            sittings: list[tuple[int, ...]] = [order[:1]]
            for place, is_new in zip(order[1:], ends, strict=True):
                if is_new:
                    sittings.append((place,))
                else:
                    sittings[-1] = (*sittings[-1], place)
            yield tuple(sittings)


def parted_of(sittings: Sequence[Sitting]) -> Parted:
    return tuple(sitting.stints for sitting in sittings)


@pytest.mark.parametrize("seed", range(20))
def test_the_sittings_cost_what_the_cheapest_of_all_partings_costs(seed: int) -> None:
    chance = Random(seed)
    for _ in range(10):
        stints, costs = drawn_stints(chance, chance.choice([1, 2, 3, 3, 4, 4, 4, 5])), drawn_costs(chance)
        found = parted_of(best_sittings(stints, costs))
        allowed = (parted for parted in every_parting(len(stints)) if is_allowed(parted, stints))

        assert is_allowed(found, stints)
        assert min(cost_of(parted, stints, costs) for parted in allowed) == cost_of(found, stints, costs)


COSTS = wash_costs(
    {
        ("yellow", "yellow"): Decimal(0),
        ("yellow", "black"): Decimal(8),
        ("yellow", CLEAN): Decimal(12),
        ("black", "black"): Decimal(0),
        ("black", "yellow"): Decimal(14),
        ("black", CLEAN): Decimal(15),
    },
    {"yellow": Decimal(5), "black": Decimal(5)},
)


def test_light_goes_before_dark_where_both_are_dry() -> None:
    stints = (Stint("black", 0, False, ()), Stint("yellow", 0, False, ()))

    assert parted_of(best_sittings(stints, COSTS)) == ((1, 0),)  # 5 + 8 + 5 + 15 = 33, under 5 + 14 + 5 + 12 = 36


def test_a_wet_solid_overturns_the_order_that_costs_least() -> None:
    stints = (Stint("black", 0, False, ()), Stint("yellow", 0, True, ()))

    # Yellow first would want another day for the black: 5 + 12 + 5 + 15 = 37, over 36 in one sitting.
    assert parted_of(best_sittings(stints, COSTS)) == ((0, 1),)


def test_a_wet_first_colour_of_a_side_makes_the_second_another_day() -> None:
    stints = (Stint("black", 0, True, ()), Stint("yellow", 0, False, (0,)))

    assert parted_of(best_sittings(stints, COSTS)) == ((0,), (1,))


def test_no_passes_are_no_sittings() -> None:
    assert tuple(sitting for sitting in best_sittings((), COSTS) if sitting.stints) == ()


@pytest.mark.parametrize("seed", range(20))
def test_more_passes_than_are_ordered_exactly_each_come_once_in_an_order_that_is_allowed(seed: int) -> None:
    chance = Random(seed)
    stints, costs = drawn_stints(chance, MOST_EXACT + 1 + seed % 6), drawn_costs(chance)
    found = parted_of(best_sittings(stints, costs))

    assert list(range(len(stints))) == sorted(place for sitting in found for place in sitting)
    assert is_allowed(found, stints)
