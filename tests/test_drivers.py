"""What drives a cost: every fixed time of a card, and every figure of a job or a card that an operation works by."""

from __future__ import annotations

from collections.abc import Iterator
from copy import deepcopy
from decimal import Decimal
from functools import cache
from typing import Any

import pytest
from msgspec import Struct

from quoting import RateCard, estimate_job, read_job
from quoting.job import Job
from quoting.rate_card import rate_card_from
from quoting.units import Duration
from tests.conftest import DAY, SHOPS
from tests.strategies import Data, all_jobs, card_data_of, colour_of, operation_data, plate_of, with_two_inks_a_shade

Path = tuple[str | int, ...]


def put(data: Any, path: Path, value: Any) -> None:
    """Set one place of plain data."""
    for key in path[:-1]:
        data = data[key]
    data[path[-1]] = value


# Every fixed time


def durations(value: Any, path: Path = ()) -> Iterator[tuple[Path, Duration]]:
    """Every time that a card holds, and where."""
    if isinstance(value, Duration):
        yield path, value
    elif isinstance(value, Struct):
        for name in value.__struct_fields__:
            yield from durations(getattr(value, name), (*path, name))
    elif isinstance(value, dict):
        for name, one in value.items():
            yield from durations(one, (*path, name))
    elif isinstance(value, tuple):
        for place, one in enumerate(value):
            yield from durations(one, (*path, place))


def full_card_data(shop: str) -> Data:
    card = with_two_inks_a_shade(card_data_of(shop))
    card["stone"]["mounting"] = "2 min"
    return card


@cache
def _jobs(shop: str) -> dict[str, Job]:
    every = all_jobs(shop)
    for order in card_data_of(shop)["handling"].get("orders", {}):
        every[f"handling {order}"] = every["cards"] | {"order": order}
    return {name: read_job(data | {"quantities": data["quantities"][:1]}) for name, data in every.items()}


def cost_of(job: Job, card: RateCard) -> Decimal:
    """Cost of all lines, unrounded."""
    lines = estimate_job(job, card, on=DAY).options[0].lines
    return sum((line.exact_cost for line in lines), Decimal(0))


@cache
def _costs(shop: str) -> dict[str, Decimal]:
    card = rate_card_from(full_card_data(shop))
    return {name: cost_of(job, card) for name, job in _jobs(shop).items()}


def likely_first(shop: str, path: Path) -> list[str]:
    """Jobs of a shop, those named after what is changed before the others, the slow one last."""
    words = [str(word) for word in path]
    return sorted(_jobs(shop), key=lambda name: (name == "duplexed", -sum(word in name for word in words)))


TIMES = [(shop, path) for shop in SHOPS for path, _ in durations(rate_card_from(full_card_data(shop)))]


@pytest.mark.parametrize(
    ("shop", "path"), TIMES, ids=lambda value: value if isinstance(value, str) else ".".join(map(str, value))
)
def test_without_a_fixed_time_some_job_costs_less(shop: str, path: Path) -> None:
    data = full_card_data(shop)
    put(data, path, "0 min")
    card = rate_card_from(data)

    assert any(cost_of(_jobs(shop)[name], card) < _costs(shop)[name] for name in likely_first(shop, path))


# Every operation by every driver

MARROWBY = "marrowby-lane"
FIRST = ("items", 0, "front", "colours", 0)
FORM = (*FIRST, "form")
BACK = ("items", 0, "back")
PLATEN = ("presses", "platen-8x12")
COTTON = ("stocks", "cotton-600")
COTTON_CLASS = ("stock_classes", "cotton")
SUPPLIER = ("plate_suppliers", "estuary")
GREEN = ("inks", "samphire-green")
PLATE_COLOUR = colour_of(plate_of(MARROWBY), "silver")
ANOTHER_SIDE = {"colours": [PLATE_COLOUR], "impression": "deep"}
TYPE_SIDE = {"colours": [colour_of({"kind": "hand-set", "lines": [{"text": "BACK", "fount": "wharf-12"}]})]}

# Operation, job of the shop, where in the job a figure is changed, and to what.
BY_THE_JOB: list[tuple[str, str, Path, Any]] = [
    ("Handling", "cards", ("order",), "bespoke"),
    ("Prepress", "cards", (*FORM, "artwork"), "to be designed"),
    ("Prepress", "cards", BACK, ANOTHER_SIDE),
    ("Screen proofs", "cards", ("proofs", "screen_rounds"), 3),
    ("Press proof", "cards", ("proofs", "press_proof"), True),
    ("Press proof", "heavy and proofed", BACK, ANOTHER_SIDE),
    ("Stock", "cards", ("quantities",), [400]),
    ("Stock", "cards", ("items", 0, "size"), "190 x 260 mm"),
    ("Stock", "cards", ("items", 0, "per_set"), 2),
    ("Stock", "cards", ("items", 0, "extra"), 200),
    ("Stock", "cards", ("items", 0, "kept"), 200),
    ("Stock", "cards", ("items", 0, "stock"), "handmade-220"),
    ("Stock", "labels", ("items", 0, "versions"), 12),
    ("Stock", "cards", ("items", 0, "finishing"), [{"kind": "duplexing", "plies": 2}]),
    ("Plates", "cards", (*FORM, "size"), "110 x 160 mm"),
    ("Plates", "cards", BACK, ANOTHER_SIDE),
    ("Composing", "composed", (*FORM, "lines", 1, "text"), "of a good deal more type set here"),
    ("Composing", "composed", (*FORM, "lines", 1, "letterspaced"), True),
    ("Composing", "composed", (*FORM, "lines", 2, "text"), "IN MORE WOOD"),
    ("Composing", "composed", (*FORM, "lines"), [{"text": "one", "fount": "wharf-12"}] * 20),
    ("Composing", "composed", (*FORM, "borders"), 3),
    ("Composing", "composed", (*FORM, "text", "ems"), 500),
    ("Composing", "composed", (*FORM, "text", "fount"), "wharf-18"),
    ("Composing", "composed", BACK, TYPE_SIDE),
    ("Composing", "composed in versions", ("items", 0, "versions"), 4),
    ("Composing", "composed in versions", (*FIRST, "version_lines"), 3),
    ("Lock-up", "cards", BACK, ANOTHER_SIDE),
    ("Lock-up", "composed in versions", ("items", 0, "versions"), 4),
    ("Form washing", "composed", BACK, TYPE_SIDE),
    ("Mixing", "cards", (*FIRST, "ink"), "matched"),
    ("Mixing", "cards", BACK, ANOTHER_SIDE),
    ("Ink", "cards", ("quantities",), [400]),
    ("Ink", "cards", (*FORM, "size"), "110 x 160 mm"),
    ("Ink", "cards", (*FORM, "share_inked"), "28 %"),
    ("Ink", "cards", (*FIRST, "ink"), "silver"),
    ("Ink", "cards", ("items", 0, "back"), ANOTHER_SIDE),
    ("Cutting", "cards", ("quantities",), [2000]),
    ("Cutting", "cards", (*FORM, "bleed"), True),
    ("Ink-up", "cards", BACK, ANOTHER_SIDE),
    ("Pins and packing", "cards", BACK, ANOTHER_SIDE),
    ("Pins and packing", "reprint", (*FORM, "thickness"), "1.0 mm"),
    ("Make-ready", "cards", (*FIRST, "register"), "loose"),
    ("Make-ready", "cards", (*FIRST, "register"), "close"),
    ("Make-ready", "cards", (*FORM, "share_inked"), "31 %"),
    ("Make-ready", "cards", (*FORM, "size"), "120 x 175 mm"),
    ("Make-ready", "cards", BACK, ANOTHER_SIDE),
    ("Make-ready", "composed in versions", ("items", 0, "versions"), 4),
    ("Running", "cards", ("quantities",), [400]),
    ("Running", "cards", (*FIRST, "register"), "close"),
    ("Running", "cards", (*FIRST, "double_rolled"), True),
    ("Running", "cards", BACK, ANOTHER_SIDE),
    ("Re-inking", "cards", ("quantities",), [400]),
    ("Re-inking", "cards", (*FORM, "size"), "110 x 160 mm"),
    ("Re-inking", "cards", (*FORM, "share_inked"), "28 %"),
    ("Interleaving", "heavy and proofed", ("quantities",), [400]),
    ("Interleaving", "cards", (*FORM, "share_inked"), "28 %"),
    ("Wash-up", "cards", (*FIRST, "ink"), "silver"),
    ("Wash-up", "cards", BACK, ANOTHER_SIDE),
    ("Counting and banding", "cards", ("quantities",), [400]),
    ("Counting and banding", "cards", ("items", 0, "kept"), 10),
    ("Collating", "invitation", ("quantities",), [150]),
    ("Collating", "invitation", ("items", 1, "per_set"), 2),
    ("Packing", "cards", ("quantities",), [2000]),
    ("Packing", "cards", ("items", 0, "per_set"), 8),
    ("Delivery", "cards", ("quantities",), [400]),
    ("Delivery", "cards", ("delivery", "method"), "next-day"),
]
FINISHED = {kind: place for place, kind in enumerate(rates["kind"] for rates in card_data_of(MARROWBY)["finishing"])}
BY_THE_JOB += [
    (name, "everything finished", ("items", 0, "finishing", FINISHED[kind]), operation_data(kind, 3))
    for name, kind in (
        ("Scoring", "scoring"),
        ("Folding", "folding"),
        ("Edge painting", "edge painting"),
        ("Numbering", "numbering"),
    )
]
BY_THE_JOB += [
    (name, "everything finished", ("quantities",), [400])
    for name in (
        *("Scoring", "Folding", "Corner rounding", "Die-cutting", "Duplexing", "Edge painting", "Envelope lining"),
        *("Addressing", "Wax sealing", "Ribbon tying", "Banding", "Foiling", "Numbering", "Boxing"),
    )
]

# Operation, job of the shop, where in the card a figure is changed, and to what.
BY_THE_CARD: list[tuple[str, str, Path, Any]] = [
    ("Stock", "cards", (*COTTON, "prices", 1, "price"), "7.70"),
    ("Stock", "cards", (*COTTON, "prices"), [{"at_least": 1, "price": "9.00"}]),
    ("Stock", "cards", (*COTTON, "pack"), 100),
    ("Stock", "cards", (*COTTON, "least_order"), 150),
    ("Stock", "cards", (*COTTON, "size"), "420 x 480 mm"),
    ("Stock", "cards", (*COTTON, "mill_edge_trim"), "60 mm"),
    ("Stock", "cards", (*COTTON_CLASS, "running_spoilage", 0, "rate"), "25 %"),
    ("Stock", "cards", ("spoilage", "set_up_plate"), 120),
    ("Stock", "coasters", ("spoilage", "set_up_register"), 150),
    ("Stock", "coasters", ("spoilage", "set_up_metal"), 150),
    ("Stock", "poster", ("spoilage", "set_up_wood"), 150),
    ("Stock", "reprint", ("spoilage", "least_pieces"), 200),
    ("Stock", "reprint", ("spoilage", "least_share"), "30 %"),
    ("Stock", "reprint", ("cutting", "spoilage"), "20 %"),
    ("Stock", "poster", ("stocks", "poster-170", "carriage_in"), "60.00"),
    ("Stock", "poster", ("spoilage", "register_colour"), "9 %"),
    ("Stock", "everything finished", ("finishing", FINISHED["addressing"], "spoilage"), "30 %"),
    ("Stock", "everything finished", ("finishing", FINISHED["addressing"], "set_up_pieces"), 50),
    ("Stock", "cards", ("tax", "standing"), "input tax is a cost"),
    ("Carriage in", "cards", (*COTTON, "carriage_in"), "12.00"),
    ("Carriage in", "cards", (*SUPPLIER, "carriage"), "12.00"),
    ("Plates", "cards", (*SUPPLIER, "price"), "0.20"),
    ("Plates", "cards", (*SUPPLIER, "margin"), "12 mm"),
    ("Plates", "cards", (*SUPPLIER, "base_charge"), "12.00"),
    ("Plates", "cards", (*SUPPLIER, "least_charge"), "90.00"),
    ("Plates", "cards", ("tax", "standing"), "input tax is a cost"),
    ("Composing", "composed", ("composing", "correcting"), "20 %"),
    ("Composing", "composed", ("composing", "distributing"), "50 %"),
    ("Composing", "composed", ("founts", "wharf-12", "ems_an_hour"), "300 an hour"),
    ("Lock-up", "composed", ("stone", "relocks_a_hand_set_form"), 3),
    ("Ink", "cards", (*GREEN, "price"), "60.00"),
    ("Ink", "cards", (*GREEN, "film_factor"), "1.5"),
    ("Ink", "cards", (*GREEN, "least_charge"), "9.00"),
    ("Ink", "cards", (*COTTON_CLASS, "film_factor"), "1.7"),
    ("Ink", "cards", ("inking", "reference_film"), "4 gsm"),
    ("Ink", "cards", (*PLATEN, "dressing_ink"), "12 g"),
    ("Cutting", "cards", (*COTTON, "caliper"), "1.5 mm"),
    ("Cutting", "cards", (*COTTON_CLASS, "lift"), "10 mm"),
    ("Make-ready", "coasters", ("make_ready", "second_side_factor"), "1"),
    ("Make-ready", "composed in versions", ("make_ready", "version_share"), "70 %"),
    ("Make-ready", "cards", ("make_ready", "solid_over"), "10 %"),
    ("Make-ready", "cards", ("make_ready", "large_form_over"), "5 %"),
    ("Pins and packing", "cards", ("make_ready", "thick_board_over"), "0.5 mm"),
    ("Running", "cards", (*PLATEN, "speeds", "cotton"), "400 an hour"),
    ("Running", "cards", (*PLATEN, "treadle_factor"), "0.9"),
    ("Running", "coasters", (*PLATEN, "round_blank_factor"), "0.5"),
    ("Running", "heavy and proofed", ("presses", "platen-10x15", "close_register_factor"), "0.6"),
    ("Running", "heavy and proofed", ("presses", "platen-10x15", "double_rolled_factor"), "0.4"),
    ("Running", "many days", (*PLATEN, "long_run_factor"), "0.8"),
    ("Running", "many days", (*PLATEN, "long_run_over"), 100),
    ("Running", "cards", (*COTTON_CLASS, "running_spoilage", 0, "rate"), "10 %"),
    ("Re-inking", "cards", (*PLATEN, "ink_carried"), "3 g"),
    ("Re-inking", "cards", (*PLATEN, "usable_ink"), "15 %"),
    ("Re-inking", "cards", (*COTTON_CLASS, "film_factor"), "1.7"),
    ("Interleaving", "cards", ("packing", "interleave_over"), "5 %"),
    ("Interleaving", "heavy and proofed", ("packing", "interleave_materials_100"), "3.00"),
    ("Wash-up", "many days", ("working_days", "press_hours"), "3 h"),
    ("Ink-up", "many days", ("working_days", "press_hours"), "3 h"),
    ("Packing", "cards", ("packing", "parcel_mass"), "1 kg"),
    ("Packing", "cards", ("packing", "parcel_materials"), "3.00"),
    ("Packing", "cards", (*COTTON, "grammage"), "3000 gsm"),
    ("Delivery", "cards", ("packing", "parcel_mass"), "1 kg"),
    ("Delivery", "cards", ("delivery", "parcel", "bands", 2, "price"), "8.00"),
    ("Corner rounding", "everything finished", ("finishing", FINISHED["corner rounding"], "speed"), "300 an hour"),
    ("Scoring", "everything finished", ("finishing", FINISHED["scoring"], "machine"), "cutter"),
    ("Scoring", "everything finished", ("machines", "creaser", "year", "repairs"), "90.00"),
    ("Die-cutting", "everything finished", ("finishing", FINISHED["die-cutting"], "die"), "120.00"),
    ("Boxing", "everything finished", ("finishing", FINISHED["boxing"], "box"), "0.90"),
    ("Boxing", "everything finished", ("finishing", FINISHED["boxing"], "depth"), "10 mm"),
    ("Numbering", "everything finished", ("finishing", FINISHED["numbering"], "speed"), "250 an hour"),
    ("Duplexing", "everything finished", ("finishing", FINISHED["duplexing"], "materials_each"), "0.10"),
    ("Edge painting", "everything finished", ("finishing", FINISHED["edge painting"], "stack_height"), "5 mm"),
    ("Edge painting", "everything finished", ("stocks", "card-300", "caliper"), "0.9 mm"),
    ("Foiling", "everything finished", ("finishing", FINISHED["foiling"], "set_up_charge"), "80.00"),
    ("Foiling", "everything finished", ("finishing", FINISHED["foiling"], "price_a_hundred"), "90.00"),
    ("Foiling", "everything finished", ("finishing", FINISHED["foiling"], "least_charge"), "250.00"),
]
BY_THE_CARD += [
    (name, "heavy and proofed", (*path,), dearer)
    for name, path, dearer in (
        ("Handling", ("people", "owner", "wage"), "26000.00"),
        ("Prepress", ("people", "owner", "employer_charges"), "3000.00"),
        ("Screen proofs", ("people", "owner", "holidays_and_sickness"), "3000.00"),
        ("Press proof", ("people", "owner", "paid_hours"), "1400 h"),
        ("Lock-up", ("people", "owner", "chargeable"), "45 %"),
        ("Make-ready", ("general_expense",), "8000.00"),
        ("Cutting", ("people", "helper", "wage"), "12000.00"),
        ("Cutting", ("machines", "cutter", "year", "floor_space"), "500.00"),
        ("Counting and banding", ("people", "helper", "wage"), "12000.00"),
        ("Running", ("presses", "platen-10x15", "year", "depreciation"), "1500.00"),
        ("Wash-up", ("presses", "platen-10x15", "year", "rollers"), "500.00"),
        ("Ink-up", ("presses", "platen-10x15", "year", "hours"), "300 h"),
    )
]


def drivers_card() -> Data:
    """The metric shop's card, without the least charges that hide what is under them."""
    card = card_data_of(MARROWBY)
    for bought in (*card["inks"].values(), *card["plate_suppliers"].values()):
        bought["least_charge"] = "0"
    return card


def cost_of_operation(operation: str, card: Data, job: Data) -> Decimal:
    """Cost of all lines of one operation, unrounded."""
    estimate = estimate_job(read_job(job), rate_card_from(card), on=DAY)
    return sum(
        (line.exact_cost for line in estimate.options[0].lines if line.operation == operation), start=Decimal(0)
    )


def name_of(value: object) -> str | None:
    """A change in words; the new figure is left out."""
    return ".".join(map(str, value)) if isinstance(value, tuple) else value if isinstance(value, str) else ""


@pytest.mark.parametrize(("operation", "name", "path", "value"), BY_THE_JOB, ids=name_of)
def test_a_driver_in_the_job_raises_the_cost_of_its_operation(
    operation: str, name: str, path: Path, value: Any
) -> None:
    before = all_jobs(MARROWBY)[name]
    after = deepcopy(before)
    put(after, path, value)
    card = drivers_card()
    less, more = (cost_of_operation(operation, card, job) for job in (before, after))

    assert less < more


@pytest.mark.parametrize(("operation", "name", "path", "value"), BY_THE_CARD, ids=name_of)
def test_a_driver_in_the_card_raises_the_cost_of_its_operation(
    operation: str, name: str, path: Path, value: Any
) -> None:
    job, dearer = all_jobs(MARROWBY)[name], drivers_card()
    put(dearer, path, value)
    less, more = (cost_of_operation(operation, card, job) for card in (drivers_card(), dearer))

    assert less < more


def test_every_operation_of_an_estimate_has_a_driver_that_is_tested() -> None:
    card = rate_card_from(card_data_of(MARROWBY))
    options = [estimate_job(job, card, on=DAY).options[0] for job in _jobs(MARROWBY).values() if can_be_priced(job)]
    named = {line.operation for option in options for line in option.lines}

    assert named - {row[0] for row in (*BY_THE_JOB, *BY_THE_CARD)} == set()


def can_be_priced(job: Job) -> bool:
    """Whether the plain demo card holds all its inks."""
    inks = card_data_of(MARROWBY)["inks"]
    sides = [side for item in job.items for part in item.all_parts() for side in (part.front, part.back) if side]
    return all(colour.ink in inks for side in sides for colour in side.colours if colour.ink)
