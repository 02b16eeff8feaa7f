"""
Cutting beside a one-liner, a packing library and a constraint solver: ``python -m tests.benchmarks.bench_cutting``.

Ratios are to the better of two grids on the same machine in the same run; times of a machine are not
comparable with another's. Nothing is remembered between calls of ``count_out``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from decimal import Decimal
from fractions import Fraction
from random import Random
from statistics import median
from time import perf_counter

import rectpack
from ortools.sat.python import cp_model

from quoting.cutting import Rectangle, count_out, cut_out
from quoting.units import Size

Sheet = tuple[int, int, int, int]

SHEETS_IN = ["26x40", "23x35", "25x38", "20x26", "17x22", "19x25", "24x36", "45/2x57/2", "12x18", "13x19", "9x12"]
PIECES_IN = ["7/2x2", "5x7", "4x6", "17/4x11/2", "6x19/2", "19/4x25/4", "17/2x12", "15/4x15/4", "9/4x4", "9/2x25/4"]
SHEETS_MM = ["700x1000", "640x900", "520x720", "450x640", "320x450", "297x420", "594x841", "210x297"]
PIECES_MM = ["85x55", "90x50", "105x148", "148x210", "95x95", "100x210", "52x88", "120x170", "99x210"]


def better_grid(length: int, width: int, a: int, b: int) -> int:
    """What everybody writes first."""
    return max(length // a * (width // b), length // b * (width // a))


def _pairs(sheets: list[str], pieces: list[str], unit: int) -> Iterator[Sheet]:
    for sheet in sheets:
        for piece in pieces:
            wide, high, a, b = (int(Fraction(side) * unit) for side in (*sheet.split("x"), *piece.split("x")))
            if min(wide, high) >= max(a, b):
                yield wide, high, a, b


def everyday() -> list[Sheet]:
    """Trade sheets and trade pieces, in 64ths of an inch and in millimetres."""
    return [*_pairs(SHEETS_IN, PIECES_IN, 64), *_pairs(SHEETS_MM, PIECES_MM, 1)]


def hard(number: int, least: int, most: int, seed: int = 1) -> list[Sheet]:
    """Sides without common measure, with area for ``least`` to ``most`` pieces."""
    chance = Random(seed)
    sheets: list[Sheet] = []
    while len(sheets) < number:
        b = chance.randint(5, 120)
        a = chance.randint(b + 1, 4 * b)
        area, shape = chance.randint(least, most) * a * b, chance.uniform(1, 2)
        wide, high = int((area * shape) ** 0.5) + chance.randint(0, b), int((area / shape) ** 0.5)
        if min(wide, high) >= a:
            sheets.append((wide, high, a, b))
    return sheets


def seconds(call: Callable[..., object], sheet: Sheet, calls: int) -> float:
    """The least of five measurements, a call."""
    times = []
    for _ in range(5):
        start = perf_counter()
        for _ in range(calls):
            call(*sheet)
        times.append((perf_counter() - start) / calls)
    return min(times)


def ratios(sheets: list[Sheet], calls: int) -> list[float]:
    """How many times the one-liner's time a count takes, rising."""
    return sorted(seconds(count_out, sheet, calls) / seconds(better_grid, sheet, 400) for sheet in sheets)


def by_rectpack(length: int, width: int, a: int, b: int) -> int:
    """The best of the library's guillotine algorithms: layouts that can be cut."""
    algorithms = [rectpack.GuillotineBssfSas, rectpack.GuillotineBafLlas, rectpack.GuillotineBlsfMaxas]
    best = 0
    for algorithm in algorithms:
        packer = rectpack.newPacker(pack_algo=algorithm, rotation=True)
        packer.add_bin(length, width)
        for _ in range(length * width // (a * b)):
            packer.add_rect(a, b)
        packer.pack()
        best = max(best, sum(len(bin_) for bin_ in packer))
    return best


def by_solver(length: int, width: int, a: int, b: int, columns: int = 4, limit_s: float = 5) -> int:
    """CP-SAT on columns of rows of either way round: layouts that can be cut."""
    model = cp_model.CpModel()
    widths, worths = [], []
    most = length * width // (a * b)
    for number in range(columns):
        wide = model.new_int_var(0, length, f"wide {number}")
        worth = model.new_int_var(0, most, f"worth {number}")
        rows = [model.new_int_var(0, width // high, f"rows {number}") for high in (b, a)]
        model.add(rows[0] * b + rows[1] * a <= width)
        held = []
        for row, along in zip(rows, (a, b), strict=True):
            in_row = model.new_int_var(0, length // along, "in a row")
            pieces = model.new_int_var(0, most, "pieces")
            model.add_division_equality(in_row, wide, along)
            model.add_multiplication_equality(pieces, [row, in_row])
            held.append(pieces)
        model.add(worth <= sum(held))
        widths.append(wide)
        worths.append(worth)
    model.add(sum(widths) <= length)
    model.maximize(sum(worths))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers, solver.parameters.max_time_in_seconds = 1, limit_s
    solver.solve(model)
    return int(solver.objective_value)


def compare(name: str, rival: Callable[..., int], sheets: list[Sheet]) -> None:
    """Print how often a rival finds fewer, more, and how many times as long it takes."""
    below = above = 0
    times = []
    for sheet in sheets:
        start = perf_counter()
        found = rival(*sheet)
        taken = perf_counter() - start
        ours = count_out(*sheet)
        below, above = below + (found < ours), above + (found > ours)
        times.append(taken / seconds(count_out, sheet, 20))
    share = f"below ours on {below} of {len(sheets)}, above on {above}"
    print(f"{name:28} {share}; {median(times):,.0f} times our time at the median, at least {min(times):,.0f}")


def layouts() -> None:
    """Print times of whole layouts and of reading measures, in milliseconds."""
    sizes = {
        "everyday, 146 pieces": ("26 x 40 in", "3 1/2 x 2 in"),
        "5,091 pieces": ("1000 x 707 mm", "14.3 x 9.7 mm"),
    }
    for name, (sheet, piece) in sizes.items():
        start = perf_counter()
        layout = cut_out(Size(sheet), Size(piece))
        print(f"layout, {name:20} {1000 * (perf_counter() - start):7.1f} ms, {len(layout.cuts)} cuts")
    start = perf_counter()
    for _ in range(1000):
        Size("26 x 40 in")
    print(f"reading a size              {perf_counter() - start:7.4f} ms")
    cut_out(Rectangle(Decimal(100), Decimal(70)), Rectangle(Decimal(9), Decimal(7)))


def main() -> None:
    """Print everything; about a minute."""
    print("count_out, times the better of two grids:")
    sets = {
        "everyday sheets": (everyday(), 20),
        "hard, 10 to 100 pieces": (hard(300, 10, 100), 10),
        "hard, 5 to 400 pieces": (hard(300, 5, 400), 10),
        "hard, 4,000 to 5,000 pieces": (hard(60, 4000, 5000), 2),
    }
    for name, (sheets, calls) in sets.items():
        rising = ratios(sheets, calls)
        below = sum(better_grid(*sheet) < count_out(*sheet) for sheet in sheets)
        middle, high = rising[len(rising) // 2], rising[int(len(rising) * 0.99)]
        print(
            f"  {name:28} {len(sheets):4}  median {middle:6.1f}  99 % {high:7.1f}  "
            f"grids below on {100 * below / len(sheets):.0f} %"
        )
    compare("rectpack, guillotine", by_rectpack, everyday()[::3])
    compare("ortools CP-SAT, columns", by_solver, [*everyday()[::20], *hard(4, 10, 60)])
    layouts()


if __name__ == "__main__":
    main()
