"""A job made ready for the search: its candidates and its card's rates, worked out once for every quantity."""

from __future__ import annotations

from collections.abc import Sequence
from copy import copy

from quoting.costing import RateMemory
from quoting.errors import NoPlanError
from quoting.job import Item, Job, Part
from quoting.planning.candidates import Candidates, part_candidates
from quoting.planning.orders import WashMemory
from quoting.planning.pins import Pin, check_pins, pinned
from quoting.planning.refused import nearest_misses
from quoting.rate_card import RateCard


def inks_of(job: Job) -> set[str]:
    """The inks that a job prints."""
    parts = (part for item in job.items for part in item.all_parts())
    sides = (side for part in parts for side in (part.front, part.back) if side)
    return {colour.ink for side in sides for colour in side.colours if colour.ink}


class PreparedJob:
    """
    Parts with their candidates, press by press.

    Raises:
        NoPlanError: a part that no press can make, with each press's nearest miss.
        JobError: pins that name what is not there.
    """

    def __init__(self, job: Job, card: RateCard, pins: Sequence[Pin] = ()) -> None:
        self.job, self.card = job, card
        check_pins(pins, [part.name for item in job.items for part in item.all_parts()], card)
        self.rates, self.memory = RateMemory(card), WashMemory(card, inks_of(job))
        self.parts: list[tuple[Item, Part]] = []
        self.candidates: list[Candidates] = []
        for place, item in enumerate(job.items):
            for number, part in enumerate(item.all_parts()):
                every = part_candidates(item, part, card, places=(place, number))
                found = pinned(every, pins, label=part.name, card=card)
                if not found.plans:
                    raise NoPlanError(part.name, nearest_misses(found.refused))
                self.parts.append((item, part))
                self.candidates.append(found)

    def refusals(self) -> dict[str, dict[str, str]]:
        """Every refusal, part by part."""
        told = ((part.name, found.refusals) for (_, part), found in zip(self.parts, self.candidates, strict=True))
        return {name: refusals for name, refusals in told if refusals}

    def at(self, card: RateCard) -> PreparedJob:
        """The same job and candidates at another card's rates: for asking what a plan would cost then."""
        other = copy(self)
        other.card, other.rates, other.memory = card, RateMemory(card), WashMemory(card, self.memory.inks)
        return other
