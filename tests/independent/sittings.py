"""The order of passes on one press: every order and every parting into sittings tried."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import pairwise, permutations, product

from tests.independent.card import CLEAN, Card
from tests.independent.measures import measure
from tests.independent.parts import Printing

Parted = tuple[tuple[int, ...], ...]


class PressCosts:
    """What washing and inking cost at one press, in money."""

    def __init__(self, card: Card, press: str) -> None:
        self.card, self.press = card, press
        self.a_minute = (card.person_rate(card.who("presswork")) + card.machine_rate(press)) / 60

    def wash(self, before: str, after: str) -> Fraction:
        """From one ink to another or to a clean press; nothing from a clean one."""
        return Fraction(0) if before == CLEAN else self.card.washes[before, after] * self.a_minute

    def inking(self, ink: str) -> Fraction:
        """Ink-up minutes and the ink that dresses the press; nothing for a blind pass."""
        if ink == CLEAN:
            return Fraction(0)
        press, tin = self.card["presses"][self.press], self.card["inks"][ink]
        dressing = measure(press["dressing_ink"]) * measure(tin["price"]) / measure(tin["price_mass"])
        return measure(press["ink_up"]) * self.a_minute + dressing


def best_parted(costs: PressCosts, passes: Sequence[Printing]) -> Parted:
    """The cheapest; of those that cost the same the one of fewer sittings, then of earlier passes first."""
    allowed = (parted for parted in every_parting(len(passes)) if is_allowed(parted, passes))
    return min(allowed, key=lambda parted: (cost_of_parted(costs, parted, passes), len(parted), parted))


def every_parting(number: int) -> Iterator[Parted]:
    """All orders of so many passes, and all ways to part each into sittings."""
    for order in permutations(range(number)):
        for ends in product([False, True], repeat=number - 1):
            marks = [0, *(place + 1 for place, ended in enumerate(ends) if ended), number]
            yield tuple(order[start:end] for start, end in pairwise(marks))


def is_allowed(parted: Parted, passes: Sequence[Printing]) -> bool:
    """A side's colours in their order; nothing on a sheet after a wet pass of it in the same sitting."""
    order = [place for sitting in parted for place in sitting]
    for number, place in enumerate(order):
        later = passes[place]
        if any(_is_before(later, passes[other]) for other in order[:number]):
            return False
    return not any(
        passes[before].is_wet and passes[before].part is passes[place].part
        for sitting in parted
        for number, place in enumerate(sitting)
        for before in sitting[:number]
    )


def _is_before(one: Printing, other: Printing) -> bool:
    """Whether ``one`` must be printed before ``other``: an earlier colour of a side that both print."""
    shared = one.at.keys() & other.at.keys()
    return one.part is other.part and any(one.at[side] < other.at[side] for side in shared)


def runs(sitting: Sequence[Printing]) -> list[str]:
    """Inks of a sitting as they come onto the press; ``clean`` for blind passes."""
    found: list[str] = []
    for printing in sitting:
        ink = printing.ink or CLEAN
        if not found or found[-1] != ink:
            found.append(ink)
    return found


def cost_of_parted(costs: PressCosts, parted: Parted, passes: Sequence[Printing]) -> Fraction:
    """Every inking and every wash of all the sittings."""
    total = Fraction(0)
    for sitting in parted:
        inks = runs([passes[place] for place in sitting])
        total += sum(costs.inking(ink) for ink in inks)
        total += sum(costs.wash(before, after) for before, after in zip(inks, [*inks[1:], CLEAN], strict=True))
    return total
