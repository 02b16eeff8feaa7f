"""An independent look at a layout: it knows nothing of how layouts are made."""

from __future__ import annotations

from decimal import Decimal

from quoting.cutting import Cut, Layout, Place

Box = tuple[Decimal, Decimal, Decimal, Decimal]


def box(item: Place | Cut) -> Box:
    """Left, head, right, tail."""
    return (item.x_mm, item.y_mm, item.x_mm + item.width_mm, item.y_mm + item.height_mm)


def overlaps(one: Box, other: Box, gap: Decimal) -> bool:
    """Whether two boxes come nearer than ``gap`` in both ways."""
    return one[0] - gap < other[2] and other[0] - gap < one[2] and one[1] - gap < other[3] and other[1] - gap < one[3]


def faults_of_places(layout: Layout, gap: Decimal, edges: Box) -> list[str]:
    """``edges``: what stays free at left, head, right and tail."""
    faults = []
    sheet = layout.sheet
    room = (edges[0], edges[1], sheet.width_mm - edges[2], sheet.height_mm - edges[3])
    boxes = sorted(box(place) for place in layout.places)
    if len(boxes) != layout.count:
        faults.append(f"{len(boxes)} places for {layout.count} pieces")
    for one in boxes:
        if one[0] < room[0] or one[1] < room[1] or one[2] > room[2] or one[3] > room[3]:
            faults.append(f"outside: {one}")
    for place in layout.places:
        sides = (place.height_mm, place.width_mm) if place.turned else (place.width_mm, place.height_mm)
        if sides != (layout.piece.width_mm, layout.piece.height_mm):
            faults.append(f"not the piece asked for: {place}")
    return faults + _too_near(boxes, gap)


def _too_near(boxes: list[Box], gap: Decimal) -> list[str]:
    faults = []
    near: list[Box] = []
    for one in boxes:
        near = [other for other in near if other[2] + gap > one[0]]
        faults += [f"too near: {one} {other}" for other in near if overlaps(one, other, gap)]
        near.append(one)
    return faults


def faults_of_cuts(layout: Layout, blade: Decimal | None = None) -> list[str]:
    """Cut the sheet in the order given: each cut goes through a part that is there, edge to edge."""
    whole = (Decimal(0), Decimal(0), layout.sheet.width_mm, layout.sheet.height_mm)
    parts = {whole}
    faults: list[str] = []
    setting, gauge = 0, None
    for cut in layout.cuts:
        part = box(cut)
        if part not in parts:
            return [f"no such part: {cut}"]
        parts.remove(part)
        halves, length = _halves(part, cut)
        parts.update(halves)
        if blade is not None and length > blade:
            faults.append(f"longer than the blade: {cut}")
        sizes = [half[2] - half[0] if cut.direction == "upright" else half[3] - half[1] for half in halves]
        if min(sizes) <= 0 or cut.gauge_mm not in sizes:
            faults.append(f"cuts nothing off, or not at its gauge: {cut}")
        if cut.gauge_mm != gauge:
            setting, gauge = setting + 1, cut.gauge_mm
        if cut.setting != setting:
            faults.append(f"setting {setting} expected: {cut}")
    pieces = {box(place) for place in layout.places}
    if not pieces <= parts:
        faults.append(f"not cut out: {pieces - parts}")
    if layout.settings != setting:
        faults.append(f"{setting} settings, {layout.settings} said")
    used = sum(((r - x) * (t - y) for x, y, r, t in pieces), Decimal(0))
    if layout.waste_mm2 != whole[2] * whole[3] - used:
        faults.append("waste")
    offcuts = [(r - x) * (t - y) for x, y, r, t in parts - pieces]
    if layout.largest_offcut_mm2 != max(offcuts, default=Decimal(0)):
        faults.append("largest offcut")
    return faults


def _halves(part: Box, cut: Cut) -> tuple[list[Box], Decimal]:
    left, head, right, tail = part
    if cut.direction == "upright":
        return [(left, head, cut.at_mm, tail), (cut.at_mm, head, right, tail)], tail - head
    return [(left, head, right, cut.at_mm), (left, cut.at_mm, right, tail)], right - left
