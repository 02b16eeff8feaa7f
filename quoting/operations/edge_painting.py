"""Painting the edges of a clamped stack."""

from __future__ import annotations

from decimal import Decimal
from typing import ClassVar

from quoting.formulas import Do, formula
from quoting.languages import Language, message
from quoting.numbers import whole_up
from quoting.operations.finishing import FinishingBase, FinishingRates, FinishingWork
from quoting.requirements import Requirement
from quoting.shop import Count, Text
from quoting.units import Duration, Length

TAG = "edge painting"


@formula(unit="stacks", sentence="{pieces} pieces × {caliper_mm} mm / {stack_height_mm} mm rounded up")
def stacks_to_paint(*, pieces: int, caliper_mm: Decimal, stack_height_mm: Decimal) -> int:
    """Stacks that a pile of pieces makes in the clamp."""
    return whole_up(pieces * caliper_mm / stack_height_mm)


@formula(unit="min", sentence="{set_up} min + {stacks} stacks × {edges} edges × {minutes_an_edge} min")
def painting_minutes(*, set_up: Decimal, stacks: int, edges: int, minutes_an_edge: Decimal) -> Decimal:
    """Minutes to paint the edges asked for. [min]"""
    return set_up + stacks * edges * minutes_an_edge


class EdgePainting(FinishingBase, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """A colour on so many edges."""

    operation: ClassVar = message("Edge painting")
    cautions: ClassVar = (message("Ventilate while paint dries; follow the maker's data sheet."),)
    colour: Text = ""
    edges: Count = 4

    def words_in(self, language: Language) -> str:
        if self.edges == 4:
            said = language.say("edges painted")
        else:
            said = language.say_many("{count} edge painted", "{count} edges painted", self.edges)
        return f"{said} {self.colour}".rstrip()

    def requirements(self, do: Do, rates: EdgePaintingRates, work: FinishingWork) -> tuple[Requirement, ...]:
        stacks = do(
            stacks_to_paint,
            pieces=work.pieces,
            caliper_mm=work.caliper_mm,
            stack_height_mm=rates.stack_height.in_base_unit,
        )
        minutes = do(
            painting_minutes,
            set_up=rates.set_up.in_base_unit,
            stacks=stacks,
            edges=self.edges,
            minutes_an_edge=rates.an_edge.in_base_unit,
        )
        return (self._labour(work, minutes, None, do.taken()),)


class EdgePaintingRates(
    FinishingRates, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind", kw_only=True
):
    """Height of a stack in the clamp, minutes to set it up, minutes an edge of a stack."""

    set_up: Duration
    stack_height: Length
    an_edge: Duration

    def __post_init__(self) -> None:
        super().__post_init__()
        if not self.stack_height:
            raise ValueError("expected stack_height over 0; found 0")
