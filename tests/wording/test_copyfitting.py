"""Copyfitting against the handbooks, and against a text set by pencil."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest

from quoting import MeasureError, RateCard
from quoting.shop import Fount
from quoting.units import MM_PER_DIDOT_POINT, Length, Size, in_points, point_system
from quoting.wording import FountWidths, ems_a_pound, ems_set, fit, spaced, words_held
from quoting.wording.fitting import FitReport, Wording, fit_report
from tests.wording import fount_of

# Abraham Lincoln at Gettysburg, 19 November 1863, the first sentence of the copy that he signed for Bliss: public
# domain; read against a published transcript.
LINCOLN = (
    "Four score and seven years ago our fathers brought forth on this continent, a new nation, conceived in Liberty, "
    "and dedicated to the proposition that all men are created equal."
)


@pytest.fixture
def ropewalk(cards: dict[str, RateCard]) -> Fount:
    return cards["marrowby-lane"].founts["ropewalk-12"]


def report(cards: dict[str, RateCard], **asked: object) -> FitReport:
    told = {"text": LINCOLN, "fount": "ropewalk-12", "measure": Length("20 picas"), **asked}
    return fit_report(Wording(**told), cards["marrowby-lane"])  # type: ignore[arg-type]  # a test's own words


# E. G. Gress, The Art & Practice of Typography, 1917, example 7 (B): 11 sq in of 10 pt leaded, six pages.
def test_eleven_square_inches_of_ten_point_leaded_hold_176_words_and_six_pages_1056(
    cards: dict[str, RateCard],
) -> None:
    table = cards["marrowby-lane"].founts["ropewalk-10"].words_a_square_inch
    assert table is not None

    page = words_held(area=Decimal(11), words_a_square_inch=table.leaded)

    assert (Decimal(176), Decimal(1056)) == (page, 6 * page)


# Gress 1917 (B): solid 32, 21, 14 and leaded 23, 16, 11 for 8, 10, 12 pt.
def test_the_demo_founts_carry_gresss_words_a_square_inch(cards: dict[str, RateCard]) -> None:
    tables = [cards["marrowby-lane"].founts[f"ropewalk-{body}"].words_a_square_inch for body in (8, 10, 12)]

    assert [(int(one.solid), int(one.leaded)) for one in tables if one] == [(32, 23), (21, 16), (14, 11)]


# A. A. Stewart, Type, UTA series I/1, 1918 (B).
@pytest.mark.parametrize(("body", "ems"), [(6, 576), (8, 324), (9, 256), (12, 144), (18, 64)])
def test_ems_in_a_pound_are_stewarts(body: int, ems: int) -> None:
    assert ems == ems_a_pound(body=Decimal(body))


# B. Drew, Pens and Types, 1889, p. 21 (B): 20 ems x 50 lines.
def test_twenty_ems_by_fifty_lines_are_a_thousand_ems() -> None:
    assert Decimal(1000) == ems_set(measure=Decimal(240), body=Decimal(12), lines=50)


# Stewart, Typesetting, 1919 (B): 3 1/2 in = 3.5 / .166044 = 21.08 picas; the rest exact by definition.
@pytest.mark.parametrize(
    ("body", "measure", "half_points"),
    [
        ("12 pt", "20 picas", 480),
        ("12 pt", "20 1/2 picas", 492),
        ("12 pt", "3 1/2 in", 505),
        ("10 didot", "20 ciceros", 480),
        ("10 didot", "100 mm", 532),
        ("8 metric pt", "90 mm", 480),
    ],
)
def test_measures_are_taken_to_the_half_point_of_the_founts_system(body: str, measure: str, half_points: int) -> None:
    widths = FountWidths(fount_of(body=body))

    assert half_points == widths.half_points(Length(measure).in_base_unit)


def test_a_body_is_whole_in_the_points_of_its_own_founder() -> None:
    bodies = [Length(written) for written in ("12 pt", "12 didot", "12 metric pt", "1 cicero")]

    found = [in_points(body.in_base_unit, point_system(body)[1]) for body in bodies]

    assert [Decimal(12)] * 4 == found
    assert point_system(bodies[1]) == ("Didot", MM_PER_DIDOT_POINT)


# By pencil, from the card's set widths of Ropewalk Roman, 12 pt, thick spaces of 4 pt, on 240 pt.
WORDS_OF_THE_FIRST_LINE = {
    "Four": "7 + 6 + 6 + 4.5",
    "score": "4.5 + 5 + 6 + 4.5 + 5",
    "and": "5 + 6 + 6",
    "seven": "4.5 + 5 + 5.5 + 5 + 6",
    "years": "5.5 + 5 + 5 + 4.5 + 4.5",
    "ago": "5 + 5.5 + 6",
    "our": "6 + 6 + 4.5",
    "fathers": "4 + 5 + 4 + 6 + 5 + 4.5 + 4.5",
}


def summed(arithmetic: str) -> Decimal:
    return sum((Decimal(number) for number in arithmetic.split(" + ")), Decimal(0))


def test_the_first_line_of_a_real_text_is_as_long_as_by_pencil(ropewalk: Fount) -> None:
    words = sum((summed(letters) for letters in WORDS_OF_THE_FIRST_LINE.values()), Decimal(0))

    line = fit(LINCOLN, ropewalk, measure_mm=Length("20 picas").in_base_unit).lines[0]

    assert (" ".join(WORDS_OF_THE_FIRST_LINE), words + 7 * 4) == (line.text, Decimal(line.units) / 10_000)
    assert words + 7 * 4 + 4 + summed("6 + 4.5 + 6 + 6 + 5.5 + 6 + 4") > 240  # "brought" goes over


def test_the_first_line_is_justified_as_by_pencil(ropewalk: Fount) -> None:
    fitted = fit(LINCOLN, ropewalk, measure_mm=Length("20 picas").in_base_unit)

    first, last = spaced(fitted, ropewalk)[0], spaced(fitted, ropewalk)[-1]

    # 240 − 182 = 58 pt over 7 gaps: four of 8 1/2 pt (6 + 2 1/2), three of 8 pt (4 + 4)
    assert [one.half_points for one in first.filled] == [17, 17, 17, 17, 16, 16, 16]
    assert dict(first.pieces) == {"en quad": 4, "5-em space": 4, "3-em space": 6}
    # 206 1/2 pt of the last leave 33 1/2: 12 + 12 + 6 + 3 + 1/2
    assert last.filled[-1].pieces == ("em quad", "em quad", "en quad", "4-em space", "half-point space")


def test_the_whole_text_is_as_deep_as_by_pencil_and_takes_as_long(cards: dict[str, RateCard]) -> None:
    found = report(cards, leading=Length("2 pt"))

    # 4 lines: 4 × 12 + 3 × 2 pt; 240 / 12 × 4 ems; 80 / 450 × 60 min, 10 % to correct, 30 % to distribute
    assert (Decimal(54), Decimal(80)) == (found.fitted.depth_points, found.fitted.ems)
    # and the form itself, 10 min
    text = Fraction(80, 450) * 60
    assert [text, 10 + text, (10 + text) * Fraction(14, 10)] == [
        Fraction(minutes).limit_denominator(1000)
        for minutes in (found.time.text_minutes, found.time.setting_minutes, found.time.all_in_minutes)
    ]


# Drew 1889 (B): 4,000 ems of bad copy in a day against 6,000 of fair.
def test_poor_copy_takes_half_as_long_again(cards: dict[str, RateCard]) -> None:
    plain, poor = (report(cards, copy=copy).time.text_minutes for copy in ("plain", "poor"))

    assert abs(plain * 6_000 / 4_000 - poor) < poor / 100


def test_a_text_prints_its_letters_bodies_by_the_founts_share(cards: dict[str, RateCard]) -> None:
    found = report(cards)

    # widths of the words alone: 182 + 197.5 + 180.5 + 182.5 pt, on 12 pt, .17 of it, over 240 × 48 pt
    letters = sum(
        (Decimal(line.units) / 10_000 - 4 * line.text.count(" ") for line in found.fitted.lines), Decimal(0)
    )
    assert Decimal("742.5") == letters
    assert abs(letters * 12 * Decimal("0.17") / (240 * 48) - found.share_inked) < Decimal("1e-9")


def test_what_does_not_fit_is_told_with_the_sizes_that_would(cards: dict[str, RateCard]) -> None:
    found = report(cards, leading=Length("6 pt"), piece=Size("100 x 22 mm"), margins=Length("2 mm"))

    assert found.fits is False
    assert found.would_fit[0].fount == "Ropewalk Roman, 12 pt"
    assert all(one.depth_mm <= 18 for one in found.would_fit)
    assert {"Ropewalk Roman, 10 pt", "Ropewalk Roman, 8 pt"} <= {one.fount for one in found.would_fit}


def test_what_fits_its_piece_is_told_so(cards: dict[str, RateCard]) -> None:
    found = report(cards, piece=Size("100 x 60 mm"), margins=Length("5 mm"))

    assert (found.fits, found.would_fit) == (True, ())


def test_a_fount_without_set_widths_falls_back_on_characters_a_pica_and_says_so() -> None:
    fitted = fit("aaaa bbbb", fount_of(characters_a_pica="2.4"), measure_mm=Length("10 picas").in_base_unit)

    # 12 / 2.4 = 5 pt each, the space too
    assert (fitted.basis, fitted.lines[0].units) == ("characters a pica", 9 * 50_000)


def test_a_character_outside_the_table_is_named(cards: dict[str, RateCard]) -> None:
    assert report(cards, text="by § four").fitted.unlisted == ("§",)


def test_a_word_wider_than_the_measure_is_an_error_that_names_the_line(cards: dict[str, RateCard]) -> None:
    with pytest.raises(MeasureError, match="line 2: expected a word of at most 36 pt"):
        report(cards, text="to be incomprehensible", measure=Length("3 picas"))


@pytest.mark.parametrize("text", ["", " \n\t "])
def test_no_words_are_an_error(text: str, ropewalk: Fount) -> None:
    with pytest.raises(MeasureError, match="words to set"):
        fit(text, ropewalk, measure_mm=Decimal(50))


# By pencil, on 60 pt.
def test_a_word_is_divided_at_its_soft_hyphens_as_late_as_goes_in_and_nowhere_else(ropewalk: Fount) -> None:
    measure = Length("5 picas").in_base_unit

    divided = fit("in\u00adcom\u00adpre\u00adhen\u00adsible", ropewalk, measure_mm=measure)

    # incompre- is 3+6+5+6+9.5+6+4.5+5+4 = 49 pt, incomprehen- 66; hensible 6+5+6+4.5+3+6+3+5 = 38.5
    assert [line.text for line in divided.lines] == ["incompre-", "hensible"]
    assert [Decimal(49), Decimal("38.5")] == [Decimal(line.units) / 10_000 for line in divided.lines]
    with pytest.raises(MeasureError, match="a word of at most 60 pt"):
        fit("incomprehensible", ropewalk, measure_mm=measure)


# aaa bbb: 3 x 5 + 4 + 3 x 6 = 37 pt; incompre- is 49.
@pytest.mark.parametrize(
    ("text", "measure", "lines"),
    [
        ("aaa bbb", "37 pt", ["aaa bbb"]),
        ("aaa bbb", "36 1/2 pt", ["aaa", "bbb"]),
        ("incom\u00adpre\u00adhensible", "49 pt", ["incompre-", "hensible"]),
        ("incom\u00adpre\u00adhensible", "48 1/2 pt", ["incom-", "pre-", "hensible"]),
    ],
)
def test_what_takes_the_whole_measure_goes_in_and_half_a_point_more_does_not(
    text: str, measure: str, lines: list[str], ropewalk: Fount
) -> None:
    found = fit(text, ropewalk, measure_mm=Length(measure).in_base_unit)

    assert lines == [line.text for line in found.lines]


def test_soft_hyphens_that_are_not_needed_leave_no_trace(ropewalk: Fount) -> None:
    measure = Length("20 picas").in_base_unit

    plain, marked = (fit(text, ropewalk, measure_mm=measure) for text in ("co-op office", "co-\u00adop of\u00adfice"))

    assert plain == marked


def test_a_divided_word_keeps_its_own_hyphen(ropewalk: Fount) -> None:
    found = fit("self-\u00adfeeding", ropewalk, measure_mm=Length("4 picas").in_base_unit)

    assert [line.text for line in found.lines] == ["self-", "feeding"]


# A condensed face without set widths: 3 pt a character and 3 pt a space, but a thick space of 12 pt is 4.
@pytest.mark.parametrize("average_set", ["15 %", "25 %", "60 %"])
def test_lines_broken_by_mean_widths_can_be_spaced_too(average_set: str) -> None:
    fount = fount_of(average_set=average_set)
    fitted = fit("aa bb " * 40, fount, measure_mm=Length("10 picas").in_base_unit)

    for arranged in ("justified", "centred"):
        assert len(fitted.lines) == len(spaced(fitted, fount, arranged=arranged))
