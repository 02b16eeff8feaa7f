"""Ganging against every possible set of numbers up."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from random import Random

import pytest

from quoting.cutting import Rectangle, Version, gang
from quoting.errors import MeasureError

CARD = Rectangle(Decimal(85), Decimal(55))


def versions(*needs: int) -> list[Version]:
    return [Version(f"version {number}", need, CARD) for number, need in enumerate(needs, start=1)]


def every_set_of_ups(number: int, places: int) -> Iterator[tuple[int, ...]]:
    if number == 0:
        yield ()
        return
    for up in range(1, places - number + 2):
        for others in every_set_of_ups(number - 1, places - up):
            yield (up, *others)


def cost(needs: tuple[int, ...], ups: tuple[int, ...], per_sheet: int, per_over: int) -> int:
    sheets = max(-(-need // up) for need, up in zip(needs, ups, strict=True))
    overs = sum(up * sheets - need for need, up in zip(needs, ups, strict=True))
    return sheets * per_sheet + overs * per_over


def test_the_gang_costs_as_little_as_any() -> None:
    chance = Random(4)
    for _ in range(600):
        places = chance.randint(1, 8)
        needs = tuple(chance.randint(1, 400) for _ in range(chance.randint(1, min(3, places))))
        per_sheet, per_over = chance.randint(0, 9), chance.randint(0, 4)

        found = gang(versions(*needs), places, sheet_cost=Decimal(per_sheet), over_cost=Decimal(per_over))

        least = min(cost(needs, ups, per_sheet, per_over) for ups in every_set_of_ups(len(needs), places))
        assert least == found.cost == cost(needs, found.ups, per_sheet, per_over)


def test_six_versions_on_sixteen_places_cost_as_little_as_any() -> None:
    needs = (1200, 150, 150, 400, 90, 615)

    found = gang(versions(*needs), 16, sheet_cost=Decimal(3), over_cost=Decimal(1))

    assert min(cost(needs, ups, 3, 1) for ups in every_set_of_ups(6, 16)) == found.cost
    assert found.bound <= found.sheets
    assert found.looked_at <= 6 * 16


def test_every_version_reaches_its_count_and_the_overs_are_what_is_left() -> None:
    found = gang(versions(500, 250, 250), 8)

    assert (found.ups, found.sheets, found.overs, found.empty) == ((4, 2, 2), 125, (0, 0, 0), 0)
    assert found.bound == 125


def test_printing_apart_stands_beside_it() -> None:
    found = gang(versions(500, 250), 8, sheet_cost=Decimal(2), over_cost=Decimal(1), form_cost=Decimal(40))

    assert found.apart_sheets == (63, 32)
    assert found.apart_cost == 2 * 95 + 1 * (4 + 6) + 2 * 40


def test_750_labels_32_on_a_sheet_take_24_sheets_and_leave_18_over() -> None:
    # MacKellar, The American Printer, 1893, p. 295.
    found = gang(versions(750), 32, sheet_cost=Decimal(100), over_cost=Decimal(1))

    assert (found.sheets, found.overs) == (24, (18,))


def test_unequal_sizes_are_refused_by_name() -> None:
    wide = Version("place card", 100, Rectangle(Decimal(100), Decimal(55)))

    with pytest.raises(MeasureError, match="size of place card: expected the size of version 1, 85 x 55 mm"):
        gang([*versions(100), wide], 8)


@pytest.mark.parametrize(
    ("needs", "places", "expected"),
    [
        ((), 8, "versions: expected 1 to 64; found 0"),
        ((5, 5, 5), 2, "places: expected one for each version at least; found 2 for 3"),
        ((5,), 0, "places: expected 1 to 1000; found 0"),
        ((0,), 4, "needed of version 1: expected a whole number from 1"),
        ((-3,), 4, "found -3"),
    ],
)
def test_numbers_that_cannot_be_are_refused(needs: tuple[int, ...], places: int, expected: str) -> None:
    with pytest.raises(MeasureError, match=expected):
        gang(versions(*needs), places)


def test_a_cost_that_is_no_number_is_refused() -> None:
    with pytest.raises(MeasureError, match="cost: expected 0 or more; found NaN"):
        gang(versions(5), 4, over_cost=Decimal("NaN"))
