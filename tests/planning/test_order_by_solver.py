"""The order of passes against a solver that knows nothing of sittings: one tour of the passes from a clean press."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from random import Random
from typing import Any

import pytest
from ortools.sat.python import cp_model

from quoting import RateCard
from quoting.bench.washing_up import CLEAN
from quoting.numbers import in_engine_context
from quoting.planning.orders import WashMemory
from quoting.planning.sittings import MOST_EXACT, Stint, WashCosts, best_sittings
from tests.conftest import SHOPS, demo_card_path
from tests.independent.card import Card
from tests.independent.sittings import PressCosts, every_parting
from tests.test_sittings import Parted, closed, cost_of, is_allowed, parted_of, wash_costs

INKS = ("black", "blue", "red", "yellow", "gold")


def drawn_costs(chance: Random) -> WashCosts:
    """A wash table of five inks in whole coins, closed, and what each costs to put on."""
    washes = {
        (before, after): Decimal(0 if before == after else chance.randint(1, 40))
        for before in INKS
        for after in [*INKS, CLEAN]
    }
    for _ in INKS:
        washes = closed(washes, INKS)
    return wash_costs(washes, {ink: Decimal(chance.randint(0, 15)) for ink in INKS})


def drawn_stints(chance: Random, *, number: int, wet_share: float) -> tuple[Stint, ...]:
    """Passes of up to four sheets, front and back, blind ones among them; a side's colours keep their order."""
    sides = [(chance.randint(0, 3), chance.choice("fb")) for _ in range(number)]
    return tuple(
        Stint(
            ink=chance.choice([*INKS, CLEAN]),
            sheet=side[0],
            wet=chance.random() < wet_share,
            after=tuple(before for before in range(place) if sides[before] == side),
        )
        for place, side in enumerate(sides)
    )


class Tour:
    """
    A circuit through a clean press and every pass once, cut into sittings between any two of them.

    An arc within a sitting costs the wash to the next ink and its inking; one between sittings the wash to a
    clean press and the inking. Each pass has its rank in the tour and the number of its sitting.
    """

    def __init__(self, stints: Sequence[Stint], costs: WashCosts) -> None:
        self.stints, self.model = stints, cp_model.CpModel()
        self.washes = {(before, after): int(cost) for before, after, cost in costs.washes}
        self.inkings = {ink: int(cost) for ink, cost in costs.inkings}
        number = len(stints)
        self.rank = [self.model.new_int_var(0, number - 1, f"rank {place}") for place in range(number)]
        self.sitting = [self.model.new_int_var(0, number - 1, f"sitting {place}") for place in range(number)]
        self.terms: list[Any] = []
        self._arcs()
        self._order()

    def least(self) -> int:
        """The cost of the cheapest tour."""
        self.model.minimize(sum(self.terms))
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.random_seed = 1
        status = solver.solve(self.model)

        assert status == cp_model.OPTIMAL
        return round(solver.objective_value)

    def _arcs(self) -> None:
        model, number = self.model, len(self.stints)
        arcs: list[Any] = []
        for place, stint in enumerate(self.stints):
            first, last = model.new_bool_var(""), model.new_bool_var("")
            arcs += [(number, place, first), (place, number, last)]
            self.terms += [first * self.inkings[stint.ink], last * self.washes[stint.ink, CLEAN]]
            model.add(self.rank[place] == 0).only_enforce_if(first)
            for other, after in enumerate(self.stints):
                if other != place:
                    arcs.append((place, other, self._arc(place, other, stint.ink, after.ink)))
        model.add_circuit(arcs)

    def _arc(self, place: int, other: int, before: str, after: str) -> Any:
        model = self.model
        arc, parted = model.new_bool_var(""), model.new_bool_var("")
        model.add_implication(parted, arc)
        change = 0 if before == after else self.washes[before, after] + self.inkings[after]
        anew = self.washes[before, CLEAN] + self.inkings[after]
        self.terms += [arc * change, parted * (anew - change)]
        model.add(self.rank[other] == self.rank[place] + 1).only_enforce_if(arc)
        model.add(self.sitting[other] == self.sitting[place] + parted).only_enforce_if(arc)
        return arc

    def _order(self) -> None:
        model = self.model
        for place, stint in enumerate(self.stints):
            for before in stint.after:
                model.add(self.rank[before] < self.rank[place])
            for other, one in enumerate(self.stints):
                if stint.wet and other != place and one.sheet == stint.sheet:
                    follows = model.new_bool_var("")
                    model.add(self.rank[other] > self.rank[place]).only_enforce_if(follows)
                    model.add(self.rank[other] < self.rank[place]).only_enforce_if(~follows)
                    model.add(self.sitting[other] > self.sitting[place]).only_enforce_if(follows)


def hold_to_the_solver(seed: int, *, instances: int, wet_share: float) -> None:
    """So many instances of up to eight passes cost what the solver's cheapest tour costs."""
    chance = Random(seed)
    for _ in range(instances):
        stints = drawn_stints(chance, number=chance.randint(2, MOST_EXACT), wet_share=wet_share)
        costs = drawn_costs(chance)
        found = parted_of(best_sittings(stints, costs))

        assert is_allowed(found, stints)
        assert Tour(stints, costs).least() == cost_of(found, stints, costs)


@pytest.mark.parametrize("seed", range(20))
def test_dry_passes_are_ordered_as_cheaply_as_a_solver_orders_them(seed: int) -> None:
    hold_to_the_solver(seed, instances=10, wet_share=0)


@pytest.mark.parametrize("seed", range(100, 110))
def test_wet_passes_are_ordered_and_parted_as_cheaply_as_a_solver_does_it(seed: int) -> None:
    hold_to_the_solver(seed, instances=5, wet_share=0.35)


@pytest.mark.long
@pytest.mark.parametrize("seed", range(1000, 1040))
def test_many_wet_passes_are_ordered_and_parted_as_cheaply_as_a_solver_does_it(seed: int) -> None:
    hold_to_the_solver(seed, instances=25, wet_share=0.35)


# Ties


def exactly(parted: Parted, stints: Sequence[Stint], costs: PressCosts) -> tuple[Fraction, int, Parted]:
    """What the written order goes by: the cost in fractions, sittings, earlier passes first."""
    total = Fraction(0)
    for sitting in parted:
        on_the_press = CLEAN
        for place in sitting:
            ink = stints[place].ink
            if ink != on_the_press:
                total += costs.wash(on_the_press, ink) + costs.inking(ink)
            on_the_press = ink
        total += costs.wash(on_the_press, CLEAN)
    return total, len(parted), parted


@pytest.mark.parametrize("shop", SHOPS)
def test_of_orders_that_cost_the_same_fewer_sittings_win_and_then_the_earlier_passes(
    shop: str, cards: dict[str, RateCard]
) -> None:
    """Costs in Decimals of 34 digits are off by one in the last; that may not decide between equals."""
    chance, memory = Random(5), WashMemory(cards[shop], cards[shop].inks)
    own = PressCosts(Card(demo_card_path(shop)), "platen-8x12")
    costs = in_engine_context(memory.costs)("platen-8x12")
    best = in_engine_context(best_sittings)
    names = sorted(cards[shop].inks)
    decided_otherwise = []
    for number in range(60):
        stints = tuple(
            Stint(chance.choice(names), stint.sheet, stint.wet, stint.after)
            for stint in drawn_stints(chance, number=chance.randint(2, 4), wet_share=0.35)
        )
        allowed = (parted for parted in every_parting(len(stints)) if is_allowed(parted, stints))
        expected = min(exactly(parted, stints, own) for parted in allowed)
        if expected[2] != parted_of(best(stints, costs)):
            decided_otherwise.append(number)

    assert decided_otherwise == []
