"""The general method: any number of stages, any pattern; slow, and the check on the fast one."""

from __future__ import annotations

from bisect import bisect_right

from quoting.cutting.partitions import reachable_lengths
from quoting.errors import Fault, MeasureError

MOST_STEPS = 20_000_000


class _Stages:
    """Counts of rectangles whose sides are sums of pieces' sides, each worked out once."""

    def __init__(self, length: int, width: int, long: int, short: int) -> None:
        self.long, self.short = long, short
        self.lengths = reachable_lengths(length, long, short)
        self.widths = reachable_lengths(width, long, short)
        self.known: dict[tuple[int, int], int] = {}

    def most(self, length: int, width: int) -> int:
        """The most pieces out of ``length`` by ``width``, both reachable."""
        if min(length, width) < self.short or max(length, width) < self.long:
            return 0
        if (length, width) not in self.known:
            self.known[length, width] = max(self._divided(length, width), default=1)
        return self.known[length, width]

    def _divided(self, length: int, width: int) -> list[int]:
        most = self.most
        across = [most(part, width) + most(rest, width) for part, rest in _parts(self.lengths, length)]
        down = [most(length, part) + most(length, rest) for part, rest in _parts(self.widths, width)]
        return [1, *across, *down]


def _parts(reachable: list[int], side: int) -> list[tuple[int, int]]:
    """Both sides of every cut that can matter; of two mirrored ones, one."""
    firsts = reachable[1 : bisect_right(reachable, side // 2)]
    return [(first, reachable[bisect_right(reachable, side - first) - 1]) for first in firsts]


def steps_by_stages(length: int, width: int, a: int, b: int) -> int:
    """About how many cuts ``count_by_stages`` would look at."""
    long, short = max(a, b), min(a, b)
    along = (length // long + 1) * (length // short + 1) // 2
    up = (width // long + 1) * (width // short + 1) // 2
    return along * up * (along + up) // 4


def count_by_stages(length: int, width: int, a: int, b: int) -> int:
    """
    The most pieces that may turn, over all guillotine patterns, by dynamic programming: proved.

    Raises:
        MeasureError: a side that is not over 0, or a sheet for which it would take minutes.
    """
    if min(length, width, a, b) < 1:
        raise MeasureError([Fault("sides", "whole numbers over 0", f"{length}, {width}, {a}, {b}")])
    steps = steps_by_stages(length, width, a, b)
    if steps > MOST_STEPS:
        raise MeasureError([Fault("sheet", f"at most {MOST_STEPS} cuts to look at", str(steps))])
    stages = _Stages(length, width, max(a, b), min(a, b))
    return stages.most(stages.lengths[-1], stages.widths[-1])
