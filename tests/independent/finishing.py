"""What one finishing operation asks: minutes, a machine, a sum paid."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from tests.independent.card import Table
from tests.independent.measures import length, measure, up

_TIMES = {"scoring": "scores", "folding": "folds", "perforating": "lines", "drilling": "holes", "numbering": "places"}


@dataclass(frozen=True)
class Worked:
    """Of one operation; ``charge`` is before input tax."""

    operation: str
    minutes: Fraction | None = None
    machine: str | None = None
    charge: Fraction | None = None


def finish(asked: Table, rates: Table, pieces: int, caliper: Fraction) -> Worked:
    """An operation on so many pieces of this thickness, those that set it up left out."""
    operation = str(asked["kind"]).capitalize()
    times: int = asked.get(_TIMES.get(asked["kind"], ""), 1)
    if "price_a_hundred" in rates:
        asks = measure(rates["set_up_charge"]) + pieces * measure(rates["price_a_hundred"]) / 100
        return Worked(operation, charge=max(measure(rates["least_charge"]), asks))
    set_up = measure(rates["set_up"])
    if "an_edge" in rates:
        stacks = up(pieces * caliper / length(rates["stack_height"]))
        return Worked(operation, set_up + stacks * asked.get("edges", 4) * measure(rates["an_edge"]))
    if "a_box" in rates:
        boxes = max(up(Fraction(pieces, asked.get("boxes_of", 100))), up(pieces * caliper / length(rates["depth"])))
        return Worked(operation, set_up + boxes * measure(rates["a_box"]), charge=boxes * measure(rates["box"]))
    if "each" in rates:
        minutes = set_up + pieces * times * measure(rates["each"])
        return Worked(operation, minutes, charge=pieces * times * measure(rates["materials_each"]))
    minutes = set_up + pieces * times / measure(rates["speed"]) * 60
    return Worked(operation, minutes, machine=rates.get("machine"))
