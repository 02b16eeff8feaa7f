"""The usual cautions, where a job calls for them, each with the authority that says more."""

from __future__ import annotations

from collections.abc import Iterator

from msgspec import Struct

from quoting.estimate import Option
from quoting.job import Job
from quoting.languages import Language, message
from quoting.operations.finishing import FinishingBase
from quoting.rate_card import RateCard


class Caution(Struct, frozen=True):
    """A habit, and who says so."""

    habit: str
    authority: str


_PLATEN = message("UK HSE, Printing Information Sheet 18")
# 1910.212(a)(1): guards against points of operation, two-hand devices among them; 1910.106(e)(9)(iii): covered metal
# cans, emptied daily. The first was read in a commission's decision (OSHRC 76-647); of the second a letter of OSHA
# (23 May 2000) names the paragraph and the day, its wording is from memory.
_GUARDING = message("US OSHA, 29 CFR 1910.212")
_SOLVENTS = message("UK HSE, COSHH pages for printing")
_RAGS = message("US OSHA, 29 CFR 1910.106")
_LEAD = message("US OSHA, 29 CFR 1910.1025: 50 micrograms a cubic metre over eight hours")
_MAKER = message("The maker's manual")

FIRST = message(
    "The maker's manual, local law and trained practice come before anything on this sheet. It gives no legal advice."
)
_AT_PRESS = (
    (message("Guards in place. Never reach past them, or after a sheet, while the press moves."), _PLATEN),
    (message("Stop and isolate the press before you clear, adjust, wash or oil it."), _PLATEN),
)
_FLAT_BED = (
    (message("Keep hands and sleeves clear of the cylinder and the bed while they move."), _GUARDING),
    (message("Stop and isolate the press before you clear, adjust, wash or oil it."), _GUARDING),
)
_AT_CUTTER = (
    (message("Both hands on the cutter's controls; no hand under clamp or knife, whatever jams."), _GUARDING),
    (message("Knives are changed and carried in their guard, by who is trained for it."), _GUARDING),
)
_AT_WASH = (
    (message("Air the room while you wash up; gloves on, no flame, no more solvent out than you need."), _SOLVENTS),
    (message("Oily rags go into a closed metal can, emptied every day."), _RAGS),
)
_AT_CASE = (
    (message("Type is lead: no food or drink at the case, no dry sweeping, and wash your hands after it."), _LEAD),
)


def cautions(job: Job, option: Option, card: RateCard, language: Language) -> tuple[Caution, ...]:
    """Every caution that the plan calls for, once."""
    told = dict.fromkeys(_called_for(job, option, card))
    return tuple(Caution(language.say(habit), language.say(authority)) for habit, authority in told)


def _called_for(job: Job, option: Option, card: RateCard) -> Iterator[tuple[str, str]]:
    plans = [part.plan for part in option.parts]
    for kind in {card.presses[plan.press].kind: None for plan in plans}:
        yield from _FLAT_BED if kind == "flat bed, hand-inked" else _AT_PRESS
    if any(plan.cuts_to_size or plan.cuts_to_pieces for plan in plans):
        yield from _AT_CUTTER
    if any(work.ink for plan in plans for work in plan.passes):
        yield from _AT_WASH
    if any(work.form_kind == "metal type" for plan in plans for work in plan.passes):
        yield from _AT_CASE
    for item in job.items:
        for asked in (*item.joining, *(one for part in item.all_parts() for one in part.finishing)):
            if isinstance(asked, FinishingBase):
                yield from ((habit, _MAKER) for habit in asked.cautions)
