"""The whole report of a wording: composing as the engine charges it, versions, headings, several cases."""

from __future__ import annotations

from collections import Counter
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from msgspec.structs import replace

from quoting import InputError, MeasureError, RateCard
from quoting.job import SetLine
from quoting.reader import convert
from quoting.units import Length, Size, Speed
from quoting.wording.fitting import FitReport, Wording, fit_report
from tests.wording.test_planner_sorts import job_of, label, minutes, option_of

POINT_MM = Decimal("0.013837") * Decimal("25.4")


@pytest.fixture
def card(cards: dict[str, RateCard]) -> RateCard:
    return cards["marrowby-lane"]


def wording(text: str = "TEA", **told: Any) -> Wording:
    plain: dict[str, Any] = {"fount": "tollhouse-24", "measure": Length("30 picas"), "work": "display"}
    return Wording(text=text, **plain | told)


def found(card: RateCard, text: str = "TEA", **told: Any) -> FitReport:
    return fit_report(wording(text, **told), card)


def rounded(number: Decimal) -> Fraction:
    return Fraction(number).limit_denominator(10**6)


# By pencil: form 10, a line 2.5, a letter .10, a change of fount 4, letterspacing 2, a border 20; 40 % on it.
@pytest.mark.parametrize(
    ("told", "once"),
    [
        ({}, 10 + 1 * Fraction("2.5") + 3 * Fraction("0.10")),
        ({"letterspaced": True}, 10 + 1 * Fraction("2.5") + 3 * Fraction("0.10") + 2),
        ({"borders": 2}, 10 + 1 * Fraction("2.5") + 3 * Fraction("0.10") + 2 * 20),
        ({"broken_out": True}, 15 + 1 * Fraction("2.5") + 3 * Fraction("0.10")),
        ({"headings": (SetLine("at", "wharf-12"),)}, 10 + 2 * Fraction("2.5") + 5 * Fraction("0.10") + 4),
        ({"headings": (SetLine("at", "tollhouse-24"),)}, 10 + 2 * Fraction("2.5") + 5 * Fraction("0.10")),
        ({"fount": "customs-12-line"}, 10 + 1 * Fraction("2.5") + 3 * (Fraction("0.5") + Fraction("0.5"))),
        ({"number_up": 3}, 3 * (10 + 1 * Fraction("2.5") + 3 * Fraction("0.10"))),
        ({"versions": ("PIES",)}, 2 * (10 + 1 * Fraction("2.5")) + 7 * Fraction("0.10")),
    ],
)
def test_display_is_timed_by_form_line_letter_fount_letterspacing_border_and_break(
    card: RateCard, told: dict[str, Any], once: Fraction
) -> None:
    time = found(card, **told).time

    assert [once, once / 10, once * 3 / 10, once * Fraction("1.4")] == [
        rounded(one)
        for one in (time.setting_minutes, time.correcting_minutes, time.distributing_minutes, time.all_in_minutes)
    ]
    assert time.setting_minutes == time.display_minutes + time.wood_minutes + time.text_minutes
    assert time.cost == time.all_in_minutes * card.person_rate(card.worked_by.composing) / 60


@pytest.mark.parametrize("letterspaced", [False, True])
def test_a_job_is_charged_the_minutes_that_fit_tells(card: RateCard, letterspaced: bool) -> None:
    lines = [{"text": one, "fount": "tollhouse-24", "letterspaced": letterspaced} for one in ("TEA", "PIE")]

    option = option_of(job_of(50, label(lines)), card)

    up = option.parts[0].plan.copies
    told = found(card, "TEA\nPIE", letterspaced=letterspaced, number_up=up).time.all_in_minutes
    assert minutes(option, "Composing") == rounded(told)


def test_text_of_a_job_is_charged_the_minutes_that_fit_tells(card: RateCard) -> None:
    item = label([])
    text = {"fount": "ropewalk-12", "wording": "come to supper " * 9, "measure": "10 picas", "copy": "poor"}
    item["front"]["colours"][0]["form"] = {"kind": "hand-set", "text": text}

    option = option_of(job_of(50, item), card)

    told = found(
        card,
        text["wording"],
        fount="ropewalk-12",
        measure=Length("10 picas"),
        work="text",
        copy="poor",
        number_up=option.parts[0].plan.copies,
    )
    assert minutes(option, "Composing") == rounded(told.time.all_in_minutes)


# A heading of 24 pt over two lines of 12 pt, leaded 2: 24 + 12 + 2 + 12 pt.
def test_headings_stand_in_the_forms_depth_and_ink(card: RateCard) -> None:
    told = {"fount": "ropewalk-12", "work": "text", "measure": Length("10 picas"), "leading": Length("2 pt")}

    plain = found(card, "come to supper when the", **told)
    headed = found(card, "come to supper when the", **told, headings=(SetLine("TEA", "tollhouse-24"),))

    assert len(plain.lines) == 2
    assert abs(headed.depth_mm - 50 * POINT_MM) < Decimal("0.00001")
    # TEA prints 3 letters x 24 pt x 55 % of 24 pt, 30 % of it
    more = headed.share_inked * headed.area_mm2 - plain.share_inked * plain.area_mm2
    assert abs(more - 3 * (24 * POINT_MM) ** 2 * Decimal("0.55") * Decimal("0.30")) < Decimal("0.001")
    # four square inches a pound (Stewart 1918), an inch of 72 points
    assert rounded(headed.pounds_of_type) == Fraction(120 * (24 + 12 + 12), 72 * 72) / 4


def test_a_heading_fills_the_measure_in_its_own_points(card: RateCard) -> None:
    heading = found(card, headings=(SetLine("SUPPER", "ropewalk-12"),)).headings[0]

    # S 6, U 8, P 7, P 7, E 7, R 8: 43 of 360 pt
    assert sum(one.half_points for one in heading.line.filled) == 2 * (360 - 43)


# Two founts, one case each: TEA by one E of 24 pt, "tee" by a case of 12 pt that has 3.
def test_each_fount_is_held_to_its_own_case(card: RateCard) -> None:
    founts = {
        **card.founts,
        "tollhouse-24": replace(card.founts["tollhouse-24"], scheme={"T": 2, "E": 1, "A": 2}),
        "wharf-12": replace(card.founts["wharf-12"], scheme={"t": 2, "e": 3}),
    }
    both: dict[str, Any] = {"headings": (SetLine("tee", "wharf-12"),)}

    case = found(replace(card, founts=founts), **both, number_up=2).case

    assert [(one.fount, str(one)) for one in case.short] == [
        ("Wharf Roman, 12 pt", "e by 1"),
        ("Tollhouse Gothic, 24 pt", "E by 1"),
    ]
    assert case.greatest_number_up == 1
    assert {
        fount: {sort: count for sort, count in wanted.items() if len(sort) == 1}
        for fount, wanted in case.wanted.items()
    } == {"wharf-12": {"t": 2, "e": 4}, "tollhouse-24": {"T": 2, "E": 2, "A": 2}}


def test_further_settings_are_counted_over_versions_and_costed(card: RateCard) -> None:
    founts = {**card.founts, "tollhouse-24": replace(card.founts["tollhouse-24"], scheme=dict.fromkeys("TEAPI", 1))}
    short_card = replace(card, founts=founts)

    case = found(short_card, "TEA", versions=("PIE",)).case

    assert (case.settings, [str(one) for one in case.short]) == (2, ["E by 1"])
    # form 10, lock-up 15, wash 4: 10 min at the case, 19 at the stone
    assert case.further_settings_minutes == 29
    at_case, at_stone = (card.person_rate(who) for who in (card.worked_by.composing, card.worked_by.stone))
    assert case.further_settings_cost == (10 * at_case + 19 * at_stone) / 60
    assert found(short_card, "TIP").case.settings == 1
    assert found(short_card, "TEE").case.settings is None


def test_letterspaced_lines_have_hair_spaces_within_their_words(card: RateCard) -> None:
    line = found(card, "TAP ROOM", letterspaced=True, fount="ropewalk-12").lines[0]

    # two and three hairs of 1 1/2 pt; T 7.5, A 8.5, P 7, R 8, O 8.5, O 8.5, M 10.5 = 58.5; a thick space of 4
    assert line.pieces["hair space"] == 5
    before = next(one.half_points for one in line.filled if one.place == "before")
    assert before == (2 * 360 - 2 * 4 - 117 - 5 * 3) // 2


def test_a_letterspaced_word_is_set_without_ligatures_and_as_wide(card: RateCard) -> None:
    plain, apart = (found(card, "fi", fount="ropewalk-12", letterspaced=one).fitted for one in (False, True))

    # fi 6.5; f 4 and i 3 with a hair of 1.5
    assert [one.lines[0].units for one in (plain, apart)] == [65_000, 85_000]
    assert (Decimal("6.5"), Decimal(7)) == (plain.set_points, apart.set_points)


def test_display_lines_stand_as_they_are_and_empty_ones_are_none(card: RateCard) -> None:
    lines = found(card, "TEA\n\n  PIE  AND \n").lines

    assert [line.text for line in lines] == ["TEA", "PIE AND"]
    assert {line.arranged for line in lines} == {"centred"}


def test_every_display_line_over_the_measure_is_named(card: RateCard) -> None:
    with pytest.raises(MeasureError) as told:
        found(card, "TEA\nPIE AND PEAS\nTO\nGOOSEBERRY FOOL", measure=Length("9 picas"))

    assert [fault.where for fault in told.value.faults] == ["line 2", "line 4"]


def test_a_piece_narrower_than_the_measure_is_fitted_to_its_own_room(card: RateCard) -> None:
    asked = {"fount": "ropewalk-10", "work": "text", "measure": Length("20 picas"), "piece": Size("30 x 12 mm")}

    report = found(card, "come to supper when the barley is in", **asked)

    assert report.fits is False
    assert report.would_fit
    for one in report.would_fit:
        fount = next(name for name, fount in card.founts.items() if fount.name == one.fount)
        leading = Length(f"{one.leading_points} pt")
        measure = Length("30 mm")
        again = found(
            card,
            "come to supper when the barley is in",
            **asked | {"fount": fount, "leading": leading, "measure": measure},
        )
        assert again.fits
        assert (len(again.lines), again.fitted.measure_half_points) == (one.lines, one.measure_half_points)
    # nothing larger, or more open, that would: every other lead of the rack runs out of the room
    assert max(one.depth_mm for one in report.would_fit) <= 12


def test_leads_are_told_only_where_there_are_lines_to_lead(card: RateCard) -> None:
    asked = {"fount": "ropewalk-10", "work": "text", "measure": Length("20 picas"), "piece": Size("60 x 12 mm")}

    report = found(card, "come to supper", **asked)

    assert [(one.lines, int(one.leading_points)) for one in report.would_fit] == [(1, 0)] * 3


def test_lines_with_more_than_an_em_between_words_are_told(card: RateCard) -> None:
    text = {"fount": "ropewalk-12", "work": "text", "measure": Length("6 picas")}

    # "a la" is 5 + 3 + 5 pt on 72: 59 pt between; "to be" before it has the line end that it asks for
    report = found(card, "a la incontrolle by", **text)

    assert report.lines[0].text == "a la"
    assert report.loose_lines == (1,)


@pytest.mark.parametrize(("speed", "warned"), [("1700 an hour", False), ("1701 an hour", True)])
def test_a_speed_over_the_wonderful_is_hard_to_believe(card: RateCard, speed: str, warned: bool) -> None:
    # 1,700 ems an hour: Barnes, McCann & Duguid, 1887
    quick = replace(card.founts["ropewalk-12"], ems_an_hour=Speed(speed))
    told = {"fount": "ropewalk-12", "work": "text"}

    time = found(replace(card, founts={**card.founts, "ropewalk-12": quick}), "come", **told).time

    assert warned == ("over the 1700 ems an hour" in time.warning)


def test_tabular_and_poor_copy_are_slower_by_the_cards_factors(card: RateCard) -> None:
    speeds = [
        found(card, "1 2 3", fount="ropewalk-12", work="text", copy=copy).time.ems_an_hour
        for copy in ("plain", "poor", "tabular")
    ]

    assert [450, 450 * Decimal("0.67"), 450 * Decimal("0.5")] == speeds


def test_what_does_not_belong_together_is_refused() -> None:
    for told, said in (({"letterspaced": True, "work": "text"}, "letterspacing"), ({"copy": "poor"}, "plain copy")):
        asked = {"text": "a", "fount": "a", "measure": "3 picas", "work": "display"} | told
        with pytest.raises(InputError, match=said):
            convert(asked, Wording)


def test_spaces_of_a_line_are_sorts_with_its_letters(card: RateCard) -> None:
    report = found(card, "PIP PIP", fount="ropewalk-10", measure=Length("8 picas"))

    wanted = Counter(report.case.wanted["ropewalk-10"])
    assert (wanted["P"], wanted["I"]) == (4, 2)
    assert Counter({one: count for one, count in wanted.items() if len(one) > 1}) == report.lines[0].pieces
