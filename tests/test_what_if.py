"""What if a rate or a time changes, and which inputs swing the margin most."""

from __future__ import annotations

from decimal import Decimal
from typing import Any
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quoting import Job, JobError, RateCard, RateCardError
from quoting.estimate import figures_of
from quoting.planning.prepared import PreparedJob
from quoting.plots import tornado
from quoting.units import Amount, Duration, Measure, at_value
from quoting.what_if import change_from, changed_measures, measures_of, swings, what_if, with_measures
from tests.conftest import DAY, demo_jobs

NO_COST = ("paid_hours", "year.hours", "press_hours", "bench_hours", "pricing.hour_target", "rounding.step")


@pytest.fixture(scope="module")
def card(cards: dict[str, RateCard]) -> RateCard:
    return cards["marrowby-lane"]


@pytest.fixture(scope="module")
def job(jobs: dict[tuple[str, str], Job]) -> Job:
    return jobs["marrowby-lane", "coasters"]


@pytest.mark.parametrize(
    ("written", "expected"),
    [
        ("make_ready.plate +10 %", ("make_ready.plate", "16.5 min")),
        ("make_ready.plate -5 min", ("make_ready.plate", "10 min")),
        ("make_ready.plate − 5 min", ("make_ready.plate", "10 min")),
        ("make_ready.plate=20 min", ("make_ready.plate", "20 min")),
        ("people.owner.wage +2000.00", ("people.owner.wage", "22800")),
        ("pricing.payment_fee_share +1 points", ("pricing.payment_fee_share", "3.9 %")),
        ("pricing.payment_fee_share +10 %", ("pricing.payment_fee_share", "3.19 %")),
        (
            "presses.platen-8x12.speeds.coaster board = 300 an hour",
            ("presses.platen-8x12.speeds.coaster board", "300 an hour"),
        ),
    ],
)
def test_a_change_is_written_in_words(written: str, expected: tuple[str, str], card: RateCard) -> None:
    found = changed_measures(card, [change_from(written)])

    assert [(key, measure.written) for key, measure in found.items()] == [expected]


def test_a_star_stands_for_any_one_key(card: RateCard) -> None:
    found = changed_measures(card, [change_from("presses.*.speeds.card +10 %")])

    assert set(found) == {key for key in measures_of(card) if key.endswith(".speeds.card")}


def test_changes_come_one_on_the_other(card: RateCard) -> None:
    found = changed_measures(card, [change_from("make_ready.plate +5 min"), change_from("make_ready.plate +10 %")])

    assert found["make_ready.plate"].written == "22 min"


@pytest.mark.parametrize(
    "written", ["", "make_ready.plate", "make_ready.plate ten more", "+10 %", "make_ready.plate * 2"]
)
def test_what_is_no_change_is_refused(written: str) -> None:
    with pytest.raises(JobError):
        change_from(written)


@pytest.mark.parametrize(
    "written",
    [
        "castle.moat +10 %",
        "make_ready.plate +5 kg",
        "make_ready.plate -50 min",
        "cutting.spoilage = 200 %",
        "tax.rate = no",
    ],
)
def test_a_change_that_the_card_does_not_take_is_refused(written: str, card: RateCard, job: Job) -> None:
    with pytest.raises((RateCardError, JobError)):
        what_if(job, card, [change_from(written)], on=DAY)


def test_a_changed_card_is_held_to_a_cards_own_rules(card: RateCard, job: Job) -> None:
    with pytest.raises(RateCardError):
        what_if(job, card, [change_from("presses.platen-8x12.treadle_factor = 2")], on=DAY)


def test_a_change_of_nothing_changes_nothing(card: RateCard, job: Job) -> None:
    for effect in what_if(job, card, [change_from("make_ready.plate +0 %")], on=DAY).effects:
        assert effect.before == effect.after == effect.held
        assert effect.margin_at_old_price == effect.before.margin or abs(
            effect.margin_at_old_price - effect.before.margin
        ) < Decimal("0.0001")


def test_a_dearer_wage_costs_more_and_the_old_price_leaves_less(card: RateCard, job: Job) -> None:
    for effect in what_if(job, card, [change_from("people.owner.wage +2000")], on=DAY).effects:
        assert effect.after.cost > effect.before.cost
        assert effect.margin_at_old_price < effect.before.margin
        assert effect.held.cost >= effect.after.cost - Decimal("0.30")


def test_every_measure_can_be_written_at_its_own_value(card: RateCard) -> None:
    for key, measure in measures_of(card).items():
        assert at_value(measure, measure.in_base_unit) == measure, key


def cost_rates(card: RateCard) -> dict[str, Measure]:
    """Every price and every time of work: more of it costs more. Hours that are sold are no cost."""
    return {
        key: measure
        for key, measure in measures_of(card).items()
        if isinstance(measure, (Amount, Duration)) and not key.endswith(NO_COST)
    }


@settings(max_examples=40)
@given(data=st.data(), rise=st.decimals("0.01", "0.9", places=2), demo=st.sampled_from(demo_jobs()))
def test_raising_any_cost_rate_never_lowers_a_cost_nor_a_price_with_the_plan_held(
    data: Any,
    rise: Decimal,
    demo: tuple[str, str],
    cards: dict[str, RateCard],
    jobs: dict[tuple[str, str], Job],
) -> None:
    card, job = cards[demo[0]], jobs[demo]
    key = data.draw(st.sampled_from(sorted(cost_rates(card))))
    measure = cost_rates(card)[key]
    prepared = PreparedJob(job, card)
    was = figures_of(prepared, job.quantities[0], DAY)

    dearer = with_measures(card, {key: at_value(measure, measure * (1 + rise))})
    held = figures_of(prepared.at(dearer), job.quantities[0], DAY, plans=was.plans)

    assert held.price.cost >= was.price.cost
    assert held.price.net >= was.price.net


@pytest.mark.parametrize(("shop", "name"), demo_jobs())
def test_raising_each_cost_rate_never_lowers_a_cost_nor_a_price(
    shop: str, name: str, cards: dict[str, RateCard], jobs: dict[tuple[str, str], Job]
) -> None:
    card, job = cards[shop], jobs[shop, name]
    prepared = PreparedJob(job, card)
    was = figures_of(prepared, job.quantities[0], DAY)
    lowered = []
    for key, measure in cost_rates(card).items():
        dearer = with_measures(card, {key: at_value(measure, measure * Decimal("1.37"))})
        held = figures_of(prepared.at(dearer), job.quantities[0], DAY, plans=was.plans)
        if held.price.cost < was.price.cost or held.price.net < was.price.net:
            lowered.append(key)

    assert lowered == []


def test_the_swings_are_the_ten_widest_each_by_its_own_spread(card: RateCard, job: Job) -> None:
    found, every = swings(job, card, 100, on=DAY), swings(job, card, 100, on=DAY, widest=None)

    assert len(found) == 10
    assert found == every[:10]
    assert [swing.width for swing in every] == sorted((swing.width for swing in every), reverse=True)


def test_a_swings_ends_are_what_the_held_plan_costs_there(card: RateCard, job: Job) -> None:
    prepared = PreparedJob(job, card)
    was = figures_of(prepared, 100, DAY)
    swing = next(one for one in swings(job, card, 100, on=DAY) if one.key == "composing.line")
    measure = measures_of(card)[swing.key]

    high = with_measures(card, {swing.key: at_value(measure, measure.high)})

    assert figures_of(prepared.at(high), 100, DAY, plans=was.plans).price.cost == swing.cost_at_high


def test_the_tornado_names_every_input_and_its_ends(card: RateCard, job: Job) -> None:
    found = swings(job, card, 100, on=DAY)
    svg = tornado(found, "Coasters, 100")
    words = {text.text for text in ElementTree.fromstring(svg).iter("{http://www.w3.org/2000/svg}text")}

    assert words >= {swing.key for swing in found} | {swing.low for swing in found}
    assert svg == tornado(found, "Coasters, 100")
