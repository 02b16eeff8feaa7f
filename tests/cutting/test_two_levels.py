"""Two levels against brute force: every whole-number press sheet, every way through parent and press."""

from __future__ import annotations

from decimal import Decimal
from functools import cache
from random import Random

import pytest

from quoting.cutting import (
    Limits,
    Margins,
    PressSheet,
    Rectangle,
    back_of,
    count_out,
    cut_out,
    margins_for,
    places_of_one_side,
    press_sheet_candidates,
    reason_against,
)
from quoting.cutting.grain import Grain, GrainWanted
from quoting.errors import MeasureError

counted = cache(count_out)


def rectangle(width: int, height: int) -> Rectangle:
    return Rectangle(Decimal(width), Decimal(height))


def whole(side: Decimal) -> int:
    assert side == int(side)
    return int(side)


class Case:
    """A small job: numbers up to 120, grain or none, margins, bleed and a chase."""

    def __init__(self, chance: Random) -> None:
        self.parent = chance.randint(40, 120), chance.randint(40, 120)
        self.piece = chance.randint(6, 30), chance.randint(6, 30)
        self.least = chance.randint(0, 20), chance.randint(0, 20)
        self.greatest = chance.randint(25, 70), chance.randint(25, 70)
        self.chase = self.greatest[0] - chance.randint(0, 5), self.greatest[1] - chance.randint(0, 5)
        self.margins = tuple(chance.choice([0, 1, 3]) for _ in range(4))
        self.bleed = chance.choice([0, 0, 1])
        self.gap = chance.choice([2, 3]) if self.bleed else chance.choice([0, 0, 2])
        self.trim = chance.choice([0, 0, 1])
        self.grain: Grain = chance.choice(["none", "long", "short"])
        self.wanted: GrainWanted = chance.choice(["any", "long", "short"])
        self.quantity = chance.choice([7, 50, 400])
        self.prices = chance.randint(20, 90), chance.randint(0, 9), chance.choice([0, 5, 60])

    @property
    def limits(self) -> Limits:
        return Limits(
            least=rectangle(*self.least),
            greatest=rectangle(*self.greatest),
            chase=rectangle(*self.chase),
            margins=Margins(*map(Decimal, self.margins)),
            bleed_mm=Decimal(self.bleed),
            gap_mm=Decimal(self.gap),
            mill_trim_mm=Decimal(self.trim),
            parent_grain=self.grain,
            piece_grain=self.wanted,
        )

    def money(self, up: int, per_parent: int) -> int:
        """Paper by whole parents, a run for every press sheet, a plate for every place."""
        paper, run, plate = self.prices
        sheets = -(-self.quantity // up)
        return -(-sheets // per_parent) * paper + sheets * run + up * plate

    def cheapest_of_all(self) -> int | None:
        """
        Over every sheet that the press feeds, and over every smaller one with blank paper added.

        A press sheet may hold fewer pieces than it could: places cost plates.
        """
        costs = [
            self.money(up, per_parent)
            for wide in range(1, self.greatest[0] + 1)
            for high in range(1, self.greatest[1] + 1)
            for up, per_parent in self.uses(wide, high)
            if up and per_parent
        ]
        return min(costs, default=None)

    def uses(self, wide: int, high: int) -> list[tuple[int, int]]:
        left, right, gripper, tail = self.margins
        room = (
            min(wide - left - right, self.chase[0]) - 2 * self.bleed + self.gap,
            min(high - gripper - tail, self.chase[1]) - 2 * self.bleed + self.gap,
        )
        wide, high = max(wide, self.least[0]), max(high, self.least[1])
        parent = self.parent[0] - 2 * self.trim, self.parent[1] - 2 * self.trim
        step = self.piece[0] + self.gap, self.piece[1] + self.gap
        if min(room) < 1:
            return []
        if self.grain == "none" or self.wanted == "any":
            return [(counted(*room, *step), counted(*parent, wide, high))]
        parent_across = (self.parent[0] >= self.parent[1]) == (self.grain == "long")
        piece_across = (self.piece[0] >= self.piece[1]) == (self.wanted == "long")
        ways = []
        for piece_turned in (False, True):
            for sheet_turned in (False, True):
                grain_on_piece = parent_across ^ sheet_turned ^ piece_turned
                if grain_on_piece == piece_across:
                    a, b = step[::-1] if piece_turned else step
                    p, q = (high, wide) if sheet_turned else (wide, high)
                    up = (room[0] // a) * (room[1] // b)
                    ways.append((up, (parent[0] // p) * (parent[1] // q)))
        return ways


CASES = [Case(Random(seed)) for seed in range(320)]


def found_by_search(case: Case) -> tuple[PressSheet, ...]:
    return press_sheet_candidates(rectangle(*case.parent), rectangle(*case.piece), case.limits).candidates


@pytest.mark.parametrize("start", range(0, 320, 40))
def test_the_cheapest_press_sheet_of_all_is_among_the_candidates(start: int) -> None:
    for case in CASES[start : start + 40]:
        candidates = found_by_search(case)

        cheapest = min((case.money(sheet.up, sheet.per_parent) for sheet in candidates), default=None)
        assert case.cheapest_of_all() == cheapest, vars(case)


def test_every_candidate_is_a_sheet_that_can_be_cut_and_fed() -> None:
    for case in CASES:
        for sheet in found_by_search(case):
            for wide, high in (
                (sheet.width_mm, sheet.height_mm),
                (sheet.least_width_mm, sheet.least_height_mm),
            ):
                sides = whole(wide), whole(high)

                assert all(
                    least <= side <= greatest
                    for least, side, greatest in zip(case.least, sides, case.greatest, strict=True)
                )
                assert any(up >= sheet.up and per >= sheet.per_parent for up, per in case.uses(*sides))


def test_a_candidate_is_enlarged_as_far_as_its_yield_allows() -> None:
    for case in CASES[:80]:
        for sheet in found_by_search(case):
            wide, high = whole(sheet.width_mm), whole(sheet.height_mm)
            for larger in ((wide + 1, high), (wide, high + 1)):
                fits = larger[0] <= case.greatest[0] and larger[1] <= case.greatest[1]
                free = len(sheet.sheet_ways) == 2
                parent = case.parent[0] - 2 * case.trim, case.parent[1] - 2 * case.trim
                sides = larger[::-1] if not free and sheet.sheet_ways[0] else larger
                assert not fits or counted(*parent, *sides, turn=free) < sheet.per_parent


def test_numbers_up_come_once_each_and_rise() -> None:
    for case in CASES:
        ups = [sheet.up for sheet in found_by_search(case)]

        assert ups == sorted(set(ups))


def test_pieces_are_mixed_only_where_grain_does_not_matter() -> None:
    mixed = [(case, sheet) for case in CASES for sheet in found_by_search(case) if sheet.mixed]

    assert mixed
    assert all(case.grain == "none" or case.wanted == "any" for case, _ in mixed)


def limits(**changes: object) -> Limits:
    usual = {"least": rectangle(75, 125), "greatest": rectangle(330, 480), "chase": rectangle(320, 460)}
    return Limits(**(usual | changes))  # type: ignore[arg-type]  # named as the struct's fields


def test_the_yield_of_a_candidate_is_that_of_its_layout_in_the_parent() -> None:
    found = press_sheet_candidates(rectangle(700, 1000), rectangle(88, 55), limits(mill_trim_mm=Decimal(5)))

    assert found.looked_at > len(found.candidates) > 10
    for sheet in found.candidates[-8:]:
        layout = cut_out(rectangle(700, 1000), Rectangle(sheet.width_mm, sheet.height_mm), trim_mm=Decimal(5))
        assert (layout.count, len(layout.cuts), layout.settings) == (sheet.per_parent, sheet.cuts, sheet.settings)


def test_a_blade_shorter_than_the_parent_is_minded() -> None:
    found = press_sheet_candidates(rectangle(700, 1000), rectangle(148, 210), limits(blade_mm=Decimal(720)))

    for sheet in found.candidates:
        size = Rectangle(sheet.width_mm, sheet.height_mm)
        layout = cut_out(rectangle(700, 1000), size, blade_mm=Decimal(720))
        assert layout.count == sheet.per_parent


def test_the_greatest_press_sheet_first_can_be_badly_wrong() -> None:
    found = press_sheet_candidates(rectangle(700, 1000), rectangle(90, 50), limits())

    yields = {sheet.up: sheet.up * sheet.per_parent for sheet in found.candidates}
    assert yields[max(yields)] < max(yields.values())


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({"gap_mm": Decimal(1), "bleed_mm": Decimal(1)}, "gap: expected at least twice the bleed"),
        ({"mill_trim_mm": Decimal(350)}, "mill trim: expected less than half the parent"),
        ({"greatest": rectangle(0, 480)}, "greatest sheet width: expected a Decimal over 0"),
        ({"greatest": rectangle(5000, 5000), "chase": rectangle(5000, 5000)}, "press sheets: expected at most 40000"),
    ],
)
def test_limits_that_cannot_be_are_refused(changes: dict[str, object], expected: str) -> None:
    with pytest.raises(MeasureError, match=expected):
        press_sheet_candidates(rectangle(700, 1000), rectangle(11, 7), limits(**changes))


def test_a_press_too_small_for_a_piece_gives_no_candidate() -> None:
    assert press_sheet_candidates(rectangle(700, 1000), rectangle(400, 500), limits()).candidates == ()


def test_grids_alone_are_tried_where_mixed_sheets_are_too_many_and_it_is_said() -> None:
    found = press_sheet_candidates(rectangle(700, 1000), rectangle(13, 11), limits())

    assert found.grids_only
    assert not any(sheet.mixed for sheet in found.candidates)


def test_work_and_turn_wants_even_numbers_across_and_work_and_tumble_down() -> None:
    assert reason_against("work-and-turn", 4, 3) == ""
    assert reason_against("work-and-tumble", 3, 4) == ""
    assert reason_against("sheetwise", 3, 3) == ""
    assert reason_against("work-and-turn", 3, 4) == (
        "work-and-turn: expected an even number of pieces across; found 3"
    )
    assert reason_against("work-and-tumble", 4, 3) == (
        "work-and-tumble: expected an even number of pieces down; found 3"
    )


def test_a_tumbled_sheet_is_gripped_at_both_lead_edges_and_a_turned_one_is_centred() -> None:
    margins = Margins(Decimal(3), Decimal(5), Decimal(10), Decimal(4))

    assert margins_for("one side", margins) == margins
    assert margins_for("work-and-turn", margins) == Margins(Decimal(5), Decimal(5), Decimal(10), Decimal(4))
    assert margins_for("work-and-tumble", margins) == Margins(Decimal(3), Decimal(5), Decimal(10), Decimal(10))


@pytest.mark.parametrize("imposition", ["work-and-turn", "work-and-tumble"])
def test_fronts_and_backs_change_halves_and_each_place_comes_back_after_two_sides(imposition: str) -> None:
    places = {(column, row) for column in range(4) for row in range(6)}
    half = {(c, r) for c, r in places if (c < 2 if imposition == "work-and-turn" else r < 3)}

    backs = {back_of(imposition, *place, 4, 6) for place in half}  # type: ignore[arg-type]  # two of the four

    assert backs == places - half
    assert places_of_one_side(imposition, 24) == 12  # type: ignore[arg-type]
