"""Imposition: how a form that prints both sides of a sheet must lie, and whether a grid allows it."""

from __future__ import annotations

from typing import Literal

from quoting.cutting.shapes import Margins

Imposition = Literal["one side", "sheetwise", "work-and-turn", "work-and-tumble"]

FORMS: dict[Imposition, int] = {"one side": 1, "sheetwise": 2, "work-and-turn": 1, "work-and-tumble": 1}
"""Forms to lock up for both sides of a sheet."""

RUNS: dict[Imposition, int] = {"one side": 1, "sheetwise": 2, "work-and-turn": 2, "work-and-tumble": 2}
"""Times that a sheet goes through the press, a colour."""


def reason_against(imposition: Imposition, across: int, down: int) -> str:
    """
    Why a grid cannot be imposed so, or nothing where it can.

    Turned, a sheet's right half lands where its left half was: fronts lie in one half and backs,
    mirrored about the upright centre line, in the other. Tumbled, the same holds of head and tail.
    """
    if imposition == "work-and-turn" and across % 2:
        return f"work-and-turn: expected an even number of pieces across; found {across}"
    if imposition == "work-and-tumble" and down % 2:
        return f"work-and-tumble: expected an even number of pieces down; found {down}"
    return ""


def margins_for(imposition: Imposition, margins: Margins) -> Margins:
    """
    Margins with which the second side falls on the first.

    A turned sheet keeps its gripper edge, and its form is centred between left and right. A tumbled
    one is gripped at both its lead edges, so that head and tail each give the gripper its room.
    """
    left, right, gripper, tail = margins.left_mm, margins.right_mm, margins.gripper_mm, margins.tail_mm
    if imposition == "work-and-turn":
        left = right = max(left, right)
    elif imposition == "work-and-tumble":
        gripper = tail = max(gripper, tail)
    return Margins(left, right, gripper, tail)


def places_of_one_side(imposition: Imposition, up: int) -> int:
    """
    Places on one form that show the same side of the piece.

    All of them, but half where one form holds fronts and backs.
    """
    return up // 2 if imposition in {"work-and-turn", "work-and-tumble"} else up


def back_of(imposition: Imposition, column: int, row: int, across: int, down: int) -> tuple[int, int]:
    """Where, in the form as it prints the second side, the back of a place in the first lies; from 0."""
    if imposition in {"sheetwise", "work-and-turn"}:
        return across - 1 - column, row
    if imposition == "work-and-tumble":
        return column, down - 1 - row
    return column, row
