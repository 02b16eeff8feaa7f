"""Counts and bounds of quantities: the only place where a count is rounded."""

from __future__ import annotations

from collections.abc import Callable
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, ROUND_HALF_UP, Context, Decimal, localcontext
from functools import wraps
from typing import ParamSpec, TypeVar

_P = ParamSpec("_P")
_T = TypeVar("_T")

_NOISE_PLACES = Decimal("1e-9")
_ENGINE = Context(prec=34, rounding=ROUND_HALF_EVEN)


def in_engine_context(function: Callable[_P, _T]) -> Callable[_P, _T]:
    """Run ``function`` in the engine's own Decimal context, whatever the caller's is."""

    @wraps(function)
    def run(*args: _P.args, **kwargs: _P.kwargs) -> _T:
        with localcontext(_ENGINE):
            return function(*args, **kwargs)

    return run


def _without_noise(amount: Decimal) -> Decimal:
    return amount.quantize(_NOISE_PLACES, rounding=ROUND_HALF_EVEN, context=_ENGINE)


def whole_up(amount: Decimal | int) -> int:
    """
    The least whole number not under ``amount``, noise past the ninth decimal left out.

    A plain ceiling after a conversion of units buys a sheet too many now and then:
    500.0000000000001 sheets are 500.
    """
    return int(_without_noise(Decimal(amount)).to_integral_value(rounding=ROUND_CEILING))


def whole_down(amount: Decimal | int) -> int:
    """The greatest whole number not over ``amount``, noise past the ninth decimal left out."""
    return int(_without_noise(Decimal(amount)).to_integral_value(rounding=ROUND_FLOOR))


def whole_nearest(amount: Decimal | int) -> int:
    """The whole number nearest to ``amount``, a half going up, noise past the ninth decimal left out."""
    return int(_without_noise(Decimal(amount)).to_integral_value(rounding=ROUND_HALF_UP))


def at_least(floor: Decimal, amount: Decimal) -> Decimal:
    """The greater of the two: ``amount``, but not under ``floor``."""
    return max(floor, amount)


def at_most(ceiling: Decimal, amount: Decimal) -> Decimal:
    """The lesser of the two: ``amount``, but not over ``ceiling``."""
    return min(ceiling, amount)


def in_band(amount: Decimal, *, above: Decimal, up_to: Decimal) -> Decimal:
    """The part of ``amount`` that lies between two marks, as a tax band takes its slice."""
    return max(Decimal(0), min(amount, up_to) - above)


def plain(amount: Decimal, *, places: int = 4) -> str:
    """``amount`` as a person writes it: no exponent, no needless zeros, at most ``places`` decimals."""
    rounded = amount.quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_EVEN, context=_ENGINE)
    text = f"{rounded:f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text in {"-0", ""} else text
