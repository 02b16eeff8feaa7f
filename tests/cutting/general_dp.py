"""The slow general method, written apart from ``quoting.cutting``: every cut of every rectangle."""

from __future__ import annotations

from functools import cache


def most_cut_out(length: int, width: int, a: int, b: int, *, turn: bool = True, blade: int | None = None) -> int:
    """
    The most pieces by guillotine cuts, each no longer than ``blade``.

    Sides are only ever cut at sums of pieces' sides. With a blade the sheet itself keeps its true
    sides, since cutting it down to such a sum takes a cut too.
    """
    ways = {(a, b), (b, a)} if turn else {(a, b)}
    sums_along = _sums(length, {way[0] for way in ways})
    sums_up = _sums(width, {way[1] for way in ways})

    @cache
    def most(x: int, y: int) -> int:
        if (x, y) in ways:
            return 1
        best = 0
        if blade is None or y <= blade:
            best = max((most(s, y) + most(x - s, y) for s in sums_along if 0 < s < x), default=0)
        if blade is None or x <= blade:
            best = max(best, max((most(x, s) + most(x, y - s) for s in sums_up if 0 < s < y), default=0))
        return best

    return most(length, width)


def _sums(side: int, steps: set[int]) -> list[int]:
    reached = {0}
    for total in range(side + 1):
        if any(total - step in reached for step in steps if step <= total):
            reached.add(total)
    return sorted(reached)
