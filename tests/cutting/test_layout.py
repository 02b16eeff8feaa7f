"""Layouts: every one is cut again, in the order given, by a checker that knows nothing of them."""

from __future__ import annotations

import pickle
from decimal import Decimal, localcontext
from random import Random

import pytest

from quoting.cutting import Layout, Margins, Rectangle, count_out, cut_out, cutting_for
from quoting.errors import MeasureError
from quoting.units import Length, Size
from tests.cutting.checker import faults_of_cuts, faults_of_places
from tests.cutting.general_dp import most_cut_out

NONE = Decimal(0)


def rectangle(width: object, height: object) -> Rectangle:
    return Rectangle(Decimal(str(width)), Decimal(str(height)))


def faults(
    layout: Layout,
    gap: Decimal = NONE,
    edges: tuple[Decimal, Decimal, Decimal, Decimal] = (NONE, NONE, NONE, NONE),
    blade: Decimal | None = None,
) -> list[str]:
    return faults_of_places(layout, gap, edges) + faults_of_cuts(layout, blade)


def test_every_layout_can_be_cut_as_it_says() -> None:
    chance = Random(1)
    for _ in range(500):
        sheet = rectangle(chance.randint(40, 400), chance.randint(40, 400))
        piece = rectangle(chance.randint(5, 60), chance.randint(5, 60))
        gap = Decimal(chance.choice([0, 0, 3, 6]))
        bleed = Decimal(chance.choice(["0", "1.5"])) if gap else NONE
        trim = Decimal(chance.choice([0, 0, 2]))
        left, right, gripper, tail = (Decimal(chance.choice([0, 0, 4, 7])) for _ in range(4))
        turn = chance.random() < 0.8

        layout = cut_out(
            sheet,
            piece,
            gap_mm=gap,
            trim_mm=trim,
            margins=Margins(left, right, gripper, tail),
            bleed_mm=bleed,
            turn=turn,
        )

        around = trim + bleed
        edges = (left + around, gripper + around, right + around, tail + around)
        room = (
            int(2 * (sheet.width_mm - edges[0] - edges[2] + gap)),
            int(2 * (sheet.height_mm - edges[1] - edges[3] + gap)),
        )
        steps = int(2 * (piece.width_mm + gap)), int(2 * (piece.height_mm + gap))
        assert faults(layout, gap, edges) == [], (sheet, piece)
        assert count_out(*room, *steps, turn=turn) == layout.count
        assert layout.count <= layout.bound
        assert layout.mixed == (len({place.turned for place in layout.places}) == 2)


def test_a_blade_too_short_for_the_sheet_is_kept_to_and_loses_no_more_than_it_must() -> None:
    chance = Random(2)
    for _ in range(250):
        sides = chance.randint(20, 60), chance.randint(20, 60)
        piece = chance.randint(3, 30), chance.randint(3, 30)
        blade = chance.randint(20, 60)
        turn = chance.random() < 0.7

        layout = cut_out(rectangle(*sides), rectangle(*piece), blade_mm=Decimal(blade), turn=turn)

        assert faults(layout, blade=Decimal(blade)) == [], (sides, piece, blade)
        assert most_cut_out(*sides, *piece, turn=turn, blade=blade) == layout.count, (sides, piece, blade)


def test_a_blade_is_kept_to_with_gaps_and_margins() -> None:
    for sides in ((700, 500), (500, 700)):
        margins = Margins(Decimal(5), Decimal(6), Decimal(10), Decimal(7))
        layout = cut_out(
            rectangle(*sides),
            rectangle(88, 55),
            gap_mm=Decimal(6),
            bleed_mm=Decimal(3),
            margins=margins,
            blade_mm=Decimal(510),
        )

        edges = (Decimal(8), Decimal(13), Decimal(9), Decimal(10))
        assert faults(layout, Decimal(6), edges, Decimal(510)) == []
        assert layout.count > 50


@pytest.mark.parametrize(
    ("sheet", "piece", "count"),
    [
        ("26 x 40 in", "3 1/2 x 2 in", 146),
        ("23 x 35 in", "8 1/2 x 12 in", 6),
        ("20 x 26 in", "5 x 7 in", 14),
        ("24 x 38 in", "6 x 9 1/2 in", 16),
        ("25 x 38 in", "4 3/4 x 6 1/4 in", 32),
    ],
)
def test_sheets_in_inches_are_cut_exactly(sheet: str, piece: str, count: int) -> None:
    layout = cut_out(Size(sheet), Size(piece))

    assert count == layout.count
    assert faults(layout) == []


def test_points_thirty_seconds_and_a_hostile_context_do_not_lose_a_piece() -> None:
    thirty_second = Length("1/32 in").in_base_unit
    with localcontext() as context:
        context.prec = 4
        layout = cut_out(Rectangle(thirty_second * 8, Length("72 pt").in_base_unit), Size("1/32 in x 12 pt"))

    assert layout.count == 48
    assert faults(layout) == []


def test_tenths_are_not_lost_as_in_binary_fractions() -> None:
    assert cut_out(rectangle("0.7", "0.1"), rectangle("0.1", "0.1")).count == 7


def test_five_thousand_pieces_are_laid_out() -> None:
    layout = cut_out(rectangle(1000, 707), rectangle("14.3", "9.7"))

    assert layout.count == 5091
    assert faults(layout) == []


def test_a_thousand_pieces_in_a_single_row_are_laid_out() -> None:
    layout = cut_out(rectangle(5000, 3), rectangle(1, 3), blade_mm=Decimal(600))

    assert layout.count == 5000
    assert layout.settings == 2
    assert faults(layout, blade=Decimal(600)) == []


def test_a_common_cut_serves_two_neighbours_and_a_gap_takes_two() -> None:
    without = cut_out(rectangle(40, 10), rectangle(10, 10))
    with_gaps = cut_out(rectangle(46, 10), rectangle(10, 10), gap_mm=Decimal(2))

    assert (without.count, len(without.cuts), without.settings) == (4, 3, 1)
    assert (with_gaps.count, len(with_gaps.cuts), with_gaps.settings) == (4, 6, 2)


def test_of_equal_counts_the_one_with_fewest_cuts_is_taken() -> None:
    # Two grids hold six: two rows of three with a strip to spare at one side, or turned, with two.
    layout = cut_out(rectangle(62, 42), rectangle(20, 21))

    assert (layout.count, len(layout.cuts), layout.settings) == (6, 6, 2)
    assert not layout.mixed


def test_a_piece_as_large_as_the_sheet_needs_no_cut_and_is_an_exact_fit() -> None:
    layout = cut_out(rectangle(50, 70), rectangle(70, 50))

    assert (layout.count, layout.cuts) == (1, ())
    assert layout.places[0].turned
    assert layout.is_exact_fit
    assert layout.cautions[0].startswith("an exact fit across")


@pytest.mark.parametrize("piece", [rectangle("50.0000001", 70), rectangle(5000, 1), rectangle(71, 71)])
def test_a_piece_larger_than_the_sheet_gives_none(piece: Rectangle) -> None:
    layout = cut_out(rectangle(50, 70), piece)

    assert (layout.count, layout.bound, layout.places) == (0, 0, ())
    assert layout.cautions == ("the piece does not fit the sheet",)
    assert layout.waste_mm2 == layout.largest_offcut_mm2 == 3500


def test_grain_fixes_the_way_round_and_is_not_read_from_the_order_of_the_numbers() -> None:
    sheet, piece = rectangle(700, 500), rectangle(90, 50)
    along = cut_out(sheet, piece, grain="long", piece_grain="long")
    turned_numbers = cut_out(sheet, rectangle(50, 90), grain="long", piece_grain="long")
    across = cut_out(sheet, piece, grain="long", piece_grain="short")
    free = cut_out(sheet, piece, grain="long")

    assert (along.count, any(place.turned for place in along.places)) == (70, False)
    assert (turned_numbers.count, all(place.turned for place in turned_numbers.places)) == (70, True)
    assert (across.count, all(place.turned for place in across.places)) == (70, True)
    assert (free.count, across.proof, across.grain) == (77, "one way round", "across")


def test_slack_and_waste_are_what_is_left() -> None:
    layout = cut_out(rectangle(100, 50), rectangle(30, 20), turn=False)

    assert (6, Decimal(10), Decimal(10)) == (layout.count, layout.slack_across_mm, layout.slack_down_mm)
    assert layout.waste_mm2 == 1400
    assert not layout.is_exact_fit


def test_a_last_trim_thinner_than_the_thinnest_strip_is_cautioned() -> None:
    layout = cut_out(rectangle(101, 60), rectangle(50, 20), strip_least_mm=Decimal(3), turn=False)

    assert (layout.cautions) == (
        "the last trim across is thinner than the thinnest strip",
        "an exact fit down: no slack for the cutter",
    )


@pytest.mark.parametrize(
    ("options", "expected"),
    [
        ({"gap_mm": Decimal(50)}, "gap: expected less than the sheet's shorter side; found 50 mm"),
        ({"gap_mm": Decimal(-1)}, "gap: expected a Decimal from 0"),
        ({"gap_mm": Decimal("NaN")}, "gap: expected a Decimal from 0"),
        (
            {"gap_mm": Decimal(3), "bleed_mm": Decimal(2)},
            "gap: expected at least twice the bleed of 2 mm; found 3 mm",
        ),
        ({"gap_mm": Decimal(2), "strip_least_mm": Decimal(3)}, "gap: expected none, or a strip of 3 mm or more"),
        ({"trim_mm": Decimal(25)}, "margins: expected less than the sheet's width; found 50 mm"),
        ({"margins": Margins(gripper_mm=Decimal(70))}, "margins: expected less than the sheet's height"),
        ({"blade_mm": Decimal(0)}, "blade: expected a Decimal over 0"),
        ({"trim_mm": Decimal("0.00000001")}, "no finer than 0.0000001 mm"),
        ({"trim_mm": 0.5}, "trim: expected a Decimal from 0"),
    ],
)
def test_what_cannot_be_is_refused_with_where_and_why(options: dict[str, Decimal], expected: str) -> None:
    with pytest.raises(MeasureError, match=expected):
        cut_out(rectangle(50, 70), rectangle(5, 5), **options)  # type: ignore[arg-type]  # bad input is the point


@pytest.mark.parametrize("side", ["0", "-1", "NaN", "Infinity", "1000000"])
def test_a_side_that_is_no_length_is_refused(side: str) -> None:
    for sheet, piece in (((side, 70), (5, 5)), ((50, 70), (5, side))):
        with pytest.raises(MeasureError, match=r"expected a Decimal over 0 to 100000 mm"):
            cut_out(rectangle(*sheet), rectangle(*piece))


def test_too_many_pieces_to_lay_out_are_refused() -> None:
    with pytest.raises(MeasureError, match="at most 20000 pieces to lay out"):
        cut_out(rectangle(1000, 1000), rectangle(1, 1))


def test_the_planners_form_gives_the_layouts_numbers() -> None:
    chance = Random(3)
    for _ in range(100):
        sheet = chance.randint(100, 400), chance.randint(100, 400)
        piece = chance.randint(20, 90), chance.randint(20, 90)
        gap, trim = chance.choice([0, 4]), chance.choice([0, 5])

        layout = cut_out(rectangle(*sheet), rectangle(*piece), gap_mm=Decimal(gap), trim_mm=Decimal(trim))

        cutting = cutting_for(sheet, piece, gap=gap, trim=trim)
        assert (layout.count, len(layout.cuts), layout.settings) == (cutting.count, cutting.cuts, cutting.settings)


def test_a_layout_can_be_kept() -> None:
    layout = cut_out(rectangle(100, 50), rectangle(30, 20))

    assert layout == pickle.loads(pickle.dumps(layout))
