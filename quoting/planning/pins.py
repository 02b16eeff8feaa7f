"""Pins: choices that the owner makes instead of the search."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from msgspec import Struct

from quoting.errors import Fault, JobError
from quoting.planning.candidates import Candidates
from quoting.planning.part_plan import PartPlan
from quoting.planning.refused import Refusal, Refused
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

    def concerns(self, refused: Refused, label: str) -> bool:
        """Whether what is pinned is refused with it: a press whatever the grid, or what is pinned itself."""
        if self.part not in {None, label}:
            return True
        asked = ((self.press, refused.press), (self.imposition, refused.imposition))
        number = self.number_up is None or refused.number_up in {0, self.number_up}
        return number and all(wanted is None or found in {None, wanted} for wanted, found in asked)


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


def pinned(found: Candidates, pins: Sequence[Pin], *, label: str, card: RateCard) -> Candidates:
    """Only the plans that have all that is pinned; where none has, what is refused of what is pinned."""
    kept = tuple(plan for plan in found.plans if all(pin.holds(plan) for pin in pins))
    if kept or not pins:
        return Candidates(plans=kept, refused=found.refused)
    concerned = [one for one in found.refused if all(pin.concerns(one, label) for pin in pins)]
    told = {one.press_name for one in concerned}
    left = (one for one in _left_by_pins(found.plans, card) if one.press_name not in told)
    return Candidates(plans=(), refused=(*concerned, *left))


def _left_by_pins(plans: Iterable[PartPlan], card: RateCard) -> Iterator[Refused]:
    for plan in plans:
        yield Refused(
            press=plan.press,
            press_name=card.presses[plan.press].name,
            imposition=plan.imposition,
            across=plan.across,
            down=plan.down,
            why=Refusal("it can be printed so, but it is not what is pinned: take the pin away, or change it"),
        )
