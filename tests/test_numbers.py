"""Counts: rounded in one place, noise left out first, whatever the caller's Decimal context."""

from __future__ import annotations

import math
from decimal import (
    ROUND_CEILING,
    ROUND_DOWN,
    ROUND_UP,
    Context,
    Decimal,
    Inexact,
    getcontext,
    localcontext,
)
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quoting import Job, RateCard, estimate_job, load_job, load_rate_card, quotation_for
from quoting.numbers import at_least, at_most, in_band, in_engine_context, plain, whole_down, whole_up
from quoting.reader import to_json
from quoting.units import BASIC_SIZES_IN, GRAMS_PER_POUND, MM_PER_INCH
from tests.conftest import DAY, SHOPS, demo_card_path, demo_job_path

HOSTILE = {
    "six digits": Context(prec=6),
    "one digit, up": Context(prec=1, rounding=ROUND_UP),
    "down": Context(prec=9, rounding=ROUND_DOWN),
    "up": Context(prec=28, rounding=ROUND_CEILING),
    "nothing inexact": Context(prec=28, traps=[Inexact]),
    "small exponents": Context(prec=28, Emax=3, Emin=-3),
}
NINE_PLACES = st.decimals(min_value=0, max_value=10**7, places=9)


@pytest.mark.parametrize(
    ("amount", "expected"),
    [
        (Decimal(0), 0),
        (Decimal("0.1"), 1),
        (Decimal(1), 1),
        (Decimal("1.0000000001"), 1),
        (Decimal("1.000000001"), 2),
        (Decimal("500.0000000000000000000000001"), 500),
        (Decimal("499.9999999999999999"), 500),
        (Decimal("0.3") / Decimal("0.1"), 3),
        (Decimal(0.3 / 0.1), 3),
        (7, 7),
        (Decimal("-0.5"), 0),
        (Decimal("-1.5"), -1),
    ],
)
def test_a_count_rounds_up_once_noise_is_left_out(amount: Decimal | int, expected: int) -> None:
    assert expected == whole_up(amount)
    assert int is type(whole_up(amount))


@pytest.mark.parametrize(
    ("amount", "expected"), [("2.9", 2), ("2.9999999999", 3), ("2.999999999", 2), ("3.0000000001", 3), ("0", 0)]
)
def test_a_count_rounds_down_once_noise_is_left_out(amount: str, expected: int) -> None:
    assert expected == whole_down(Decimal(amount))


def test_a_ream_by_its_mass_is_500_sheets_where_a_plain_ceiling_buys_501() -> None:
    rounded_up, plainly = [], []
    for wide, high in BASIC_SIZES_IN.values():
        area_m2 = wide * high * MM_PER_INCH**2 / 1_000_000
        for pounds in range(1, 401):
            grams = pounds * GRAMS_PER_POUND
            grammage = grams / (500 * area_m2)
            sheets = grams / (grammage * area_m2)
            rounded_up.append(whole_up(sheets))
            plainly.append(math.ceil(sheets))

    assert {500} == set(rounded_up)
    assert {500, 501} == set(plainly)


@given(amount=NINE_PLACES)
def test_up_and_down_are_ceiling_and_floor_of_what_has_nine_places(amount: Decimal) -> None:
    assert math.ceil(Fraction(amount)) == whole_up(amount)
    assert math.floor(Fraction(amount)) == whole_down(amount)


@given(first=NINE_PLACES, second=NINE_PLACES)
def test_more_never_needs_less(first: Decimal, second: Decimal) -> None:
    less, more = sorted([first, second])

    assert whole_up(less) <= whole_up(more)


@given(pieces=st.integers(0, 10**6), up=st.integers(1, 64))
def test_sheets_of_so_many_up_are_those_of_whole_numbers(pieces: int, up: int) -> None:
    assert -(-pieces // up) == whole_up(Decimal(pieces) / up)


@pytest.mark.parametrize("context", HOSTILE.values(), ids=HOSTILE)
@given(amount=NINE_PLACES)
def test_the_callers_context_changes_no_count(context: Context, amount: Decimal) -> None:
    expected = (whole_up(amount), whole_down(amount), plain(amount, places=9))

    with localcontext(context):
        found = (whole_up(amount), whole_down(amount), plain(amount, places=9))

    assert expected == found


@pytest.mark.parametrize("context", HOSTILE.values(), ids=HOSTILE)
@pytest.mark.parametrize("shop", SHOPS)
def test_the_callers_context_changes_no_price(
    shop: str, context: Context, cards: dict[str, RateCard], jobs: dict[tuple[str, str], Job]
) -> None:
    expected = estimate_job(jobs[shop, "invitation"], cards[shop], on=DAY)
    quoted = quotation_for(expected, cards[shop])

    with localcontext(context):
        card = load_rate_card(demo_card_path(shop))
        job = load_job(demo_job_path(shop, "invitation"))
        found = estimate_job(job, card, on=DAY)
        quotation = quotation_for(found, card)

    assert to_json(expected) == to_json(found)
    assert to_json(quoted) == to_json(quotation)


def test_an_estimate_leaves_the_callers_context_as_it_was(
    cards: dict[str, RateCard], jobs: dict[tuple[str, str], Job]
) -> None:
    with localcontext(Context(prec=7, rounding=ROUND_DOWN)):
        estimate_job(jobs["pellam-hollow", "cards"], cards["pellam-hollow"], on=DAY)

        assert (getcontext().prec, getcontext().rounding) == (7, ROUND_DOWN)


def test_the_engines_context_is_left_again_when_something_is_raised() -> None:
    @in_engine_context
    def fail() -> None:
        raise KeyError(getcontext().prec)

    with localcontext(Context(prec=7)):
        with pytest.raises(KeyError, match="34"):
            fail()

        assert getcontext().prec == 7


def test_at_least_and_at_most_are_the_greater_and_the_lesser() -> None:
    two, three = Decimal(2), Decimal(3)

    assert [three, three] == [at_least(two, three), at_least(three, two)]
    assert [two, two] == [at_most(two, three), at_most(three, two)]


@pytest.mark.parametrize(
    ("amount", "expected"), [("0", "0"), ("100", "0"), ("100.5", "0.5"), ("200", "100"), ("200.5", "100")]
)
def test_a_band_takes_the_slice_between_its_marks(amount: str, expected: str) -> None:
    assert Decimal(expected) == in_band(Decimal(amount), above=Decimal(100), up_to=Decimal(200))


@given(amount=st.integers(0, 10_000), marks=st.lists(st.integers(1, 9_999), min_size=1, max_size=4, unique=True))
def test_slices_of_bands_add_up_to_the_amount(amount: int, marks: list[int]) -> None:
    bounds = [0, *sorted(marks), 10_000]
    slices = [in_band(Decimal(amount), above=Decimal(low), up_to=Decimal(high)) for low, high in pairwise(bounds)]

    assert amount == sum(slices)


@pytest.mark.parametrize(
    ("amount", "expected"),
    [
        ("0", "0"),
        ("-0", "0"),
        ("-0.00001", "0"),
        ("1E+3", "1000"),
        ("12.5000", "12.5"),
        ("0.00005", "0"),
        ("0.00015", "0.0002"),
        ("1234567.89", "1234567.89"),
        ("-3.10", "-3.1"),
        ("100", "100"),
    ],
)
def test_a_plain_number_has_no_exponent_and_no_needless_zeros(amount: str, expected: str) -> None:
    assert expected == plain(Decimal(amount))
