"""
A part's plans as the search sees them: what each costs alone, what it draws, which cannot win.

Two things rule a plan out before any job is costed. Of plans for one press, imposition and number
up, the press sheet matters only through sheets out of a parent and cuts: one that is no better in
any of them and worse in one goes; turned or tumbled, a sheet is printed alike. Of plans whose passes
ask the same of inking and washing, one that costs no less alone and draws no less from any pot goes.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from quoting.costing import exact_cost
from quoting.formulas import Plainly
from quoting.planning.counting import count_part
from quoting.planning.orders import is_wet
from quoting.planning.part_plan import PartPlan
from quoting.planning.prepared import PreparedJob
from quoting.planning.quantities import PartWorkload, part_workload
from quoting.planning.turning import TURNED
from quoting.requirements import Draw, PotKind

Signature = tuple[object, ...]
Order = tuple[int, ...]
Draws = dict[tuple[PotKind, str], Decimal]


def signature(plan: PartPlan, prepared: PreparedJob) -> Signature:
    """What inking, washing, the cases and the order of passes know of a plan."""
    return (
        plan.press,
        *(
            (work.ink, work.side, work.colours_before, work.over, is_wet(work, prepared.card), *work.of_the_case)
            for work in plan.passes
        ),
    )


def undominated_sheets(plans: Sequence[PartPlan]) -> list[PartPlan]:
    """Plans less those whose press sheet is no better in anything than another of the same number up and passes."""
    kept: list[PartPlan] = []
    alike: dict[tuple[object, ...], list[tuple[tuple[int, ...], PartPlan]]] = {}
    for plan in plans:
        key = (plan.press, "turned" if plan.imposition in TURNED else plan.imposition, plan.number_up)
        alike.setdefault(key, []).append((_sheet_figures(plan), plan))
    for group in alike.values():
        for place, (figures, plan) in enumerate(group):
            if not any(
                _no_worse(other, figures) and (other != figures or rival < place)
                for rival, (other, _) in enumerate(group)
                if rival != place
            ):
                kept.append(plan)
    return kept


def _sheet_figures(plan: PartPlan) -> tuple[int, ...]:
    return (
        -plan.sheets_a_parent,
        plan.cuts_to_size,
        plan.settings_to_size,
        plan.cuts_to_pieces,
        plan.settings_to_pieces,
    )


def _no_worse(one: tuple[int, ...], other: tuple[int, ...]) -> bool:
    return all(mine <= theirs for mine, theirs in zip(one, other, strict=True))


class Counted:
    """A plan's workload with its passes in one order: what it costs alone, and what it draws."""

    def __init__(self, load: PartWorkload, plan: PartPlan, prepared: PreparedJob) -> None:
        self.load, self.plan = load, plan
        self.minutes = sum(load.pass_minutes, Decimal(0))
        own = [asked for asked in load.requirements if not isinstance(asked, Draw)]
        self.own_cost = exact_cost(Plainly(), own, prepared.card, prepared.rates)
        self.draws: Draws = {}
        for asked in load.requirements:
            if isinstance(asked, Draw):
                key = (asked.pot, asked.key)
                self.draws[key] = self.draws.get(key, Decimal(0)) + asked.amount

    def no_dearer_than(self, other: Counted) -> bool:
        """Whether it costs no more alone and draws no more from any pot."""
        return self.own_cost <= other.own_cost and all(
            amount <= other.draws.get(key, Decimal(0)) for key, amount in self.draws.items()
        )


class PartOptions:
    """The plans of one part by signature, counted in an order of passes when first asked for."""

    def __init__(self, prepared: PreparedJob, number: int, quantity: int) -> None:
        self.prepared, self.number, self.quantity = prepared, number, quantity
        self.groups: dict[Signature, list[PartPlan]] = {}
        for plan in undominated_sheets(prepared.candidates[number].plans):
            self.groups.setdefault(signature(plan, prepared), []).append(plan)
        self._counted: dict[tuple[int, Order], Counted] = {}
        self._kept: dict[tuple[Signature, Order], list[Counted]] = {}

    def counted(self, plan: PartPlan, order: Order) -> Counted:
        """A plan counted with its passes printed in this order."""
        key = (id(plan), order)
        if key not in self._counted:
            printed = plan.printed(order)
            item, part = self.prepared.parts[self.number]
            do, card = Plainly(), self.prepared.card
            count = count_part(do, printed, item, part, card, self.quantity)
            load = part_workload(do, printed, item, part, self.prepared.job, card, self.quantity, count)
            self._counted[key] = Counted(load, plan, self.prepared)
        return self._counted[key]

    def kept(self, group: Signature, order: Order) -> list[Counted]:
        """A group's plans that may win, cheapest alone first."""
        key = (group, order)
        if key not in self._kept:
            counted = [self.counted(plan, order) for plan in self.groups[group]]
            counted.sort(key=lambda one: (one.own_cost, one.plan.order))
            kept: list[Counted] = []
            for one in counted:
                if not any(other.no_dearer_than(one) for other in kept):
                    kept.append(one)
            self._kept[key] = kept
        return self._kept[key]
