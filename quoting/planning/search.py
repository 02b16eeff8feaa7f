"""The cheapest plan for the whole job: parts planned together, since they share packs, inks and washes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from math import prod

from msgspec import Struct
from msgspec.structs import replace

from quoting.costing import RateMemory, exact_cost
from quoting.errors import NoPlanError
from quoting.formulas import Do, Plainly, Recording
from quoting.job import Item, Job, Part
from quoting.planning.candidates import Candidates, part_candidates
from quoting.planning.counting import count_part
from quoting.planning.jobwork import JobWork, job_work
from quoting.planning.orders import SittingOrder, WashMemory, orders_of_passes, possible_orders, printed_in_order
from quoting.planning.part_plan import PartPlan
from quoting.planning.pins import Pin, check_pins, pinned
from quoting.planning.quantities import PartWorkload, joining_requirements, part_workload
from quoting.rate_card import RateCard
from quoting.requirements import Draw, PotKind, Requirement

MOST_RUNNERS_UP = 5


class RunnerUp(Struct, frozen=True, kw_only=True):
    """A job plan that was not chosen: its ways in a line each, and its cost over the chosen one's."""

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


class PreparedJob:
    """A job's candidates and a card's rates, worked out once and used for every quantity."""

    def __init__(self, job: Job, card: RateCard, pins: Sequence[Pin] = ()) -> None:
        self.job, self.card = job, card
        check_pins(pins, [part.name for item in job.items for part in item.all_parts()], card)
        self.rates, self.memory = RateMemory(card), WashMemory(card)
        self.parts: list[tuple[Item, Part]] = []
        self.candidates: list[Candidates] = []
        for place, item in enumerate(job.items):
            for number, part in enumerate(item.all_parts()):
                found = pinned(part_candidates(item, part, card, places=(place, number)), pins)
                if not found.plans:
                    raise NoPlanError(part.name, found.refusals)
                self.parts.append((item, part))
                self.candidates.append(found)

    def refusals(self) -> dict[str, dict[str, str]]:
        """Every refusal, part by part."""
        return {
            part.name: found.refusals
            for (_, part), found in zip(self.parts, self.candidates, strict=True)
            if found.refusals
        }


def way(plan: PartPlan, card: RateCard) -> str:
    """A plan of a part in a line."""
    return f"{plan.label}: {card.presses[plan.press].name}, {plan.imposition}, {plan.number_up} up"


def plan_job(prepared: PreparedJob, quantity: int, *, recording: bool = True) -> JobPlan:
    """
    The job plan of least cost for one quantity of sets.

    Exact: washing and buying for some parts never cost less when parts are added, and what each
    part asks alone is bounded by the cheapest order of its passes; the sum is a bound that rules
    plans out. Ties go to the plans that come first in their written order.
    """
    search = _Search(prepared, quantity)
    search.from_part(0, ())
    do = Recording() if recording else Plainly()
    return _chosen(do, prepared, quantity, search)


class _Counted:
    """A part's workload for one order of its passes: what it costs alone, and what it draws."""

    def __init__(self, load: PartWorkload, card: RateCard, rates: RateMemory) -> None:
        self.load = load
        own = [asked for asked in load.requirements if not isinstance(asked, Draw)]
        self.own_cost = exact_cost(Plainly(), own, card, rates)
        self.draws: dict[tuple[PotKind, str], Decimal] = {}
        for asked in load.requirements:
            if isinstance(asked, Draw):
                key = (asked.pot, asked.key)
                self.draws[key] = self.draws.get(key, Decimal(0)) + asked.amount


class _Option:
    """One plan of a part, counted for every order of its passes, with the least of each figure."""

    def __init__(self, plan: PartPlan, counted: Sequence[_Counted]) -> None:
        self.plan = plan
        self.by_order = {one.load.plan.passes: one for one in counted}
        self.least_own = min(one.own_cost for one in counted)
        self.least_draws = {key: min(one.draws.get(key, Decimal(0)) for one in counted) for key in counted[0].draws}


class _Search:
    """Depth first over the parts, each part's plans cheapest first, cut off by the bound."""

    def __init__(self, prepared: PreparedJob, quantity: int) -> None:
        self.prepared, self.quantity = prepared, quantity
        self.options = [self._options(number) for number in range(len(prepared.parts))]
        self.least_after = [
            sum((options[0].least_own for options in self.options[number + 1 :]), Decimal(0))
            for number in range(len(self.options))
        ]
        self.best: tuple[Decimal, list[object]] | None = None
        self.best_picks: tuple[int, ...] = ()
        self.finished: list[tuple[Decimal, tuple[int, ...]]] = []
        self.costed = 0

    def _options(self, number: int) -> list[_Option]:
        prepared = self.prepared
        options = [
            _Option(
                plan,
                [
                    _Counted(
                        _load(Plainly(), prepared, number, ordered, self.quantity), prepared.card, prepared.rates
                    )
                    for ordered in possible_orders(plan)
                ],
            )
            for plan in prepared.candidates[number].plans
        ]
        return sorted(options, key=lambda option: (option.least_own, option.plan.order))

    def from_part(self, number: int, picks: tuple[int, ...]) -> None:
        """Try every plan of one part after those picked, unless the bound rules them out."""
        for pick in range(len(self.options[number])):
            tried = (*picks, pick)
            if number + 1 < len(self.options):
                if not self._ruled_out(self._bound(tried) + self.least_after[number]):
                    self.from_part(number + 1, tried)
            elif not self._ruled_out(self._bound(tried)):
                self._finish(tried)

    def _finish(self, picks: tuple[int, ...]) -> None:
        cost = self._cost(picks)
        self.finished.append((cost, picks))
        ranked = (cost, self.order(picks))
        if self.best is None or ranked < self.best:
            self.best, self.best_picks = ranked, picks

    def _ruled_out(self, bound: Decimal) -> bool:
        return self.best is not None and bound > self.best[0]

    def order(self, picks: Sequence[int]) -> list[object]:
        """The written order by which ties fall."""
        return [self.options[place][pick].plan.order for place, pick in enumerate(picks)]

    def plans(self, picks: Sequence[int]) -> list[PartPlan]:
        """The plans picked."""
        return [self.options[place][pick].plan for place, pick in enumerate(picks)]

    def _bound(self, picks: Sequence[int]) -> Decimal:
        """What the picked plans cannot cost less than: every figure at its least over the orders."""
        options = [self.options[place][pick] for place, pick in enumerate(picks)]
        first = [next(iter(option.by_order.values())) for option in options]
        orders = orders_of_passes([one.load.plan for one in first], self.prepared.card, self.prepared.memory)
        own = sum((option.least_own for option in options), Decimal(0))
        return own + self._shared_cost(
            [replace(one.load, pass_minutes=(Decimal(0),) * len(one.load.pass_minutes)) for one in first],
            orders,
            [option.least_draws for option in options],
        )

    def _cost(self, picks: Sequence[int]) -> Decimal:
        """What the picked plans cost, their passes in the order in which they are printed."""
        self.costed += 1
        plans = self.plans(picks)
        orders = orders_of_passes(plans, self.prepared.card, self.prepared.memory)
        counted = [
            self.options[place][pick].by_order[printed_in_order(plans[place], orders).passes]
            for place, pick in enumerate(picks)
        ]
        own = sum((one.own_cost for one in counted), Decimal(0))
        return own + self._shared_cost([one.load for one in counted], orders, [one.draws for one in counted])

    def _shared_cost(
        self,
        loads: Sequence[PartWorkload],
        orders: Sequence[SittingOrder],
        draws: Sequence[Mapping[tuple[PotKind, str], Decimal]],
    ) -> Decimal:
        """What is bought for all of them, and done once for the job."""
        prepared = self.prepared
        once, _ = _once(Plainly(), prepared, tuple(loads), orders, self.quantity)
        drawn = [
            Draw(pot=pot, key=key, what="", item=0, amount=amount, unit="")
            for one in draws
            for (pot, key), amount in one.items()
        ]
        return exact_cost(Plainly(), [*once, *drawn], prepared.card, prepared.rates)


def _load(do: Do, prepared: PreparedJob, number: int, plan: PartPlan, quantity: int) -> PartWorkload:
    item, part = prepared.parts[number]
    count = count_part(do, plan, item, part, prepared.card, quantity)
    return part_workload(do, plan, item, part, prepared.job, prepared.card, quantity, count)


def _once(
    do: Do,
    prepared: PreparedJob,
    loads: tuple[PartWorkload, ...],
    orders: Sequence[SittingOrder],
    quantity: int,
) -> tuple[tuple[Requirement, ...], JobWork]:
    """What joining the parts of an item asks, and what the job does once."""
    job, card = prepared.job, prepared.card
    joining: list[Requirement] = []
    for place, item in enumerate(job.items):
        mine = tuple(load for load in loads if load.plan.item == place)
        if len(mine) == len(item.all_parts()):
            joining.extend(joining_requirements(do, item, mine, card))
    work = job_work(do, loads, orders, job, card, quantity, prepared.memory)
    return (*joining, *work.requirements), work


def worked_out(
    do: Do, prepared: PreparedJob, quantity: int, plans: Sequence[PartPlan]
) -> tuple[tuple[PartWorkload, ...], JobWork, tuple[Requirement, ...]]:
    """Plans worked out in full, one of each part; a recording ``do`` has every formula written down."""
    orders = orders_of_passes(plans, prepared.card, prepared.memory)
    loads = tuple(
        _load(do, prepared, number, printed_in_order(plan, orders), quantity) for number, plan in enumerate(plans)
    )
    once, work = _once(do, prepared, loads, orders, quantity)
    return loads, work, (*(asked for load in loads for asked in load.requirements), *once)


def _chosen(do: Do, prepared: PreparedJob, quantity: int, search: _Search) -> JobPlan:
    """The cheapest plans worked out once more, with the next best beside them."""
    loads, work, requirements = worked_out(do, prepared, quantity, search.plans(search.best_picks))
    others = sorted(search.finished, key=lambda found: (found[0], search.order(found[1])))
    runners_up = tuple(
        RunnerUp(ways=tuple(way(plan, prepared.card) for plan in search.plans(picks)), exact_cost=cost)
        for cost, picks in others
        if picks != search.best_picks
    )
    return JobPlan(
        loads=loads,
        work=work,
        requirements=requirements,
        exact_cost=others[0][0],
        runners_up=runners_up[:MOST_RUNNERS_UP],
        refusals=prepared.refusals(),
        plans_costed=search.costed,
        plans_possible=prod(len(options) for options in search.options),
    )
