"""
Counts and bounds of quantities: the only place where a count is rounded.

Where a number is wanted, many of them at once may stand (``quoting.many``, for risks): a Decimal or
a whole number goes the short way, anything else is asked to work itself out. Nothing is imported.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, ROUND_HALF_UP, Context, Decimal, localcontext
from functools import wraps
from typing import Any, ParamSpec, TypeVar

_P = ParamSpec("_P")
_T = TypeVar("_T")
_AmountT = TypeVar("_AmountT", int, Decimal)

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


def number(amount: Any) -> Any:
    """``amount`` as a Decimal, so that whole numbers divide exactly; many at once stay as they are."""
    try:
        return Decimal(amount)
    except TypeError:
        return amount


def is_some(amount: Any) -> bool:
    """Whether there is any of it; of many at once, whether any of them is something."""
    try:
        return bool(amount)
    except TypeError:
        return True


def whole_up(amount: Decimal | int) -> int:
    """
    The least whole number not under ``amount``, noise past the ninth decimal left out.

    A plain ceiling after a conversion of units buys a sheet too many now and then:
    500.0000000000001 sheets are 500.
    """
    try:
        return int(_without_noise(Decimal(amount)).to_integral_value(rounding=ROUND_CEILING))
    except TypeError:
        return _many(amount).whole_up()  # type: ignore[no-any-return]


def whole_down(amount: Decimal | int) -> int:
    """The greatest whole number not over ``amount``, noise past the ninth decimal left out."""
    return int(_without_noise(Decimal(amount)).to_integral_value(rounding=ROUND_FLOOR))


def whole_nearest(amount: Decimal | int) -> int:
    """The whole number nearest to ``amount``, a half going up, noise past the ninth decimal left out."""
    return int(_without_noise(Decimal(amount)).to_integral_value(rounding=ROUND_HALF_UP))


def _many(*amounts: Any) -> Any:
    """The one of ``amounts`` that is many at once; a TypeError where none is."""
    for amount in amounts:
        if hasattr(amount, "whole_up"):
            return amount
    raise TypeError(f"expected numbers; found {amounts!r}")


def at_least(floor: _AmountT, amount: _AmountT) -> _AmountT:
    """The greater of the two: ``amount``, but not under ``floor``."""
    try:
        return max(floor, amount)
    except TypeError:
        return _many(floor, amount).greater(floor, amount)  # type: ignore[no-any-return]


def at_most(ceiling: _AmountT, amount: _AmountT) -> _AmountT:
    """The lesser of the two: ``amount``, but not over ``ceiling``."""
    try:
        return min(ceiling, amount)
    except TypeError:
        return _many(ceiling, amount).lesser(ceiling, amount)  # type: ignore[no-any-return]


def in_band(amount: Decimal, *, above: Decimal, up_to: Decimal) -> Decimal:
    """The part of ``amount`` that lies between two marks, as a tax band takes its slice."""
    return at_least(Decimal(0), at_most(up_to, amount) - above)


def in_step(amount: Decimal | int, marks: Sequence[int], values: Sequence[Decimal]) -> Decimal:
    """The value of the last mark that is not over ``amount``; of the first where every mark is."""
    try:
        return [value for mark, value in zip(marks, values, strict=True) if mark <= amount or mark == marks[0]][-1]
    except TypeError:
        return _many(amount).in_step(marks, values)  # type: ignore[no-any-return]


def cheapest(counts: Sequence[int], costs: Sequence[Decimal]) -> int:
    """The count that costs least, the smaller of two that cost the same."""
    try:
        return min(zip(costs, counts, strict=True))[1]
    except TypeError:
        return _many(*costs, *counts).cheapest(counts, costs)  # type: ignore[no-any-return]


def plain(amount: Decimal, *, places: int = 4) -> str:
    """``amount`` as a person writes it: no exponent, no needless zeros, at most ``places`` decimals."""
    rounded = amount.quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_EVEN, context=_ENGINE)
    text = f"{rounded:f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text in {"-0", ""} else text
