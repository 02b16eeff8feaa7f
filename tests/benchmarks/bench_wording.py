"""
Fitting 10,000 characters beside splitting them into words: ``python -m tests.benchmarks.bench_wording``.

Ratios are to ``text.split()`` on the same machine in the same run. Breaking is lines, depth and ems;
spacing fills every line with spaces; the report adds sorts, settings and time.
"""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from time import perf_counter

from quoting import load_rate_card
from quoting.units import Length
from quoting.wording import fit, spaced
from quoting.wording.fitting import Wording, fit_report
from tests.conftest import demo_card_path
from tests.wording.test_copyfitting import LINCOLN

CHARACTERS = 10_000
LETTERS = "etaoinshrdlucmfwypvbgkjqxz"
MEASURE = Length("24 picas")


def seconds(call: Callable[[], object], calls: int) -> float:
    """The least of seven measurements, a call."""
    times = []
    for _ in range(7):
        start = perf_counter()
        for _ in range(calls):
            call()
        times.append((perf_counter() - start) / calls)
    return min(times)


def varied(characters: int) -> str:
    """The passage over and over, its words turned on by a letter and ended by another each time: few come twice."""
    words = LINCOLN.split()
    times = range(characters // len(LINCOLN) + 1)
    turned = (f"{word[by % len(word) :]}{word[: by % len(word)]}{LETTERS[by % 26]}" for by in times for word in words)
    return " ".join(turned)[:characters].strip()


def main() -> None:
    """Print the ratios; some seconds."""
    card = load_rate_card(demo_card_path("marrowby-lane"))
    fount = card.founts["ropewalk-10"]
    text = varied(CHARACTERS)
    measure: Decimal = MEASURE.in_base_unit
    split = seconds(text.split, 200)
    fitted = fit(text, fount, measure_mm=measure)
    asked = Wording(text=text, fount="ropewalk-10", measure=MEASURE)
    print(f"{len(text)} characters, {fitted.words} words, {len(fitted.lines)} lines")
    for name, call, calls in (
        ("broken into lines", lambda: fit(text, fount, measure_mm=measure), 20),
        ("and every line spaced", lambda: spaced(fit(text, fount, measure_mm=measure), fount), 5),
        ("whole report", lambda: fit_report(asked, card), 2),
    ):
        taken = seconds(call, calls)
        print(f"{name:24} {taken / split:8.1f} times splitting into words, {1000 * taken:7.2f} ms")


if __name__ == "__main__":
    main()
