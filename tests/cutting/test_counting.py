"""How many out: known values, a slow general method beside, and what is refused."""

from __future__ import annotations

from decimal import Decimal
from random import Random

import pytest

from quoting.cutting import area_bound, barnes_bound, count_by_stages, count_out, partition_bound
from quoting.errors import MeasureError
from tests.cutting.general_dp import most_cut_out

# (length, width, a, b): free placement, guillotine. The first is published: Birgin, Lobato and
# Morabito, JORS 61 (2010); the others were proved with an exact solver.
FREE_AND_GUILLOTINE = {
    (49, 28, 8, 3): (57, 56),
    (43, 26, 7, 3): (53, 52),
    (61, 35, 10, 3): (71, 70),
    (67, 37, 11, 3): (75, 74),
    (67, 40, 11, 3): (81, 80),
    (32, 22, 5, 4): (34, 34),
    (40, 26, 7, 4): (36, 36),
    (53, 26, 7, 4): (48, 48),
    (81, 39, 9, 7): (49, 49),
    (22, 16, 5, 3): (23, 22),
    (42, 39, 9, 4): (45, 43),
    (5, 11, 3, 2): (9, 8),
}

# In quarter inches. N. Gray, Paper-Cutting Machines, UTA I/10, 1918, and Gress, 1917, for the first
# three; the last two are derived: mixed layouts beat both grids.
SHEETS = {
    (96, 152, 24, 38): 16,
    (100, 152, 19, 25): 32,
    (80, 100, 20, 25): 16,
    (80, 104, 20, 28): 14,
    (92, 140, 34, 48): 6,
}


def random_sheets(number: int, seed: int, unit: int) -> list[tuple[int, int, int, int]]:
    chance = Random(seed)
    sheets = []
    for _ in range(number):
        b = chance.randint(2, 16) * unit + chance.randrange(unit)
        a = b + chance.randint(0, 2 * b)
        sheets.append((chance.randint(1, 6 * a), chance.randint(1, 5 * b), a, b))
    return sheets


@pytest.mark.parametrize(("sheet", "counts"), FREE_AND_GUILLOTINE.items())
def test_the_count_is_the_guillotines_never_that_of_free_placement(
    sheet: tuple[int, int, int, int], counts: tuple[int, int]
) -> None:
    length, width, a, b = sheet

    assert counts[1] == count_out(*sheet)
    assert counts[1] == count_out(width, length, b, a)
    assert counts[1] == count_by_stages(*sheet)
    assert counts[0] <= min(area_bound(*sheet), barnes_bound(*sheet), partition_bound(*sheet))


@pytest.mark.parametrize(("sheet", "count"), SHEETS.items())
def test_sheets_of_the_old_manuals_give_their_numbers(sheet: tuple[int, int, int, int], count: int) -> None:
    assert count == count_out(*sheet)


def test_two_strips_are_not_always_enough() -> None:
    assert count_out(52, 41, 7, 5) == 60


@pytest.mark.parametrize(
    "sheet",
    [(228, 212, 23, 9), (158, 138, 11, 8), (59, 41, 7, 5), (478, 250, 36, 15)],
    ids=str,
)
def test_three_kinds_of_column_are_put_together_where_two_lose_a_piece(sheet: tuple[int, int, int, int]) -> None:
    # Found by search: the best two kinds of column give one less.
    expected = {(228, 212, 23, 9): 232, (158, 138, 11, 8): 246, (59, 41, 7, 5): 68, (478, 250, 36, 15): 218}[sheet]

    assert expected == count_out(*sheet)


@pytest.mark.parametrize("unit", [1, 64], ids=["millimetres", "64ths of an inch"])
@pytest.mark.parametrize("turn", [True, False], ids=["turning", "one way round"])
def test_the_count_is_that_of_every_pattern_of_cuts(unit: int, turn: bool) -> None:
    sheets = random_sheets(700, seed=unit, unit=unit)

    expected = [most_cut_out(*sheet, turn=turn) for sheet in sheets]

    assert expected == [count_out(*sheet, turn=turn) for sheet in sheets]


def test_the_count_of_larger_sheets_is_that_of_the_general_method() -> None:
    chance = Random(12)
    sheets = []
    for _ in range(150):
        b = chance.randint(3, 40)
        a = b + chance.randint(1, 2 * b)
        sheets.append((chance.randint(6 * a, 10 * a), chance.randint(6 * b, 12 * b), a, b))

    assert [count_by_stages(*sheet) for sheet in sheets] == [count_out(*sheet) for sheet in sheets]


def test_no_bound_is_under_the_count() -> None:
    for sheet in random_sheets(2000, seed=5, unit=8):
        count = count_out(*sheet)

        assert count <= min(area_bound(*sheet), barnes_bound(*sheet), partition_bound(*sheet)), sheet


def test_which_side_comes_first_changes_nothing() -> None:
    for length, width, a, b in random_sheets(2000, seed=6, unit=3):
        assert count_out(length, width, a, b) == count_out(width, length, a, b)
        assert count_out(length, width, a, b) == count_out(length, width, b, a)
        assert count_out(length, width, a, b) == count_out(7 * length, 7 * width, 7 * a, 7 * b)


def test_a_larger_sheet_never_gives_less() -> None:
    for length, width, a, b in random_sheets(1000, seed=7, unit=5):
        assert count_out(length, width, a, b) <= count_out(length + 1, width, a, b)
        assert count_out(length, width, a, b) <= count_out(length, width + 1, a, b)


@pytest.mark.parametrize("seed", range(8))
def test_large_sheets_divided_in_two_never_give_more(seed: int) -> None:
    chance = Random(seed)
    b = chance.randint(9, 90)
    a = b + chance.randint(1, 2 * b)
    length, width = a * chance.randint(40, 70), b * chance.randint(60, 90) + chance.randint(0, b)

    count = count_out(length, width, a, b)

    assert count <= barnes_bound(length, width, a, b)
    for part in (chance.randint(a, length - a) for _ in range(60)):
        assert count >= count_out(part, width, a, b) + count_out(length - part, width, a, b)


@pytest.mark.parametrize(
    ("sheet", "count"),
    [
        ((350, 200, 350, 200), 1),
        ((200, 350, 350, 200), 1),
        ((349, 200, 350, 200), 0),
        ((350, 199, 350, 200), 0),
        ((351, 201, 350, 200), 1),
        ((700, 200, 350, 200), 2),
        ((1, 1, 1, 1), 1),
        ((1_000_000, 1, 1, 1), 1_000_000),
        ((1_000_000, 3, 1_000_000, 1), 3),
        ((1_000_000, 3, 4, 1_000_000), 0),
        ((10**12, 10**12, 10**12, 10**11), 10),
        ((100, 100, 100, 1), 100),
        ((99, 101, 100, 1), 99),
        ((1000, 1000, 1, 1), 1_000_000),
    ],
)
def test_pieces_as_large_as_the_sheet_one_unit_over_and_extreme_shapes(
    sheet: tuple[int, int, int, int], count: int
) -> None:
    assert count == count_out(*sheet)


@pytest.mark.parametrize(
    "sides",
    [
        (0, 5, 1, 1),
        (5, 0, 1, 1),
        (5, 5, 0, 1),
        (5, 5, 1, 0),
        (-5, 5, 1, 1),
        (5, 5, -1, -1),
        (5.0, 5, 1, 1),
        (5, 5, float("nan"), 1),
        (5, 5, Decimal("NaN"), 1),
        ("5", 5, 1, 1),
        (None, 5, 1, 1),
    ],
    ids=str,
)
@pytest.mark.parametrize("turn", [True, False])
def test_what_is_no_whole_number_over_nothing_is_refused(sides: tuple[int, int, int, int], turn: bool) -> None:
    with pytest.raises(MeasureError, match="expected a whole number over 0"):
        count_out(*sides, turn=turn)


def test_over_a_million_pieces_are_refused_with_the_bound() -> None:
    with pytest.raises(MeasureError, match="at most 1000000 pieces"):
        count_out(10_001, 10_007, 7, 5)


def test_the_general_method_refuses_what_would_take_minutes() -> None:
    with pytest.raises(MeasureError, match="at most 20000000 cuts"):
        count_by_stages(10_001, 10_007, 70, 50)
