"""
The one seam through which operations call their arithmetic.

A formula is a function of keyword arguments with a sentence. The search calls it plainly;
for the plan that is chosen the same call also writes the sentence down with its numbers.
"""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Any, Protocol

import msgspec

from quoting.numbers import plain


class Step(msgspec.Struct, frozen=True):
    """One formula as it was worked: its name, the sentence with its numbers, the result and its unit."""

    formula: str
    sentence: str
    result: Decimal
    unit: str


class Formula(Protocol):
    """A function of numbers that carries its unit, its sentence and its source."""

    unit: str
    sentence: str
    source: str
    __name__: str

    def __call__(self, **numbers: Any) -> Any: ...


def formula(*, unit: str, sentence: str, source: str = "trade arithmetic") -> Callable[[Callable[..., Any]], Formula]:
    """
    Mark a function as a formula.

    ``sentence`` is arithmetic with words in it: each argument stands in braces, and with the
    words taken out, what is left can be worked with a pencil and gives the result.
    """

    def mark(function: Callable[..., Any]) -> Formula:
        marked: Any = function
        marked.unit, marked.sentence, marked.source = unit, sentence, source
        FORMULAS[f"{function.__module__}.{function.__name__}"] = marked
        return marked  # type: ignore[no-any-return]  # a function with three attributes more

    return mark


FORMULAS: dict[str, Formula] = {}


class Do(Protocol):
    """
    How an operation calls a formula; ``taken`` gives the steps since it was last asked.

    ``writes``: whether it writes sentences down, so that they are worth putting together.
    """

    @property
    def writes(self) -> bool: ...

    def __call__(self, called: Formula, /, **numbers: Any) -> Any: ...

    def taken(self) -> tuple[Step, ...]: ...


class Plainly:
    """Calls and keeps nothing: for the search."""

    writes = False

    def __call__(self, called: Formula, /, **numbers: Any) -> Any:
        return called(**numbers)

    def taken(self) -> tuple[Step, ...]:
        return ()


class Recording:
    """Calls and writes the sentence down: for the plan that is chosen."""

    writes = True

    def __init__(self) -> None:
        self._steps: list[Step] = []

    def __call__(self, called: Formula, /, **numbers: Any) -> Any:
        result = called(**numbers)
        shown = {name: _shown(value) for name, value in numbers.items()}
        sentence = called.sentence.format_map(shown)
        self._steps.append(Step(called.__name__, sentence, Decimal(result), called.unit))
        return result

    def taken(self) -> tuple[Step, ...]:
        steps, self._steps = tuple(self._steps), []
        return steps


def _shown(value: Any) -> str:
    number = Decimal(value)
    return plain(number, places=6 if abs(number) >= 1 else 10)
