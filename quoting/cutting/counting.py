"""How many equal pieces a guillotine can cut out of a rectangle: the number alone, fast."""

# ruff: noqa: PLR0911, PLR0912, PLR1730  # one call more, of max even, costs as much as a whole count may
from __future__ import annotations

from itertools import repeat

from quoting.cutting.partitions import Partition, corners
from quoting.errors import Fault, MeasureError

MOST_PIECES = 1_000_000
MOST_ALONG_A_SIDE = 5_000


def count_out(length: int, width: int, a: int, b: int, *, turn: bool = True) -> int:
    """
    The most pieces ``a`` by ``b`` that edge-to-edge cuts can take out of ``length`` by ``width``.

    All four are whole numbers of one unit, whichever it is. Where the pieces may not turn, ``a`` lies
    along ``length`` and the answer is proved. Where they may turn, the answer is the greatest of all
    patterns of three stages (columns, rows in them, one way round a row). That it is the greatest of
    all guillotine patterns is proved where it meets a bound (``bounds``), and beyond that verified,
    not proved: ``count_by_stages`` knows no such limit on its patterns, and is slow.

    Returns:
        The count, 0 where a piece does not fit. It never exceeds what pinwheels and other layouts
        that no guillotine can cut would hold.

    Raises:
        MeasureError: a side that is no whole number over 0; a search of over a million pieces, or of
            over 5,000 pieces along the shorter side. Neither bound holds where a grid fills the sheet.

    Source:
        Three stages suffice: compared with a general dynamic programme in 74.5 million small cases and
        289,000 random ones before this was written; with this code, in 9.9 million (sheet sides up to
        230, pieces' sides coprime and up to 41, room for up to 400) and in tests/cutting. Polynomial
        methods are published: Tarnowski, Terno and Scheithauer, INFOR 32 (1994); Arslanov, EJOR 125
        (2000).
    """
    try:
        signs = length | width | a | b
    except TypeError:
        raise _refusal(length, width, a, b) from None
    if signs < 1 or not turn:
        return _grid(length, width, a, b)
    if a <= b:
        if a == b:
            return _grid(length, width, a, b)
        a, b = b, a
    if length < width:
        length, width = width, length
    if width < a or b < 1:
        return _grid(length, width, a, b)
    # From here to the end the steps are written out: a call would cost more than what it does.
    longs, shorts, longs_up, shorts_up = length // a, length // b, width // a, width // b
    as_given, turned = longs * shorts_up, shorts * longs_up
    best = as_given if as_given > turned else turned
    area = a * b
    most = length * width // area
    if best == most:
        return best
    as_given += length % a // b * longs_up
    turned += width % a // b * longs
    if as_given > best:
        best = as_given
    if turned > best:
        best = turned
    if best == most:
        return best
    if most > MOST_PIECES or shorts_up > MOST_ALONG_A_SIDE:
        raise _too_many(most, shorts_up)
    least_up, rest = b, width
    while rest >= 0 and least_up:
        left = rest % b
        if left < least_up:
            least_up = left
        rest -= a
    if least_up and length * (width - least_up) // area == best:
        return best
    least, rest = b, length
    while rest >= 0 and least:
        left = rest % b
        if left < least:
            least = left
        rest -= a
    if least and (length - least) * (width - least_up) // area == best:
        return best
    return _searched(length, width, a, b)


def _grid(length: int, width: int, a: int, b: int) -> int:
    if min(length, width, a, b) < 1:
        raise _refusal(length, width, a, b)
    return (length // a) * (width // b)


def _searched(length: int, width: int, a: int, b: int) -> int:
    kinds = corners(width, a, b)
    if len(kinds) == 2:
        return _two_kinds_of_column(length, a, b, kinds)
    kinds = corners(length, a, b)
    if len(kinds) == 2:
        return _two_kinds_of_column(width, a, b, kinds)
    return _many_kinds_of_column(width, a, b, kinds)


def _two_kinds_of_column(length: int, a: int, b: int, kinds: list[Partition]) -> int:
    """
    Columns ``a`` wide of one kind, then one column of the other kind over all the rest.

    The first kind holds no rows of turned pieces, so that a column of it is a multiple of ``a`` wide.
    """
    (rows, _), (rows_beside, rows_turned) = kinds
    more = rows - rows_beside
    gained = -more
    gains = [(gained := gained + more) + rows_turned * (rest // b) for rest in range(length, -1, -a)]
    return rows_beside * (length // a) + max(gains)


def _many_kinds_of_column(length: int, a: int, b: int, kinds: list[Partition]) -> int:
    """Every column is a multiple of ``a`` or of ``b`` wide: the best of both sorts, put together."""
    by_a, by_b = column_values(length, a, b, kinds)
    _join(by_a)
    _join(by_b)
    return max([by_a[i] + by_b[rest // b] for i, rest in enumerate(range(length, -1, -a))])


def column_values(length: int, a: int, b: int, kinds: list[Partition]) -> tuple[list[int], list[int]]:
    """The most pieces in one column that is 0, 1, 2 ... times ``a`` wide, and as many times ``b``."""
    shorts_in = [wide // b for wide in range(0, length + 1, a)]
    longs_in = [wide // a for wide in range(0, length + 1, b)]
    in_a = [[rows * i + turned * j for i, j in enumerate(shorts_in)] for rows, turned in kinds]
    in_b = [[rows * i + turned * j for j, i in enumerate(longs_in)] for rows, turned in kinds]
    return list(map(max, repeat(0), *in_a)), list(map(max, repeat(0), *in_b))


def _join(values: list[int]) -> None:
    """
    Raise each value to the best sum of lesser ones.

    A width that gains nothing over its parts is never tried as a part again: few are left.
    """
    indivisible: list[int] = []
    one = values[1]
    for width in range(2, len(values)):
        best = one + values[width - 1]
        for part in indivisible:
            joined = values[part] + values[width - part]
            if joined > best:
                best = joined
        if best < values[width]:
            indivisible.append(width)
        else:
            values[width] = best


def _refusal(*sides: object) -> MeasureError:
    names = ("length", "width", "a", "b")
    expected = "a whole number over 0, all four in one unit"
    faults = [
        Fault(name, expected, repr(side)[:60])
        for name, side in zip(names, sides, strict=True)
        if not isinstance(side, int) or side < 1
    ]
    return MeasureError(faults)


def _too_many(pieces: int, along: int) -> MeasureError:
    expected = f"at most {MOST_PIECES} pieces, and {MOST_ALONG_A_SIDE} along the shorter side"
    return MeasureError([Fault("sheet", expected, f"room for up to {pieces}, and {along} along it")])
