"""A layout in full: every piece's place, every cut in order, and how far it is proved."""

from __future__ import annotations

from decimal import Decimal
from typing import Literal

from msgspec import Struct

from quoting.cutting.bounds import BoundName
from quoting.cutting.grain import Runs
from quoting.cutting.shapes import Rectangle

Proof = (
    BoundName | Literal["one way round", "every pattern", "three stages", "the blade's parts, each in three stages"]
)
Direction = Literal["upright", "level"]


class Place(Struct, frozen=True):
    """Where a piece lies, from the sheet's left edge and its head. [mm]"""

    x_mm: Decimal
    y_mm: Decimal
    width_mm: Decimal
    height_mm: Decimal
    turned: bool


class Cut(Struct, frozen=True):
    """
    One cut, edge to edge through the part of the sheet that it names.

    ``at_mm`` is measured on the sheet, from its left edge for an upright cut and from its head for a
    level one. ``gauge_mm`` is what lies between knife and back gauge; ``setting`` counts how often
    the gauge was set up to then, this time included.
    """

    x_mm: Decimal
    y_mm: Decimal
    width_mm: Decimal
    height_mm: Decimal
    direction: Direction
    at_mm: Decimal
    gauge_mm: Decimal
    setting: int


class Layout(Struct, frozen=True):
    """
    How a sheet is cut.

    No layout holds more than ``bound`` pieces. The slack is what the room inside trims and margins
    leaves beyond the pieces, across (width) and down (height).
    """

    sheet: Rectangle
    piece: Rectangle
    count: int
    bound: int
    proof: Proof
    places: tuple[Place, ...]
    cuts: tuple[Cut, ...]
    settings: int
    mixed: bool
    waste_mm2: Decimal
    largest_offcut_mm2: Decimal
    slack_across_mm: Decimal
    slack_down_mm: Decimal
    grain: Runs
    cautions: tuple[str, ...]

    @property
    def is_proved(self) -> bool:
        """Whether no guillotine layout can hold more; else the count is verified, not proved."""
        return self.count == self.bound or self.proof in {"one way round", "every pattern"}

    @property
    def is_exact_fit(self) -> bool:
        """Whether the pieces leave no slack one way or the other: legal arithmetic, risky practice."""
        return bool(self.count) and not (self.slack_across_mm and self.slack_down_mm)
