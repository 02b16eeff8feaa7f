"""How one side of a sheet divides into the two sides of a piece, and which divisions can matter."""

from __future__ import annotations

Partition = tuple[int, int]
"""How many of the short side and how many of the long side of a piece stand in a row."""


def remainders(side: int, long: int, short: int) -> list[int]:
    """What is left of ``side`` after 0, 1, 2 ... long sides and as many short ones as still fit."""
    return [rest % short for rest in range(side, -1, -long)]


def reachable_lengths(side: int, long: int, short: int) -> list[int]:
    """Every sum of long and short sides that does not exceed ``side``, rising, 0 included."""
    sums = {sum_ for start in range(0, side + 1, long) for sum_ in range(start, side + 1, short)}
    return sorted(sums)


def corners(side: int, long: int, short: int) -> list[Partition]:
    """
    The partitions of ``side`` that some pair of weights makes the best, short sides falling.

    Any worth that is linear in the numbers of short and of long sides is greatest at one of them,
    so a search needs no other.
    """
    left_over = remainders(side, long, short)
    least = min(left_over)
    points = _falling(left_over, least, side, long, short)
    points += _falling_from_the_end(left_over, least, points[-1][1], side, long, short)
    return _convex(points) if len(points) > 2 else points


def _falling(left_over: list[int], least: int, side: int, long: int, short: int) -> list[Partition]:
    points = []
    lowest = short
    for longs, rest in enumerate(left_over):
        if rest < lowest:
            points.append(((side - longs * long) // short, longs))
            lowest = rest
            if rest == least:
                break
    return points


def _falling_from_the_end(
    left_over: list[int], least: int, first: int, side: int, long: int, short: int
) -> list[Partition]:
    points = []
    lowest = short
    for longs in range(len(left_over) - 1, first, -1):
        rest = left_over[longs]
        if rest < lowest:
            points.append(((side - longs * long) // short, longs))
            lowest = rest
            if rest == least:
                break
    points.reverse()
    return points


def _convex(points: list[Partition]) -> list[Partition]:
    hull: list[Partition] = []
    for shorts, longs in points:
        while len(hull) > 1:
            (shorts_0, longs_0), (shorts_1, longs_1) = hull[-2:]
            if (shorts_1 - shorts_0) * (longs - longs_0) > (shorts - shorts_0) * (longs_1 - longs_0):
                break
            hull.pop()
        hull.append((shorts, longs))
    return hull
