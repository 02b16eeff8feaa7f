"""Amounts of money: the only place where an amount is rounded or shared out."""

from __future__ import annotations

import re
from collections.abc import Sequence
from decimal import (
    ROUND_CEILING,
    ROUND_FLOOR,
    ROUND_HALF_EVEN,
    ROUND_HALF_UP,
    Context,
    Decimal,
    localcontext,
)
from functools import cache

from quoting.errors import Fault, MeasureError

# ISO 4217:2015, list one, minor units other than 2 (published table, checked 2026-11).
_MINOR_UNITS = {
    **dict.fromkeys(
        [
            "BIF",
            "CLP",
            "DJF",
            "GNF",
            "ISK",
            "JPY",
            "KMF",
            "KRW",
            "PYG",
            "RWF",
            "UGX",
            "UYI",
            "VND",
            "VUV",
            "XAF",
            "XOF",
            "XPF",
        ],
        0,
    ),
    **dict.fromkeys(["BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND"], 3),
    **dict.fromkeys(["CLF", "UYW"], 4),
}
_WIDE = Context(prec=60, rounding=ROUND_HALF_EVEN)
_NOISE = Decimal("1e-12")
_AMOUNT = re.compile(r"[0-9]{1,9}(?:\.(?P<places>[0-9]{1,9}))?")


def minor_units(currency: str) -> int:
    """Decimals of a currency's smallest coin (ISO 4217): JPY 0, EUR 2, KWD 3."""
    return _MINOR_UNITS.get(currency, 2)


@cache
def smallest_coin(currency: str) -> Decimal:
    """The currency's smallest unit: 1, 0.01 or 0.001."""
    return Decimal(1).scaleb(-minor_units(currency))


def round_amount(amount: Decimal, currency: str) -> Decimal:
    """
    ``amount`` to the currency's smallest unit, half away from zero.

    Noise past the twelfth decimal goes first, so that a third taken three times
    still ties where it should; minus zero never comes back.
    """
    snapped = amount.quantize(_NOISE, context=_WIDE)
    rounded = snapped.quantize(smallest_coin(currency), ROUND_HALF_UP, context=_WIDE)
    return _WIDE.add(rounded, Decimal(0))


def round_rate(amount: Decimal) -> Decimal:
    """An hour rate to a hundredth of the usual smallest coin, so that a pencil can follow it."""
    return amount.quantize(Decimal("0.0001"), ROUND_HALF_UP, context=_WIDE)


def to_next_step(amount: Decimal, step: Decimal, *, up: bool) -> Decimal:
    """
    ``amount`` to a multiple of ``step`` (0.50, 5): the nearest, or never under it when ``up``.

    The nearest is taken half away from zero.
    """
    steps = _WIDE.divide(amount, step).quantize(_NOISE, context=_WIDE)
    whole = steps.quantize(Decimal(1), ROUND_CEILING if up else ROUND_HALF_UP, context=_WIDE)
    return _WIDE.add(_WIDE.multiply(whole, step), Decimal(0))


def spread(total: Decimal, weights: Sequence[Decimal], currency: str) -> tuple[Decimal, ...]:
    """
    Share ``total`` out by ``weights``, in whole smallest units that add up to it exactly.

    Largest remainder: each share is cut down to the smallest unit and the units left over
    go to the largest remainders, earlier places first among equals. Weights that are all
    zero share equally.

    Raises:
        MeasureError: no weights, a negative weight, or a total finer than the smallest unit.
    """
    with localcontext(_WIDE):
        return _spread(total, weights, currency)


def _spread(total: Decimal, weights: Sequence[Decimal], currency: str) -> tuple[Decimal, ...]:
    coin = smallest_coin(currency)
    units = _WIDE.divide(total, coin)
    if not weights or any(weight < 0 for weight in weights) or units != int(units):
        raise MeasureError(
            [
                Fault(
                    "spread",
                    "a whole number of coins and weights of 0 or more",
                    f"{total} over {list(weights)}",
                )
            ]
        )
    if len(weights) == 1:
        return (int(units) * coin,)
    if not any(weights):
        weights = [Decimal(1)] * len(weights)
    whole = sum(weights, Decimal(0))
    exact = [_WIDE.divide(_WIDE.multiply(abs(units), weight), whole) for weight in weights]
    shares = [int(share.to_integral_value(ROUND_FLOOR)) for share in exact]
    by_remainder = sorted(range(len(weights)), key=lambda place: (shares[place] - exact[place], place))
    for place in by_remainder[: int(abs(units)) - sum(shares)]:
        shares[place] += 1
    sign = -1 if total < 0 else 1
    return tuple(sign * share * coin for share in shares)


def fitted(amounts: Sequence[Decimal], total: Decimal, currency: str) -> tuple[Decimal, ...]:
    """
    Each of ``amounts`` rounded so that together they are ``total``: largest remainder, signs kept.

    Raises:
        MeasureError: a total that rounding each of them up or down cannot reach.
    """
    coin = smallest_coin(currency)
    exact = [_WIDE.divide(amount, coin).quantize(_NOISE, context=_WIDE) for amount in amounts]
    whole = [int(one.to_integral_value(ROUND_FLOOR)) for one in exact]
    over = int(_WIDE.divide(total, coin)) - sum(whole)
    if not 0 <= over <= len(whole):
        raise MeasureError([Fault("fitted", "a total within a coin of each amount", f"{total} of {list(amounts)}")])
    by_remainder = sorted(range(len(whole)), key=lambda place: (whole[place] - exact[place], place))
    for place in by_remainder[:over]:
        whole[place] += 1
    return tuple(_WIDE.multiply(Decimal(coins), coin) for coins in whole)


def part_and_rest(total: Decimal, share: Decimal, currency: str) -> tuple[Decimal, Decimal]:
    """A share of a total, rounded, and what is left of it: a deposit and its balance. They add up to it."""
    part = min(total, max(round_amount(_WIDE.multiply(total, share), currency), round_amount(Decimal(0), currency)))
    return part, _WIDE.subtract(total, part)


def read_amount(written: str, currency: str, where: str = "amount") -> Decimal:
    """
    An amount that somebody writes, no finer than the currency's smallest coin.

    Raises:
        MeasureError: no amount, or one of parts of a coin: ``"10.5"`` in JPY, ``"1.2345"`` in KWD.
    """
    places = minor_units(currency)
    example = "1250" if not places else f"12.{'5'.ljust(places, '0')}"
    found = _AMOUNT.fullmatch(written)
    if found is None or len(found["places"] or "") > places:
        raise MeasureError([Fault(where, f"an amount in {currency} such as {example!r}", repr(written)[:60])])
    return round_amount(Decimal(written), currency)


def unit_price(price: Decimal, pieces: int) -> Decimal:
    """
    The price of one piece, with the fewest places (two or more) that give the price back.

    Times the pieces and rounded to the price's own places, it is the price.
    """
    exact = _WIDE.divide(price, Decimal(pieces))
    exponent = price.as_tuple().exponent
    coin = Decimal(1).scaleb(exponent if isinstance(exponent, int) else -2)
    for places in range(2, 13):
        unit = exact.quantize(Decimal(1).scaleb(-places), ROUND_HALF_UP, context=_WIDE)
        if _WIDE.multiply(unit, Decimal(pieces)).quantize(coin, ROUND_HALF_UP, context=_WIDE) == price:
            return unit
    return exact
