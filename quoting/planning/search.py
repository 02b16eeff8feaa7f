"""The cheapest plan for the whole job: parts planned together, since they share packs, inks and washes."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from msgspec import Struct

from quoting.costing import RateMemory, exact_cost
from quoting.errors import NoPlanError
from quoting.formulas import Do, Plainly, Recording
from quoting.job import Item, Job, Part
from quoting.planning.candidates import Candidates, part_candidates
from quoting.planning.counting import count_part
from quoting.planning.jobwork import JobWork, WashMemory, job_work
from quoting.planning.part_plan import PartPlan
from quoting.planning.quantities import PartWorkload, joining_requirements, part_workload
from quoting.rate_card import RateCard
from quoting.requirements import Requirement

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
    runners_up: tuple[RunnerUp, ...]
    refusals: dict[str, dict[str, str]]
    plans_costed: int
    plans_possible: int


class PreparedJob:
    """A job's candidates and a card's rates, worked out once and used for every quantity."""

    def __init__(self, job: Job, card: RateCard) -> None:
        self.job, self.card = job, card
        self.rates, self.memory = RateMemory(card), WashMemory(card)
        self.parts: list[tuple[Item, Part]] = []
        self.candidates: list[Candidates] = []
        for place, item in enumerate(job.items):
            for number, part in enumerate(item.all_parts()):
                found = part_candidates(item, part, card, places=(place, number))
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

    Exact: adding a part never makes the parts before it cheaper, so what the first parts cost
    together, with the least that each later part costs beyond what can be shared, is a bound.
    Ties go to the plans that come first in their written order.
    """
    search = _Search(prepared, quantity)
    search.from_part(0, ())
    chosen = [search.options[place][pick] for place, pick in enumerate(search.best_picks)]
    do = Recording() if recording else Plainly()
    return _worked_out(do, prepared, quantity, [load.plan for load in chosen], search)


class _Search:
    """Depth first over the parts, each part's plans cheapest first, cut off by the bound."""

    def __init__(self, prepared: PreparedJob, quantity: int) -> None:
        self.prepared, self.quantity = prepared, quantity
        self.options: list[list[PartWorkload]] = []
        self.own_costs: list[list[Decimal]] = []
        for number, found in enumerate(prepared.candidates):
            loads = [_load(Plainly(), prepared, number, plan, quantity) for plan in found.plans]
            own = [self._own_cost(load) for load in loads]
            order = sorted(range(len(loads)), key=lambda place: (own[place], place))
            self.options.append([loads[place] for place in order])
            self.own_costs.append([own[place] for place in order])
        self.least_after = [
            sum((costs[0] for costs in self.own_costs[number + 1 :]), Decimal(0))
            for number in range(len(self.options))
        ]
        self.best_cost: Decimal | None = None
        self.best_picks: tuple[int, ...] = ()
        self.finished: list[tuple[Decimal, tuple[int, ...]]] = []
        self.costed = 0

    def _own_cost(self, load: PartWorkload) -> Decimal:
        """What only this part asks for: its labour and charges, no pot that another part may share."""
        own = [asked for asked in load.requirements if not hasattr(asked, "pot")]
        return exact_cost(Plainly(), own, self.prepared.card, self.prepared.rates)

    def from_part(self, number: int, picks: tuple[int, ...]) -> None:
        """Try every plan of one part after those picked, unless the bound rules them out."""
        for pick in range(len(self.options[number])):
            tried = (*picks, pick)
            cost = self._cost(tried)
            if self._ruled_out(cost + self.least_after[number]):
                continue
            if number + 1 < len(self.options):
                self.from_part(number + 1, tried)
                continue
            self.finished.append((cost, tried))
            if self.best_cost is None or (cost, self._order(tried)) < (
                self.best_cost,
                self._order(self.best_picks),
            ):
                self.best_cost, self.best_picks = cost, tried

    def _ruled_out(self, bound: Decimal) -> bool:
        return self.best_cost is not None and bound > self.best_cost

    def _order(self, picks: Sequence[int]) -> list[object]:
        return [self.options[place][pick].plan.order for place, pick in enumerate(picks)]

    def _cost(self, picks: Sequence[int]) -> Decimal:
        self.costed += 1
        loads = tuple(self.options[place][pick] for place, pick in enumerate(picks))
        requirements, _ = _all_requirements(Plainly(), self.prepared, loads, self.quantity)
        return exact_cost(Plainly(), requirements, self.prepared.card, self.prepared.rates)


def _load(do: Do, prepared: PreparedJob, number: int, plan: PartPlan, quantity: int) -> PartWorkload:
    item, part = prepared.parts[number]
    count = count_part(do, plan, item, part, prepared.card, quantity)
    return part_workload(do, plan, item, part, prepared.job, prepared.card, quantity, count)


def _all_requirements(
    do: Do, prepared: PreparedJob, loads: tuple[PartWorkload, ...], quantity: int
) -> tuple[tuple[Requirement, ...], JobWork]:
    """Requirements of the parts, of joining them, and of the job."""
    job, card = prepared.job, prepared.card
    requirements = [asked for load in loads for asked in load.requirements]
    for place, item in enumerate(job.items):
        mine = tuple(load for load in loads if load.plan.item == place)
        if len(mine) == len(item.all_parts()):
            requirements.extend(joining_requirements(do, item, mine, card))
    work = job_work(do, loads, job, card, quantity, prepared.memory)
    return (*requirements, *work.requirements), work


def _worked_out(do: Do, prepared: PreparedJob, quantity: int, plans: Sequence[PartPlan], search: _Search) -> JobPlan:
    """The chosen plans once more; a recording ``do`` has every formula written down."""
    loads = tuple(_load(do, prepared, number, plan, quantity) for number, plan in enumerate(plans))
    requirements, work = _all_requirements(do, prepared, loads, quantity)
    others = sorted(search.finished, key=lambda found: (found[0], search._order(found[1])))
    runners_up = tuple(
        RunnerUp(
            ways=tuple(way(search.options[place][pick].plan, prepared.card) for place, pick in enumerate(picks)),
            exact_cost=cost,
        )
        for cost, picks in others
        if picks != search.best_picks
    )
    possible = 1
    for options in search.options:
        possible *= len(options)
    return JobPlan(
        loads=loads,
        work=work,
        requirements=requirements,
        runners_up=runners_up[:MOST_RUNNERS_UP],
        refusals=prepared.refusals(),
        plans_costed=search.costed,
        plans_possible=possible,
    )
