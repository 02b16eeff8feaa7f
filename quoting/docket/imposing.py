"""A form drawn as the printer sees the sheet: pieces in place with their heads, gripper edge, side gauge."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from typing import Literal
from xml.sax.saxutils import escape

from msgspec import Struct

from quoting.cutting import Imposition as TurnedSheet
from quoting.cutting import back_of
from quoting.languages import Language
from quoting.numbers import in_engine_context, plain
from quoting.planning.part_plan import PartPlan

Side = Literal["front", "back"]
_TYPE_SHARE = 16


class Spot(Struct, frozen=True):
    """One piece of a form: where it lies, which copy it is, which side of it shows, whether it stands on its head."""

    x_mm: Decimal
    y_mm: Decimal
    width_mm: Decimal
    height_mm: Decimal
    copy: int
    side: Side
    on_its_head: bool = False


def spots(
    plan: PartPlan, places: tuple[tuple[Decimal, Decimal], ...], size: tuple[Decimal, Decimal], side: Side
) -> tuple[Spot, ...]:
    """
    The pieces of a form as it prints one side of the sheet.

    Args:
        places: Left and head of each piece on the sheet, row by row. [mm]
        size: Width and height of a piece. [mm]
        side: The side of the sheet that is up.
    """
    found = []
    for number, (x, y) in enumerate(places):
        row, column = divmod(number, plan.across)
        copy, shown = _copy_at(plan, column, row, side)
        tumbled = plan.imposition == "work-and-tumble" and shown == "back"
        found.append(Spot(x, y, *size, copy=copy, side=shown, on_its_head=tumbled))
    return tuple(found)


def _copy_at(plan: PartPlan, column: int, row: int, side: Side) -> tuple[int, Side]:
    """Which copy a place of the form prints, and which side of it."""
    if plan.imposition == "work-and-turn":
        is_front = column < plan.across // 2
    elif plan.imposition == "work-and-tumble":
        is_front = row < plan.down // 2
    else:
        is_front = side == "front"
    if is_front:
        return row * plan.across + column + 1, "front"
    kind: TurnedSheet = "work-and-tumble" if plan.imposition == "work-and-tumble" else "sheetwise"
    column, row = back_of(kind, column, row, plan.across, plan.down)
    return row * plan.across + column + 1, "back"


@in_engine_context
def drawn_form(
    plan: PartPlan,
    form: tuple[Spot, ...],
    *,
    gripper_mm: Decimal,
    gauge: Literal["left", "right"],
    is_round: bool,
    language: Language,
    title: str,
    font: str,
) -> str:
    """The form as an SVG document: the gripper edge at the head, the side gauge as a wedge at its side."""
    width, height = plan.sheet_width_mm, plan.sheet_height_mm
    type_size = max(width, height) / _TYPE_SHARE
    edge = type_size * 2
    box = " ".join(plain(side) for side in (-edge, -edge, width + 2 * edge, height + edge * 3 / 2))
    words = {"front": language.say("front"), "back": language.say("back")}
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{box}" role="img" font-family="{font}" fill="none"'
        f' stroke="black" stroke-width="{plain(max(width, height) / 400)}">',
        f"<title>{escape(title)}</title>",
        f'<rect class="sheet" x="0" y="0" width="{plain(width)}" height="{plain(height)}"/>',
        *_gripper(width, gripper_mm, type_size, language),
        *_gauge(width, height, gauge, type_size, language),
    ]
    for spot in form:
        parts.extend(_piece(spot, words[spot.side], type_size, is_round=is_round))
    return "\n".join([*parts, "</svg>"])


def _gripper(width: Decimal, gripper: Decimal, type_size: Decimal, language: Language) -> Iterator[str]:
    if gripper:
        dashes = f'stroke-dasharray="{plain(type_size / 3)}"'
        yield f'<path class="gripper" d="M0 {plain(gripper)}h{plain(width)}" {dashes}/>'
    yield f'<path class="lay" d="M0 0h{plain(width)}" stroke-width="{plain(type_size / 5)}"/>'
    yield _text(width / 2, -type_size / 2, language.say("gripper edge"), type_size)


def _gauge(width: Decimal, height: Decimal, side: str, type_size: Decimal, language: Language) -> Iterator[str]:
    x, out = (Decimal(0), -type_size) if side == "left" else (width, type_size)
    y = height / 4
    half = plain(type_size / 2)
    yield f'<path class="gauge" d="M{plain(x)} {plain(y)}l{plain(out)} -{half}v{plain(type_size)}z" fill="black"/>'
    turn = f'transform="rotate(-90 {plain(x + out)} {plain(height * 3 / 4)})"'
    yield _text(x + out, height * 3 / 4, language.say("side gauge"), type_size, turn)


def _piece(spot: Spot, side: str, type_size: Decimal, *, is_round: bool) -> Iterator[str]:
    x, y, width, height = spot.x_mm, spot.y_mm, spot.width_mm, spot.height_mm
    box = f'x="{plain(x)}" y="{plain(y)}" width="{plain(width)}" height="{plain(height)}"'
    rounded = f' rx="{plain(width / 2)}"' if is_round else ""
    yield f'<rect class="piece {spot.side}" {box}{rounded}/>'
    middle, size = x + width / 2, min(type_size, height / 4, width / 4)
    yield _text(middle, y + height / 2 + size / 3, f"{spot.copy} {side}", size)
    top, way = (y + height * 9 / 10, 1) if spot.on_its_head else (y + height / 10, -1)
    arm = size / 2
    yield (
        f'<path class="head" d="M{plain(middle)} {plain(top)}l{plain(-arm)} {plain(-way * size)}h{plain(2 * arm)}z"'
        ' fill="black"/>'
    )


def _text(x: Decimal, y: Decimal, words: str, size: Decimal, more: str = "") -> str:
    return (
        f'<text x="{plain(x)}" y="{plain(y)}" font-size="{plain(size)}" text-anchor="middle" fill="black"'
        f' stroke="none" {more}>{escape(words)}</text>'
    )
