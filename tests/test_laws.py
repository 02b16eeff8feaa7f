"""Laws that hold of every card and every job, over generated ones."""

from __future__ import annotations

import hashlib
import json
import os
import subprocess
import sys
from collections.abc import Iterator
from copy import deepcopy
from decimal import ROUND_UP, Context, Decimal, localcontext
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from hypothesis.strategies import DrawFn

from quoting import Estimate, QuotingError, RateCard, estimate_job, quotation_for, read_job
from quoting.errors import InputError, NoPlanError
from quoting.estimate import Option
from quoting.money import minor_units, round_amount
from quoting.rate_card import rate_card_from
from quoting.reader import from_json, to_json
from tests.conftest import DAY, SHOPS, demo_jobs
from tests.strategies import Data, all_jobs, card_and_job_data, card_data_of, job_data_of, job_of, roundings, tenths

CardAndJob = tuple[Data, Data]


def estimate_of(card_and_job: CardAndJob) -> Estimate:
    """The estimate; the few that no press can make, or no carrier takes, are left out."""
    card, job = card_and_job
    try:
        return estimate_job(read_job(job), rate_card_from(card), on=DAY)
    except QuotingError:
        assume(False)
        raise


def option_of(card_and_job: CardAndJob) -> Option:
    return estimate_of(card_and_job).options[0]


def exact_cost(card_and_job: CardAndJob) -> Decimal:
    return sum((line.exact_cost for line in option_of(card_and_job).lines), Decimal(0))


# The sums


@settings(max_examples=100)
@given(card_and_job_data())
def test_the_lines_and_the_rules_of_the_price_add_up_to_the_net_price(card_and_job: CardAndJob) -> None:
    option = option_of(card_and_job)
    rules = {rule.rule: rule.amount for rule in option.price.rules}

    assert sum(line.cost for line in option.lines) == rules["Cost"] == option.price.cost
    assert sum(line.price for line in option.lines) == rules["Cost"] + rules.get("Mark-up", 0)
    assert sum(rule.amount for rule in option.price.rules) == option.price.net


@settings(max_examples=100)
@given(card_and_job_data())
def test_what_is_printed_adds_up(card_and_job: CardAndJob) -> None:
    price = option_of(card_and_job).price
    printed = sum((item.price for item in price.items), price.delivery)

    assert printed == (price.total if price.tax_included else price.net)
    assert sum((line.base for line in price.tax), Decimal(0)) == price.net
    assert price.net + sum((line.tax for line in price.tax), price.rounding) == price.total
    assert price.tax_included or not price.rounding
    assert price.deposit + price.balance == price.total
    assert 0 <= price.deposit <= price.total


@settings(max_examples=80)
@given(card_and_job_data())
def test_every_printed_amount_is_whole_coins(card_and_job: CardAndJob) -> None:
    price = option_of(card_and_job).price
    places = minor_units(card_and_job[0]["region"]["currency"])
    amounts = [price.net, price.total, price.deposit, price.balance, price.delivery]
    amounts += [item.price for item in price.items] + [line.tax for line in price.tax]

    assert [amount for amount in amounts if amount != round(amount, places)] == []


@settings(max_examples=80)
@given(card_and_job_data())
def test_what_the_job_does_once_is_shared_out_whole(card_and_job: CardAndJob) -> None:
    option = option_of(card_and_job)

    for line in option.lines:
        if line.item is None:
            assert (sum(line.cost_shares), sum(line.price_shares)) == (line.cost, line.price)
    goods = [line for line in option.lines if not line.is_delivery]
    assert sum(item.cost for item in option.price.items) == sum(line.cost for line in goods)


# More, dearer, slower


@settings(max_examples=150)
@given(card_and_job_data(), st.integers(1, 400))
def test_the_cost_never_falls_when_the_quantity_rises(card_and_job: CardAndJob, more: int) -> None:
    card, job = card_and_job
    larger = job | {"quantities": [job["quantities"][0] + more]}

    assert exact_cost((card, job)) <= exact_cost((card, larger))


@pytest.mark.parametrize("shop", SHOPS)
def test_the_cost_of_a_demo_job_never_falls_from_one_quantity_to_the_next(
    shop: str, cards: dict[str, RateCard]
) -> None:
    counts = (1, 2, 3, 49, 50, 51, 99, 100, 101, 249, 250, 251, 499, 500, 501, 999, 1000, 1001, 2499, 2500)
    for name in (name for of, name in demo_jobs() if of == shop and name != "duplexed"):
        job = read_job(job_data_of(shop, name) | {"quantities": list(counts), "delivery": {"method": "collect"}})
        options = estimate_job(job, cards[shop], on=DAY).options
        costs = [sum((line.exact_cost for line in option.lines), Decimal(0)) for option in options]

        assert costs == sorted(costs), name


def test_the_cost_never_falls_when_a_longer_first_pass_moves_the_night_to_another_ink() -> None:
    card = card_data_of("marrowby-lane")
    plate = {"kind": "same as last time", "size": "60 x 60 mm", "share_inked": "5 %"}
    blind = {"form": plate}
    item = {
        "name": "Coaster",
        "stock": "coaster-square-95",
        "size": "95 mm",
        "front": {"colours": [blind, {"form": plate, "ink": "silver"}]},
    }
    counts = list(range(600, 2600, 40))
    costs = [exact_cost((card, job_of(item, quantities=[count]))) for count in counts]
    falls = [
        (count, before - after)
        for count, before, after in zip(counts, costs, costs[1:], strict=False)
        if after < before
    ]

    assert falls == []


def test_the_cost_never_falls_when_a_further_parcel_makes_all_of_them_light_enough_for_a_cheaper_band() -> None:
    card = card_data_of("marrowby-lane")
    card["packing"]["parcel_mass"] = "20 kg"
    card["delivery"]["parcel"]["bands"] = [{"up_to": "14 kg", "price": "5.00"}, {"up_to": "20 kg", "price": "50.00"}]
    job = job_data_of("marrowby-lane", "cards")
    costs = [exact_cost((card, job | {"quantities": [count]})) for count in range(2600, 3200, 50)]

    assert costs == sorted(costs)


def test_a_dearer_ink_never_lowers_the_cost_where_another_ink_has_its_least_charge_to_use_up() -> None:
    plates = [{"kind": "same as last time", "size": "60 x 60 mm", "share_inked": "1 %"}] * 2
    colours = [{"form": form, "ink": ink} for form, ink in zip(plates, ["harbour-blue", "opaque-white"], strict=True)]
    item = {"name": "Coaster", "stock": "coaster-square-95", "size": "95 mm", "front": {"colours": colours}}
    job = job_of(item, quantities=[2000])
    costs = []
    for price in ("30.00", "33.00", "34.00", "35.00", "40.00"):
        card = card_data_of("marrowby-lane")
        for ink in ("harbour-blue", "opaque-white"):
            card["inks"][ink] |= {"shade": "dark", "price": "34.00", "least_charge": "0.40"}
        card["inks"]["opaque-white"] |= {"price": price, "least_charge": "0.60"}
        costs.append(exact_cost((card, job)))

    assert costs == sorted(costs)


def _dearer(draw: DrawFn, card: Data) -> None:
    """One figure of the card raised, or one speed slowed."""
    kind = draw(st.sampled_from(["wage", "expense", "press", "stock", "ink", "speed", "plates"]))
    times = Decimal(draw(st.integers(101, 300))) / 100

    def raised(written: str) -> str:
        return f"{Decimal(written.split(maxsplit=1)[0]) * times:.2f}"

    if kind == "wage":
        person = card["people"][draw(st.sampled_from(sorted(card["people"])))]
        person["wage"] = raised(person["wage"])
    elif kind == "expense":
        card["general_expense"] = raised(card["general_expense"])
    elif kind == "press":
        year = card["presses"][draw(st.sampled_from(sorted(card["presses"])))]["year"]
        year["repairs"] = raised(year["repairs"])
    elif kind == "stock":
        for band in card["stocks"][draw(st.sampled_from(sorted(card["stocks"])))]["prices"]:
            band["price"] = f"{Decimal(band['price']) * times}"
    elif kind == "ink":
        ink = card["inks"][draw(st.sampled_from(sorted(card["inks"])))]
        ink["price"] = raised(ink["price"])
    elif kind == "plates":
        supplier = card["plate_suppliers"][draw(st.sampled_from(sorted(card["plate_suppliers"])))]
        supplier["price"] = raised(supplier["price"])
    else:
        speeds = card["presses"][draw(st.sampled_from(sorted(card["presses"])))]["speeds"]
        name = draw(st.sampled_from(sorted(speeds)))
        speeds[name] = f"{max(1, int(Decimal(speeds[name].split()[0]) / times))} an hour"


@st.composite
def dearer_cards(draw: DrawFn) -> tuple[CardAndJob, CardAndJob]:
    """A card and a job, and the same with one figure of the card raised."""
    card, job = draw(card_and_job_data())
    dearer = deepcopy(card)
    _dearer(draw, dearer)
    return (card, job), (dearer, job)


@settings(max_examples=150)
@given(dearer_cards())
def test_a_dearer_rate_a_dearer_price_or_a_slower_press_never_lowers_the_cost(
    cards_and_job: tuple[CardAndJob, CardAndJob],
) -> None:
    before, dearer = cards_and_job

    assert exact_cost(before) <= exact_cost(dearer)


# Counts


@settings(max_examples=100)
@given(card_and_job_data())
def test_no_pass_gives_more_sheets_than_it_is_fed(card_and_job: CardAndJob) -> None:
    for part in option_of(card_and_job).parts:
        count = part.count
        for one in count.passes:
            assert 0 <= one.sheets_out <= one.sheets_in <= one.sheets_fed
        for before, after in pairwise(count.passes):
            assert after.sheets_in <= before.sheets_out + count.least_extra  # the least spoilage goes through all
        if count.passes:
            assert count.passes[0].sheets_in + count.fresh_set_up <= count.sheets
            assert count.sheets_good == count.passes[-1].sheets_out
        assert count.sheets_good <= count.sheets


@settings(max_examples=100)
@given(card_and_job_data())
def test_no_step_gives_more_pieces_than_it_takes(card_and_job: CardAndJob) -> None:
    for part in option_of(card_and_job).parts:
        count, plan = part.count, part.plan
        steps = count.steps
        for step in steps:
            assert step.pieces_out + step.set_up_pieces <= step.pieces_in
        for before, after in pairwise(steps):
            assert before.pieces_out == after.pieces_in
        assert count.pieces <= count.pieces_from_press <= count.sheets_good * plan.number_up
        assert count.sheets <= part.sheets_from_stock * plan.sheets_a_parent


# The price


@st.composite
def at_the_floor(draw: DrawFn) -> CardAndJob:
    """A card that asks for no margin of its own, so that its floor decides, with any rounding and tax."""
    card, job = draw(card_and_job_data())
    card["pricing"] |= {
        "target_margin": "0 %",
        "mark_ups": None,
        "hour_target": None,
        "least_charge": "0",
        "least_charge_item": None,
    }
    card["pricing"]["least_margin"] = draw(tenths(0, 40, "%"))
    card["pricing"]["rounding"] = draw(roundings())
    card["tax"]["prices_include_tax"] = draw(st.booleans())
    return card, job


@settings(max_examples=120)
@given(card_and_job_data() | at_the_floor())
def test_the_price_is_never_under_the_floor(card_and_job: CardAndJob) -> None:
    price, card = option_of(card_and_job).price, rate_card_from(card_and_job[0])
    floor = round_amount(price.cost / (1 - card.pricing.least_margin), card.region.currency)

    assert floor <= price.net


@settings(max_examples=80)
@given(card_and_job_data(), st.integers(0, 600))
def test_the_margin_that_is_asked_for_is_the_margin_that_is_got(card_and_job: CardAndJob, per_mille: int) -> None:
    card, job = deepcopy(card_and_job)
    card["region"]["currency"] = "GBP"
    card["tax"]["prices_include_tax"] = False
    job |= {"rush": False, "discount": None}
    card["pricing"] |= {
        "target_margin": f"{per_mille // 10}.{per_mille % 10} %",
        "mark_ups": None,
        "hour_target": None,
        "least_charge": "0",
        "least_charge_item": None,
        "least_margin": "0 %",
        "payment_fee_share": "0 %",
        "payment_fee_fixed": "0",
        "commission": "0 %",
        "rounding": {"step": "0.01", "way": "nearest", "of": "total"},
    }

    option = option_of((card, job))
    price, asked = option.price, Decimal(per_mille) / 1000
    half_a_coin = Decimal("0.005")

    assert abs(price.net * (1 - asked) - price.cost) <= 2 * half_a_coin * len(option.lines)
    assert abs(price.margin - asked) * price.net <= 2 * half_a_coin * len(option.lines)


# Any input


_JUNK: tuple[Any, ...] = (
    None,
    "",
    "NaN",
    "Infinity",
    "-1",
    "0",
    "0 min",
    "0 %",
    "100 %",
    "1_000",
    "999999999",
    "1 furlong",
    "0 mm",
    "1 mm",
    "5000 mm",
    "5000 x 1 mm",
    "1 an hour",
    "100000 an hour",
    "clean",
    "\ud800",
    0,
    -1,
    1,
    1_000_000,
    10**30,
    1.5,
    Decimal("NaN"),
    True,
    [],
    {},
    [{}],
)


def _places(data: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Every place in plain data, as the keys that lead to it."""
    found = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for key, value in found:
        yield (*path, key)
        yield from _places(value, (*path, key))


def put(data: Any, path: tuple[Any, ...], value: Any) -> None:
    """Set one place of plain data."""
    for key in path[:-1]:
        data = data[key]
    data[path[-1]] = value


@st.composite
def spoilt(draw: DrawFn) -> CardAndJob:
    """A demo card and a job of its shop, with junk in one or two places."""
    shop = draw(st.sampled_from(SHOPS))
    jobs = all_jobs(shop)
    card, job = card_data_of(shop), jobs[draw(st.sampled_from([name for name in jobs if name != "duplexed"]))]
    for _ in range(draw(st.integers(1, 2))):
        data = draw(st.sampled_from([card, job]))
        room = draw(st.sampled_from(sorted(data)))
        places = [(room,), *_places(data[room], (room,))]
        put(data, draw(st.sampled_from(places)), draw(st.sampled_from(_JUNK)))
    return card, job


def ending_of(card: Data, job: Data) -> Estimate | InputError | NoPlanError:
    """How it ends; any other error is one too many."""
    try:
        return estimate_job(read_job(job), rate_card_from(card), on=DAY)
    except (InputError, NoPlanError) as error:
        return error


@settings(max_examples=400)
@given(spoilt())
def test_any_input_ends_in_an_estimate_or_in_an_error_that_names_the_fault(card_and_job: CardAndJob) -> None:
    card, job = card_and_job
    ending = ending_of(card, job)

    if isinstance(ending, InputError):
        assert ending.faults
        assert all(fault.where and fault.expected and fault.found for fault in ending.faults)
    elif isinstance(ending, NoPlanError):
        assert ending.part
        assert ending.refusals
        assert all(ending.refusals.values())
    else:
        assert all(option.price.total >= 0 for option in ending.options)
        assert to_json(ending)


@pytest.mark.parametrize("much", [{"per_set": 1_000_000}, {"finishing": [{"kind": "scoring", "scores": 1_000_000}]}])
def test_a_job_of_a_thousand_years_ends_in_an_error_that_names_the_fault(much: Data) -> None:
    item = all_jobs("marrowby-lane")["many days"]["items"][0] | much
    ending = ending_of(card_data_of("marrowby-lane"), job_of(item, quantities=[1_000_000]))

    assert isinstance(ending, InputError)
    assert all(fault.where and fault.expected and fault.found for fault in ending.faults)


@settings(max_examples=150)
@given(
    st.recursive(
        st.none() | st.booleans() | st.integers() | st.text(max_size=8) | st.floats(),
        lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
        max_leaves=8,
    )
)
def test_any_plain_data_is_no_job_and_is_told_so(data: Any) -> None:
    with pytest.raises(QuotingError, match="expected"):
        read_job(data)


# Both ways through JSON


@settings(max_examples=60)
@given(card_and_job_data())
def test_estimate_and_quotation_survive_json_both_ways(card_and_job: CardAndJob) -> None:
    card, estimate = rate_card_from(card_and_job[0]), estimate_of(card_and_job)
    quotation = quotation_for(estimate, card)

    for value in (estimate, quotation, card, estimate.job):
        text = to_json(value)
        again = from_json(text, type(value))
        assert again == value
        assert to_json(again) == text


# The same bytes everywhere


def documents(card: Data, job: Data) -> bytes:
    """An estimate and its quotation, as bytes."""
    read = rate_card_from(card)
    estimate = estimate_job(read_job(job), read, on=DAY)
    return to_json(estimate) + to_json(quotation_for(estimate, read))


@settings(max_examples=60)
@given(card_and_job_data())
def test_a_hostile_decimal_context_changes_no_byte(card_and_job: CardAndJob) -> None:
    estimate_of(card_and_job)
    with localcontext(Context(prec=6, rounding=ROUND_UP)):
        hostile = documents(*card_and_job)

    assert documents(*card_and_job) == hostile


def demo_digest() -> str:
    """One digest of all that both demo shops quote."""
    digest = hashlib.sha256()
    for shop, name in demo_jobs():
        digest.update(documents(card_data_of(shop), job_data_of(shop, name)))
    return digest.hexdigest()


CHILD = """
import locale
try:
    locale.setlocale(locale.LC_ALL, "")
except locale.Error:
    pass
from tests.test_laws import demo_digest
print(demo_digest())
"""


@pytest.mark.parametrize(
    ("language", "time_zone", "seed"),
    [("de_DE.UTF-8", "Pacific/Kiritimati", "1"), ("tr_TR.UTF-8", "Etc/GMT+12", "4242")],
)
def test_another_locale_time_zone_and_hash_seed_change_no_byte(language: str, time_zone: str, seed: str) -> None:
    hostile = {"LC_ALL": language, "LANG": language, "TZ": time_zone, "PYTHONHASHSEED": seed}
    child = subprocess.run(
        [sys.executable, "-c", CHILD], env=os.environ | hostile, capture_output=True, text=True, check=True
    )

    assert demo_digest() == child.stdout.strip()


# What a client may not see


def _keys(data: Any) -> Iterator[str]:
    if isinstance(data, dict):
        yield from data
    for value in data.values() if isinstance(data, dict) else data if isinstance(data, list) else ():
        yield from _keys(value)


@settings(max_examples=60)
@given(card_and_job_data())
def test_no_key_of_a_quotation_tells_a_cost(card_and_job: CardAndJob) -> None:
    quotation = json.loads(to_json(quotation_for(estimate_of(card_and_job), rate_card_from(card_and_job[0]))))
    told = {"rate", "base", "tax", "code", "reason"}
    for option in quotation["options"]:
        assert [set(line) for line in option.pop("taxes") if set(line) - told] == []
    ours = ("cost", "margin", "mark_up", "minutes", "rate", "hour", "contribution", "plan", "person", "machine")

    assert [key for key in _keys(quotation) if any(word in key for word in ours)] == []


_PAID = {
    *("wage", "employer_charges", "holidays_and_sickness", "general_expense"),
    *("depreciation", "rollers", "repairs", "power", "floor_space"),
    *("price", "carriage_in", "carriage", "base_charge", "least_charge", "set_up_charge", "price_a_hundred"),
    *("materials_each", "die", "parcel_materials"),
}


def _doubled(data: Any, key: str = "") -> Any:
    """Everything that the shop pays, twice."""
    if isinstance(data, dict):
        return {name: _doubled(value, name) for name, value in data.items()}
    if isinstance(data, list):
        return [_doubled(value, key) for value in data]
    return f"{Decimal(data) * 2}" if key in _PAID else data


@pytest.mark.parametrize(("shop", "name"), demo_jobs())
def test_two_shops_of_other_costs_and_the_same_prices_send_the_same_quotation(shop: str, name: str) -> None:
    cheap, job = card_data_of(shop), job_data_of(shop, name)
    cheap["pricing"] |= {"target_margin": None, "least_margin": "0 %", "deposit": "0 %"}
    dear = _doubled(cheap) | {"pricing": deepcopy(cheap["pricing"])}
    for card, put_on in ((cheap, "200 %"), (dear, "50 %")):
        card["pricing"]["mark_ups"] = dict.fromkeys(("labour", "materials", "bought_in"), put_on)
    for someone in dear["people"].values():
        someone["name"] = "Somebody Else"
    quotations = []
    for card in (cheap, dear):
        read = rate_card_from(card)
        quotations.append(to_json(quotation_for(estimate_job(read_job(job), read, on=DAY), read)))

    assert quotations[0] == quotations[1]
