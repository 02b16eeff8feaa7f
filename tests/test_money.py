"""Amounts: rounded half away from zero, shared out to the last coin, in no other place and never in floats."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from decimal import ROUND_UP, Context, Decimal, Inexact, localcontext
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import quoting
from quoting.errors import MeasureError
from quoting.money import (
    minor_units,
    round_amount,
    round_rate,
    smallest_coin,
    spread,
    to_next_step,
    unit_price,
)

CURRENCIES = ("EUR", "JPY", "KWD")
TWELVE_PLACES = st.decimals(min_value=-(10**9), max_value=10**9, places=12)
COINS = st.integers(-(10**12), 10**12)
WEIGHTS = st.lists(st.decimals(min_value=0, max_value=10**8, places=4), min_size=1, max_size=12)
STEPS = [Decimal(step) for step in ("0.01", "0.05", "0.25", "0.50", "1", "5", "10")]
HOSTILE = [Context(prec=6), Context(prec=2, rounding=ROUND_UP), Context(prec=28, traps=[Inexact])]

PACKAGE = Path(quoting.__file__).parent
ROUNDING_HOMES = {"money.py", "numbers.py", "units.py"}
OF_DECIMALS = {"quantize", "to_integral_value", "to_integral", "to_integral_exact"}
OF_MATH = {"ceil", "floor", "trunc"}


def half_away_from_zero(amount: Decimal, currency: str) -> Fraction:
    coin = Fraction(1, 10 ** minor_units(currency))
    coins = abs(Fraction(amount)) / coin
    whole = int(coins + Fraction(1, 2))
    return whole * coin * (-1 if amount < 0 else 1)


@pytest.mark.parametrize(
    ("amount", "expected"),
    [
        ("0.005", "0.01"),
        ("-0.005", "-0.01"),
        ("0.015", "0.02"),
        ("0.025", "0.03"),
        ("-0.015", "-0.02"),
        ("-0.025", "-0.03"),
        ("1.005", "1.01"),
        ("2.675", "2.68"),
        ("0.00499", "0.00"),
        ("-0.00499", "0.00"),
        ("0", "0.00"),
        ("-0", "0.00"),
        ("0.00", "0.00"),
        ("999999999.99", "999999999.99"),
        ("999999999.995", "1000000000.00"),
        ("-999999999.995", "-1000000000.00"),
        ("400.895", "400.90"),
        ("1E+3", "1000.00"),
    ],
)
def test_an_amount_rounds_half_away_from_zero_and_shows_its_coins(amount: str, expected: str) -> None:
    assert expected == str(round_amount(Decimal(amount), "EUR"))


@pytest.mark.parametrize(
    ("currency", "expected"), [("JPY", "1235"), ("EUR", "1234.57"), ("KWD", "1234.568"), ("CLF", "1234.5675")]
)
def test_an_amount_rounds_to_the_smallest_coin_of_its_currency(currency: str, expected: str) -> None:
    assert expected == str(round_amount(Decimal("1234.5675"), currency))


def test_three_thirds_of_a_tie_still_tie() -> None:
    third = Decimal("0.015") / 3

    assert Decimal("0.02") == round_amount(third * 3, "EUR")
    assert Decimal("0.02") == round_amount(Decimal("0.045") / 3, "EUR")
    assert Decimal("-0.02") == round_amount(Decimal("-0.0149999999999999"), "EUR")


def test_three_shares_of_33_33_per_cent_leave_a_cent_over_and_a_spread_does_not() -> None:
    share = round_amount(Decimal(100) * Decimal("0.3333"), "EUR")

    assert Decimal("99.99") == share * 3
    assert (Decimal("33.34"), Decimal("33.33"), Decimal("33.33")) == spread(
        Decimal("100.00"), [Decimal("33.33")] * 3, "EUR"
    )


@given(amount=TWELVE_PLACES, currency=st.sampled_from(CURRENCIES))
def test_rounding_is_that_of_fractions(amount: Decimal, currency: str) -> None:
    assert half_away_from_zero(amount, currency) == Fraction(round_amount(amount, currency))


@given(amount=TWELVE_PLACES, currency=st.sampled_from(CURRENCIES))
def test_an_amount_and_its_opposite_round_alike(amount: Decimal, currency: str) -> None:
    assert round_amount(amount, currency) == -round_amount(-amount, currency)


@given(
    amount=st.decimals(min_value=-10, max_value=10, places=6),
    currency=st.sampled_from(CURRENCIES),
    step=st.sampled_from(STEPS),
    up=st.booleans(),
)
def test_minus_zero_never_comes_back(amount: Decimal, currency: str, step: Decimal, up: bool) -> None:
    for rounded in (round_amount(amount, currency), to_next_step(amount, step, up=up)):
        assert rounded or not rounded.is_signed()


def test_an_hour_rate_keeps_four_places() -> None:
    assert [Decimal("53.3333"), Decimal("0.0001")] == [round_rate(Decimal(160) / 3), round_rate(Decimal("0.00005"))]


@pytest.mark.parametrize(
    ("amount", "step", "nearest", "up"),
    [
        ("10.24", "0.50", "10.00", "10.50"),
        ("10.25", "0.50", "10.50", "10.50"),
        ("10.50", "0.50", "10.50", "10.50"),
        ("12.49", "5", "10", "15"),
        ("12.50", "5", "15", "15"),
        ("100", "0.01", "100.00", "100.00"),
        ("100.0000000000001", "1", "100", "100"),
        ("-12.50", "5", "-15", "-10"),
        ("0", "5", "0", "0"),
    ],
)
def test_a_price_goes_to_the_nearest_step_or_up(amount: str, step: str, nearest: str, up: str) -> None:
    price, by = Decimal(amount), Decimal(step)

    assert Decimal(nearest) == to_next_step(price, by, up=False)
    assert Decimal(up) == to_next_step(price, by, up=True)


@given(amount=st.decimals(min_value=0, max_value=10**8, places=4), step=st.sampled_from(STEPS))
def test_a_step_up_is_less_than_a_step_away_and_the_nearest_half_a_step(amount: Decimal, step: Decimal) -> None:
    up, nearest = to_next_step(amount, step, up=True), to_next_step(amount, step, up=False)

    assert 0 <= up - amount < step
    assert 2 * abs(nearest - amount) <= step
    assert [up % step, nearest % step] == [0, 0]


@given(coins=COINS, weights=WEIGHTS, currency=st.sampled_from(CURRENCIES))
def test_shares_add_up_and_none_is_a_coin_from_its_exact_share(
    coins: int, weights: list[Decimal], currency: str
) -> None:
    coin = smallest_coin(currency)
    total = coins * coin
    shares = spread(total, weights, currency)
    fractions = [Fraction(weight) for weight in weights] if any(weights) else [Fraction(1)] * len(weights)
    exact = [Fraction(total) * weight / sum(fractions) for weight in fractions]

    assert total == sum(shares)
    assert all(abs(Fraction(share) - one) < Fraction(coin) for share, one in zip(shares, exact, strict=True))


@given(coins=st.integers(0, 10**9), weights=WEIGHTS)
def test_a_greater_weight_never_bears_less(coins: int, weights: list[Decimal]) -> None:
    shares = spread(Decimal(coins) / 100, weights, "EUR")
    by_weight = sorted(zip(weights, shares, strict=True), reverse=True)

    assert sorted(shares, reverse=True) == [share for _, share in by_weight]


@given(coins=st.integers(0, 10**9), weights=WEIGHTS)
def test_what_is_taken_off_is_shared_as_what_is_put_on(coins: int, weights: list[Decimal]) -> None:
    total = Decimal(coins) / 100

    assert spread(total, weights, "EUR") == tuple(-share for share in spread(-total, weights, "EUR"))


def test_a_coin_over_goes_to_the_largest_remainder_then_to_the_first() -> None:
    one, half = Decimal(1), Decimal("0.5")

    assert (Decimal("0.04"), Decimal("0.04"), Decimal("0.02")) == spread(Decimal("0.10"), [one, one, half], "EUR")
    assert (Decimal(4), Decimal(3), Decimal(3)) == spread(Decimal(10), [one, one, one], "JPY")
    assert (Decimal(0), Decimal(1)) == spread(Decimal(1), [one, Decimal(2)], "JPY")
    assert (Decimal("0.02"), Decimal("0.01")) == spread(Decimal("0.03"), [Decimal(0), Decimal(0)], "EUR")


@pytest.mark.parametrize(
    ("total", "weights"),
    [
        ("1.00", []),
        ("1.00", ["1", "-1"]),
        ("0.005", ["1", "1"]),
        ("-0.005", ["1", "1"]),
        ("-1.005", ["1"]),
    ],
)
def test_a_spread_without_weights_or_of_less_than_a_coin_is_refused(total: str, weights: list[str]) -> None:
    with pytest.raises(MeasureError, match="expected a whole number of coins and weights of 0 or more"):
        spread(Decimal(total), [Decimal(weight) for weight in weights], "EUR")


@given(coins=st.integers(1, 10**10), pieces=st.integers(1, 10**6), currency=st.sampled_from(CURRENCIES))
def test_a_unit_price_times_the_pieces_gives_the_price_back(coins: int, pieces: int, currency: str) -> None:
    price = coins * smallest_coin(currency)
    unit = unit_price(price, pieces)

    assert price == round_amount(unit * pieces, currency)


@given(coins=st.integers(1, 10**8), pieces=st.integers(1, 10**5))
def test_a_unit_price_has_no_place_more_than_it_needs(coins: int, pieces: int) -> None:
    price = Decimal(coins) / 100
    unit = unit_price(price, pieces)
    exponent = unit.as_tuple().exponent
    assert isinstance(exponent, int)
    shorter = [round(Fraction(coins, 100 * pieces), places) for places in range(2, -exponent)]

    assert all(abs(one * pieces - Fraction(price)) >= Fraction(1, 200) for one in shorter)


@pytest.mark.parametrize(
    ("price", "pieces", "expected"),
    [
        ("190.00", 100, "1.90"),
        ("100.00", 3, "33.333"),
        ("1.00", 3, "0.333"),
        ("86.25", 250, "0.345"),
        ("0.00", 9, "0.00"),
        ("0.01", 3 * 10**9, "3E-12"),
        ("0.01", 3 * 10**10, f"3.{'3' * 59}E-13"),  # past twelve places, all that there is
        ("100", 3, "33.33"),  # to the yen 99.99 is 100
        ("100.000", 3, "33.3333"),
    ],
)
def test_a_unit_price_is_as_a_client_would_write_it(price: str, pieces: int, expected: str) -> None:
    assert expected == str(unit_price(Decimal(price), pieces))


def some_amounts() -> list[object]:
    amount = Decimal("1234567.89")
    return [
        round_amount(amount, "EUR"),
        round_rate(amount),
        to_next_step(amount, Decimal("0.05"), up=True),
        unit_price(amount, 999),
        smallest_coin("KWD"),
        spread(amount, [Decimal("12345678.9"), Decimal("98765432.1"), Decimal("0.0001")], "EUR"),
    ]


@pytest.mark.parametrize("context", HOSTILE)
def test_the_callers_context_changes_no_amount(context: Context) -> None:
    expected = some_amounts()

    with localcontext(context):
        found = some_amounts()

    assert expected == found


def test_a_float_is_no_amount() -> None:
    with pytest.raises((TypeError, AttributeError)):
        round_amount(0.1, "EUR")  # type: ignore[arg-type]  # the fault
    with pytest.raises((TypeError, AttributeError)):
        to_next_step(0.1, Decimal(1), up=True)  # type: ignore[arg-type]  # the fault


def modules() -> Iterator[tuple[str, ast.Module]]:
    for path in sorted(PACKAGE.rglob("*.py")):
        place = path.relative_to(PACKAGE).as_posix()
        if not place.startswith(("_packaged/", "cli/")):
            yield place, ast.parse(path.read_text(encoding="utf-8"))


def is_float(node: ast.AST) -> bool:
    """A number with a point, a complex one, or the word that makes or names one."""
    if isinstance(node, ast.Constant):
        return isinstance(node.value, float | complex)
    return isinstance(node, ast.Name) and node.id in {"float", "complex"}


def floats_in(tree: ast.Module) -> list[int]:
    """The lines where floats are, but for arguments that are seconds to wait."""
    waited = [one.annotation for one in ast.walk(tree) if isinstance(one, ast.arg) and one.arg == "seconds"]
    return [getattr(node, "lineno", 0) for node in ast.walk(tree) if is_float(node) and node not in waited]


def rounds(node: ast.AST) -> bool:
    """A ceiling, a floor, a quantize, Python's own round: called, handed on or imported."""
    if isinstance(node, ast.Attribute):
        of_math = isinstance(node.value, ast.Name) and node.value.id == "math"
        return node.attr in OF_DECIMALS or (of_math and node.attr in OF_MATH)
    if isinstance(node, ast.ImportFrom):
        return node.module == "math" and any(name.name in OF_MATH for name in node.names)
    return isinstance(node, ast.Name) and node.id == "round"


def roundings_in(tree: ast.Module) -> list[int]:
    """The lines where something is rounded."""
    return [getattr(node, "lineno", 0) for node in ast.walk(tree) if rounds(node)]


# Nothing of these is charged: risks drawn by the ten thousand, plans compared over many quantities at once
# (the near ones are costed again exactly), points of a plot, seconds that writers wait for each other.
FLOATS_OF_NO_PRICE = {"many.py", "risk.py", "planning/at_once.py", "plots.py", "book/queueing.py"}


def test_no_float_is_written_or_made_where_money_is_counted() -> None:
    found = {place: lines for place, tree in modules() if (lines := floats_in(tree))}

    assert found.keys() <= FLOATS_OF_NO_PRICE


def test_nothing_is_rounded_outside_money_numbers_and_units() -> None:
    found = {place: lines for place, tree in modules() if (lines := roundings_in(tree))}

    assert found.keys() <= ROUNDING_HOMES


@pytest.mark.parametrize(
    "code", ["x = 1.5", "x = float('1')", "def f(x: float) -> None: ...", "list(map(float, y))", "x = 1e3", "x = 2j"]
)
def test_the_search_for_floats_finds_them(code: str) -> None:
    assert floats_in(ast.parse(code)) == [1]


def test_the_search_for_floats_lets_seconds_to_wait_pass() -> None:
    assert floats_in(ast.parse("def f(*, seconds: float = MOST) -> None: ...")) == []


@pytest.mark.parametrize(
    "code",
    [
        "round(x)",
        "math.ceil(x)",
        "from math import ceil",
        "x.quantize(y)",
        "x.to_integral_value()",
        "map(round, xs)",
        "math.floor(x)",
    ],
)
def test_the_search_for_rounding_finds_it(code: str) -> None:
    assert roundings_in(ast.parse(code)) == [1]


@pytest.mark.parametrize("code", ["running.floor", "at_least(floor, x)", "shop.rounding", "self.rounded(x)"])
def test_the_search_for_rounding_lets_words_pass(code: str) -> None:
    assert roundings_in(ast.parse(code)) == []
