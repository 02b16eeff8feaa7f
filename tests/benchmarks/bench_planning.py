"""
The whole plan search as a multiple of one plan costed in full (requirements, lines, sentences).

Over the demo jobs and drawn ones, each timed beside its own baseline. Run with
``python -m tests.benchmarks.bench_planning [NUMBER OF DRAWN JOBS]``.
"""

from __future__ import annotations

import statistics
import sys
import time
from collections.abc import Callable

from quoting import Job, NoPlanError, RateCard, load_job, load_rate_card
from quoting.formulas import Recording
from quoting.line_items import line_items
from quoting.numbers import in_engine_context
from quoting.planning.prepared import PreparedJob
from quoting.planning.search import plan_job, worked_out
from tests.conftest import SHOPS, demo_card_path, demo_job_path, demo_jobs
from tests.planning.jobs import drawn_job


def seconds(call: Callable[[], object], rounds: int = 3) -> float:
    """The shortest of a few calls, in seconds of this process: other work on the machine is not in it."""
    best = float("inf")
    for _ in range(rounds):
        began = time.process_time()
        call()
        best = min(best, time.process_time() - began)
    return best


@in_engine_context
def measured(job: Job, card: RateCard) -> tuple[float, float, int, int]:
    """Ratio, microseconds of the search, plans costed, plans possible."""
    quantity = job.quantities[0]
    plan = plan_job(PreparedJob(job, card), quantity)

    def search() -> None:
        plan_job(PreparedJob(job, card), quantity, recording=False)

    def one_plan() -> None:
        do = Recording()
        _, _, requirements = worked_out(do, kept, quantity, [load.plan for load in plan.loads])
        line_items(do, requirements, card, len(job.items))

    kept = PreparedJob(job, card)
    searching, costing = seconds(search), seconds(one_plan)
    return searching / costing, searching * 1e6, plan.plans_costed, plan.plans_possible


def main() -> None:
    """Print medians and 95th percentiles."""
    number = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    cards = {shop: load_rate_card(demo_card_path(shop)) for shop in SHOPS}
    sets = {"demo jobs": [(load_job(demo_job_path(shop, job)), cards[shop]) for shop, job in demo_jobs()]}
    sets["drawn jobs"] = [(drawn_job(seed, cards[SHOPS[seed % 2]]), cards[SHOPS[seed % 2]]) for seed in range(number)]
    for name, jobs in sets.items():
        rows = []
        for job, card in jobs:
            try:
                rows.append(measured(job, card))
            except NoPlanError:
                continue
        ratios = sorted(row[0] for row in rows)
        looked_at, possible = (sum(row[place] for row in rows) for place in (2, 3))
        print(
            f"{name}: {len(rows)} jobs; ratio median {statistics.median(ratios):.1f},"
            f" 95th percentile {ratios[int(len(ratios) * 0.95)]:.1f}, greatest {ratios[-1]:.1f};"
            f" search {statistics.median(row[1] for row in rows):.0f} us;"
            f" job plans looked at {looked_at:,} of {possible:,}, pruned {possible - looked_at:,}"
            f" (medians {statistics.median(row[2] for row in rows):.0f}"
            f" of {statistics.median(row[3] for row in rows):.0f})"
        )


if __name__ == "__main__":
    main()
