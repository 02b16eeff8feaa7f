"""
The cheapest plan of a job of one part for many quantities at once.

Every plan is costed over all the quantities by the same formulas, many numbers at a time. The floats
only rule plans out, and by a margin a thousand times their error: where two plans come closer than
that, nothing is said and the search decides. Every figure that is shown is worked out in Decimals.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from quoting.costing import exact_cost
from quoting.formulas import Plainly
from quoting.many import Floats, Many, floats
from quoting.planning.counting import count_part
from quoting.planning.jobwork import press_work
from quoting.planning.options import undominated_sheets
from quoting.planning.orders import order_of, orders_of_passes
from quoting.planning.part_plan import PartPlan
from quoting.planning.prepared import PreparedJob
from quoting.planning.quantities import part_workload

CLOSE = 1e-6  # of a unit of money; a float's error here is under a thousandth of it


def cheapest_plans(prepared: PreparedJob, quantities: Sequence[int]) -> list[PartPlan | None]:
    """The plan of a job's one part for each quantity; None where two come too close to tell, or cannot be told."""
    plans = undominated_sheets(prepared.candidates[0].plans)
    try:
        costs = np.stack([_costs(prepared, plan, quantities) for plan in plans])
    except TypeError:  # a branch on which the quantities do not agree
        return [None] * len(quantities)
    least = costs.min(axis=0)
    clear = (costs <= least + CLOSE).sum(axis=0) == 1
    places = costs.argmin(axis=0)
    return [plans[place] if one else None for place, one in zip(places, clear, strict=True)]


def _costs(prepared: PreparedJob, plan: PartPlan, quantities: Sequence[int]) -> Floats:
    """What a plan costs over the quantities, less what is the same whatever the plan."""
    do, card = Plainly(), prepared.card
    orders = orders_of_passes([plan], card, prepared.memory)
    printed = plan.printed(order_of(plan, orders))
    item, part = prepared.parts[0]
    many: Any = Many(quantities)
    count = count_part(do, printed, item, part, card, many)
    load = part_workload(do, printed, item, part, prepared.job, card, many, count)
    minutes = dict(zip(load.plan.passes, load.pass_minutes, strict=True))
    _, at_press = press_work(do, orders, minutes, prepared.job, card, prepared.memory)
    cost = exact_cost(do, [*load.requirements, *at_press], card, prepared.rates)
    costs: Floats = np.broadcast_to(np.asarray(floats(cost), dtype=np.float64), (len(quantities),))
    return costs
