"""Press sheets out of a parent sheet: how many, with how many cuts, the way that fold and grain allow."""

from __future__ import annotations

from decimal import Decimal
from math import gcd

from quoting.cutting import Cutting, cutting_for
from quoting.job import Part
from quoting.numbers import whole_up
from quoting.rate_card import RateCard
from quoting.shop import ParentSheets

_UNITS_A_MM = 10**7  # lengths are kept to 1e-7 mm


def press_sheets_out(
    part: Part, stock: ParentSheets, card: RateCard, *, width_mm: Decimal, height_mm: Decimal
) -> Cutting:
    """The most press sheets out of one parent, and the cuts and back-gauge settings they take."""
    lengths = (
        stock.size.width_mm,
        stock.size.height_mm,
        width_mm,
        height_mm,
        stock.mill_edge_trim.in_base_unit,
        card.cutting.blade.in_base_unit,
    )
    whole = [whole_up(length * _UNITS_A_MM) for length in lengths]
    unit = gcd(*whole) or 1
    parent_width, parent_height, width, height, trim, blade = (length // unit for length in whole)
    if not (width and height):
        return Cutting(0, 0, 0)
    return cutting_for(
        (parent_width, parent_height),
        (width, height),
        trim=trim,
        ways=_ways_round(part, stock),
        blade=blade,
    )


def _ways_round(part: Part, stock: ParentSheets) -> tuple[bool, ...]:
    """As given (False) or turned (True): both, unless a fold must run with a stated grain."""
    if part.fold is None or stock.grain == "none":
        return (False, True)
    grain_runs_across = (stock.size.width_mm >= stock.size.height_mm) == (stock.grain == "long")
    fold_runs_across = (part.size.width_mm >= part.size.height_mm) == (part.fold.along == "long side")
    return (grain_runs_across != fold_runs_across,)
