"""The case decides: a shortage changes the number up, or parts a form into settings, at what it costs."""

from __future__ import annotations

from collections import Counter
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from msgspec.structs import replace

from quoting import Job, JobError, NoPlanError, RateCard, estimate_job, read_job
from quoting.docket import docket_for
from quoting.estimate import Option
from quoting.planning.pins import Pin
from quoting.shop import Fount
from tests.conftest import DAY
from tests.planning.test_search import least_by_plain_loops, searched

Line = dict[str, Any]
DISPLAY = "tollhouse-24"


def label(lines: list[Line], *, name: str = "Label", **form: object) -> dict[str, Any]:
    colour = {"ink": "black", "form": {"kind": "hand-set", "lines": lines, **form}}
    return {
        "name": name,
        "stock": "kraft-label",
        "size": "74 x 52 mm",
        "front": {"impression": "visible", "colours": [colour]},
    }


def job_of(quantity: int, *items: dict[str, Any]) -> Job:
    told = {"format": 1, "title": "Labels", "client": {"name": "Nobody"}, "quantities": [quantity], "items": items}
    return read_job(told)


def with_case(card: RateCard, **told: Any) -> RateCard:
    fount: Fount = replace(card.founts[DISPLAY], **told)
    return replace(card, founts={**card.founts, DISPLAY: fount})


def option_of(job: Job, card: RateCard, *pins: Pin) -> Option:
    return estimate_job(job, card, on=DAY, pins=pins).options[0]


def minutes(option: Option, operation: str) -> Fraction:
    found = sum((line.minutes for line in option.lines if line.operation == operation), Decimal(0))
    return Fraction(found).limit_denominator(10**9)


def cost(option: Option, *operations: str) -> Decimal:
    return sum((line.cost for line in option.lines if line.operation in operations), Decimal(0))


def number_up(option: Option) -> int:
    return option.parts[0].plan.number_up


TEA = [{"text": "TEA", "fount": DISPLAY}, {"text": "from the hill", "fount": "wharf-12"}]


@pytest.fixture
def card(cards: dict[str, RateCard]) -> RateCard:
    return cards["marrowby-lane"]


# The worked example: 2,000 labels, TEA in Tollhouse Gothic, of which the case has two A.
def test_a_shortage_of_one_letter_changes_the_chosen_plan(card: RateCard) -> None:
    job = job_of(2000, label(TEA))
    plenty, short = with_case(card, scheme={"T": 9, "E": 9, "A": 9}), with_case(card, scheme={"T": 9, "E": 9, "A": 2})

    free, held = option_of(job, plenty), option_of(job, short)

    # TEA takes one A: four up take four, and the case has two
    assert (number_up(free), number_up(held)) == (4, 2)
    refused = held.refusals["Label"]["Platen, 8 x 12 in, fed by hand, motor, one side, 4 up"]
    assert refused.startswith("Tollhouse Gothic, 24 pt is short of A by 2, 4 standing at once")
    # one setting: form 10, 2 lines of 2.5, 3 + 11 letters of .10, one change of fount 4; 10 % and 30 % on it
    setting = Fraction(10) + 2 * Fraction("2.5") + 14 * Fraction("0.10") + 4
    assert minutes(free, "Composing") == setting * 4 * Fraction("1.4")
    assert minutes(held, "Composing") == setting * 2 * Fraction("1.4")
    # text paper on the 8 x 12, past 500 sheets at .9 (a tenth slower): fed sheets / speed x 60
    for option in (free, held):
        fed = option.parts[0].count.passes[0].sheets_fed
        speed = Fraction(card.presses[option.parts[0].plan.press].speeds["text"])
        assert (
            minutes(option, "Running")
            == (Fraction(min(fed, 500)) + Fraction(max(0, fed - 500)) / Fraction("0.9")) / speed * 60
        )
    # two settings fewer are cheaper to compose and dearer to run; on the whole the shortage costs money
    assert cost(held, "Composing") < cost(free, "Composing")
    assert cost(held, "Running") > cost(free, "Running")
    assert held.price.cost > free.price.cost


def test_without_the_shortage_two_up_is_dearer_than_four_by_the_same(card: RateCard) -> None:
    job, plenty = job_of(2000, label(TEA)), with_case(card, scheme={"T": 9, "E": 9, "A": 9})
    short = with_case(card, scheme={"T": 9, "E": 9, "A": 2})

    pinned, held = option_of(job, plenty, Pin(number_up=2)), option_of(job, short)

    assert pinned.price == held.price


def test_damaged_letters_limit_it_further(card: RateCard) -> None:
    worn = with_case(card, scheme={"T": 9, "E": 9, "A": 2}, damaged={"A": 1})

    assert number_up(option_of(job_of(2000, label(TEA)), worn)) == 1


def test_what_the_card_lets_stand_in_does_so_where_the_job_allows_it(card: RateCard) -> None:
    case = {"scheme": {"T": 9, "E": 9, "A": 2, "small capital A": 2}, "alternates": {"A": ("small capital A",)}}

    strict = option_of(job_of(2000, label(TEA)), with_case(card, **case))
    allowed = option_of(job_of(2000, label(TEA, stand_ins=True)), with_case(card, **case))

    assert (number_up(strict), number_up(allowed)) == (2, 4)


PIE = [{"text": "TEA", "fount": DISPLAY}, {"text": "PIE", "fount": DISPLAY}]


# TEA and PIE take two E between them, and the case has one: set, print, distribute, set again.
def test_a_form_that_the_case_cannot_hold_is_parted_into_two_settings(card: RateCard) -> None:
    one_e = with_case(card, scheme=dict.fromkeys("TEAPI", 1))

    option = option_of(job_of(500, label(PIE)), one_e)

    # each setting: form 10, a line 2.5, 3 letters of .10, with 40 % on it; lock-up 15 + a relock 6; wash 4
    assert minutes(option, "Composing") == 2 * (10 + Fraction("2.5") + 3 * Fraction("0.10")) * Fraction("1.4")
    assert minutes(option, "Lock-up") == 2 * (15 + 6)
    assert minutes(option, "Form washing") == 2 * 4
    # the second is laid to the first in loose register: 20, and 20 + 5
    assert minutes(option, "Make-ready") == 20 + 20 + 5
    # the press is washed while the type is distributed: inked up and washed twice
    assert minutes(option, "Ink-up") == 2 * 5
    assert minutes(option, "Wash-up") == 2 * 12
    assert [work.label for work in option.parts[0].plan.passes] == [
        "Label, front, Lamp black, setting 1 of 2",
        "Label, front, Lamp black, setting 2 of 2",
    ]
    assert any("print, distribute, set again" in warning for warning in option.warnings)


def test_the_docket_gives_each_setting_its_own_lines(card: RateCard) -> None:
    one_e = with_case(card, scheme=dict.fromkeys("TEAPI", 1))

    docket = docket_for(estimate_job(job_of(500, label(PIE)), one_e, on=DAY), one_e)

    assert [[line.text for line in one.lines] for one in docket.passes] == [["TEA"], ["PIE"]]


@pytest.mark.parametrize("es", [1, 2, 3, 6])
def test_the_search_is_exact_where_parts_share_a_case(card: RateCard, es: int) -> None:
    short = with_case(card, scheme=dict.fromkeys("TAPI", es) | {"E": es})
    two_items = job_of(700, label(PIE[:1], name="Tea"), label(PIE[1:], name="Pie"))

    prepared, cost_found = searched(two_items, short)

    assert cost_found == least_by_plain_loops(prepared)


def test_a_form_is_not_parted_where_the_case_holds_it(card: RateCard) -> None:
    two_e = with_case(card, scheme=dict.fromkeys("TAPI", 1) | {"E": 2})

    option = option_of(job_of(500, label(PIE)), two_e)

    assert (number_up(option), len(option.parts[0].plan.passes)) == (1, 1)


def test_a_line_that_the_case_cannot_hold_is_refused_with_the_letters(card: RateCard) -> None:
    no_e = with_case(card, scheme=dict.fromkeys("TAPI", 1))

    with pytest.raises(NoPlanError, match="Tollhouse Gothic, 24 pt is short of E by 1: another fount, other words"):
        option_of(job_of(500, label(PIE)), no_e)


# Two labels share one case: both stand at once, or the press is washed between them.
def test_all_forms_of_the_job_that_stand_at_once_share_one_case(card: RateCard) -> None:
    items = label(PIE[:1], name="Tea"), label(PIE[1:], name="Pie")
    job = job_of(100, *items)
    pins = [Pin(number_up=1)]

    shared = option_of(job, with_case(card, scheme=dict.fromkeys("TEAPI", 1)), *pins)
    enough = option_of(job, with_case(card, scheme=dict.fromkeys("TAPI", 1) | {"E": 2}), *pins)

    assert [minutes(option, "Ink-up") for option in (enough, shared)] == [5, 2 * 5]
    assert [minutes(option, "Wash-up") for option in (enough, shared)] == [12, 2 * 12]
    assert minutes(enough, "Composing") == minutes(shared, "Composing")
    assert any("what stands is distributed first: [Tea" in warning for warning in shared.warnings)
    assert enough.warnings == ()


def test_versions_that_stand_together_are_counted_as_each_reads(card: RateCard) -> None:
    readings = ["QUINCE", "DAMSON", "MEDLAR", "CHERRY"]
    item = label([{"text": readings[0], "fount": DISPLAY, "further": readings[1:]}]) | {"versions": 4}
    item["front"]["colours"][0]["version_lines"] = 1
    together = Counter("".join(readings))
    pin = Pin(imposition="ganged", number_up=4)

    option = option_of(job_of(250, item), with_case(card, scheme=dict(together)), pin)

    assert option.parts[0].plan.versions_together == 4
    with pytest.raises(NoPlanError, match="is short of R by 1, 4 standing at once"):
        option_of(job_of(250, item), with_case(card, scheme=together - Counter("R")), pin)


def test_running_text_by_its_wording_is_measured_counted_and_split(card: RateCard) -> None:
    text = {"fount": "ropewalk-10", "wording": "pepper " * 12, "measure": "10 picas", "leading": "2 pt"}
    item = label([])
    item["front"]["colours"][0]["form"] = {"kind": "hand-set", "text": text}

    option = option_of(job_of(100, item), card)

    # 12 x 3 p, and the bill of 10 pt has 17: three settings
    assert len(option.parts[0].plan.passes) == 3


def test_a_reading_that_is_missing_is_told_with_the_job(card: RateCard) -> None:
    item = label([{"text": "TEA", "fount": DISPLAY, "further": ["PIE"]}]) | {"versions": 3}

    with pytest.raises(JobError, match=r"lines\[0\]\.further: expected 2 readings"):
        option_of(job_of(100, item), card)


@pytest.mark.parametrize(("text", "found"), [("TE\x07A", "U\\+0007"), (" \u00ad ", "none")])
def test_a_line_that_no_type_sets_is_told_with_the_job(card: RateCard, text: str, found: str) -> None:
    with pytest.raises(JobError, match=rf"lines\[0\]\.text: expected characters that type can set; found {found}"):
        option_of(job_of(100, label([{"text": text, "fount": DISPLAY}])), card)


def test_an_overfull_word_is_told_with_the_job(card: RateCard) -> None:
    item = label([])
    text = {"fount": "ropewalk-10", "wording": "incomprehensibilities", "measure": "3 picas"}
    item["front"]["colours"][0]["form"] = {"kind": "hand-set", "text": text}

    with pytest.raises(JobError, match="line 1: expected a word of at most 36 pt"):
        option_of(job_of(100, item), card)


READINGS: list[Line] = [
    {"text": "TEA", "fount": DISPLAY},
    {"text": "PIE", "fount": DISPLAY, "further": ["ICE"]},
]


def two_versions() -> dict[str, Any]:
    item = label(READINGS) | {"versions": 2}
    item["front"]["colours"][0]["version_lines"] = 1
    return item


# TEA stands for both versions, PIE or ICE with it; the case has one E. Two settings: the common line runs once
# for both, the line that changes twice, set anew once.
def test_versions_one_after_another_are_parted_too_and_only_what_changes_is_set_anew(card: RateCard) -> None:
    one_e = with_case(card, scheme=dict.fromkeys("TEAPIC", 1))

    option = option_of(job_of(250, two_versions()), one_e, Pin(imposition="one side", number_up=1))

    common, changing = option.parts[0].plan.passes
    assert (common.versions, changing.versions) == (1, 2)
    # 10 + 2.5 + 3 x .10 for either setting; ICE: (12.8 − 10) x 1 line of 1 x 1 change; 40 % on all of it
    set_once = 10 + Fraction("2.5") + 3 * Fraction("0.10")
    assert minutes(option, "Composing") == (2 * set_once + (set_once - 10)) * Fraction("1.4")
    # 15 and a relock of 6 each, and one for the change
    assert minutes(option, "Lock-up") == 2 * (15 + 6) + 6
    sheets = [count.sheets_out for count in option.parts[0].count.passes]
    assert sheets[0] >= sheets[1] >= 500


def test_versions_that_stand_together_are_parted_too(card: RateCard) -> None:
    # TEA twice takes two E, PIE and ICE two more
    three_e = with_case(card, scheme=dict.fromkeys("TAPIC", 2) | {"E": 3})

    option = option_of(job_of(250, two_versions()), three_e, Pin(imposition="ganged", number_up=2))

    assert [work.versions for work in option.parts[0].plan.passes] == [1, 1]
    assert minutes(option, "Composing") == 2 * 2 * (10 + Fraction("2.5") + 3 * Fraction("0.10")) * Fraction("1.4")


# PIE and OAK together take one P between them; were each set twice, they would take two.
def test_versions_that_stand_together_take_what_each_reads_once(card: RateCard) -> None:
    item = label([READINGS[0], {"text": "PIE", "fount": DISPLAY, "further": ["OAK"]}]) | {"versions": 2}
    item["front"]["colours"][0]["version_lines"] = 1
    case = {"T": 2, "E": 2, "A": 2, "P": 1, "I": 1, "O": 1, "K": 1}

    option = option_of(job_of(250, item), with_case(card, scheme=case), Pin(imposition="ganged", number_up=2))

    assert [work.label.rpartition(", ")[2] for work in option.parts[0].plan.passes] == [
        "setting 1 of 2",
        "setting 2 of 2",
    ]


def test_versions_that_do_not_say_what_changes_are_not_parted(card: RateCard) -> None:
    untold = label(PIE) | {"versions": 2}
    untold["front"]["colours"][0]["version_lines"] = 1

    with pytest.raises(NoPlanError, match="is short of E by 1"):
        option_of(job_of(250, untold), with_case(card, scheme=dict.fromkeys("TEAPIC", 1)))


@pytest.mark.parametrize("es", [1, 2, 3])
def test_the_search_is_exact_where_versions_are_parted(card: RateCard, es: int) -> None:
    short = with_case(card, scheme=dict.fromkeys("TAPIC", 2) | {"E": es})

    prepared, cost_found = searched(job_of(300, two_versions()), short)

    assert cost_found == least_by_plain_loops(prepared)


# Ropewalk, 12 pt, on the width of MMMMMM MM (8 x 10.5 + 4 = 88 pt): TAP takes 7.5 + 8.5 + 7 + 2 x 1.5 = 26,
# and leaves 31 on either side, two em quads, an en and a point; the widest line has no white but between its words.
def test_the_docket_tells_every_space_of_a_display_line(card: RateCard) -> None:
    lines: list[Line] = [
        {"text": "TAP", "fount": "ropewalk-12", "letterspaced": True},
        {"text": "MMMMMM MM", "fount": "ropewalk-12"},
    ]

    docket = docket_for(estimate_job(job_of(50, label(lines)), card, on=DAY), card)

    assert [line.spacing for line in docket.passes[0].lines] == [
        "letterspaced; quads to the measure; 2 × hair space; before: 2 × em quad + en quad + one-point space;"
        " after: 2 × em quad + en quad + one-point space",
        "between words: 3-em space",
    ]
