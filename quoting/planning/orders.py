"""The order of passes: on each press the sittings that cost least in ink and washing, over all parts."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from decimal import Decimal
from fractions import Fraction
from math import lcm

from msgspec import Struct

from quoting.bench.washing_up import CLEAN, wash_table
from quoting.planning.part_plan import PartPlan
from quoting.planning.settings import settings_of_the_case
from quoting.planning.sittings import Stint, WashCosts, best_sittings
from quoting.presswork import Pass
from quoting.rate_card import MINUTES_AN_HOUR, RateCard


class SittingOrder(Struct, frozen=True):
    """One sitting: its press and its passes in the order they are printed."""

    press: str
    passes: tuple[Pass, ...]


class WashMemory:
    """
    Wash-ups and inkings of one card as money, worked out once for many plans.

    Args:
        inks: Those that the job prints.
        longest_by: Whose minutes say which ink takes longest to wash off, where a plan is held.
    """

    def __init__(self, card: RateCard, inks: Collection[str], longest_by: WashMemory | None = None) -> None:
        self.card, self.inks, self._longest_by = card, sorted(inks), longest_by
        self.minutes = wash_table(card.washing_up, card.inks)
        self._costs: dict[str, WashCosts] = {}

    def costs(self, press_name: str) -> WashCosts:
        """What each wash and each inking costs at one press."""
        if press_name not in self._costs:
            self._costs[press_name] = self._work_out(press_name)
        return self._costs[press_name]

    def longest_to_wash(self, inks: Collection[str]) -> str:
        """
        Of some inks the one that takes longest to wash off; of several the first by name.

        By time alone: chosen by price, a dearer ink that has its least charge to use up could cost less.
        """
        if self._longest_by is not None:
            return self._longest_by.longest_to_wash(inks)
        return max(sorted(inks), key=lambda name: self.minutes[name, CLEAN])

    def _work_out(self, press_name: str) -> WashCosts:
        card, press = self.card, self.card.presses[press_name]
        rate = card.person_rate(card.worked_by.presswork) + card.machine_rate(press_name)
        a_minute = Fraction(rate) / Fraction(MINUTES_AN_HOUR)
        pairs = ((before, after) for before in self.inks for after in (*self.inks, CLEAN))
        washes = {pair: Fraction(self.minutes[pair]) * a_minute for pair in pairs}
        inkings = {
            name: Fraction(press.ink_up) * a_minute
            + Fraction(press.dressing_ink) * Fraction(card.inks[name].price) / Fraction(card.inks[name].price_mass)
            for name in self.inks
        }
        unit = lcm(*(cost.denominator for cost in (*washes.values(), *inkings.values())))
        from_clean = [(CLEAN, after, Decimal(0)) for after in (*self.inks, CLEAN)]
        return WashCosts(
            (*((*pair, Decimal(int(cost * unit))) for pair, cost in washes.items()), *from_clean),
            (*((name, Decimal(int(cost * unit))) for name, cost in inkings.items()), (CLEAN, Decimal(0))),
        )


def orders_of_passes(plans: Sequence[PartPlan], card: RateCard, memory: WashMemory) -> tuple[SittingOrder, ...]:
    """
    Sittings for the passes of all plans, press by press.

    Where the cases cannot hold every form of the job at once, press by press for each setting of them:
    what stands is printed and distributed before the rest is set.
    """
    groups = case_settings(plans, card)
    if len(groups) == 1:
        return _in_one_setting([work for plan in plans for work in plan.passes], card, memory)
    return tuple(order for group in groups for order in _in_one_setting(group, card, memory))


def case_settings(plans: Sequence[PartPlan], card: RateCard) -> tuple[tuple[Pass, ...], ...]:
    """All passes in groups whose forms stand at once: one, where the cases hold every form of the job."""
    passes = [work for plan in plans for work in sorted(plan.passes, key=_listed_place)]
    if not any(work.sorts for work in passes):
        return (tuple(passes),)
    return settings_of_the_case(passes, card.founts)


def _listed_place(work: Pass) -> tuple[bool, int]:
    return work.side == "back", work.colours_before


def _in_one_setting(standing: Sequence[Pass], card: RateCard, memory: WashMemory) -> tuple[SittingOrder, ...]:
    """Sittings for passes whose forms may all stand at once."""
    found: list[SittingOrder] = []
    for press in dict.fromkeys(work.press for work in standing):
        passes = [work for work in standing if work.press == press]
        for sitting in best_sittings(_stints(passes, card), memory.costs(press)):
            found.append(SittingOrder(press, tuple(passes[place] for place in sitting.stints)))
    return tuple(found)


def order_of(plan: PartPlan, orders: Sequence[SittingOrder]) -> tuple[int, ...]:
    """The places of a plan's passes in the order in which they are printed: counts are worked back along it."""
    return tuple(
        plan.passes.index(work)
        for order in orders
        for work in order.passes
        if (work.item, work.part) == (plan.item, plan.part)
    )


def is_wet(work: Pass, card: RateCard) -> bool:
    """Whether a sheet must dry after a pass before anything else is printed on it."""
    if work.ink is None:
        return False
    return work.share_inked > card.stock_classes[work.stock_class].wet_share or card.inks[work.ink].hits > 1


def dries_between_trips(work: Pass, card: RateCard) -> bool:
    """Whether a turned sheet must dry before the same form prints its other side: a night, washed and inked anew."""
    return work.trips > 1 and is_wet(work, card)


def _stints(passes: Sequence[Pass], card: RateCard) -> tuple[Stint, ...]:
    """Passes as the order sees them: a side's colours keep their order; a wet sheet waits for another day."""
    sheets = {(work.item, work.part): place for place, work in enumerate(passes)}
    return tuple(
        Stint(
            ink=work.ink or CLEAN,
            sheet=sheets[work.item, work.part],
            wet=is_wet(work, card),
            after=tuple(
                place
                for place, other in enumerate(passes)
                if (other.item, other.part, other.side) == (work.item, work.part, work.side) and work.lies_on(other)
            ),
        )
        for work in passes
    )
