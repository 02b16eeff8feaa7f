"""Why a price is what it is, what moved it, and what day it can be."""

from __future__ import annotations

import datetime
import json
import re
import subprocess
import sys
from collections.abc import Iterator
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from quoting import Estimate, Job, NoPlanError, RateCard, RateCardError, estimate_job, quotation_for, read_job
from quoting.difference import NOTE, Difference, difference
from quoting.errors import InputError
from quoting.estimate import Option
from quoting.explain import Node, explained, explanation_text
from quoting.numbers import in_engine_context
from quoting.pricing import Price
from quoting.rate_card import rate_card_from
from quoting.reader import from_json, to_json
from tests.conftest import DAY, SHOPS, demo_card_path, demo_job_path, demo_jobs
from tests.strategies import Data, card_and_job_data, card_data, card_data_of, job_data, job_data_of
from tests.test_sentences import Pencil

SOON = datetime.date(2026, 11, 30)
SHOP = "marrowby-lane"
HALF_A_COIN = Fraction(1, 200)
SEARCHES = settings(max_examples=15, suppress_health_check=list(HealthCheck))


# The explanation


def every(node: Node) -> Iterator[Node]:
    """A node and all under it."""
    yield node
    for child in node.children:
        yield from every(child)


def named(node: Node, label: str) -> Node:
    """The first node of a label."""
    return next(one for one in every(node) if one.label == label)


def trees(estimate: Estimate, card: RateCard) -> list[Node]:
    """The explanation of every option."""
    return [explained(option, estimate, card) for option in estimate.options]


@pytest.fixture(scope="module")
def told(cards: dict[str, RateCard], jobs: dict[tuple[str, str], Job]) -> dict[tuple[str, str], list[Node]]:
    """Every option of every demo job, explained."""
    return {
        (shop, name): trees(estimate_job(job, cards[shop], on=DAY), cards[shop]) for (shop, name), job in jobs.items()
    }


@in_engine_context  # minutes and grams are sums to its digits, amounts of money to the penny
def off_their_sums(tree: Node) -> list[tuple[str, Decimal]]:
    """Nodes that are sums and whose children do not add up to them."""
    sums = [node for node in every(tree) if node.is_sum]
    return [
        (node.label, node.amount)
        for node in sums
        if not node.children or sum((child.amount for child in node.children), Decimal(0)) != node.amount
    ]


@pytest.mark.parametrize("asked", demo_jobs(), ids="/".join)
def test_children_add_up_to_a_node_that_is_their_sum(
    asked: tuple[str, str], told: dict[tuple[str, str], list[Node]]
) -> None:
    assert [off_their_sums(tree) for tree in told[asked]] == [[]] * len(told[asked])


@SEARCHES
@given(card_and_job_data())
def test_sums_hold_on_any_card_and_job(drawn: tuple[Data, Data]) -> None:
    card, job = rate_card_from(drawn[0]), read_job(drawn[1])
    try:
        estimate = estimate_job(job, card, on=DAY)
    except (InputError, NoPlanError):
        assume(False)

    assert [off_their_sums(tree) for tree in trees(estimate, card)] == [[]]


@pytest.mark.parametrize("asked", demo_jobs(), ids="/".join)
def test_total_net_tax_and_rules_are_those_of_the_price(
    asked: tuple[str, str],
    told: dict[tuple[str, str], list[Node]],
    cards: dict[str, RateCard],
    jobs: dict[tuple[str, str], Job],
) -> None:
    card = cards[asked[0]]
    estimate = estimate_job(jobs[asked], card, on=DAY)

    for tree, option in zip(told[asked], estimate.options, strict=True):
        net, *taxes = tree.children
        assert (tree.amount, net.amount) == (option.price.total, option.price.net)
        assert [tax.amount for tax in taxes] == [line.tax for line in option.price.tax]
        assert [(rule.label, rule.amount) for rule in net.children] == [
            (rule.rule, rule.amount) for rule in option.price.rules
        ]
        assert [line.amount for line in net.children[0].children] == [line.cost for line in option.lines]


@pytest.mark.parametrize("asked", demo_jobs(), ids="/".join)
def test_every_formula_that_was_written_down_stands_in_the_tree(
    asked: tuple[str, str], cards: dict[str, RateCard], jobs: dict[tuple[str, str], Job]
) -> None:
    card = cards[asked[0]]
    estimate = estimate_job(jobs[asked], card, on=DAY)

    for option in estimate.options:
        nodes = {(node.sentence, node.amount) for node in every(explained(option, estimate, card))}
        for line in option.lines:
            steps = [step for working in line.workings for step in working.steps]
            left_out = [step for step in steps if (step.sentence, step.result) not in nodes]
            assert [step for step in left_out if not _is_on_the_line(step.sentence, line.sentence)] == []


def _is_on_the_line(sentence: str, of_line: str) -> bool:
    """Whether a line tells it itself: charges, and what carriage is shared by."""
    return sentence in of_line or of_line == "1 orders drawn"


def arithmetic(tree: Node) -> Iterator[Node]:
    """Nodes whose sentence can be worked; rules of the price are worked in test_sentences."""
    rules = {id(rule) for rule in tree.children[0].children}
    for node in every(tree):
        if not node.is_sum and id(node) not in rules and re.search(r"[0-9].* [×/+−] .*[0-9]", node.sentence):
            yield node


@pytest.mark.parametrize("asked", demo_jobs(), ids="/".join)
def test_a_sentence_worked_with_a_pencil_gives_the_amount(
    asked: tuple[str, str], told: dict[tuple[str, str], list[Node]]
) -> None:
    wrong = []
    for tree in told[asked]:
        for node in arithmetic(tree):
            worked = Pencil(re.sub(r", (to 0\.0001|both rounded)$", "", node.sentence)).worked()
            rounding = 2 * HALF_A_COIN if node.sentence.endswith("both rounded") else HALF_A_COIN
            if abs(worked - Fraction(node.amount)) > max(rounding, abs(worked) / 10_000):
                wrong.append((node.sentence, node.amount))

    assert wrong == []


def test_an_hour_is_built_up_from_wage_charges_general_expense_and_hours(
    told: dict[tuple[str, str], list[Node]], cards: dict[str, RateCard]
) -> None:
    hour = named(told[SHOP, "cards"][0], "Odile Farrant")

    # (20800 wage + 1600 charges + 2400 holidays and sickness) / (1600 h x 50 %) + 6000 / (800 + 400) h
    assert [child.amount for child in hour.children] == [24800, 800, 6000, 1200]
    assert [child.amount for child in hour.children[0].children] == [20800, 1600, 2400]
    assert hour.amount == 31 + 5 == cards[SHOP].person_rate("owner")


def test_a_machine_hour_is_built_up_from_its_year(told: dict[tuple[str, str], list[Node]]) -> None:
    hour = named(told[SHOP, "coasters"][0], "Platen, 8 x 12 in, fed by hand, motor")

    a_year, hours = hour.children
    labels = ["Depreciation", "Rollers", "Repairs", "Power", "Floor space"]
    assert [child.label for child in a_year.children] == labels
    assert hour.amount == a_year.amount / hours.amount == 6


def test_a_rate_is_built_up_once_in_the_text(told: dict[tuple[str, str], list[Node]]) -> None:
    tree = told[SHOP, "coasters"][0]

    lines = explanation_text(tree, "GBP").splitlines()

    assert lines[0].startswith("Total: 635.06 GBP (100 of them: ")
    assert lines[1] == "  Net price: 529.22 GBP, the sum of"
    assert sum("Employer's charges" in line for line in lines) == 2  # two people
    assert sum(line.endswith("36.00 GBP an hour, as above") for line in lines) > 3


def test_an_explanation_is_the_same_after_json(told: dict[tuple[str, str], list[Node]]) -> None:
    tree = told[SHOP, "cards"][0]

    assert from_json(to_json(tree), Node) == tree


def test_another_card_than_the_one_that_priced_it_explains_nothing(cards: dict[str, RateCard]) -> None:
    estimate = estimate_job(read_job(job_data_of(SHOP, "cards")), cards[SHOP], on=DAY)

    with pytest.raises(RateCardError, match="the card that priced the estimate"):
        explained(estimate.options[0], estimate, cards["pellam-hollow"])


# The difference


def _both(
    card: Data | None = None, job: Data | None = None, *, shop: str = SHOP, name: str = "cards", **asked: int
) -> Difference:
    """From a demo job on its own card to another card or job."""
    before = (read_job(job_data_of(shop, name)), rate_card_from(card_data_of(shop)))
    after = (
        read_job(job) if job is not None else before[0],
        rate_card_from(card) if card is not None else before[1],
    )
    return difference(before, after, on=DAY, **asked)


def _adds_up(found: Difference) -> bool:
    net = sum((moved.net for moved in found.moved), Decimal(0))
    total = sum((moved.total for moved in found.moved), Decimal(0))
    return (net, total) == (found.after.net - found.before.net, found.after.total - found.before.total)


def test_the_same_job_on_the_same_card_is_moved_by_nothing() -> None:
    found = _both()

    assert found.moved == ()
    assert found.before == found.after


def test_one_input_is_the_whole_difference() -> None:
    card = card_data_of(SHOP)
    card["people"]["owner"]["wage"] = "24000.00"

    found = _both(card)

    (moved,) = found.moved
    assert moved.inputs == ("people.owner",)
    assert [(key.key, key.before, key.after) for key in moved.keys] == [("people.owner.wage", "20800.00", "24000.00")]
    assert moved.total == found.after.total - found.before.total > 0


def test_keys_of_one_entry_are_one_input() -> None:
    card = card_data_of(SHOP)
    card["people"]["owner"] |= {"wage": "24000.00", "paid_hours": "1500 h"}

    found = _both(card)

    assert [moved.inputs for moved in found.moved] == [("people.owner",)]
    assert {key.key for key in found.moved[0].keys} == {"people.owner.wage", "people.owner.paid_hours"}


def test_what_two_inputs_do_together_goes_to_the_later() -> None:
    dearer, slower, both = card_data_of(SHOP), card_data_of(SHOP), card_data_of(SHOP)
    for card in (dearer, both):
        card["people"]["owner"]["wage"] = "30000.00"
    for card in (slower, both):
        card["make_ready"]["plate"] = "60 min"

    wage, minutes = _both(both).moved

    assert (wage.inputs, minutes.inputs) == (("people.owner",), ("make_ready.plate",))
    assert wage.total == _both(dearer).moved[0].total
    assert minutes.total > _both(slower).moved[0].total
    assert "goes to the later" in NOTE


def test_inputs_are_changed_in_the_order_of_the_card_and_then_of_the_job() -> None:
    card, job = card_data_of(SHOP), job_data_of(SHOP, "cards")
    card["pricing"]["deposit"] = "40 %"
    card["general_expense"] = "9000.00"
    card["presses"]["platen-8x12"]["ink_up"] = "9 min"
    job["rush"] = True
    job["items"][0]["extra"] = 5

    found = _both(card, job)

    assert [moved.inputs[0] for moved in found.moved] == [
        "general_expense",
        "presses.platen-8x12",
        "pricing.deposit",
        "job.items.0.extra",
        "job.rush",
    ]
    assert _adds_up(found)


def test_a_half_changed_input_that_is_refused_goes_with_the_next() -> None:
    card = card_data_of(SHOP)
    del card["pricing"]["mark_ups"]
    card["pricing"]["target_margin"] = "30 %"

    (moved,) = _both(card).moved

    assert moved.inputs == ("pricing.mark_ups", "pricing.target_margin")
    assert len(moved.refused) == 1
    assert moved.refused[0].startswith("after pricing.mark_ups: rate card: 1 fault pricing: expected exactly one of")


def test_another_number_of_items_is_an_input_of_its_own() -> None:
    job = job_data_of(SHOP, "cards")
    job["items"].append(job["items"][0] | {"name": "Second card"})

    found = _both(None, job)

    assert [moved.inputs for moved in found.moved] == [("job.items.1",)]
    assert _adds_up(found)


def test_entries_in_another_order_are_told_as_such() -> None:
    card = card_data_of(SHOP)
    card["presses"] = dict(reversed(card["presses"].items()))

    (moved,) = _both(card).moved

    assert (moved.inputs, moved.keys[0].after) == (("presses",), "in another order")


def test_another_plan_is_told_where_it_sets_in() -> None:
    job = job_data_of(SHOP, "cards") | {"quantities": [1000]}

    found = _both(None, job)

    assert found.after.quantity == 1000
    assert [moved.ways for moved in found.moved] == [
        () if found.before.ways == found.after.ways else found.after.ways
    ]


def test_cards_of_two_currencies_have_no_difference() -> None:
    card = card_data_of(SHOP)
    card["region"]["currency"] = "EUR"

    with pytest.raises(RateCardError, match=r"region\.currency: expected GBP, as in the card before; found 'EUR'"):
        _both(card)


@pytest.mark.parametrize("asked", demo_jobs(), ids="/".join)
def test_parts_add_up_between_the_demo_jobs(asked: tuple[str, str]) -> None:
    shop, name = asked
    card, job = card_data_of(shop), job_data_of(shop, name)
    card["general_expense"] = "12345.00"
    card["pricing"]["rounding"] = {"step": "5.00", "way": "up", "of": "total"}
    job["rush"] = not job.get("rush", False)

    assert _adds_up(_both(card, job, shop=shop, name=name))


@st.composite
def another_card(draw: st.DrawFn) -> tuple[str, Data, Data]:
    """A shop, a card varied from its own, and a job that its own card can take."""
    card = draw(card_data())
    shop = next(one for one in SHOPS if card_data_of(one)["card"] == card["card"])
    card["region"] = card_data_of(shop)["region"]
    return shop, card, draw(job_data(card_data_of(shop)))


@SEARCHES
@given(another_card())
def test_parts_add_up_between_any_cards(drawn: tuple[str, Data, Data]) -> None:
    shop, card, asked = drawn
    job = read_job(asked)
    try:
        found = difference((job, rate_card_from(card_data_of(shop))), (job, rate_card_from(card)), on=DAY)
    except (InputError, NoPlanError):
        assume(False)

    assert _adds_up(found)


# At the command line


def run(*words: str) -> subprocess.CompletedProcess[str]:
    """Run the command line in a process of its own."""
    command = [sys.executable, "-m", "quoting.cli", *words]
    return subprocess.run(command, capture_output=True, text=True, check=False)


CARD, JOB = str(demo_card_path(SHOP)), str(demo_job_path(SHOP, "cards"))


def test_explain_tells_a_quantity_that_the_job_does_not_list() -> None:
    done = run("explain", JOB, "--card", CARD, "--quantity", "321")

    assert (done.returncode, done.stderr) == (0, "")
    assert "(321 of them: " in done.stdout
    assert "Wage: " in done.stdout


def test_explain_as_json_adds_up() -> None:
    tree = json.loads(run("explain", JOB, "--card", CARD, "--json").stdout)

    assert sum(Decimal(child["amount"]) for child in tree["children"]) == Decimal(tree["amount"])
    assert tree["is_sum"] is True


def test_difference_tells_every_step_and_where_interaction_goes() -> None:
    other = str(demo_job_path(SHOP, "reprint"))
    done = run("difference", JOB, "--card", CARD, "--to-job", other, "--quantity", "250")

    assert (done.returncode, done.stderr) == (0, "")
    for words in ("job.items.0.size", "Changed together: job.items.0.front, ", "Changed without moving", NOTE):
        assert words in done.stdout


def test_difference_as_json_adds_up() -> None:
    other = str(demo_job_path(SHOP, "reprint"))
    found = json.loads(run("difference", JOB, "--card", CARD, "--to-job", other, "--json").stdout)

    parts = sum(Decimal(moved["total"]) for moved in found["moved"])
    assert parts == Decimal(found["after"]["total"]) - Decimal(found["before"]["total"])


def test_difference_to_nothing_is_a_wrong_call() -> None:
    done = run("difference", JOB, "--card", CARD)

    assert done.returncode == 2
    assert "expected --to-card, --to-job or both; found neither" in done.stderr


# What day it can be


def _asked(rush_lead_days: int | None = None, **told: object) -> Option:
    """The first option of the cards' job, with what is told of it."""
    card = card_data_of(SHOP)
    if rush_lead_days is not None:
        card["working_days"]["rush_lead_days"] = rush_lead_days
    job = read_job(job_data_of(SHOP, "cards") | told)
    return estimate_job(job, rate_card_from(card), on=DAY).options[0]


def _total(price: Price) -> Decimal:
    return price.total if price.tax_included else price.net


def test_a_day_that_can_be_met_says_nothing_of_a_rush() -> None:
    option = _asked(needed_by=datetime.date(2027, 6, 1))

    assert (option.late, option.warnings) == (None, ())


def test_a_job_without_a_day_says_nothing_of_a_rush() -> None:
    assert _asked().late is None


def test_a_day_that_cannot_be_met_says_what_a_rush_costs() -> None:
    plain, rushed = _asked(needed_by=SOON), _asked(needed_by=SOON, rush=True)

    assert plain.late is not None
    assert plain.late.rush_costs == _total(rushed.price) - _total(plain.price)
    assert plain.late.rush_ready_on == rushed.ready_on


def test_a_rush_that_the_card_begins_sooner_is_ready_sooner_by_as_many_working_days() -> None:
    usual, sooner = _asked(needed_by=SOON), _asked(3, needed_by=SOON)

    assert usual.late is not None
    assert sooner.late is not None
    assert usual.late.rush_ready_on == usual.ready_on == sooner.ready_on
    assert _asked(3, needed_by=SOON, rush=True).working_days == usual.working_days - 7
    assert sooner.late.rush_ready_on == _asked(3, needed_by=SOON, rush=True).ready_on


def test_a_rush_that_is_in_time_is_told_as_such() -> None:
    day = _asked(0, rush=True).ready_on

    option = _asked(0, needed_by=day)

    assert option.late is not None
    assert option.late.rush_is_in_time
    assert f"needed by {day}, ready on {option.ready_on}" in option.warnings[-1]
    assert option.warnings[-1].endswith(f"ready on {day}, in time")


def test_a_rush_that_is_late_too_is_told_the_day_and_no_price() -> None:
    late = _asked(needed_by=SOON, rush=True).late

    assert late is not None
    assert (late.needed_by, late.rush_ready_on, late.rush_costs) == (SOON, None, None)


def test_a_rush_begins_no_later_than_another_job() -> None:
    with pytest.raises(RateCardError, match=r"rush_lead_days up to lead_days; found 11"):
        _asked(11)


def _quoted(rush_lead_days: int | None, locale: str = "en-GB", **told: object) -> tuple[Option, tuple[str, ...]]:
    """The option, and what its quotation says that it rests on."""
    card = card_data_of(SHOP)
    if rush_lead_days is not None:
        card["working_days"]["rush_lead_days"] = rush_lead_days
    rate_card = rate_card_from(card)
    job = replace(read_job(job_data_of(SHOP, "cards") | told), quantities=(250,))
    estimate = estimate_job(job, rate_card, on=DAY)
    return estimate.options[0], quotation_for(estimate, rate_card, locale=locale).assumed


def test_the_quotation_says_what_day_it_can_be_and_what_a_rush_costs() -> None:
    option, said = _quoted(0, needed_by=SOON)

    assert option.late is not None
    assert said[-1] == (
        f"Needed by {SOON}: 250 can be ready on {option.ready_on},"
        f" or as a rush on {option.late.rush_ready_on} for £{option.late.rush_costs} more"
    )


def test_a_rush_that_is_no_sooner_is_not_offered_to_the_client() -> None:
    option, said = _quoted(None, needed_by=SOON)

    assert said[-1] == f"Needed by {SOON}: 250 can be ready on {option.ready_on}"


def test_a_day_that_is_met_is_not_spoken_of() -> None:
    assert not any("Needed by" in line for line in _quoted(0, needed_by=datetime.date(2027, 6, 1))[1])


@pytest.mark.parametrize("locale", ["de-DE", "es-ES", "fr-FR", "it-IT", "ja-JP", "en-US"])
def test_the_day_is_said_in_the_clients_language(locale: str) -> None:
    option, said = _quoted(0, locale, needed_by=SOON)

    assert option.late is not None
    for day in (SOON, option.ready_on, option.late.rush_ready_on):
        assert str(day) in said[-1]
