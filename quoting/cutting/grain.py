"""Grain: stated of a sheet and of a piece, never read from the order of two numbers."""

from __future__ import annotations

from typing import Literal

from quoting.cutting.shapes import Sides

Grain = Literal["long", "short", "none"]
GrainWanted = Literal["long", "short", "any"]
Runs = Literal["across", "down", "none"]


def ways_round(sheet: Sides, piece: Sides, grain: Grain, wanted: GrainWanted) -> tuple[bool, ...]:
    """
    The ways round a piece may lie on a sheet: as given (``False``), turned (``True``).

    ``grain`` is said of the sheet's own sides and ``wanted`` of the piece's; where either does not
    matter both ways are free. A square's long side is its width.
    """
    if grain == "none" or wanted == "any":
        return (False, True)
    return (runs_across(sheet, grain) != runs_across(piece, wanted),)


def runs_across(rectangle: Sides, grain: Grain | GrainWanted) -> bool:
    """Whether grain along the long or the short side runs with the width."""
    return (rectangle.width_mm >= rectangle.height_mm) == (grain == "long")


def runs(rectangle: Sides, grain: Grain) -> Runs:
    """Which way grain lies on a sheet as it is drawn: ``across`` with its width, ``down`` with its height."""
    if grain == "none":
        return "none"
    return "across" if runs_across(rectangle, grain) else "down"
