"""Drawings: lines of a terminal, and SVG that a reader of XML reads."""

from __future__ import annotations

from decimal import Decimal
from xml.etree import ElementTree

from quoting.cutting import Rectangle, cut_out, drawn_in_svg, drawn_in_text

SVG = "{http://www.w3.org/2000/svg}"
SHEET, PIECE = Rectangle(Decimal(60), Decimal(40)), Rectangle(Decimal(20), Decimal(15))


def test_a_grid_is_drawn_in_box_characters() -> None:
    layout = cut_out(SHEET, PIECE, turn=False, grain="long")

    lines = drawn_in_text(layout, columns=25)

    assert lines == [
        "┌───────┬───────┬───────┐",
        "│       │       │       │",
        "│       │       │       │",
        "├───────┼───────┼───────┤",
        "│       │       │       │",
        "│       │       │       │",
        "├───────┴───────┴───────┤",
        "│                       │",
        "└───────────────────────┘",
        "6 out of 60 × 40 mm · piece 20 × 15 mm · 6 cuts, 2 settings · grain ↔",
        "an exact fit across: no slack for the cutter",
    ]


def test_no_line_is_wider_than_asked() -> None:
    layout = cut_out(Rectangle(Decimal(660), Decimal(1016)), Rectangle(Decimal(89), Decimal(51)))

    assert all(len(line) <= 64 for line in drawn_in_text(layout, columns=64)[:-2])


def test_a_gutter_under_a_character_is_one_line_everywhere() -> None:
    layout = cut_out(Rectangle(Decimal(100), Decimal(40)), Rectangle(Decimal(19), Decimal(38)), gap_mm=Decimal(1))

    lines = drawn_in_text(layout, columns=40)

    assert layout.count == 5
    assert {line.count("│") for line in lines if "─" not in line and "│" in line} == {7}  # five pieces, the last trim


def test_no_number_of_an_svg_lies_on_another() -> None:
    gaps = Rectangle(Decimal(640), Decimal(900)), Rectangle(Decimal(148), Decimal(105))

    root = ElementTree.fromstring(drawn_in_svg(cut_out(*gaps, gap_mm=Decimal(6), trim_mm=Decimal(5))))

    boxes = [
        tuple(float(one.get(side) or 0) for side in ("x", "y", "width", "height"))
        for one in root.iter(f"{SVG}rect")
        if one.get("class") == "number"
    ]
    assert len(boxes) > 40
    for place, (x, y, wide, high) in enumerate(boxes):
        for other_x, other_y, other_wide, other_high in boxes[place + 1 :]:
            apart = (
                x + wide <= other_x or other_x + other_wide <= x or y + high <= other_y or other_y + other_high <= y
            )
            assert apart


def test_an_svg_holds_every_piece_the_dimensions_the_cuts_and_the_grain_as_text() -> None:
    layout = cut_out(SHEET, PIECE, grain="long")

    root = ElementTree.fromstring(drawn_in_svg(layout))

    words = [text.text for text in root.iter(f"{SVG}text")]
    classes = [rectangle.get("class") for rectangle in root.iter(f"{SVG}rect")]
    assert (classes.count("sheet"), classes.count("piece")) == (1, layout.count)
    assert {"60 mm", "40 mm", "grain", *(str(number + 1) for number in range(len(layout.cuts)))} <= set(words)
    assert (root.findtext(f"{SVG}title") or "").startswith(f"{layout.count} out of 60 × 40 mm")
    assert "No layout holds more than" in (root.findtext(f"{SVG}desc") or "")


def test_an_svg_of_a_piece_that_does_not_fit_is_an_empty_sheet() -> None:
    layout = cut_out(PIECE, SHEET)

    root = ElementTree.fromstring(drawn_in_svg(layout))

    assert len(list(root.iter(f"{SVG}rect"))) == 1
    assert "does not fit" in (root.findtext(f"{SVG}desc") or "")


def test_an_svg_has_one_colour() -> None:
    drawing = drawn_in_svg(cut_out(SHEET, PIECE))

    assert {part.split('"')[0] for part in drawing.split('fill="')[1:]} <= {"none", "black", "white", "url(#waste)"}
    assert "\x00" not in drawing
