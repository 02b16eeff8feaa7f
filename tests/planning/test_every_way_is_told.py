"""Every press, imposition and number up is a plan or is told, with the way round; pins and what they cost."""

from __future__ import annotations

import re
from typing import Any

import pytest
from msgspec.structs import replace

from quoting import Job, NoPlanError, NotOfferedError, RateCard, estimate_job, read_job
from quoting.estimate import Option
from quoting.planning.candidates import Candidates, part_candidates
from quoting.planning.impositions import MOST_UP
from quoting.planning.pins import Pin
from quoting.rate_card import rate_card_from
from tests.conftest import DAY, SHOPS
from tests.planning.jobs import drawn_job
from tests.strategies import card_data_of

PLATE = {"kind": "plate", "size": "60 x 40 mm", "share_inked": "10 %", "supplier": "estuary"}
BOTH_SIDES = {
    "name": "Card",
    "size": "85 x 55 mm",
    "stock": "card-300",
    "front": {"colours": [{"ink": "black", "form": PLATE}]},
    "back": {"colours": [{"ink": "black", "form": PLATE}]},
}


def job_of(item: dict[str, Any]) -> Job:
    return read_job({"format": 1, "title": "T", "client": {"name": "C"}, "quantities": [100], "items": [item]})


def option_of(item: dict[str, Any], card: RateCard, *pins: Pin) -> Option:
    return estimate_job(job_of(item), card, on=DAY, pins=pins).options[0]


def told_of(item: dict[str, Any], card: RateCard) -> dict[str, str]:
    return option_of(item, card).refusals["Card"]


def card_with(path: str, value: Any) -> RateCard:
    data = card_data_of("marrowby-lane")
    *keys, last = path.split("/")
    place = data
    for key in keys:
        place = place[key]
    place[last] = value
    return rate_card_from(data)


def numbers_in(way: str) -> set[int]:
    """The numbers up that a way names: '1, 3 and 5 to 8 up'."""
    told = re.search(r", ([0-9][0-9, and to]*) up", way)
    if told is None:
        return set(range(1, MOST_UP + 1))
    runs = re.findall(r"([0-9]+)(?: to ([0-9]+))?", told[1])
    return {number for first, last in runs for number in range(int(first), int(last or first) + 1)}


def ways_of(found: Candidates, card: RateCard) -> dict[tuple[str, str], set[int]]:
    """Numbers up by press and imposition, of plans and of refusals."""
    ways: dict[tuple[str, str], set[int]] = {}
    for plan in found.plans:
        ways.setdefault((card.presses[plan.press].name, plan.imposition), set()).add(plan.number_up)
    for way in found.refusals:
        for imposition in ("one side", "sheetwise", "work-and-turn", "work-and-tumble", "ganged"):
            for press in card.presses.values():
                if way.startswith((press.name, "every press")) and (f", {imposition}" in way or "," not in way):
                    ways.setdefault((press.name, imposition), set()).update(numbers_in(way))
    return ways


@pytest.mark.parametrize("seed", range(24))
def test_every_press_imposition_and_number_up_is_a_plan_or_is_told(seed: int, cards: dict[str, RateCard]) -> None:
    card = cards[SHOPS[seed % 2]]
    item = drawn_job(seed, card, most_items=1).items[0]
    (part,) = item.all_parts()
    found = part_candidates(item, part, card, places=(0, 0))

    ways = ways_of(found, card)
    both = part.front is not None and part.back is not None
    impositions = ["sheetwise", "work-and-turn", "work-and-tumble"] if both else ["one side"]
    fed = [press for press in card.presses.values() if press.name not in found.refusals]

    assert fed
    for press in fed:
        for imposition in impositions:
            assert ways[press.name, imposition] == set(range(1, MOST_UP + 1)), (press.name, imposition)


@pytest.mark.parametrize("seed", range(24))
def test_every_refusal_names_a_way_round(seed: int, cards: dict[str, RateCard]) -> None:
    card = cards[SHOPS[seed % 2]]
    item = drawn_job(seed, card, most_items=1).items[0]
    found = part_candidates(item, item.all_parts()[0], card, places=(0, 0))

    assert found.refusals
    assert all(": " in reason and reason.split(": ")[-1] for reason in found.refusals.values())


def test_an_odd_number_up_is_told_of_a_turned_sheet(cards: dict[str, RateCard]) -> None:
    told = told_of(BOTH_SIDES, cards["marrowby-lane"])
    odd = {way: why for way, why in told.items() if why.startswith("odd number up for work-and-turn")}

    assert odd
    assert all(number % 2 for way in odd for number in numbers_in(way))
    assert all(why.endswith("an even number, or sheetwise") for why in odd.values())


def test_stock_too_thin_to_turn_is_told_and_is_printed_sheetwise() -> None:
    card = card_with("limits/thinnest_turned", "1 mm")
    told = told_of(BOTH_SIDES, card)

    assert told["every press, work-and-turn"].startswith("stock too thin to turn")
    assert told["every press, work-and-tumble"].endswith("or sheetwise")
    assert {part.plan.imposition for part in option_of(BOTH_SIDES, card).parts} == {"sheetwise"}


def test_a_deckled_sheet_has_no_square_edge_to_be_turned_to() -> None:
    data = card_data_of("marrowby-lane")
    data["stocks"]["card-300"] |= {"deckle": True, "mill_edge_trim": "8 mm"}
    trimmed = told_of(BOTH_SIDES, rate_card_from(data))
    data["stocks"]["card-300"] |= {"mill_edge_trim": "0 mm"}
    as_made = told_of(BOTH_SIDES, rate_card_from(data))

    assert "every press, work-and-turn" not in trimmed
    assert "no square edges" in as_made["every press, work-and-turn"]


def test_unlike_impressions_and_opposite_orders_are_not_printed_from_one_form(cards: dict[str, RateCard]) -> None:
    card = cards["marrowby-lane"]
    two = [{"ink": ink, "form": PLATE} for ink in ("black", "brick-red")]
    unlike = BOTH_SIDES | {"back": BOTH_SIDES["back"] | {"impression": "kiss"}}  # type: ignore[operator]  # a table
    crossed = BOTH_SIDES | {"front": {"colours": two}, "back": {"colours": two[::-1]}}

    assert "one impression" in told_of(unlike, card)["every press, work-and-turn"]
    assert "opposite order" in told_of(crossed, card)["every press, work-and-turn"]


def test_grain_against_the_fold_is_told_where_the_sheet_only_comes_out_the_other_way() -> None:
    """250 x 120 mm, folded along its short side: that must lie along the grain, the 300 mm, and 250 over the 210."""
    data = card_data_of("marrowby-lane")
    data["stocks"]["card-300"] |= {"size": "300 x 210 mm", "grain": "long", "mill_edge_trim": "0 mm"}
    item = BOTH_SIDES | {"size": "250 x 120 mm"}
    with pytest.raises(NoPlanError, match=r"grain against the fold.*score it and let the grain go"):
        option_of(item | {"fold": {"along": "short side"}}, rate_card_from(data))

    assert option_of(item | {"fold": {"along": "long side"}}, rate_card_from(data)).parts


def test_where_nothing_can_be_done_the_nearest_miss_of_each_press_is_told(cards: dict[str, RateCard]) -> None:
    card = cards["marrowby-lane"]
    large = BOTH_SIDES | {"size": "500 x 400 mm"}
    with pytest.raises(NoPlanError) as refused:
        option_of(large, card)
    presses = [press.name for press in card.presses.values()]
    ways = list(refused.value.refusals)

    assert len(ways) == len(set(ways))
    for name in presses:
        assert sum(way.startswith(name) for way in ways) == 1
    assert all(f"{way}: {why}" in str(refused.value) for way, why in refused.value.refusals.items())


@pytest.mark.parametrize("pin", [Pin(number_up=1), Pin(imposition="sheetwise"), Pin(press="platen-10x15")])
def test_a_pin_reports_what_it_costs_over_the_best(pin: Pin, cards: dict[str, RateCard]) -> None:
    card = cards["marrowby-lane"]
    best, pinned = option_of(BOTH_SIDES, card), option_of(BOTH_SIDES, card, pin)
    costs = [sum(line.exact_cost for line in option.lines) for option in (best, pinned)]

    assert best.over_best == 0
    assert abs(pinned.over_best - (costs[1] - costs[0])) < 1e-15
    assert pinned.over_best >= 0


def test_a_pin_that_cannot_be_held_is_told_why(cards: dict[str, RateCard]) -> None:
    card = cards["marrowby-lane"]
    with pytest.raises(NoPlanError) as refused:
        option_of(BOTH_SIDES, card, Pin(imposition="work-and-turn", number_up=3))

    assert any("odd number up" in why for why in refused.value.refusals.values())


def test_a_pin_of_what_a_part_never_is_names_what_could_be_printed(cards: dict[str, RateCard]) -> None:
    one_side = {key: value for key, value in BOTH_SIDES.items() if key != "back"}
    with pytest.raises(NoPlanError, match="not what is pinned"):
        option_of(one_side, cards["marrowby-lane"], Pin(imposition="work-and-turn"))


def test_a_blank_without_an_edge_for_the_pins_is_refused_with_the_way_round(cards: dict[str, RateCard]) -> None:
    coaster = {
        "name": "Card",
        "size": "95 mm",
        "shape": "round",
        "stock": "coaster-round-95",
        "front": {"colours": [{"ink": "black", "form": PLATE | {"size": "90 x 90 mm"}}]},
    }
    with pytest.raises(NoPlanError, match="an oversize sheet cut after printing"):
        option_of(coaster, cards["marrowby-lane"])


def test_colours_of_a_turned_form_that_share_no_side_are_printed_in_the_cheaper_order() -> None:
    """
    Black on the front, brick-red on the back, from one form each. They never lie on each other.

    From brick-red to black 1 min, from black to brick-red 60: brick-red first, whichever side is listed first.
    """
    data = card_data_of("marrowby-lane")
    shades = [data["inks"][name]["shade"] for name in ("black", "brick-red")]
    assert shades[0] != shades[1]
    minutes = data["washing_up"]["minutes"]
    for before in minutes:
        minutes[before] = dict.fromkeys(minutes[before], "60 min")
    minutes[shades[1]][shades[0]] = "1 min"
    card = rate_card_from(data)
    item = BOTH_SIDES | {"back": {"colours": [{"ink": "brick-red", "form": PLATE}]}}
    option = option_of(item, card, Pin(imposition="work-and-turn"))
    inks = [work.ink for work in option.parts[0].plan.passes]

    assert inks == ["brick-red", "black"]
    assert len(option.sittings) == 1


def warnings_of(item: dict[str, Any], stock: dict[str, Any]) -> str:
    data = card_data_of("marrowby-lane")
    data["stocks"][item["stock"]] |= stock
    return "\n".join(option_of(item, rate_card_from(data)).warnings)


def test_a_form_near_the_edge_of_blanks_that_vary_is_warned_of() -> None:
    """A 93 mm form on a 95 mm blank leaves 1 mm round it."""
    form = PLATE | {"size": "93 x 60 mm"}
    coaster = {
        "name": "Coaster",
        "size": "95 mm",
        "shape": "round",
        "stock": "coaster-round-95",
        "front": {"colours": [{"ink": "black", "form": form}]},
    }

    assert "vary by 1.5 mm, more than the 1 mm round the form" in warnings_of(coaster, {"variance": "1.5 mm"})
    assert "vary by" not in warnings_of(coaster, {"variance": "1 mm"})


def test_deckles_and_torn_edges_are_warned_of() -> None:
    kept = warnings_of(BOTH_SIDES, {"deckle": True, "torn_by_hand": True, "mill_edge_trim": "0 mm"})

    assert "keeps its deckle" in kept
    assert "torn to size by hand" in kept
    assert "deckle" not in warnings_of(BOTH_SIDES, {"deckle": True, "mill_edge_trim": "10 mm"})


def test_two_cuts_leave_no_strip_thinner_than_the_cutter_takes() -> None:
    """Pieces that bleed 3 mm stand 6 mm apart, or as far as the thinnest strip: 20 mm."""
    bleeding = BOTH_SIDES | {"front": {"colours": [{"ink": "black", "form": PLATE | {"bleed": True}}]}}
    pin = Pin(imposition="sheetwise", number_up=2)
    widths = []
    for strip in ("6 mm", "20 mm"):
        card = card_with("cutting/least_strip", strip)
        plan = option_of(bleeding, card, pin).parts[0].plan
        widths.append(plan.sheet_width_mm if plan.across == 2 else plan.sheet_height_mm)

    assert widths[1] - widths[0] == 14


def test_the_sheets_of_the_least_spoilage_are_shown_through_every_pass() -> None:
    """They go in at every pass and come out of it; what must be good stays as it was."""
    card = card_with("spoilage/least_pieces", 200)
    count = option_of(BOTH_SIDES, card, Pin(imposition="sheetwise", number_up=2)).parts[0].count

    assert count.least_extra > 0
    for place, one in enumerate(count.passes):
        assert count.carried_out(place) == one.sheets_out + count.least_extra
        assert count.carried_out(place) <= one.sheets_in
    assert count.carried_out(0) <= count.sheets


@pytest.mark.parametrize("is_business", [False, True])
def test_the_reverse_charge_asks_for_a_client_in_business(is_business: bool) -> None:
    """The client accounts for the tax as a taxable person: Directive 2006/112/EC, article 196 (A)."""
    data = card_data_of("marrowby-lane")
    data["tax"]["kinds"] = {"abroad": {"category": "reverse charge", "reason": "Reverse charge"}}
    job = job_of(BOTH_SIDES)
    job = replace(job, tax="abroad", client=replace(job.client, is_business=is_business))
    if is_business:
        assert estimate_job(job, rate_card_from(data), on=DAY).options
        return
    with pytest.raises(NotOfferedError, match=r"client\.is_business: expected true"):
        estimate_job(job, rate_card_from(data), on=DAY)


def test_a_solid_that_is_turned_dries_for_a_night_between_its_sides() -> None:
    """
    Card of which 20 % may be inked wet on wet. At 19 % one inking and one wash; at 30 % a night between the trips.

    That night costs an ink-up and a wash to clean more, and a further day.
    """
    counts = []
    for inked in ("19 %", "30 %"):
        side = {"colours": [{"ink": "black", "form": PLATE | {"share_inked": inked}}]}
        data = card_data_of("marrowby-lane")
        for stock_class in data["stock_classes"].values():
            stock_class["wet_share"] = "20 %"
        item = BOTH_SIDES | {"front": side, "back": side}
        option = option_of(item, rate_card_from(data), Pin(imposition="work-and-turn"))
        lines = dict.fromkeys(("Ink-up", "Wash-up"), 0)
        for line in option.lines:
            if line.operation in lines:
                lines[line.operation] += int(line.driver)
        counts.append((*lines.values(), sum(sitting.further_days for sitting in option.sittings)))

    assert counts == [(1, 1, 0), (2, 2, 1)]
