"""What is asked of every finishing operation, whichever it is."""

from __future__ import annotations

from decimal import Decimal
from math import ceil
from typing import Any

import pytest

from quoting import Estimate, NotOfferedError, estimate_job, quotation_for, read_job
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


@pytest.mark.parametrize(("kind", "counted"), [("scoring", 3), ("folding", 3), ("perforating", 3), ("drilling", 3)])
def test_a_counted_operation_meets_a_piece_so_often(kind: str, counted: int) -> None:
    (asked,) = read_job(job_with("pellam-hollow", kind)).items[0].finishing

    assert counted == asked.times
    assert tag_of(asked) == kind
