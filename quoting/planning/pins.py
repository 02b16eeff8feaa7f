"""Pins: choices that the owner makes instead of the search."""

from __future__ import annotations

from collections.abc import Sequence

from msgspec import Struct

from quoting.errors import Fault, JobError
from quoting.planning.candidates import Candidates
from quoting.planning.part_plan import PartPlan
from quoting.presswork import Imposition
from quoting.rate_card import RateCard
from quoting.shop import Count, Name


class Pin(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """What a plan must have: of the part named, or of every part where none is."""

    part: Name | None = None
    press: Name | None = None
    number_up: Count | None = None
    imposition: Imposition | None = None

    def holds(self, plan: PartPlan) -> bool:
        """Whether a plan has what is pinned, or is of another part."""
        if self.part not in {None, plan.label}:
            return True
        wanted = {"press": self.press, "number_up": self.number_up, "imposition": self.imposition}
        return all(value is None or getattr(plan, name) == value for name, value in wanted.items())


def check_pins(pins: Sequence[Pin], parts: Sequence[str], card: RateCard) -> None:
    """
    Hold that pins name parts of the job and presses of the card.

    Raises:
        JobError: with every name that is not known.
    """
    faults = [
        Fault(f"pins[{place}].part", f"one of {', '.join(parts)}", repr(pin.part))
        for place, pin in enumerate(pins)
        if pin.part is not None and pin.part not in parts
    ]
    faults += [
        Fault(f"pins[{place}].press", f"one of {', '.join(card.presses)}", repr(pin.press))
        for place, pin in enumerate(pins)
        if pin.press is not None and pin.press not in card.presses
    ]
    if faults:
        raise JobError(faults)


def pinned(found: Candidates, pins: Sequence[Pin]) -> Candidates:
    """Only the plans that have all that is pinned; the others are told as refused by the pin."""
    kept = tuple(plan for plan in found.plans if all(pin.holds(plan) for pin in pins))
    if kept or not pins:
        return Candidates(plans=kept, refusals=found.refusals)
    ways = {
        f"{plan.press}, {plan.imposition}, {plan.number_up} up": "it is not what is pinned" for plan in found.plans
    }
    return Candidates(plans=(), refusals=found.refusals | ways)
