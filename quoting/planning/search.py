"""The cheapest plan for the whole job: parts planned together, since they share packs, inks and washes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from itertools import product
from math import prod

from msgspec import Struct

from quoting.bench.washing_up import CLEAN
from quoting.buying import BUYERS
from quoting.costing import exact_cost
from quoting.formulas import Do, Plainly, Recording
from quoting.numbers import whole_up
from quoting.planning.counting import count_part
from quoting.planning.jobwork import JobWork, before_printing, job_work, packing_and_delivery, press_work
from quoting.planning.options import Counted, Draws, Order, PartOptions, Signature
from quoting.planning.orders import SittingOrder, dries_between_trips, order_of, orders_of_passes
from quoting.planning.part_plan import PartPlan
from quoting.planning.prepared import PreparedJob
from quoting.planning.quantities import PartWorkload, joining_requirements, part_workload
from quoting.rate_card import MINUTES_AN_HOUR, RateCard
from quoting.requirements import Draw, PotKind, Requirement

MOST_COMBINATIONS = 4_000  # of groups
MOST_LOOKED_AT = 20_000  # plans of a part held to a bound
MOST_RUNNERS_UP = 5
_ALTERNATIVES_A_GROUP = 3


Spent = tuple[Decimal, Draws]
"""What is paid for already, and what is still to be bought."""


class RunnerUp(Struct, frozen=True, kw_only=True):
    """A job plan that was not chosen: its ways in a line each, and its cost."""

    ways: tuple[str, ...]
    exact_cost: Decimal


class JobPlan(Struct, frozen=True, kw_only=True):
    """The chosen way to make the whole job, worked out in full, with what was looked at and left."""

    loads: tuple[PartWorkload, ...]
    work: JobWork
    requirements: tuple[Requirement, ...]
    exact_cost: Decimal
    runners_up: tuple[RunnerUp, ...]
    refusals: dict[str, dict[str, str]]
    plans_costed: int
    plans_possible: int


def way(plan: PartPlan, card: RateCard) -> str:
    """A plan of a part in a line."""
    return f"{plan.label}: {card.presses[plan.press].name}, {plan.imposition}, {plan.number_up} up"


def plan_job(prepared: PreparedJob, quantity: int, *, recording: bool = True) -> JobPlan:
    """
    The job plan of least cost for one quantity of sets, worked out in full.

    Exact within ``MOST_COMBINATIONS`` and ``MOST_LOOKED_AT``. Plans are taken in groups that ask the
    same of inking and washing, so that every combination of groups has one order of passes; within it
    plans go part by part, cut off by a bound: what is chosen, with the least of every figure of what
    is not, bought as if that were all. Ties go to the plans that come first in their written order.
    A job of so many parts that it would go beyond that is planned part by part: each begins with its
    cheapest plan alone, and takes in turn what is cheapest beside the others', until none changes; and
    again from all that can be on one press.

    Args:
        recording: Whether every formula of the chosen plan is written down, and the next best found.
    """
    search = _Search(prepared, quantity)
    search.run()
    do: Do = Recording() if recording else Plainly()
    loads, work, requirements = worked_out(do, prepared, quantity, search.best_plans)
    return JobPlan(
        loads=loads,
        work=work,
        requirements=requirements,
        exact_cost=search.best_cost,
        runners_up=search.runners_up() if recording else (),
        refusals=prepared.refusals() if recording else {},
        plans_costed=search.costed,
        plans_possible=prod(len(found.plans) for found in prepared.candidates),
    )


class _Sitting(Struct, frozen=True):
    """
    One sitting: its press, its inks in order, and where its passes stand among the parts as printed.

    Each ink with whether its sheets dry between two trips.
    """

    press: str
    inks: tuple[tuple[str, bool], ...]
    order: SittingOrder
    passes: tuple[tuple[int, int], ...]


class _Together(Struct, frozen=True):
    """One combination of groups: its orders of passes, what inking and washing cost, and what they draw."""

    groups: tuple[Signature, ...]
    orders: tuple[Order, ...]
    press_cost: Decimal
    press_draws: Draws
    sittings: tuple[_Sitting, ...]
    bound: Decimal


class _TooManyError(Exception):
    """There is more to look at than is looked at."""


class _Search:
    """Combinations of groups, cheapest bound first; in each depth first over the parts."""

    def __init__(self, prepared: PreparedJob, quantity: int) -> None:
        self.prepared, self.quantity = prepared, quantity
        self.parts = [PartOptions(prepared, number, quantity) for number in range(len(prepared.parts))]
        self.best_cost = Decimal("Infinity")
        self.best_order: list[object] = []
        self.best_plans: list[PartPlan] = []
        self.costed = self.looked_at = 0
        self.a_day = prepared.card.working_days.press_hours * MINUTES_AN_HOUR
        self._bought_before: dict[tuple[PotKind, str, Decimal], Decimal] = {}
        self._at_press_before: dict[tuple[str, tuple[tuple[str, bool], ...], int], Spent] = {}
        self.once = self._once()

    def run(self) -> None:
        """Find the cheapest plans."""
        try:
            self._exactly()
        except _TooManyError:
            self._part_by_part()

    def _exactly(self) -> None:
        """
        The cheapest of every combination.

        Raises:
            _TooManyError: there is more to look at than is looked at.
        """
        if prod(len(part.groups) for part in self.parts) > MOST_COMBINATIONS:
            raise _TooManyError
        combinations = [self._together(groups) for groups in product(*(part.groups for part in self.parts))]
        for together in sorted(combinations, key=lambda one: one.bound):
            if together.bound <= self.best_cost:
                kept = [
                    part.kept(group, order)
                    for part, group, order in zip(self.parts, together.groups, together.orders, strict=True)
                ]
                spent = self.once + together.press_cost, together.press_draws
                self._choose(together, kept, [], spent, _least_from(kept))

    def _part_by_part(self) -> None:
        """
        Each part's cheapest plan alone, then in turn its cheapest beside the others', until none changes.

        Begun anew with all that can be on one press, press by press, since parts are drawn to each other.
        """
        tried = [
            sorted(
                (one.plan for group, plans in part.groups.items() for one in part.kept(group, _as_listed(plans[0]))),
                key=lambda plan, part=part: self._alone(part, plan),  # type: ignore[misc]  # mypy loses the default
            )
            for part in self.parts
        ]
        for press in (None, *self.prepared.card.presses):
            plans = [next((plan for plan in listed if press in {None, plan.press}), listed[0]) for listed in tried]
            self._finish(*self._bettered(plans, tried))

    def _bettered(self, plans: list[PartPlan], tried: Sequence[Sequence[PartPlan]]) -> tuple[list[PartPlan], Decimal]:
        """Plans with one exchanged at a time for what makes the whole cheaper, until nothing does."""
        cost, before = self.cost_of(plans), Decimal("Infinity")
        while cost < before:
            before = cost
            for number, listed in enumerate(tried):
                for plan in listed:
                    beside = [*plans]
                    beside[number] = plan
                    found = self.cost_of(beside)
                    self.costed += 1
                    if found < cost:
                        plans, cost = beside, found
        return plans, cost

    def _alone(self, part: PartOptions, plan: PartPlan) -> tuple[Decimal, object]:
        """What a plan costs by itself, its passes as they are listed; then its place."""
        counted = part.counted(plan, _as_listed(plan))
        return counted.own_cost + self._bought(counted.draws), plan.order

    def _once(self) -> Decimal:
        """What the job costs whatever its plans: handling, proofs, mixing, joining, packing, delivery."""
        do, prepared = Plainly(), self.prepared
        job, card = prepared.job, prepared.card
        loads = []
        for part in self.parts:
            plan = next(iter(part.groups.values()))[0]
            loads.append(part.counted(plan, tuple(range(len(plan.passes)))).load)
        _, _, sent = packing_and_delivery(do, loads, job, card, self.quantity)
        asked = [*before_printing(do, loads, job, card), *_joining(do, prepared, loads), *sent]
        return exact_cost(do, asked, card, prepared.rates)

    def _together(self, groups: tuple[Signature, ...]) -> _Together:
        prepared = self.prepared
        plans = [part.groups[group][0] for part, group in zip(self.parts, groups, strict=True)]
        orders = orders_of_passes(plans, prepared.card, prepared.memory)
        places = tuple(order_of(plan, orders) for plan in plans)
        sittings = tuple(_sitting(order, plans, places, prepared.card) for order in orders)
        costs = [self._at_press(sitting, nights=0) for sitting in sittings]
        cost, draws = sum((one[0] for one in costs), Decimal(0)), _summed(one[1] for one in costs)
        least = sum(
            (
                part.kept(group, order)[0].own_cost
                for part, group, order in zip(self.parts, groups, places, strict=True)
            ),
            Decimal(0),
        )
        return _Together(groups, places, cost, draws, sittings, self.once + cost + least)

    def _at_press(self, sitting: _Sitting, *, nights: int) -> Spent:
        """What inking and washing a sitting costs, and the ink they draw: the same for the same inks at a press."""
        key = (sitting.press, sitting.inks, nights)
        if key not in self._at_press_before:
            minutes: dict[object, Decimal] = {sitting.order.passes[0]: self.a_day * (nights + 1)}
            self._at_press_before[key] = self._at_presses([sitting.order], minutes)
        return self._at_press_before[key]

    def _at_presses(self, orders: Sequence[SittingOrder], minutes: Mapping[object, Decimal]) -> Spent:
        """What inking and washing cost, and the ink they draw."""
        prepared, do = self.prepared, Plainly()
        told = {work: minutes.get(work, Decimal(0)) for order in orders for work in order.passes}
        _, asked = press_work(do, orders, told, prepared.job, prepared.card, prepared.memory)
        labour = [one for one in asked if not isinstance(one, Draw)]
        return exact_cost(do, labour, prepared.card, prepared.rates), _added_up(asked)

    def _choose(
        self,
        together: _Together,
        kept: Sequence[Sequence[Counted]],
        chosen: list[Counted],
        spent: Spent,
        least_from: Sequence[Spent],
    ) -> None:
        """Every plan of the next part that may still win with those chosen, which have ``spent`` so much."""
        number = len(chosen)
        if number == len(kept):
            self._finish([one.plan for one in chosen], self._bound(together, chosen, spent))
            return
        (own, draws), (least_own, least_draws) = spent, least_from[number + 1]
        bought_at_least = self._bought(_summed([draws, least_from[number][1]]))
        for one in kept[number]:
            own_at_least = own + one.own_cost + least_own
            if own_at_least + bought_at_least > self.best_cost:
                return  # the plans that follow cost more alone
            self.looked_at += 1
            if self.looked_at > MOST_LOOKED_AT:
                raise _TooManyError
            tried, drawn = [*chosen, one], _summed([draws, one.draws])
            if self._bound(together, tried, (own_at_least, _summed([drawn, least_draws]))) <= self.best_cost:
                self._choose(together, kept, tried, (own + one.own_cost, drawn), least_from)

    def _bound(self, together: _Together, chosen: Sequence[Counted], spent: Spent) -> Decimal:
        """What is spent, bought, with the nights that fall among the passes of the plans that are chosen."""
        least = spent[0] + self._bought(spent[1])
        if least > self.best_cost or sum((one.minutes for one in chosen), Decimal(0)) <= self.a_day:
            return least
        own, draws = self._with_nights(together, chosen, spent)
        return own + self._bought(draws)

    def _with_nights(self, together: _Together, chosen: Sequence[Counted], spent: Spent) -> Spent:
        own, draws = spent
        for sitting in together.sittings:
            busy = sum(
                (chosen[number].load.pass_minutes[place] for number, place in sitting.passes if number < len(chosen)),
                Decimal(0),
            )
            if busy > self.a_day:
                nights = whole_up(busy / self.a_day) - 1
                (without, drawn), (cost, draw) = (self._at_press(sitting, nights=many) for many in (0, 1))
                own += nights * (cost - without)
                draws = _summed([draws, {key: nights * (amount - drawn[key]) for key, amount in draw.items()}])
        return own, draws

    def cost_of(self, plans: Sequence[PartPlan]) -> Decimal:
        """What any plans cost, nights among their passes counted."""
        prepared = self.prepared
        orders = orders_of_passes(plans, prepared.card, prepared.memory)
        counted = [part.counted(plan, order_of(plan, orders)) for part, plan in zip(self.parts, plans, strict=True)]
        minutes: dict[object, Decimal] = {}
        for one in counted:
            minutes.update(zip(one.load.plan.passes, one.load.pass_minutes, strict=True))
        cost, draws = self._at_presses(orders, minutes)
        own = sum((one.own_cost for one in counted), Decimal(0))
        return self.once + cost + own + self._bought(_summed([draws, *(one.draws for one in counted)]))

    def _bought(self, draws: Draws) -> Decimal:
        total = Decimal(0)
        for (pot, key), amount in draws.items():
            asked = (pot, key, amount)
            if asked not in self._bought_before:
                bought = BUYERS[pot](Plainly(), self.prepared.card, key, amount)
                self._bought_before[asked] = sum((one.cost for one in bought), Decimal(0))
            total += self._bought_before[asked]
        return total

    def _finish(self, plans: list[PartPlan], cost: Decimal) -> None:
        self.costed += 1
        order: list[object] = [plan.order for plan in plans]
        if (cost, order) < (self.best_cost, self.best_order):
            self.best_cost, self.best_order, self.best_plans = cost, order, plans

    def runners_up(self) -> tuple[RunnerUp, ...]:
        """The next best: the chosen plans with another plan for one of the parts, the cheapest few of each group."""
        tried: dict[tuple[int, ...], tuple[Decimal, list[PartPlan]]] = {}
        for number, part in enumerate(self.parts):
            for group in part.groups.values():
                for plan in self._cheapest_alone(part, group):
                    plans = [*self.best_plans]
                    plans[number] = plan
                    if plan is not self.best_plans[number]:
                        tried[tuple(id(one) for one in plans)] = (self.cost_of(plans), plans)
        ranked = sorted(tried.values(), key=lambda found: (found[0], [plan.order for plan in found[1]]))
        return tuple(
            RunnerUp(ways=tuple(way(plan, self.prepared.card) for plan in plans), exact_cost=cost)
            for cost, plans in ranked[:MOST_RUNNERS_UP]
        )

    def _cheapest_alone(self, part: PartOptions, group: Sequence[PartPlan]) -> Iterable[PartPlan]:
        listed = [part.counted(plan, tuple(range(len(plan.passes)))) for plan in group]
        listed.sort(key=lambda one: (one.own_cost + self._bought(one.draws), one.plan.order))
        return [one.plan for one in listed[:_ALTERNATIVES_A_GROUP]]


def _sitting(order: SittingOrder, plans: Sequence[PartPlan], places: Sequence[Order], card: RateCard) -> _Sitting:
    passes = tuple(
        (number, places[number].index(plan.passes.index(work)))
        for work in order.passes
        for number, plan in enumerate(plans)
        if (work.item, work.part) == (plan.item, plan.part)
    )
    inks = tuple((work.ink or CLEAN, dries_between_trips(work, card)) for work in order.passes)
    return _Sitting(order.press, inks, order, passes)


def _as_listed(plan: PartPlan) -> Order:
    """Its passes in the order in which they are listed."""
    return tuple(range(len(plan.passes)))


def _least_from(kept: Sequence[Sequence[Counted]]) -> list[Spent]:
    """For each part, the least own cost and the least draws of it and all the parts after it; last of none."""
    least: list[Spent] = [(Decimal(0), {})]
    for counted in reversed(kept):
        own = min(one.own_cost for one in counted)
        draws = {key: min(one.draws[key] for one in counted) for key in counted[0].draws}
        least.append((least[-1][0] + own, _summed([least[-1][1], draws])))
    return least[::-1]


def _summed(many: Iterable[Draws]) -> Draws:
    total: Draws = {}
    for draws in many:
        if not total:
            total = dict(draws)
            continue
        for key, amount in draws.items():
            total[key] = total[key] + amount if key in total else amount
    return total


def _added_up(requirements: Iterable[Requirement]) -> Draws:
    return _summed({(asked.pot, asked.key): asked.amount} for asked in requirements if isinstance(asked, Draw))


def _joining(do: Do, prepared: PreparedJob, loads: Sequence[PartWorkload]) -> list[Requirement]:
    """What joining the parts of each item asks."""
    asked: list[Requirement] = []
    for place, item in enumerate(prepared.job.items):
        mine = tuple(load for load in loads if load.plan.item == place)
        asked.extend(joining_requirements(do, item, mine, prepared.card))
    return asked


def worked_out(
    do: Do,
    prepared: PreparedJob,
    quantity: int,
    plans: Sequence[PartPlan],
    orders: Sequence[SittingOrder] | None = None,
) -> tuple[tuple[PartWorkload, ...], JobWork, tuple[Requirement, ...]]:
    """
    Plans worked out in full, one of each part; a recording ``do`` has every formula written down.

    Args:
        orders: The order of passes to hold to; the cheapest where none is given.
    """
    job, card = prepared.job, prepared.card
    if orders is None:
        orders = orders_of_passes(plans, card, prepared.memory)
    loads: list[PartWorkload] = []
    for plan, (item, part) in zip(plans, prepared.parts, strict=True):
        printed = plan.printed(order_of(plan, orders))
        count = count_part(do, printed, item, part, card, quantity)
        loads.append(part_workload(do, printed, item, part, job, card, quantity, count))
    joining = _joining(do, prepared, loads)
    work = job_work(do, loads, orders, job, card, quantity, prepared.memory)
    asked = [one for load in loads for one in load.requirements]
    return tuple(loads), work, (*asked, *joining, *work.requirements)
