"""
Tax and document sums, held to EN 16931 and to an oracle of Fractions that shares nothing with the engine.

The oracle is made here: BR-CO-10 to BR-CO-17 and BR-S-08 as EN 16931-1:2017 writes them (A).
"""

from __future__ import annotations

import ast
import math
import random
from collections.abc import Sequence
from decimal import ROUND_UP, Context, Decimal, localcontext
from fractions import Fraction
from pathlib import Path

import pytest

import quoting
from quoting.errors import MeasureError
from quoting.money import fitted, minor_units, part_and_rest, read_amount, round_amount, spread
from quoting.rate_card import RateCard, TaxKind
from quoting.reader import convert
from quoting.tax import CODES, Category, TaxedAmount, document_totals, tax_lines

PLACES = {"JPY": 0, "EUR": 2, "KWD": 3}
RATES: tuple[tuple[str, Category], ...] = (
    ("0.25", "standard"),
    ("0.2", "standard"),
    ("0.21", "standard"),
    ("0.0675", "standard"),
    ("0.06", "standard"),
    ("0.1", "standard"),
    ("0", "zero"),
    ("0", "exempt"),
    ("0", "reverse charge"),
    ("0", "outside scope"),
)
MONEY_MODULES = (
    "money.py",
    "tax.py",
    "pricing.py",
    "line_items.py",
    "costing.py",
    "buying.py",
    "compare.py",
    "what_if.py",
)


def coins(amount: Fraction, currency: str) -> Fraction:
    """Half away from zero, with Fractions alone."""
    scale = 10 ** PLACES[currency]
    whole = math.floor(abs(amount) * scale + Fraction(1, 2))
    return Fraction(whole if amount >= 0 else -whole, scale)


def random_amount(chance: random.Random, currency: str) -> Decimal:
    """From nothing to a hundred million, small ones often."""
    most = 10 ** chance.randint(0, 10)
    return Decimal(chance.randint(0, most)).scaleb(-PLACES[currency])


def random_document(
    chance: random.Random,
) -> tuple[str, list[TaxedAmount], list[TaxedAmount], list[TaxedAmount]]:
    """1 to 50 lines, up to 5 allowances and charges, 1 to 4 rates, nothing and exempt among them."""
    currency = chance.choice(tuple(PLACES))
    rates = [(Decimal(rate), kind) for rate, kind in chance.sample(RATES, chance.randint(1, 4))]

    def amounts(count: int) -> list[TaxedAmount]:
        return [TaxedAmount(random_amount(chance, currency), *chance.choice(rates)) for _ in range(count)]

    extras = amounts(chance.randint(0, 5))
    cut = chance.randint(0, len(extras))
    return currency, amounts(chance.randint(1, 50)), extras[:cut], extras[cut:]


Kind = tuple[Fraction, str]


def expected_taxes(
    signed: Sequence[tuple[Fraction, Kind]], currency: str, *, included: bool
) -> dict[Kind, tuple[Fraction, Fraction]]:
    """Base and tax of each rate and category, from the amounts alone: the base is what is summed less its tax."""
    sums: dict[Kind, Fraction] = {}
    for amount, kind in signed:
        sums[kind] = sums.get(kind, Fraction(0)) + amount
    bases = {kind: coins(whole / (1 + kind[0]), currency) if included else whole for kind, whole in sums.items()}
    return {kind: (base, coins(base * kind[0], currency)) for kind, base in bases.items()}


def assert_rules_hold(chance: random.Random, *, included: bool) -> None:
    currency, lines, allowances, charges = random_document(chance)
    paid = random_amount(chance, currency)
    coin = Fraction(1, 10 ** PLACES[currency])

    found = document_totals(lines, currency, allowances=allowances, charges=charges, included=included, paid=paid)

    asked: list[tuple[Fraction, Kind]] = [
        (Fraction(one.amount), (Fraction(one.rate), one.category)) for one in (*lines, *charges)
    ]
    asked += [(-Fraction(one.amount), (Fraction(one.rate), one.category)) for one in allowances]
    nets = [Fraction(one) for one in (*found.lines, *found.charges, *(-one for one in found.allowances))]
    assert len(nets) == len(asked)
    for net, (amount, (rate, _)) in zip(nets, asked, strict=True):
        if included:
            assert abs(net - amount / (1 + rate)) < coin
        else:
            assert net == amount
    expected = expected_taxes(asked, currency, included=included)
    told = {
        (Fraction(line.rate), str(line.category)): (Fraction(line.base), Fraction(line.tax)) for line in found.taxes
    }
    assert told == expected  # BR-S-08, BR-CO-17
    of_kind: dict[Kind, Fraction] = {}
    for net, (_, kind) in zip(nets, asked, strict=True):
        of_kind[kind] = of_kind.get(kind, Fraction(0)) + net
    assert {kind: base for kind, (base, _) in expected.items()} == of_kind  # BR-S-08: lines add up to their base
    sums = [sum(map(Fraction, part), Fraction(0)) for part in (found.lines, found.allowances, found.charges)]
    assert [
        Fraction(found.lines_sum),
        Fraction(found.allowances_sum),
        Fraction(found.charges_sum),
    ] == sums  # BR-CO-10 to 12
    net, tax = sums[0] - sums[1] + sums[2], sum((tax for _, tax in expected.values()), Fraction(0))
    assert Fraction(found.net) == net  # BR-CO-13
    assert Fraction(found.tax) == tax  # BR-CO-14
    assert Fraction(found.total) == net + tax  # BR-CO-15
    assert Fraction(found.payable) == net + tax - Fraction(paid) + Fraction(found.rounding)  # BR-CO-16
    if included:
        assert Fraction(found.payable) == sum((amount for amount, _ in asked), Fraction(0)) - Fraction(paid)
        assert abs(Fraction(found.rounding)) <= len(found.taxes) * coin
    else:
        assert found.rounding == 0
    every = (found.lines_sum, found.net, found.tax, found.total, found.payable, found.rounding, *found.lines)
    assert {one.as_tuple().exponent for one in every} == {-PLACES[currency]}
    assert not any(one.is_signed() and not one for one in every)


@pytest.mark.parametrize("part", range(4))
def test_random_documents_hold_the_rules_exactly(part: int) -> None:
    chance = random.Random(part)
    for turn in range(5_000):
        assert_rules_hold(chance, included=bool(turn % 2))


@pytest.mark.long
@pytest.mark.parametrize("part", range(10))
def test_a_million_random_documents_hold_the_rules_exactly(part: int) -> None:
    chance = random.Random(1_000 + part)
    for turn in range(100_000):
        assert_rules_hold(chance, included=bool(turn % 2))


def test_example_1_of_en_16931() -> None:
    """183.23 at 6 % and 46.37 at 21 %: EN 16931 example 1 (A)."""
    lines = [TaxedAmount(Decimal("183.23"), Decimal("0.06")), TaxedAmount(Decimal("46.37"), Decimal("0.21"))]

    found = document_totals(lines, "EUR")

    assert [str(line.tax) for line in found.taxes] == ["9.74", "10.99"]
    assert (str(found.net), str(found.tax), str(found.total)) == ("229.60", "20.73", "250.33")


def test_example_3_of_en_16931() -> None:
    """900 at 25 % and 800 at 10 %: EN 16931 example 3 (A)."""
    lines = [TaxedAmount(Decimal(900), Decimal("0.25")), TaxedAmount(Decimal(800), Decimal("0.1"))]

    found = document_totals(lines, "EUR")

    assert [str(line.tax) for line in found.taxes] == ["225.00", "80.00"]
    assert str(found.total) == "2005.00"


def test_the_callers_context_changes_no_document() -> None:
    """Example 1 again, and with its tax in it, where a caller counts in three digits."""
    lines = [TaxedAmount(Decimal("183.23"), Decimal("0.06")), TaxedAmount(Decimal("46.37"), Decimal("0.21"))]
    expected = [document_totals(lines, "EUR", included=included) for included in (False, True)]

    with localcontext(Context(prec=3, rounding=ROUND_UP)):
        found = [document_totals(lines, "EUR", included=included) for included in (False, True)]

    assert expected == found


def test_tax_is_taken_once_on_the_sum_and_not_line_by_line() -> None:
    """Three lines of 0.03 at 20 %: 0.02 on the sum; line by line it would be 0.03. Arithmetic."""
    found = document_totals([TaxedAmount(Decimal("0.03"), Decimal("0.2"))] * 3, "GBP")

    assert found.tax == Decimal("0.02")


def test_a_total_that_no_base_and_tax_make_has_its_coin_told_as_rounding() -> None:
    """0.03 with 20 % in it: 0.02 + 0.00 is 0.02 and 0.03 + 0.01 is 0.04. Arithmetic; BT-114 (A)."""
    found = document_totals([TaxedAmount(Decimal("0.03"), Decimal("0.2"))], "GBP", included=True)

    assert (str(found.net), str(found.tax), str(found.rounding), str(found.payable)) == (
        "0.03",
        "0.01",
        "-0.01",
        "0.03",
    )


@pytest.mark.parametrize(
    ("amount", "currency", "expected"),
    [
        ("0.005", "EUR", "0.01"),
        ("-0.005", "EUR", "-0.01"),
        ("1.004999999", "EUR", "1.00"),
        ("2.675", "EUR", "2.68"),
        ("-2.675", "EUR", "-2.68"),
        ("0.015", "EUR", "0.02"),
        ("0.025", "EUR", "0.03"),
        ("0.00", "EUR", "0.00"),
        ("-0.004", "EUR", "0.00"),
        ("999999999.985", "EUR", "999999999.99"),
        ("999999999.99", "EUR", "999999999.99"),
        ("0.5", "JPY", "1"),
        ("-0.5", "JPY", "-1"),
        ("0.0005", "KWD", "0.001"),
    ],
)
def test_amounts_round_half_away_from_zero(amount: str, currency: str, expected: str) -> None:
    assert str(round_amount(Decimal(amount), currency)) == expected


def test_a_third_three_times_is_the_whole() -> None:
    assert spread(Decimal("100.00"), [Decimal("33.33")] * 3, "EUR") == (
        Decimal("33.34"),
        Decimal("33.33"),
        Decimal("33.33"),
    )


def test_amounts_are_fitted_to_their_sum_with_their_signs() -> None:
    found = fitted([Decimal("0.333"), Decimal("-0.333"), Decimal("1.006")], Decimal("1.01"), "EUR")

    assert found == (Decimal("0.33"), Decimal("-0.33"), Decimal("1.01"))


@pytest.mark.parametrize("total", ["5", "0.32", "0.29", "0.28"])
def test_a_sum_that_cannot_be_fitted_is_refused(total: str) -> None:
    """0.305 is 0.30 or 0.31."""
    with pytest.raises(MeasureError):
        fitted([Decimal("0.305")], Decimal(total), "EUR")


@pytest.mark.parametrize("total", ["0.30", "0.31"])
def test_an_amount_is_fitted_down_or_up(total: str) -> None:
    assert fitted([Decimal("0.305")], Decimal(total), "EUR") == (Decimal(total),)


@pytest.mark.parametrize(("currency", "places"), PLACES.items())
def test_each_currency_has_the_places_of_iso_4217(currency: str, places: int) -> None:
    """JPY 0, EUR 2, KWD 3: ISO 4217 (A)."""
    found = document_totals([TaxedAmount(Decimal(7), Decimal("0.1"))], currency)

    assert minor_units(currency) == places
    assert -found.total.as_tuple().exponent == places  # type: ignore[operator]  # a finite number


@pytest.mark.parametrize(
    ("written", "currency"),
    [
        ("10.5", "JPY"),
        ("1.2345", "KWD"),
        ("1.234", "EUR"),
        ("-1", "EUR"),
        ("1e3", "EUR"),
        ("NaN", "EUR"),
        ("1_000", "EUR"),
        (" 1 ", "EUR"),
        ("١٢", "EUR"),
        ("", "EUR"),
        ("9" * 4000, "EUR"),
    ],
)
def test_an_amount_finer_than_a_coin_or_no_amount_is_refused(written: str, currency: str) -> None:
    with pytest.raises(MeasureError) as refused:
        read_amount(written, currency, "price")

    assert refused.value.faults[0].where == "price"
    assert refused.value.faults[0].found == repr(written)[:60]


@pytest.mark.parametrize(("currency", "example"), [("JPY", "1250"), ("EUR", "12.50"), ("KWD", "12.500")])
def test_who_writes_no_amount_is_told_one(currency: str, example: str) -> None:
    with pytest.raises(MeasureError, match=f"an amount in {currency} such as '{example}'"):
        read_amount("much", currency)


def test_an_amount_is_read_at_the_currencys_places() -> None:
    assert [str(read_amount("12.5", "EUR")), str(read_amount("1250", "JPY"))] == ["12.50", "1250"]


def assert_deposits_add_up(chance: random.Random, turns: int) -> None:
    for _ in range(turns):
        currency = chance.choice(tuple(PLACES))
        total = random_amount(chance, currency)
        share = Decimal(chance.randint(0, 10_000)).scaleb(-4)

        deposit, balance = part_and_rest(total, share, currency)

        assert deposit + balance == total
        assert Fraction(deposit) == coins(Fraction(total) * Fraction(share), currency)


def test_deposit_and_balance_add_up_to_the_total() -> None:
    assert_deposits_add_up(random.Random(24), 20_000)


@pytest.mark.long
def test_a_million_deposits_and_balances_add_up() -> None:
    assert_deposits_add_up(random.Random(2400), 1_000_000)


def test_half_of_an_odd_total() -> None:
    """50 % of 801.79: 400.90 + 400.89. Arithmetic; 50 % in trade terms (C)."""
    assert part_and_rest(Decimal("801.79"), Decimal("0.5"), "GBP") == (Decimal("400.90"), Decimal("400.89"))


def test_every_category_has_its_code() -> None:
    found = tax_lines([TaxedAmount(Decimal(1), Decimal(0), kind) for kind in CODES], "EUR", included=False)

    assert [line.code for line in found] == ["Z", "Z", "E", "AE", "O"]


@pytest.mark.parametrize(
    "told",
    [
        {"category": "standard"},
        {"category": "exempt", "rate": "5 %", "reason": "x"},
        {"category": "exempt"},
        {"category": "reverse charge"},
    ],
)
def test_a_kind_of_tax_that_contradicts_itself_is_refused(told: dict[str, str]) -> None:
    with pytest.raises(quoting.InputError):
        convert(told, TaxKind)


def test_an_amount_of_the_card_finer_than_a_coin_is_a_fault(cards: dict[str, RateCard]) -> None:
    from msgspec.structs import replace

    from quoting.rate_card import card_faults

    card = cards["pellam-hollow"]
    yen = replace(card, region=replace(card.region, currency="JPY"))

    assert {fault.where for fault in card_faults(yen)} == {"pricing.payment_fee_fixed"}


@pytest.mark.parametrize("name", MONEY_MODULES)
def test_no_module_of_money_holds_a_float(name: str) -> None:
    path = Path(quoting.__file__).parent / name
    tree = ast.parse(path.read_text(encoding="utf-8"))

    floats = [
        node.lineno for node in ast.walk(tree) if isinstance(node, ast.Constant) and isinstance(node.value, float)
    ]
    named = [node.lineno for node in ast.walk(tree) if isinstance(node, ast.Name) and node.id == "float"]

    assert (floats, named) == ([], [])


ROOMS_THAT_ROUND = {"numbers.py", "money.py", "units.py", "many.py"}  # many.py: counts of many at once


def test_nothing_is_rounded_outside_its_room() -> None:
    root = Path(quoting.__file__).parent
    found = []
    for path in sorted(root.rglob("*.py")):
        if path.name in ROOMS_THAT_ROUND and path.parent == root:
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            called = node.func if isinstance(node, ast.Call) else None
            name = getattr(called, "attr", getattr(called, "id", ""))
            if name in {"ceil", "floor", "round", "quantize", "to_integral_value", "trunc", "rint"}:
                found.append(f"{path.relative_to(root)}:{node.lineno}: {name}")  # type: ignore[attr-defined]

    assert found == []
