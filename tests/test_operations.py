"""What is asked of every finishing operation, whichever it is."""

from __future__ import annotations

from decimal import Decimal
from math import ceil
from typing import Any

import pytest

from quoting import Estimate, NotOfferedError, RateCardError, estimate_job, quotation_for, read_job
from quoting.operations import OPERATION_RATES, OPERATIONS
from quoting.rate_card import RateCard, rate_card_from, tag_of
from tests.conftest import DAY, SHOPS
from tests.strategies import Data, all_jobs, card_data_of, operation_data

KINDS = [str(kind.__struct_config__.tag) for kind in OPERATIONS]  # type: ignore[attr-defined]  # structs
OFFERED = [(shop, rates["kind"]) for shop in SHOPS for rates in card_data_of(shop)["finishing"]]


def job_with(shop: str, kind: str, *, joined: bool = False) -> Data:
    """The shop's cards with one operation on them, or on two sheets joined."""
    job = all_jobs(shop)["heavy and proofed"] | {"proofs": {"screen_rounds": 0}}
    asked = operation_data(kind, 3)
    (item,) = job["items"]
    if not joined:
        return job | {"items": [item | {"finishing": [asked]}]}
    part = {key: item[key] for key in ("stock", "size", "front")}
    parts = [{"name": name, **part} for name in ("Front sheet", "Back sheet")]
    return job | {"items": [{"name": "Card", "parts": parts, "joining": [{"kind": "duplexing"}, asked]}]}


def estimate_with(shop: str, kind: str, cards: dict[str, RateCard], *, joined: bool = False) -> Estimate:
    return estimate_job(read_job(job_with(shop, kind, joined=joined)), cards[shop], on=DAY)


def asked_of(estimate: Estimate) -> Any:
    item = estimate.job.items[0]
    return (item.joining or item.finishing)[-1]


@pytest.mark.parametrize("kind", KINDS)
def test_an_operation_has_rates_in_a_demo_card(kind: str) -> None:
    assert [shop for shop, offered in OFFERED if offered == kind]


def test_every_operation_has_rates_of_its_own_kind() -> None:
    assert sorted(KINDS) == sorted(str(rates.__struct_config__.tag) for rates in OPERATION_RATES)  # type: ignore[attr-defined]


@pytest.mark.parametrize("joined", [False, True])
@pytest.mark.parametrize(("shop", "kind"), OFFERED)
def test_asking_for_an_operation_gives_a_line_of_its_name_with_a_cost_and_a_sentence(
    shop: str, kind: str, joined: bool, cards: dict[str, RateCard]
) -> None:
    estimate = estimate_with(shop, kind, cards, joined=joined)
    lines = [line for line in estimate.options[0].lines if line.operation == asked_of(estimate).operation]

    assert lines
    assert all(line.cost > 0 and line.price > 0 and line.driver > 0 and line.sentence for line in lines)
    assert all(line.workings for line in lines)


@pytest.mark.parametrize(("shop", "kind"), OFFERED)
def test_an_operation_costs_nothing_where_it_is_not_asked_for(
    shop: str, kind: str, cards: dict[str, RateCard]
) -> None:
    operation = asked_of(estimate_with(shop, kind, cards)).operation
    job = job_with(shop, kind)
    del job["items"][0]["finishing"]
    plain = estimate_job(read_job(job), cards[shop], on=DAY)

    assert [line for line in plain.options[0].lines if line.operation == operation] == []


@pytest.mark.parametrize("joined", [False, True])
@pytest.mark.parametrize(("shop", "kind"), OFFERED)
def test_what_is_asked_for_is_told_to_the_client(
    shop: str, kind: str, joined: bool, cards: dict[str, RateCard]
) -> None:
    estimate = estimate_with(shop, kind, cards, joined=joined)
    quotation = quotation_for(estimate, cards[shop])
    told = "\n".join(line for item in quotation.items for line in item.lines)

    assert asked_of(estimate).words.lower() in told.lower()


@pytest.mark.parametrize(("shop", "kind"), OFFERED)
def test_an_operation_spoils_what_its_rates_say(shop: str, kind: str, cards: dict[str, RateCard]) -> None:
    count = estimate_with(shop, kind, cards).options[0].parts[0].count
    rates: Any = cards[shop].rates_of(kind)
    (step,) = count.steps
    needed = ceil(Decimal(step.pieces_out) / (1 - rates.spoilage))

    assert step.pieces_out == count.pieces
    assert step.pieces_in == needed + rates.set_up_pieces
    assert step.pieces_in >= step.pieces_out


@pytest.mark.parametrize(("shop", "kind"), OFFERED)
def test_more_pieces_cost_an_operation_more(shop: str, kind: str, cards: dict[str, RateCard]) -> None:
    costs = []
    for quantity in (400, 900):
        job = read_job(job_with(shop, kind) | {"quantities": [quantity]})
        estimate = estimate_job(job, cards[shop], on=DAY)
        name = asked_of(estimate).operation
        costs.append(sum(line.exact_cost for line in estimate.options[0].lines if line.operation == name))

    assert costs[0] < costs[1]


@pytest.mark.parametrize(("shop", "kind"), OFFERED)
def test_an_operation_that_dries_or_goes_out_of_the_house_takes_its_days(shop: str, kind: str) -> None:
    data = card_data_of(shop)
    days = []
    for more in (0, 4):
        for rates in data["finishing"]:
            if rates["kind"] == kind:
                rates["drying_days"] = rates.get("drying_days", 0) + more
        estimate = estimate_job(read_job(job_with(shop, kind)), rate_card_from(data), on=DAY)
        days.append(estimate.options[0].working_days)

    assert days[0] + 4 == days[1]


@pytest.mark.parametrize("kind", KINDS)
def test_an_operation_that_a_card_does_not_offer_is_refused_by_name(kind: str) -> None:
    data = card_data_of("marrowby-lane")
    data["finishing"] = [rates for rates in data["finishing"] if rates["kind"] != kind]
    data["offers"] = []

    with pytest.raises(NotOfferedError, match=kind):
        estimate_job(read_job(job_with("marrowby-lane", kind)), rate_card_from(data), on=DAY)


@pytest.mark.parametrize(
    ("kind", "counted"), [("scoring", 3), ("folding", 3), ("perforating", 3), ("drilling", 3), ("numbering", 3)]
)
def test_a_counted_operation_meets_a_piece_so_often(kind: str, counted: int) -> None:
    (asked,) = read_job(job_with("pellam-hollow", kind)).items[0].finishing

    assert asked.times == 3
    assert tag_of(asked) == kind


def lines_of(job: Data, card: RateCard, operation: str) -> dict[str, tuple[Decimal, Decimal]]:
    """Minutes and cost of an operation's lines, by class of cost."""
    option = estimate_job(read_job(job), card, on=DAY).options[0]
    lines = [line for line in option.lines if line.operation == operation]
    return {line.cost_class: (line.minutes, line.cost) for line in lines}


@pytest.mark.parametrize(
    ("boxes_of", "depth", "boxes"),
    [
        (100, "60 mm", 5),  # 500 / 100
        (200, "90 mm", 3),  # 500 / 200 = 2.5
        (500, "60 mm", 4),  # 500 x 0.45 mm = 225 mm, in 60 mm: 3.75
        (1, "60 mm", 500),
    ],
)
def test_boxes_hold_no_more_than_is_asked_for_and_no_more_than_goes_in(boxes_of: int, depth: str, boxes: int) -> None:
    """3 min and 1.5 min a box, 0.65 each: marrowby-lane's card."""
    data = card_data_of("marrowby-lane")
    data["tax"] |= {"standing": "input tax reclaimed"}
    (rates,) = (one for one in data["finishing"] if one["kind"] == "boxing")
    rates["depth"] = depth
    data["stocks"]["card-300"]["caliper"] = "0.45 mm"
    item = {"name": "Card", "size": "85 x 55 mm", "stock": "card-300"}
    job = {
        "format": 1,
        "title": "Boxed",
        "client": {"name": "Wilhelmina Tarn"},
        "quantities": [500],
        "items": [item | {"finishing": [{"kind": "boxing", "boxes_of": boxes_of}]}],
    }

    found = lines_of(job, rate_card_from(data), "Boxing")

    assert found["labour"][0] == 3 + boxes * Decimal("1.5")
    assert found["materials"][1] == boxes * Decimal("0.65")


def test_die_cutting_may_be_bought_in_with_its_days_and_its_die() -> None:
    """
    103 pieces at 60.00 a hundred over a 40.00 set-up: 101.80, over the least charge of 90.00; the die 85.00.

    100 out / (1 - 2 %) is 103, and 4 more to set up.
    """
    data = card_data_of("marrowby-lane")
    data["tax"] |= {"standing": "input tax reclaimed"}
    (rates,) = (one for one in data["finishing"] if one["kind"] == "die-cutting")
    own = {key: rates.pop(key) for key in ("set_up", "speed", "machine")}
    rates["outside"] = {
        "supplier": "Saltmarrow Dies",
        "set_up_charge": "40.00",
        "price_a_hundred": "60.00",
        "least_charge": "90.00",
        "working_days": 5,
    }
    item = {"name": "Card", "size": "85 x 55 mm", "stock": "card-300", "finishing": [{"kind": "die-cutting"}]}
    job = {
        "format": 1,
        "title": "Die-cut",
        "client": {"name": "Wilhelmina Tarn"},
        "quantities": [100],
        "items": [item],
    }
    bought = estimate_job(read_job(job), rate_card_from(data), on=DAY).options[0]
    stored = read_job(job | {"items": [item | {"finishing": [{"kind": "die-cutting", "die_in_store": True}]}]})
    die_in_store = estimate_job(stored, rate_card_from(data), on=DAY).options[0]
    ours = estimate_job(read_job(job), rate_card_from(card_data_of("marrowby-lane")), on=DAY).options[0]
    costs = [
        sum(line.cost for line in option.lines if line.operation == "Die-cutting")
        for option in (bought, die_in_store)
    ]

    assert [Decimal("186.80"), Decimal("101.80")] == costs
    assert bought.working_days >= ours.working_days + 4
    rates.update(own)
    with pytest.raises(RateCardError, match="expected set_up and speed, or outside"):
        rate_card_from(data)
