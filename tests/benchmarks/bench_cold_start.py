"""
Cold starts, each as a multiple of ``python -c "import msgspec"`` in the same minute.

Run with ``python -m tests.benchmarks.bench_cold_start``.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path

SHOP = Path(__file__).resolve().parents[2] / "rate_cards_demo" / "marrowby-lane"
ROUNDS = 21
PRICE = [
    sys.executable,
    "-m",
    "quoting.cli",
    "price",
    str(SHOP / "jobs" / "coasters.toml"),
    "--card",
    str(SHOP / "card"),
]
COMPILED = {**os.environ, "PYTHONDONTWRITEBYTECODE": ""}  # as an installed package is
COMMANDS: dict[str, Sequence[str]] = {
    "import msgspec": [sys.executable, "-c", "import msgspec"],
    "import quoting": [sys.executable, "-c", "import quoting"],
    "quoting price --json": [*PRICE, "--json"],
    "quoting price": PRICE,
}


def main() -> None:
    """Take the commands in turn, round by round, and print medians and ratios."""
    seconds: dict[str, list[float]] = {name: [] for name in COMMANDS}
    for _ in range(ROUNDS):
        for name, command in COMMANDS.items():
            began = time.perf_counter()
            subprocess.run(command, check=True, capture_output=True, env=COMPILED)
            seconds[name].append(time.perf_counter() - began)
    baseline = statistics.median(seconds["import msgspec"])
    for name, times in seconds.items():
        median = statistics.median(times)
        print(f"{name:24} {median * 1000:7.1f} ms  {median / baseline:5.2f} x")


if __name__ == "__main__":
    main()
