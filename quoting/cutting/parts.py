"""What a sheet is cut into, as a tree of parts; how many cuts that takes, and in what order."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple


@dataclass(slots=True, eq=False)  # frozen, it would take three times as long to make
class Part:
    """
    A rectangle that is a piece, waste, or cut once more.

    The cut leaves ``gauge`` between knife and back gauge: that is ``kept``; ``fallen`` lies in front.
    Equal parts are one object, so that a tree of thousands of pieces is small.
    """

    width: int
    height: int
    turned: bool | None = None
    upright: bool = False
    gauge: int = 0
    keeps_far_side: bool = False
    kept: Part | None = None
    fallen: Part | None = None


class Work(NamedTuple):
    """What cutting takes: cuts, back-gauge settings, and the largest piece of waste in one."""

    cuts: int
    settings: int
    largest_offcut: int


class Stroke(NamedTuple):
    """One cut: the part it goes through, where that lies, and the number of the gauge's setting."""

    part: Part
    x: int
    y: int
    setting: int


def part_of(along: int, across: int, upright: bool) -> Part:
    """A part that is not cut, ``along`` the way in which upright cuts would follow each other."""
    return Part(along, across) if upright else Part(across, along)


def divided(children: list[Part], total: int, upright: bool, gap: int) -> Part:
    """
    ``children`` one after the other, ``gap`` between them, and what is left of ``total`` as waste.

    Each is cut off against the back gauge with its gap, and the gap then cut from it: one setting
    serves all of a size. Without gaps one cut serves two neighbours.
    """
    across = children[0].height if upright else children[0].width
    sizes = [child.width if upright else child.height for child in children]
    extent = sizes[-1] + total - sum(sizes) - gap * (len(children) - 1)
    rest = cut_to(children[-1], extent, upright)
    with_gap: dict[Part, Part] = {}
    for child, size in zip(children[-2::-1], sizes[-2::-1], strict=True):
        extent += size + gap
        if child not in with_gap:
            with_gap[child] = cut_to(child, size + gap, upright)
        whole = part_of(extent, across, upright)
        rest = Part(whole.width, whole.height, None, upright, size + gap, kept=with_gap[child], fallen=rest)
    return rest


def cut_to(part: Part, extent: int, upright: bool, *, keeps_far_side: bool = False) -> Part:
    """A larger part, ``extent`` long, that one cut trims down to ``part``."""
    along, across = (part.width, part.height) if upright else (part.height, part.width)
    if extent == along:
        return part
    whole = part_of(extent, across, upright)
    waste = part_of(extent - along, across, upright)
    return Part(whole.width, whole.height, None, upright, along, keeps_far_side, part, waste)


def every_part(root: Part) -> set[Part]:
    """All different parts of a tree."""
    seen: set[Part] = set()
    waiting: list[Part | None] = [root]
    while waiting:
        part = waiting.pop()
        if part is not None and part not in seen:
            seen.add(part)
            waiting += [part.kept, part.fallen]
    return seen


def work_of(root: Part) -> Work:
    """
    Cuts and settings to cut ``root`` up, equal parts counted together.

    The order is that of ``strokes``.
    """
    waiting: dict[int, dict[Part, int]] = {}
    cuts = settings = offcut = 0

    def put(part: Part | None, number: int) -> None:
        nonlocal offcut
        if part is not None and part.kept is not None:
            alike = waiting.setdefault(part.gauge, {})
            alike[part] = alike.get(part, 0) + number
        elif part is not None and part.turned is None:
            offcut = max(offcut, part.width * part.height)

    put(root, 1)
    while waiting:
        gauge = max(waiting)
        settings += 1
        while gauge in waiting:
            part, number = waiting[gauge].popitem()
            if not waiting[gauge]:
                del waiting[gauge]
            cuts += number
            put(part.fallen, number)
            put(part.kept, number)
    return Work(cuts, settings, offcut)


def strokes(root: Part) -> Iterator[Stroke | tuple[Part, int, int]]:
    """
    Every cut in order, and between them the finished pieces with their places.

    The gauge stays where it is for as long as there is anything to cut at it, then goes to the
    greatest distance that is wanted: large parts are cut before small ones.
    """
    waiting: dict[int, dict[Part, list[tuple[int, int]]]] = {}
    done: list[tuple[Part, int, int]] = []

    def put(part: Part | None, x: int, y: int) -> None:
        if part is not None and part.kept is not None:
            waiting.setdefault(part.gauge, {}).setdefault(part, []).append((x, y))
        elif part is not None and part.turned is not None:
            done.append((part, x, y))

    put(root, 0, 0)
    setting = 0
    while waiting:
        gauge = max(waiting)
        setting += 1
        while gauge in waiting:
            part, corners = waiting[gauge].popitem()
            if not waiting[gauge]:
                del waiting[gauge]
            for x, y in corners:
                yield Stroke(part, x, y, setting)
                for child, dx, dy in _after(part):
                    put(child, x + dx, y + dy)
    yield from done


def _after(part: Part) -> tuple[tuple[Part | None, int, int], tuple[Part | None, int, int]]:
    """What a cut makes of a part, with the places in it."""
    side = part.width if part.upright else part.height
    knife = side - part.gauge if part.keeps_far_side else part.gauge
    near, far = (part.fallen, part.kept) if part.keeps_far_side else (part.kept, part.fallen)
    return (near, 0, 0), ((far, knife, 0) if part.upright else (far, 0, knife))
