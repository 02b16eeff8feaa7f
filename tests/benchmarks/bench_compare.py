"""
A comparison against single estimates, and draws against single estimates, in the same minute.

Run with ``python -m tests.benchmarks.bench_compare``. Only the ratios mean anything.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence

from msgspec.structs import replace

from quoting import estimate_job, load_job, load_rate_card
from quoting.compare import compare_job
from quoting.places import packaged
from quoting.risk import risk_of
from tests.conftest import DAY

JOBS: dict[tuple[str, str], tuple[str, ...]] = {
    ("marrowby-lane", "cards"): ("105 x 148 mm", "110 x 150 mm", "115 x 155 mm", "120 x 160 mm", "125 x 165 mm"),
    ("marrowby-lane", "labels"): ("60 x 90 mm", "62 x 92 mm", "64 x 94 mm", "66 x 96 mm", "68 x 98 mm"),
    ("pellam-hollow", "labels"): ("3 x 4 in", "3 1/8 x 4 in", "3 1/4 x 4 in", "3 3/8 x 4 in", "3 1/2 x 4 in"),
}
QUANTITIES = tuple(range(20, 1020, 5))
ROUNDS = 9


def seconds(work: Callable[[], object], rounds: int = ROUNDS) -> float:
    """The least of several runs, in seconds of the processor: others may be at work on the machine."""
    times = []
    for _ in range(rounds):
        began = time.process_time()
        work()
        times.append(time.process_time() - began)
    return min(times)


def ratios(shop: str, name: str, sizes: Sequence[str]) -> tuple[float, float, float]:
    """A single estimate's seconds; a comparison as a share of its cells' estimates; 10,000 draws in estimates."""
    folder = packaged("rate_cards_demo") / shop
    card, job = load_rate_card(folder / "card"), load_job(folder / "jobs" / f"{name}.toml")
    middle = replace(job, quantities=(QUANTITIES[len(QUANTITIES) // 2],))
    one = seconds(lambda: estimate_job(middle, card, on=DAY))
    part = job.items[0].all_parts()[0].name
    found = compare_job(job, card, on=DAY, quantities=QUANTITIES, sizes=sizes, part=part)
    cells = sum(len(variant.cells) for variant in found.variants)
    grid = seconds(lambda: compare_job(job, card, on=DAY, quantities=QUANTITIES, sizes=sizes, part=part), rounds=2)
    drawn = seconds(lambda: risk_of(job, card, middle.quantities[0], on=DAY))
    return one, grid / cells / one, drawn / one


def main() -> None:
    """Print each job's ratios."""
    for (shop, name), sizes in JOBS.items():
        one, cell, draws = ratios(shop, name, sizes)
        print(
            f"{shop}, {name:8} estimate {one * 1000:6.2f} ms; a cell of 200 x 5 costs {cell:5.3f} estimates;"
            f" 10,000 draws cost {draws:5.1f} estimates"
        )


if __name__ == "__main__":
    main()
