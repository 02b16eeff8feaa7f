"""Laws of the cheapest plan over generated cards and jobs: asking for more never costs less, nor does choosing."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from copy import deepcopy
from decimal import Decimal

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from hypothesis.strategies import DataObject

from quoting import Job, QuotingError, RateCard, estimate_job, read_job
from quoting.checking import check_job
from quoting.numbers import in_engine_context
from quoting.planning.part_plan import PartPlan
from quoting.planning.pins import Pin
from quoting.planning.prepared import PreparedJob
from quoting.planning.search import plan_job
from quoting.rate_card import rate_card_from
from quoting.units import Size
from tests.conftest import DAY, demo_jobs
from tests.strategies import Data, card_and_job_data, operation_data

CardAndJob = tuple[Data, Data]
NOISE = Decimal("1e-20")


@in_engine_context
def cost(card: Data, job: Data, pins: Sequence[Pin] = ()) -> Decimal:
    """The cheapest plan's cost; a job that no press can make, or no carrier takes, is left out."""
    try:
        read, read_card = read_job(job), rate_card_from(card)
        check_job(read, read_card)
        return plan_job(PreparedJob(read, read_card, pins), read.quantities[0], recording=False).exact_cost
    except QuotingError:
        assume(False)
        raise


def parts_of(job: Data) -> list[Data]:
    """Every part of it."""
    return [part for item in job["items"] for part in item.get("parts", [item])]


def _new_colour(data: DataObject, card: Data, part: Data) -> Data:
    width, height = Size(part["size"]).width_mm, Size(part["size"]).height_mm
    share = data.draw(st.integers(20, 90))
    form = {
        "kind": data.draw(st.sampled_from(["same as last time", "plate"])),
        "size": f"{width * share / 100:.1f} x {height * share / 100:.1f} mm",
        "share_inked": f"{data.draw(st.integers(1, 60))} %",
    }
    if form["kind"] == "plate":
        form["supplier"] = data.draw(st.sampled_from(sorted(card["plate_suppliers"])))
    return {
        "form": form,
        "ink": data.draw(st.sampled_from(sorted(card["inks"]))),
        "register": data.draw(st.sampled_from(["none", "loose"])),
    }


def a_colour(data: DataObject, card: Data, job: Data) -> None:
    """One more colour on a side that is printed."""
    part = data.draw(st.sampled_from(parts_of(job)))
    side = data.draw(st.sampled_from([name for name in ("front", "back") if name in part]))
    part[side]["colours"].append(_new_colour(data, card, part))


def a_side(data: DataObject, card: Data, job: Data) -> None:
    """The other side printed too, in one colour."""
    parts = [part for part in parts_of(job) if len({"front", "back"} & part.keys()) == 1]
    assume(parts)
    part = data.draw(st.sampled_from(parts))
    printed, blank = ("front", "back") if "front" in part else ("back", "front")
    part[blank] = {"colours": [_new_colour(data, card, part)], "impression": part[printed]["impression"]}


def a_finishing_operation(data: DataObject, card: Data, job: Data) -> None:
    """One more operation on a part, before or after those it has."""
    part = data.draw(st.sampled_from(parts_of(job)))
    asked = part["finishing"]
    kind = data.draw(st.sampled_from([rates["kind"] for rates in card["finishing"]]))
    asked.insert(data.draw(st.integers(0, len(asked))), operation_data(kind, data.draw(st.integers(1, 3))))


def double_rolling(data: DataObject, card: Data, job: Data) -> None:
    """One colour rolled twice."""
    colours = [
        colour
        for part in parts_of(job)
        for side in ("front", "back")
        for colour in part.get(side, {}).get("colours", [])
    ]
    data.draw(st.sampled_from(colours))["double_rolled"] = True


def a_dearer_stock(data: DataObject, card: Data, job: Data) -> None:
    """Every band of one of its stocks, up by as much."""
    name = data.draw(st.sampled_from([part["stock"] for part in parts_of(job)]))
    times = Decimal(data.draw(st.integers(101, 400))) / 100
    for band in card["stocks"][name]["prices"]:
        band["price"] = f"{Decimal(band['price']) * times}"


def a_slower_press(data: DataObject, card: Data, job: Data) -> None:
    """Every speed of one press, down by as much."""
    speeds = card["presses"][data.draw(st.sampled_from(sorted(card["presses"])))]["speeds"]
    share = Decimal(data.draw(st.integers(30, 99))) / 100
    for name, written in speeds.items():
        speeds[name] = f"{max(1, int(Decimal(written.split()[0]) * share))} an hour"


More = Callable[[DataObject, Data, Data], None]
MORE: dict[str, More] = {
    "a colour": a_colour,
    "a side": a_side,
    "a finishing operation": a_finishing_operation,
    "double rolling": double_rolling,
    "a dearer stock": a_dearer_stock,
    "a slower press": a_slower_press,
}


def never_lowers(data: DataObject, more: More) -> None:
    """A card and a job, and the same with more asked for."""
    card, job = data.draw(card_and_job_data())
    further_card, further_job = deepcopy(card), deepcopy(job)
    more(data, further_card, further_job)

    assert cost(card, job) <= cost(further_card, further_job) + NOISE


@pytest.mark.parametrize("name", MORE)
@settings(max_examples=20)
@given(data=st.data())
def test_asking_for_more_or_paying_more_never_lowers_the_cost(name: str, data: DataObject) -> None:
    never_lowers(data, MORE[name])


@pytest.mark.long
@pytest.mark.parametrize("name", MORE)
@settings(max_examples=400)
@given(data=st.data())
def test_asking_for_more_or_paying_more_never_lowers_the_cost_of_many_jobs(name: str, data: DataObject) -> None:
    never_lowers(data, MORE[name])


# Pins


def pin_to(plan: PartPlan, data: DataObject) -> Pin:
    """Some of what a plan has, held."""
    held = data.draw(st.sets(st.sampled_from(["press", "number_up", "imposition"]), min_size=1))
    return Pin(part=plan.label, **{name: getattr(plan, name) for name in held})


@settings(max_examples=40)
@given(card_and_job=card_and_job_data(), data=st.data())
def test_a_plan_that_the_owner_pins_never_costs_less_than_the_plan_that_is_chosen(
    card_and_job: CardAndJob, data: DataObject
) -> None:
    card, job = card_and_job
    best = cost(card, job)
    free = in_engine_context(PreparedJob)(read_job(job), rate_card_from(card))
    pins = [pin_to(data.draw(st.sampled_from(found.plans)), data) for found in free.candidates]

    assert cost(card, job, pins) >= best - NOISE


@pytest.mark.parametrize(("shop", "name"), demo_jobs())
def test_a_demo_job_pinned_to_any_other_way_is_told_what_it_costs_over_the_best(
    shop: str, name: str, cards: dict[str, RateCard], jobs: dict[tuple[str, str], Job]
) -> None:
    card, job = cards[shop], jobs[shop, name]
    part = job.items[0].all_parts()[0].name
    plans = in_engine_context(PreparedJob)(job, card).candidates[0].plans
    ways = {(plan.press, plan.imposition): plan for plan in plans}
    for press, imposition in list(ways)[:4]:
        pins = [Pin(part=part, press=press, imposition=imposition)]
        for pinned, best in zip(
            estimate_job(job, card, on=DAY, pins=pins).options, estimate_job(job, card, on=DAY).options, strict=True
        ):
            assert pinned.over_best >= 0
            assert pinned.parts[0].plan.press == press
            assert (pinned.ways == best.ways) == (pinned.over_best == 0)
