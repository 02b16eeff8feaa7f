"""Die-cut rounds: inside, apart, and as many as rows worked out apart in whole numbers allow."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from random import Random

import pytest

from quoting.cutting import Rectangle, Rounds, cut_out, round_out
from quoting.errors import MeasureError

# Centres in nested rows are rounded down to 1e-7 mm, each by itself.
ROUNDING = Fraction(2, 10**7)


def rectangle(width: object, height: object) -> Rectangle:
    return Rectangle(Decimal(str(width)), Decimal(str(height)))


def rows_that_fit(height: Fraction, diameter: Fraction, pitch: Fraction) -> int:
    """Count rows one by one: the next fits while 3/4 of the square of its distance does."""
    rows = 0
    while diameter <= height and 3 * (rows * pitch) ** 2 <= 4 * (height - diameter) ** 2:
        rows += 1
    return rows


def nested(width: Fraction, height: Fraction, diameter: Fraction, pitch: Fraction) -> int:
    total = 0
    for row in range(rows_that_fit(height, diameter, pitch)):
        start = diameter / 2 + (pitch / 2 if row % 2 else 0)
        while start + diameter / 2 <= width:
            total, start = total + 1, start + pitch
    return total


def grid(width: Fraction, height: Fraction, diameter: Fraction, pitch: Fraction) -> int:
    return max(0, (width - diameter) // pitch + 1) * max(0, (height - diameter) // pitch + 1)


def faults(found: Rounds, sheet: Rectangle) -> list[str]:
    radius = Fraction(found.diameter_mm) / 2
    apart = Fraction(found.diameter_mm + found.web_mm) - ROUNDING
    centres = [(Fraction(x), Fraction(y)) for x, y in found.centres_mm]
    wide, high = Fraction(sheet.width_mm) + ROUNDING, Fraction(sheet.height_mm) + ROUNDING
    outside = [
        f"outside: {x}, {y}"
        for x, y in centres
        if min(x, y) < radius - ROUNDING or x + radius > wide or y + radius > high
    ]
    near = [
        f"too near: {one}, {other}"
        for number, one in enumerate(centres)
        for other in centres[:number]
        if (one[0] - other[0]) ** 2 + (one[1] - other[1]) ** 2 < apart**2
    ]
    return outside + near + ([] if len(centres) == found.count else ["count"])


def test_rounds_lie_inside_and_keep_their_web() -> None:
    chance = Random(8)
    for _ in range(60):
        sheet = rectangle(chance.randint(50, 300), chance.randint(50, 300))
        diameter, web = Decimal(chance.randint(20, 90)) + Decimal("0.5"), Decimal(chance.randint(0, 6))

        found = round_out(sheet, diameter, web_mm=web)

        assert faults(found, sheet) == []


def test_the_count_is_the_best_of_a_grid_and_rows_both_ways() -> None:
    chance = Random(9)
    for _ in range(800):
        sheet = rectangle(chance.randint(20, 700), chance.randint(20, 700))
        diameter, web = Decimal(chance.randint(15, 200)), Decimal(chance.randint(0, 6)) / 2
        wide, high = Fraction(sheet.width_mm), Fraction(sheet.height_mm)
        measures = (Fraction(diameter), Fraction(diameter + web))

        found = round_out(sheet, diameter, web_mm=web)

        expected = max(grid(wide, high, *measures), nested(wide, high, *measures), nested(high, wide, *measures))
        assert expected == found.count


def test_nested_rows_beat_the_guillotines_squares_on_a_large_sheet() -> None:
    sheet = rectangle(700, 1000)

    found = round_out(sheet, Decimal(50))

    assert (found.count, found.nesting) == (312, "nested rows down")
    assert cut_out(sheet, rectangle(50, 50)).count == 280


def test_a_sheet_that_just_holds_two_nested_rows_by_whole_numbers_holds_them() -> None:
    # 56 * sqrt(3) = 96.99...: rows 97 apart fit a pitch of 112, and 96.99 do not.
    assert round_out(rectangle(280, 209), Decimal(112)).count == 4
    assert round_out(rectangle(280, "208.99"), Decimal(112)).count == 2


def test_a_round_larger_than_the_sheet_gives_none() -> None:
    found = round_out(rectangle(100, 50), Decimal("50.1"))

    assert (found.count, found.centres_mm) == (0, ())


@pytest.mark.parametrize("diameter", ["0", "-3", "NaN"])
def test_a_diameter_that_cannot_be_is_refused(diameter: str) -> None:
    with pytest.raises(MeasureError, match="diameter: expected a Decimal over 0"):
        round_out(rectangle(100, 100), Decimal(diameter))


def test_too_many_rounds_are_refused() -> None:
    with pytest.raises(MeasureError, match="at most 20000 rounds"):
        round_out(rectangle(1000, 1000), Decimal(1))
