"""Boxing: pieces put into boxes that the client keeps; cartons for the road are packing."""

from __future__ import annotations

from decimal import Decimal
from typing import ClassVar

from quoting.formulas import Do, formula
from quoting.languages import Language, message
from quoting.numbers import at_least, number, whole_up
from quoting.operations.finishing import FinishingBase, FinishingRates, FinishingWork, materials_used
from quoting.requirements import Requirement
from quoting.shop import Count
from quoting.units import Amount, Duration, Length

TAG = "boxing"


@formula(unit="boxes", sentence="{pieces} pieces / {boxes_of} to a box rounded up")
def boxes_by_count(*, pieces: int, boxes_of: int) -> int:
    """Boxes of so many pieces each."""
    return whole_up(number(pieces) / boxes_of)


@formula(unit="boxes", sentence="{pieces} pieces × {caliper_mm} mm / {depth_mm} mm rounded up")
def boxes_by_depth(*, pieces: int, caliper_mm: Decimal, depth_mm: Decimal) -> int:
    """Boxes that a pile fills to their depth."""
    return whole_up(pieces * caliper_mm / depth_mm)


@formula(unit="boxes", sentence="the greater of {by_count} and {by_depth}")
def boxes_to_fill(*, by_count: int, by_depth: int) -> int:
    """Boxes that hold no more than is asked for, and no more than goes in."""
    return at_least(by_count, by_depth)


@formula(unit="min", sentence="{set_up} min + {boxes} boxes × {a_box} min")
def boxing_minutes(*, set_up: Decimal, boxes: int, a_box: Decimal) -> Decimal:
    """Minutes to make the boxes up, fill and close them. [min]"""
    return set_up + boxes * a_box


class Boxing(FinishingBase, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """So many pieces to a box at the most; more boxes where so thick a pile does not go in."""

    operation: ClassVar = message("Boxing")
    boxes_of: Count = 100

    def words_in(self, language: Language) -> str:
        return language.say_many("each in a box", "in boxes of {count}", self.boxes_of)

    def requirements(self, do: Do, rates: BoxingRates, work: FinishingWork) -> tuple[Requirement, ...]:
        by_count = do(boxes_by_count, pieces=work.pieces, boxes_of=self.boxes_of)
        by_depth = do(
            boxes_by_depth, pieces=work.pieces, caliper_mm=work.caliper_mm, depth_mm=rates.depth.in_base_unit
        )
        boxes = do(boxes_to_fill, by_count=by_count, by_depth=by_depth)
        minutes = do(boxing_minutes, set_up=rates.set_up.in_base_unit, boxes=boxes, a_box=rates.a_box.in_base_unit)
        labour = self._labour(work, minutes, None, do.taken())
        used = do(materials_used, pieces=boxes, times=1, each=rates.box.in_base_unit)
        return labour, self._charge(work, "materials", used, do.taken())


class BoxingRates(FinishingRates, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind", kw_only=True):
    """Minutes to set up and a box, what a box costs, how deep a pile it takes."""

    set_up: Duration
    a_box: Duration
    box: Amount
    depth: Length

    def __post_init__(self) -> None:
        super().__post_init__()
        if not self.depth:
            raise ValueError("expected depth over 0; found 0")
