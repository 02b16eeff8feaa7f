"""Equal pieces out of a sheet: how many, where, with which cuts. Geometry alone, no prices."""

from quoting.cutting.bounds import area_bound, barnes_bound, partition_bound
from quoting.cutting.counting import count_out
from quoting.cutting.drawing import DrawnWords, drawn_in_svg, drawn_in_text
from quoting.cutting.ganging import Gang, Version, gang
from quoting.cutting.imposition import (
    FORMS,
    RUNS,
    Imposition,
    back_of,
    margins_for,
    places_of_one_side,
    reason_against,
)
from quoting.cutting.laying_out import cut_out
from quoting.cutting.layout import Cut, Layout, Place
from quoting.cutting.remembered import Cutting, cutting_for
from quoting.cutting.rounds import Rounds, round_out
from quoting.cutting.shapes import Margins, Rectangle, Sides
from quoting.cutting.stages import count_by_stages
from quoting.cutting.two_levels import Limits, PressSheet, PressSheets, press_sheet_candidates

__all__ = [
    "FORMS",
    "RUNS",
    "Cut",
    "Cutting",
    "DrawnWords",
    "Gang",
    "Imposition",
    "Layout",
    "Limits",
    "Margins",
    "Place",
    "PressSheet",
    "PressSheets",
    "Rectangle",
    "Rounds",
    "Sides",
    "Version",
    "area_bound",
    "back_of",
    "barnes_bound",
    "count_by_stages",
    "count_out",
    "cut_out",
    "cutting_for",
    "drawn_in_svg",
    "drawn_in_text",
    "gang",
    "margins_for",
    "partition_bound",
    "places_of_one_side",
    "press_sheet_candidates",
    "reason_against",
    "round_out",
]
