"""The sheets of one part: out of the parent, and after printing into pieces; where the pieces stand."""

from __future__ import annotations

from decimal import Decimal

from quoting.cutting import Layout, Margins, Rectangle, cut_out
from quoting.cutting.grain import GrainWanted
from quoting.job import Part
from quoting.planning.part_plan import PartPlan
from quoting.presswork import Imposition
from quoting.rate_card import RateCard
from quoting.shop import ParentSheets

_NOTHING = Decimal(0)


def parent_layout(part: Part, plan: PartPlan, card: RateCard) -> Layout | None:
    """Press sheets out of a parent sheet, as the plan counts them; none for ready-cut blanks."""
    stock = card.stocks[plan.stock]
    if not isinstance(stock, ParentSheets):
        return None
    press_sheet = Rectangle(plan.sheet_width_mm, plan.sheet_height_mm)
    return cut_out(
        stock.size,
        press_sheet,
        trim_mm=stock.mill_edge_trim.in_base_unit,
        grain=stock.grain,
        piece_grain=_grain_wanted(part, press_sheet),
        blade_mm=card.cutting.blade.in_base_unit,
    )


def _grain_wanted(part: Part, press_sheet: Rectangle) -> GrainWanted:
    """A fold runs with the grain: which side of the press sheet that is."""
    if part.fold is None:
        return "any"
    fold_runs_across = (part.size.width_mm >= part.size.height_mm) == (part.fold.along == "long side")
    return "long" if (press_sheet.width_mm >= press_sheet.height_mm) == fold_runs_across else "short"


def piece_layout(part: Part, plan: PartPlan, card: RateCard, *, bleeds: bool) -> Layout | None:
    """The printed press sheet, and its cuts into pieces; none where it is the piece already."""
    if not isinstance(card.stocks[plan.stock], ParentSheets):
        return None
    bleed = card.limits.bleed.in_base_unit if bleeds else _NOTHING
    return cut_out(
        Rectangle(plan.sheet_width_mm, plan.sheet_height_mm),
        part.size,
        gap_mm=2 * bleed,
        bleed_mm=bleed,
        margins=_margins(part, plan, bleed),
        turn=False,
    )


def _margins(part: Part, plan: PartPlan, bleed: Decimal) -> Margins:
    """
    What the pieces leave free of their sheet.

    At the gripper edge all that is spare in height, at both lead edges where the sheet is tumbled; in
    width to the right, and in equal halves where the sheet is turned, so that its back falls on its front.
    """
    across = plan.sheet_width_mm - plan.across * (part.size.width_mm + 2 * bleed)
    down = plan.sheet_height_mm - plan.down * (part.size.height_mm + 2 * bleed)
    kind: Imposition = plan.imposition
    left = across / 2 if kind in {"work-and-turn", "sheetwise"} else _NOTHING
    tail = down / 2 if kind == "work-and-tumble" else _NOTHING
    return Margins(left_mm=left, right_mm=across - left, gripper_mm=down - tail, tail_mm=tail)


def press_sheet_grain(layout: Layout | None) -> str:
    """How the grain lies in a press sheet as it is printed: ``across``, ``down``, ``either`` or ``none``."""
    if layout is None or layout.grain == "none":
        return "none"
    turned = {place.turned for place in layout.places}
    if len(turned) > 1:
        return "either"
    other = "down" if layout.grain == "across" else "across"
    return other if turned == {True} else layout.grain
