"""Rectangles and what stays empty round them."""

from __future__ import annotations

from decimal import Decimal
from typing import Protocol

from msgspec import Struct


class Sides(Protocol):
    """Anything with a width and a height: a ``Size``, a ``Rectangle``."""

    @property
    def width_mm(self) -> Decimal: ...

    @property
    def height_mm(self) -> Decimal: ...


class Rectangle(Struct, frozen=True):
    """A width and a height. [mm]"""

    width_mm: Decimal
    height_mm: Decimal


class Margins(Struct, frozen=True):
    """What stays empty at each side of a sheet; the gripper holds its head. [mm]"""

    left_mm: Decimal = Decimal(0)
    right_mm: Decimal = Decimal(0)
    gripper_mm: Decimal = Decimal(0)
    tail_mm: Decimal = Decimal(0)
