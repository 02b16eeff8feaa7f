"""Counts at every step of one part: in, good, what may be spoiled."""

from __future__ import annotations

from collections.abc import Iterator

from msgspec import Struct

from quoting.estimate import PartEstimate
from quoting.job import Item
from quoting.languages import Language, message
from quoting.rate_card import RateCard
from quoting.shop import ParentSheets


class Counted(Struct, frozen=True):
    """One step: what goes in, what must come out good, what may be spoiled; the bench fills in its own."""

    step: str
    goes_in: str
    good: str
    may_spoil: str


_SIDES = {"front": message("front"), "back": message("back"), "both": message("both sides")}


def counts_of(item: Item, part: PartEstimate, card: RateCard, language: Language) -> tuple[Counted, ...]:
    """Every step of a part, first to last."""
    return tuple(
        Counted(step, language.number(goes_in), language.number(good), language.number(max(0, goes_in - good)))
        for step, goes_in, good in _steps(item, part, card, language)
    )


def _steps(item: Item, part: PartEstimate, card: RateCard, language: Language) -> Iterator[tuple[str, int, int]]:
    say, plan, count = language.say, part.plan, part.count
    if isinstance(card.stocks[plan.stock], ParentSheets):
        yield say("Cut to press sheets"), part.sheets_from_stock * plan.sheets_a_parent, count.sheets
    fresh = count.sheets
    for place, work in enumerate(plan.passes):
        ink = card.inks[work.ink].name if work.ink else say("blind, without ink")
        side = say(_SIDES[work.side])
        yield say("Print {side}, {ink}", side=side, ink=ink), fresh, count.carried_out(place)
        fresh = count.carried_out(place)
    if plan.cuts_to_pieces:
        yield say("Cut to pieces"), fresh * plan.number_up, count.pieces_from_press
    for step in count.steps:
        yield say(step.operation), step.pieces_in, step.pieces_out
    yield say("Count and band"), count.pieces, count.pieces
