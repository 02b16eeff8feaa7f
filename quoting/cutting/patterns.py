"""Patterns of columns that reach a count: which to cut, once the count is known."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from quoting.cutting.counting import column_values
from quoting.cutting.partitions import Partition, corners

MOST_PATTERNS = 24


class Column(NamedTuple):
    """Rows one above the other: first those with the piece's long side along, then the turned ones."""

    wide: int
    rows: int
    turned_rows: int


Pattern = tuple[Column, ...]


def patterns(length: int, width: int, a: int, b: int, *, count: int) -> Iterator[Pattern]:
    """
    Ways to take ``count`` pieces out of ``length`` by ``width`` in columns along ``length``.

    The plainest come first. There may be more than are given: only their cuts would differ.
    """
    long, short = max(a, b), min(a, b)
    if min(length, width) < short:
        return
    kinds = [(width // short, 0), (0, width // long), *corners(width, long, short)]
    for rows, turned_rows in dict.fromkeys(kinds):
        if rows * (length // long) + turned_rows * (length // short) == count:
            yield (_widest(length, long, short, rows, turned_rows),)
    if length >= long:
        yield from _joined(length, long, short, kinds[2:], count)


def _widest(length: int, long: int, short: int, rows: int, turned_rows: int) -> Column:
    rows = rows if length >= long else 0
    by_long = length // long * long if rows else 0
    by_short = length // short * short if turned_rows else 0
    return Column(max(by_long, by_short), rows, turned_rows)


def _joined(length: int, long: int, short: int, kinds: list[Partition], count: int) -> Iterator[Pattern]:
    by_long, by_short = column_values(length, long, short, kinds)
    parts_by_long, parts_by_short = _join(by_long), _join(by_short)
    for longs, rest in enumerate(range(length, -1, -long)):
        shorts = rest // short
        if by_long[longs] + by_short[shorts] == count:
            wide = [part * long for part in _parts(parts_by_long, longs)]
            wide += [part * short for part in _parts(parts_by_short, shorts)]
            yield _merged([_best_column(one, long, short, kinds) for one in wide])


def _join(values: list[int]) -> list[int]:
    """Raise values to the best sum of lesser ones; give for each the part to take first, 0 for none."""
    first_part = [0] * len(values)
    indivisible = [1]
    for width in range(2, len(values)):
        best, part = max((values[part] + values[width - part], part) for part in indivisible)
        if best > values[width]:
            values[width], first_part[width] = best, part
        else:
            indivisible.append(width)
    return first_part


def _parts(first_part: list[int], width: int) -> list[int]:
    parts = []
    while width and first_part[width]:
        parts.append(first_part[width])
        width -= first_part[width]
    return [*parts, width] if width else parts


def _best_column(wide: int, long: int, short: int, kinds: list[Partition]) -> Column:
    rows, turned_rows = max(kinds, key=lambda kind: kind[0] * (wide // long) + kind[1] * (wide // short))
    return Column(wide, rows if wide >= long else 0, turned_rows)


def _merged(columns: list[Column]) -> Pattern:
    """Columns of one kind side by side are one column, and need fewer cuts."""
    widths: dict[tuple[int, int], int] = {}
    for column in (column for column in columns if column.rows or column.turned_rows):
        kind = (column.rows, column.turned_rows)
        widths[kind] = widths.get(kind, 0) + column.wide
    return tuple(Column(wide, *kind) for kind, wide in widths.items())
