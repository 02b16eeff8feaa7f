"""Round pieces: die-cut out of a sheet in nested rows, or cut as the squares they stand in."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from math import isqrt
from typing import Literal

from msgspec import Struct

from quoting.cutting.shapes import Sides
from quoting.cutting.whole_units import WholeUnits, in_whole_units
from quoting.errors import Fault, MeasureError

MOST_ROUNDS = 20_000
# A length is held to 1e-7 mm: quoting.units.
_FINEST = 10**7

Nesting = Literal["square grid", "nested rows across", "nested rows down"]


class Rounds(Struct, frozen=True):
    """
    Round pieces in a rectangle, their centres measured from its left edge and its head.

    A centre in nested rows lies on a multiple of a square root, and is rounded down to 1e-7 mm.
    """

    count: int
    nesting: Nesting
    diameter_mm: Decimal
    web_mm: Decimal
    centres_mm: tuple[tuple[Decimal, Decimal], ...]


def round_out(sheet: Sides, diameter_mm: Decimal, *, web_mm: Decimal = Decimal(0)) -> Rounds:
    """
    The most round pieces out of the better of three regular layouts; for a die, not for a guillotine.

    Square grid, and rows nested in each other across or down. Irregular layouts, which now and then
    hold one more, are not tried. What a guillotine cuts is the enclosing square: ``cut_out``.

    Args:
        sheet: The rectangle inside its margins.
        diameter_mm: Of a piece. [mm]
        web_mm: Least board between two pieces, and none at the rectangle's edge. [mm]

    Raises:
        MeasureError: a measure that cannot be, or over 20,000 pieces.

    Source:
        Circles that touch six neighbours have rows sqrt(3)/2 of a pitch apart: Euclid I.47.
    """
    sides = {"width": sheet.width_mm, "height": sheet.height_mm, "diameter": diameter_mm}
    units, whole = in_whole_units(sides, {"web": web_mm})
    wide, high, round_, pitch = whole["width"], whole["height"], whole["diameter"], whole["diameter"] + whole["web"]
    counts: dict[Nesting, int] = {
        "square grid": _fitting(wide, round_, pitch) * _fitting(high, round_, pitch),
        "nested rows across": sum(_nested(wide, high, round_, pitch)),
        "nested rows down": sum(_nested(high, wide, round_, pitch)),
    }
    nesting = max(counts, key=lambda name: counts[name])
    if counts[nesting] > MOST_ROUNDS:
        raise MeasureError([Fault("sheet", f"at most {MOST_ROUNDS} rounds", str(counts[nesting]))])
    finest = WholeUnits(_FINEST)
    fine = _FINEST // units.per_mm
    places = _centres(nesting, (wide * fine, high * fine), round_ * fine, pitch * fine)
    centres = tuple((finest.mm(x), finest.mm(y)) for x, y in places)
    return Rounds(counts[nesting], nesting, diameter_mm, web_mm, centres)


def _fitting(side: int, round_: int, pitch: int) -> int:
    return (side - round_) // pitch + 1 if side >= round_ else 0


def _nested(along: int, across: int, round_: int, pitch: int) -> list[int]:
    """
    Pieces in each row, every other one half a pitch further on.

    The rows after the first are as many as n with 3 n n pitch pitch <= 4 (across - round)^2.
    """
    full = _fitting(along, round_, pitch)
    if not full or across < round_:
        return []
    rows = isqrt(4 * (across - round_) ** 2 // (3 * pitch**2)) + 1
    between = _fitting(2 * along - pitch, 2 * round_, 2 * pitch)
    if not between:
        return [full] * _fitting(across, round_, pitch)
    return [between if row % 2 else full for row in range(rows)]


def _centres(nesting: Nesting, sides: tuple[int, int], round_: int, pitch: int) -> Iterator[tuple[int, int]]:
    if nesting == "square grid":
        row = _fitting(sides[0], round_, pitch)
        for number in range(_fitting(sides[1], round_, pitch)):
            yield from ((round_ // 2 + i * pitch, round_ // 2 + number * pitch) for i in range(row))
        return
    down = nesting == "nested rows down"
    for number, row in enumerate(_nested(*(sides[::-1] if down else sides), round_, pitch)):
        start = (round_ + number % 2 * pitch) // 2
        y = round_ // 2 + isqrt(3 * (number * pitch) ** 2) // 2
        for x in range(start, start + row * pitch, pitch):
            yield (y, x) if down else (x, y)
