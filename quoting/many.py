"""
Many numbers at once, standing where one number stands in a formula.

The one place of the engine with floats: a risk asks how likely a loss is, not what a job costs, and
10,000 draws of a Decimal each would take minutes. The formulas are the engine's own; a Decimal that
meets a ``Many`` becomes a float there, and nowhere does a ``Many`` come back into money.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from decimal import Decimal
from typing import Any

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
_NOISE_PLACES = 9


def floats(amount: Any) -> Any:
    """A number, or many, as numpy takes them."""
    if isinstance(amount, Many):
        return amount.values
    return float(amount) if isinstance(amount, Decimal) else amount


def _with(function: Callable[[Any, Any], Any], *, turned: bool = False) -> Callable[[Many, Any], Many]:
    def work(self: Many, other: Any) -> Many:
        mine, theirs = self.values, floats(other)
        return Many(function(theirs, mine) if turned else function(mine, theirs))

    return work


class Many:
    """Numbers side by side; arithmetic works on each, with Decimals and whole numbers too."""

    __slots__ = ("values",)
    values: Floats

    def __init__(self, values: Any) -> None:
        self.values = np.asarray(values, dtype=np.float64)

    @property
    def in_base_unit(self) -> Many:
        """Itself: a drawn measure stands in its base unit already."""
        return self

    __add__ = _with(np.add)
    __radd__ = _with(np.add)
    __sub__ = _with(np.subtract)
    __rsub__ = _with(np.subtract, turned=True)
    __mul__ = _with(np.multiply)
    __rmul__ = _with(np.multiply)
    __truediv__ = _with(np.divide)
    __rtruediv__ = _with(np.divide, turned=True)
    __pow__ = _with(np.power)
    __lt__ = _with(np.less)
    __le__ = _with(np.less_equal)
    __gt__ = _with(np.greater)
    __ge__ = _with(np.greater_equal)

    def __neg__(self) -> Many:
        return Many(-self.values)

    def __bool__(self) -> bool:
        """
        What all of them say.

        Raises:
            TypeError: they do not agree, so that one branch cannot serve them all.
        """
        if self.values.all():
            return True
        if self.values.any():
            raise TypeError("expected numbers that agree; found many that do not: the formula branches")
        return False

    def whole_up(self) -> Many:
        """Each rounded up to a whole number, noise past the ninth decimal left out."""
        return Many(np.ceil(np.round(self.values, _NOISE_PLACES)))

    def greater(self, one: Any, other: Any) -> Many:
        """The greater of two, place by place."""
        return Many(np.maximum(floats(one), floats(other)))

    def lesser(self, one: Any, other: Any) -> Many:
        """The lesser of two, place by place."""
        return Many(np.minimum(floats(one), floats(other)))

    def in_step(self, marks: Sequence[int], values: Sequence[Any]) -> Many:
        """For each, the value of the last mark that is not over it."""
        places = np.searchsorted(np.asarray(marks), np.round(self.values, _NOISE_PLACES), side="right") - 1
        rows = np.broadcast_arrays(self.values, *(floats(value) for value in values))[1:]
        return Many(np.choose(np.maximum(places, 0), rows))

    def cheapest(self, counts: Sequence[Any], costs: Sequence[Any]) -> Many:
        """For each, the count of the least cost; the smaller count of two that cost the same."""
        told = np.stack(np.broadcast_arrays(*(floats(count) for count in counts), self.values)[:-1])
        paid = np.round(np.stack(np.broadcast_arrays(*(floats(cost) for cost in costs), self.values)[:-1]), 9)
        least = paid == paid.min(axis=0)
        return Many(np.where(least, told, np.inf).min(axis=0))
