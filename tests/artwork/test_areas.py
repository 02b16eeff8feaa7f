"""
Coverage against exact areas: discs by Green's theorem, rules by their sides, steps of grey by their share, letters
by the area of their outlines (fontTools, a general font library).
"""

from __future__ import annotations

from collections.abc import Callable

import pytest

from quoting.artwork import Artwork, Limits, measure_artwork
from tests.artwork.drawn import MM2_PER_PT2, circle, disc_area, letters, pdf_of, rule

# The promise: within 0.2 % of the exact value.
WITHIN = 0.002
MANY = Limits(pages=100, seconds=120)
RULES_PT = [0.25 + 0.1 * place for place in range(15)]
STEPS = [place / 15 for place in range(1, 16)]
Inked = Callable[[float], str]


def grey(share: float) -> str:
    return f"{1 - share:f} g "


def crimson(share: float) -> str:
    return f"/S0 cs {share:f} scn "


def discs(inked: Inked) -> tuple[str, float]:
    """One large disc, nine small ones."""
    places = [(25.3 + 30.7 * number, 250.1) for number in range(9)]
    small = "".join(circle(x, y, 6.1) for x, y in places)
    return inked(1) + circle(120.3, 110.7, 90.2) + small, disc_area(90.2) + 9 * disc_area(6.1)


def fine_rules(inked: Inked) -> tuple[str, float]:
    """From a quarter of a point to a point and a half, none on a whole pixel."""
    drawn = "".join(rule(20.1 + 13.3 * place, 40.2, wide, 200.4) for place, wide in enumerate(RULES_PT))
    return inked(1) + drawn, sum(RULES_PT) * 200.4


def heavy_rules(inked: Inked) -> tuple[str, float]:
    """From half a millimetre to two, on whole pixels or not."""
    widths = [1.42 + 0.3 * place for place in range(15)]
    drawn = "".join(rule(20.1 + 13.3 * place, 40.2, wide, 200.4) for place, wide in enumerate(widths))
    return inked(1) + drawn, sum(widths) * 200.4


def ramp(inked: Inked) -> tuple[str, float]:
    """Steps from a fifteenth to a solid."""
    drawn = "".join(inked(share) + rule(10 + 13.05 * place, 50.05, 13.05, 90.1) for place, share in enumerate(STEPS))
    return drawn, sum(STEPS) * 13.05 * 90.1


def reversed_type(inked: Inked) -> tuple[str, float]:
    """Letters left out of a solid."""
    outlines, area = letters("Reversed Type & Co. 1926", 30, 150, 22)
    return inked(1) + rule(10, 130, 280, 60) + inked(0) + outlines, 280 * 60 - area


def type_alone(inked: Inked) -> tuple[str, float]:
    """Letters of ten and of thirty points."""
    large, large_area = letters("Handgloves", 20, 200, 30)
    small, small_area = letters("the quick brown fox jumps over the lazy dog", 20, 100, 10)
    return inked(1) + large + small, large_area + small_area


DRAWINGS = (discs, fine_rules, heavy_rules, ramp, reversed_type, type_alone)
IN_GREY = [drawing(grey) for drawing in DRAWINGS]
# Ghostscript paints every dot that an outline touches: rules of a tenth of a millimetre come out 1 % too wide there.
IN_A_SPOT_COLOUR = [drawing(crimson) for drawing in DRAWINGS if drawing not in {fine_rules, type_alone}]


@pytest.fixture(scope="module")
def in_grey() -> Artwork:
    return measure_artwork(pdf_of(*(drawn for drawn, _ in IN_GREY)), "shapes.pdf", limits=MANY)


@pytest.fixture(scope="module")
def in_a_spot_colour(ghostscript: str) -> Artwork:
    made = pdf_of(*(drawn for drawn, _ in IN_A_SPOT_COLOUR), spots=["Crimson"])
    return measure_artwork(made, "shapes.pdf", limits=MANY)


@pytest.mark.parametrize("place", range(len(IN_GREY)), ids=lambda place: DRAWINGS[place].__name__)
def test_the_printed_area_is_the_exact_area(in_grey: Artwork, place: int) -> None:
    exact = IN_GREY[place][1] * MM2_PER_PT2

    assert float(in_grey.forms[place].printed_area) == pytest.approx(exact, rel=WITHIN)


@pytest.mark.parametrize("place", range(len(IN_A_SPOT_COLOUR)))
def test_the_printed_area_of_a_separation_is_the_exact_area(in_a_spot_colour: Artwork, place: int) -> None:
    exact = IN_A_SPOT_COLOUR[place][1] * MM2_PER_PT2
    found = in_a_spot_colour.forms[place]

    assert found.separation == "Crimson"
    assert float(found.printed_area) == pytest.approx(exact, rel=WITHIN)


def test_shares_are_of_the_forms_rectangle_and_of_the_page(in_grey: Artwork) -> None:
    found = in_grey.forms[2]  # heavy rules
    area = float(found.printed_area)

    assert float(found.share_inked) == pytest.approx(area / float(found.size.area_mm2), rel=1e-3)
    assert float(found.coverage) == pytest.approx(area / (300 * 300 * MM2_PER_PT2), rel=1e-3)


def test_a_known_rectangle_lies_where_it_was_drawn() -> None:
    found = measure_artwork(pdf_of("0 g " + rule(72, 144, 90, 36)), "a.pdf").forms[0]
    pixel = 25.4 / found.dots_an_inch

    assert float(found.left) == pytest.approx(25.4, abs=pixel)
    assert float(found.top) == pytest.approx((300 - 144 - 36) * 25.4 / 72, abs=pixel)
    assert float(found.size.width_mm) == pytest.approx(31.75, abs=2 * pixel)
    assert float(found.size.height_mm) == pytest.approx(12.7, abs=2 * pixel)
    assert float(found.share_inked) == pytest.approx(1, abs=0.005)
