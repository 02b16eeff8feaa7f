"""Numbers that no layout of equal pieces can exceed, cuttable or not."""

from __future__ import annotations

from itertools import combinations, pairwise
from typing import Literal

from quoting.cutting.partitions import Partition, corners, remainders

_Line = tuple[int, int, int]


def area_bound(length: int, width: int, a: int, b: int) -> int:
    """As many pieces as have the sheet's area, after each side is cut to a sum of pieces' sides."""
    long, short = max(a, b), min(a, b)
    return _used(length, long, short) * _used(width, long, short) // (a * b)


def barnes_bound(length: int, width: int, a: int, b: int) -> int:
    """
    As ``area_bound``, less the area that bars one unit thick and a piece's side long must leave.

    Source:
        F. W. Barnes, Packing the maximum number of m x n tiles in a large p x q rectangle,
        Discrete Mathematics 26 (1979), 93-100.
    """
    long, short = max(a, b), min(a, b)
    used_length, used_width = _used(length, long, short), _used(width, long, short)
    left = max(_left_by_bars(used_length, used_width, bar) for bar in (long, short))
    return (used_length * used_width - left) // (a * b)


def partition_bound(length: int, width: int, a: int, b: int) -> int:
    """
    The most pieces such that lines across the sheet, both ways, could all be partitions of it.

    Every line across the sheet crosses a partition of that side; averaged over all lines, the
    numbers of pieces one way and the other lie in a convex polygon. Both sides give one.

    Source:
        H. Isermann, Heuristiken zur Loesung des zweidimensionalen Packproblems, OR Spektrum 13
        (1991), 81-94: the bound by efficient partitions.
    """
    long, short = max(a, b), min(a, b)
    if min(length, width) < short:
        return 0
    along = _lines(corners(length, long, short), per_short=width * short, per_long=width * long)
    upwards = [(q, p, r) for p, q, r in _lines(corners(width, long, short), length * short, length * long)]
    return _greatest_sum(along + upwards, scale=a * b)


BoundName = Literal["area bound", "Barnes bound", "partition bound"]


def best_bound(length: int, width: int, a: int, b: int) -> tuple[int, BoundName]:
    """The lowest of the bounds, and the name of the first that reaches it."""
    named: tuple[tuple[int, BoundName], ...] = (
        (area_bound(length, width, a, b), "area bound"),
        (barnes_bound(length, width, a, b), "Barnes bound"),
        (partition_bound(length, width, a, b), "partition bound"),
    )
    return min(named, key=lambda bound: bound[0])


def _used(side: int, long: int, short: int) -> int:
    return side - min(remainders(side, long, short)) if side >= 0 else 0


def _left_by_bars(length: int, width: int, bar: int) -> int:
    over, up = length % bar, width % bar
    return min(over * up, (bar - over) * (bar - up))


def _lines(points: list[Partition], per_short: int, per_long: int) -> list[_Line]:
    """
    The polygon under ``points`` as lines p u + q v <= r.

    u and v are areas of the pieces that lie with the short and with the long side along.
    """
    scaled = [(shorts * per_short, longs * per_long) for shorts, longs in points]
    lines = [(1, 0, max(u for u, _ in scaled)), (0, 1, max(v for _, v in scaled))]
    for (u_0, v_0), (u_1, v_1) in pairwise(scaled):
        p, q = v_1 - v_0, u_0 - u_1
        lines.append((p, q, p * u_0 + q * v_0))
    return lines


def _greatest_sum(lines: list[_Line], scale: int) -> int:
    """The most of (u + v) / scale, rounded down, where two lines meet and no other is crossed."""
    greatest = 0
    for (p, q, r), (s, t, w) in combinations([*lines, (-1, 0, 0), (0, -1, 0)], 2):
        turn = p * t - q * s
        u, v = r * t - q * w, p * w - r * s
        if turn < 0:
            turn, u, v = -turn, -u, -v
        inside = turn and u >= 0 and v >= 0 and all(j * u + k * v <= m * turn for j, k, m in lines)
        if inside:
            greatest = max(greatest, (u + v) // (turn * scale))
    return greatest
