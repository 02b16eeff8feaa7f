"""Equal pieces out of a sheet: how many, where, with which cuts. Geometry alone, no prices."""

from quoting.cutting.bounds import area_bound, barnes_bound, partition_bound
from quoting.cutting.counting import count_out
from quoting.cutting.laying_out import cut_out
from quoting.cutting.layout import Cut, Layout, Place
from quoting.cutting.remembered import Cutting, cutting_for
from quoting.cutting.shapes import Margins, Rectangle, Sides
from quoting.cutting.stages import count_by_stages

__all__ = [
    "Cut",
    "Cutting",
    "Layout",
    "Margins",
    "Place",
    "Rectangle",
    "Sides",
    "area_bound",
    "barnes_bound",
    "count_by_stages",
    "count_out",
    "cut_out",
    "cutting_for",
    "partition_bound",
]
