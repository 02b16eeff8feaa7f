"""What else is measured of a form: boxes, solids, details, bleeds, greys, colours, separations."""

from __future__ import annotations

import base64
import io
from decimal import Decimal

import pytest
from PIL import Image

from quoting.artwork import Artwork, FormArtwork, Limits, measure_artwork
from quoting.errors import UnfitArtworkError
from tests.artwork.drawn import circle, pdf_of, rule

MANY = Limits(pages=60, seconds=120)
WIDTHS_PT = (0.2, 0.25, 0.4, 0.5, 0.75, 1, 2, 4)
TWO_SPOTS = "/S0 cs 1 scn " + circle(100, 100, 30) + "/S1 cs 1 scn " + circle(200, 200, 20)


@pytest.fixture(scope="module")
def details() -> Artwork:
    """A rule of each width beside a disc; then a gap of each width in a solid."""
    rules = ["0 g " + rule(20.1, 40.2, width, 60) + circle(80, 60, 20) for width in WIDTHS_PT]
    gaps = ["0 g " + rule(10, 10, 100, 100) + "1 g " + rule(50.1, 30, width, 50) for width in WIDTHS_PT]
    return measure_artwork(pdf_of(*rules, *gaps, size=(120, 120)), "details.pdf", limits=MANY)


@pytest.mark.parametrize("place", range(len(WIDTHS_PT)), ids=lambda place: f"{WIDTHS_PT[place]} pt")
def test_the_thinnest_line_is_as_wide_as_it_was_drawn(details: Artwork, place: int) -> None:
    found = details.forms[place].thinnest_positive

    assert found is not None
    assert float(found) == pytest.approx(WIDTHS_PT[place] * 25.4 / 72, abs=0.015)
    assert details.forms[place].thinnest_reversed is None


@pytest.mark.parametrize("place", range(len(WIDTHS_PT)), ids=lambda place: f"{WIDTHS_PT[place]} pt")
def test_the_finest_gap_is_as_wide_as_it_was_drawn(details: Artwork, place: int) -> None:
    form = details.forms[len(WIDTHS_PT) + place]

    assert form.thinnest_reversed is not None
    assert float(form.thinnest_reversed) == pytest.approx(WIDTHS_PT[place] * 25.4 / 72, abs=0.015)
    assert form.thinnest_positive is None


def page(*contents: str, **told: object) -> tuple[FormArtwork, ...]:
    return measure_artwork(pdf_of(*contents, **told), "a.pdf", limits=MANY).forms  # type: ignore[arg-type]  # its own


def test_a_solid_is_what_a_disc_of_5_mm_fits_into_and_a_heavy_one_of_10() -> None:
    mm = 72 / 25.4
    rules = rule(10, 10, 3 * mm, 80 * mm)
    middling, heavy = rule(60, 10, 7 * mm, 40 * mm), rule(120, 10, 30 * mm, 40 * mm)
    thin, both, all_three = page(*("0 g " + drawn for drawn in (rules, rules + middling, rules + middling + heavy)))

    assert thin.largest_solid_size is None
    assert (float(thin.largest_solid), float(thin.heavy)) == (0, 0)
    assert float(both.largest_solid) == pytest.approx(7 * 40, rel=0.03)  # the disc leaves the corners out
    assert both.heavy == 0
    assert float(all_three.largest_solid) == pytest.approx(30 * 40, rel=0.01)
    assert float(all_three.heavy) == pytest.approx(1200 / (240 + 280 + 1200), rel=0.025)


def test_a_page_bleeds_where_ink_reaches_the_edge_of_its_trimmed_page() -> None:
    boxes = "/TrimBox [20 20 280 280] /BleedBox [10 10 290 290]"
    within, over, beside = page(
        "0 g " + rule(50, 50, 90, 90), "0 g " + rule(5, 50, 90, 90), "0 g " + rule(22, 50, 90, 90), boxes=boxes
    )

    assert (within.bleeds, over.bleeds, beside.bleeds) == (False, True, False)
    assert (within.page_size.width_mm, within.page_size.height_mm) == (Decimal("91.72"), Decimal("91.72"))
    assert float(over.size.width_mm) == pytest.approx(85 * 25.4 / 72, abs=0.1)  # as far as it bleeds, no further
    assert float(within.left) == pytest.approx(30 * 25.4 / 72, abs=0.1)


@pytest.mark.parametrize("turned", [0, 90, 180, 270])
def test_a_turned_page_is_measured_as_it_is_seen(turned: int) -> None:
    boxes = f"/TrimBox [20 40 280 290] /BleedBox [10 10 300 300] /Rotate {turned}"
    found = page("0 g " + rule(50, 60, 90, 30), boxes=boxes)[0]
    left, low, right, high = 30, 20, 260 - 120, 250 - 50  # from the trimmed page's edges. [pt]
    expected = {0: (left, high), 90: (low, left), 180: (right, low), 270: (high, right)}[turned]

    assert float(found.left) == pytest.approx(expected[0] * 25.4 / 72, abs=0.1)
    assert float(found.top) == pytest.approx(expected[1] * 25.4 / 72, abs=0.1)


def test_greys_are_tints_and_an_edge_is_none() -> None:
    half, whole = page("0.5 g " + rule(50, 50, 90, 90), "0 g " + circle(150, 150, 60))

    assert float(half.tints) == pytest.approx(1, abs=0.02)
    assert whole.tints == 0


def test_two_colours_in_one_form_are_found_and_named() -> None:
    mixed, red = page(
        "0 g " + circle(100, 100, 40) + "1 0 0 rg " + circle(220, 220, 20), ".8 .1 .15 rg " + circle(100, 100, 40)
    )

    assert mixed.colours == ("black (#000000)", "red (#ff0000)")
    assert mixed.notes == (
        "expected one colour a form; found black (#000000) 80.2 %, red (#ff0000) 19.8 % of the ink:"
        " two colours are two forms",
    )
    assert (red.colours, red.notes) == (("red (#cc1a26)",), ())
    assert float(red.share_inked) == pytest.approx(0.785, abs=0.01)  # a colour is printed from solid ink


def test_a_page_in_spot_colours_is_a_form_a_separation(ghostscript: str) -> None:
    found = measure_artwork(pdf_of(TWO_SPOTS, spots=["Crimson", "Moss"]), "a.pdf")

    assert [form.named for form in found.forms] == ["page 1, Crimson", "page 1, Moss"]
    assert found.notes == ()
    assert float(found.forms[0].left) == pytest.approx(70 * 25.4 / 72, abs=0.1)


def test_process_colours_left_beside_spot_colours_are_named(ghostscript: str) -> None:
    drawn = TWO_SPOTS + "0 1 1 0 k " + circle(50, 250, 20)

    found = measure_artwork(pdf_of(drawn, spots=["Crimson", "Moss"]), "a.pdf")

    assert [form.separation for form in found.forms] == ["Crimson", "Magenta", "Moss", "Yellow"]
    assert "found process colours too: Magenta, Yellow" in found.notes[0]


def test_overprinting_takes_nothing_out_of_the_other_separation(ghostscript: str) -> None:
    under, over = "/S0 cs 1 scn " + rule(50, 50, 100, 100), "/S1 cs 1 scn " + rule(80, 80, 40, 40)
    areas = []
    for state in ("", "/G gs "):
        made = pdf_of(under + state + over, spots=["Crimson", "Moss"]).replace(
            b"/ColorSpace <<", b"/ExtGState << /G << /OP true /op true /OPM 1 >> >> /ColorSpace <<"
        )
        areas.append(float(measure_artwork(made, "a.pdf").forms[0].printed_area) * (72 / 25.4) ** 2)

    assert areas == pytest.approx([10_000 - 1600, 10_000], rel=0.002)


def picture(mode: str, kind: str, **told: object) -> bytes:
    """A square of 400 pixels with a black square of 200 in it, at 600 dots an inch."""
    made = Image.new("L", (400, 400), 255)
    made.paste(0, (100, 100, 300, 300))
    out = io.BytesIO()
    if mode == "RGBA":
        clear = Image.new("RGBA", (400, 400), (0, 0, 0, 0))
        clear.paste((0, 0, 0, 255), (100, 100, 300, 300))
        clear.save(out, kind, dpi=(600, 600))
    elif mode == "CMYK":
        black = made.point(lambda level: 255 - level)
        Image.merge("CMYK", (*[Image.new("L", (400, 400))] * 3, black)).save(out, kind, dpi=(600, 600))
    elif mode == "I;16":
        deep = Image.new("I;16", (400, 400), 65535)
        deep.paste(0, (100, 100, 300, 300))
        deep.save(out, kind, dpi=(600, 600))
    else:
        made.convert(mode).save(out, kind, dpi=(600, 600), **told)
    return out.getvalue()


@pytest.mark.parametrize(
    ("mode", "kind", "name"),
    [
        ("1", "PNG", "a.png"),
        ("L", "PNG", "a.png"),
        ("P", "PNG", "a.png"),
        ("RGB", "PNG", "a.PNG"),
        ("RGBA", "PNG", "a.png"),
        ("I;16", "PNG", "a.png"),
        ("1", "TIFF", "a.tif"),
        ("L", "TIFF", "a.tiff"),
        ("CMYK", "TIFF", "a.tif"),
    ],
)
def test_a_picture_of_any_kind_measures_the_same(mode: str, kind: str, name: str) -> None:
    found = measure_artwork(picture(mode, kind), name, f"image/{kind.lower()}").forms

    assert len(found) == 1
    assert found[0].separation == ("Black" if mode == "CMYK" else "")
    assert found[0].dots_an_inch == 600
    assert float(found[0].printed_area) == pytest.approx((200 * 25.4 / 600) ** 2, rel=1e-4)
    assert found[0].share_inked == 1


def test_a_picture_that_does_not_say_how_large_it_is_is_asked_for_it() -> None:
    bare = io.BytesIO()
    with Image.open(io.BytesIO(picture("L", "PNG"))) as opened:
        opened.info.clear()
        opened.save(bare, "PNG")

    with pytest.raises(UnfitArtworkError, match="expected a picture that says its dots an inch; found none"):
        measure_artwork(bare.getvalue(), "a.png")
    told = measure_artwork(bare.getvalue(), "a.png", dots_an_inch=300)

    assert float(told.forms[0].printed_area) == pytest.approx((200 * 25.4 / 300) ** 2, rel=1e-4)


def test_the_small_picture_shows_the_form() -> None:
    found = page("0 g " + rule(0, 0, 150, 300))[0]

    with Image.open(io.BytesIO(base64.b64decode(found.picture))) as small:
        assert max(small.size) <= 320
        assert (small.getpixel((10, 100)), small.getpixel((300, 100))) == (0, 255)


def test_bare_paper_is_refused_and_an_empty_page_is_told() -> None:
    with pytest.raises(UnfitArtworkError, match="expected artwork that prints something; found bare paper"):
        measure_artwork(pdf_of("1 g " + rule(50, 50, 90, 90)), "a.pdf")
    found = measure_artwork(pdf_of("1 g " + rule(50, 50, 90, 90), "0 g " + rule(50, 50, 90, 90)), "a.pdf")

    assert [form.page for form in found.forms] == [2]
    assert found.notes == ("page 1 prints nothing",)


def test_the_same_file_measures_the_same_to_the_last_figure() -> None:
    made = pdf_of("0 g " + circle(100, 100, 40) + rule(20, 20, 0.5, 200))

    assert measure_artwork(made, "a.pdf") == measure_artwork(made, "a.pdf")
