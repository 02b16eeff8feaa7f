"""A layout drawn: as lines of a terminal, and as SVG with dimensions, numbered cuts and grain."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Iterator
from decimal import Decimal
from typing import Literal
from xml.sax.saxutils import escape

from msgspec import Struct

from quoting.cutting.layout import Cut, Layout, Place
from quoting.numbers import in_engine_context, plain
from quoting.units import MM_PER_INCH

Unit = Literal["mm", "in"]

# Which of left, right, up, down a line leaves a crossing by, to the character that shows it.
_LEFT, _RIGHT, _UP, _BELOW = 1, 2, 4, 8
_LINES = {
    0: " ",
    _LEFT: "─",
    _RIGHT: "─",
    _LEFT | _RIGHT: "─",
    _UP: "│",
    _BELOW: "│",
    _UP | _BELOW: "│",
    _RIGHT | _BELOW: "┌",
    _LEFT | _BELOW: "┐",
    _RIGHT | _UP: "└",
    _LEFT | _UP: "┘",
    _RIGHT | _UP | _BELOW: "├",
    _LEFT | _UP | _BELOW: "┤",
    _LEFT | _RIGHT | _BELOW: "┬",
    _LEFT | _RIGHT | _UP: "┴",
    _LEFT | _RIGHT | _UP | _BELOW: "┼",
}
# A character is about twice as high as it is wide.
_HIGH_PER_WIDE = 2
_MOST_NUMBERED_CUTS = 99


class _Page:
    """Characters that lines are drawn between."""

    def __init__(self, columns: int, rows: int) -> None:
        self.strokes = [[0] * columns for _ in range(rows)]

    def box(self, left: int, head: int, right: int, tail: int) -> None:
        for column in range(left, right):
            for row in (head, tail):
                self.strokes[row][column] |= _RIGHT
                self.strokes[row][column + 1] |= _LEFT
        for row in range(head, tail):
            for column in (left, right):
                self.strokes[row][column] |= _BELOW
                self.strokes[row + 1][column] |= _UP

    def lines(self) -> list[str]:
        return ["".join(_LINES[stroke] for stroke in row).rstrip() for row in self.strokes]


@in_engine_context
def drawn_in_text(layout: Layout, *, columns: int = 72, unit: Unit = "mm") -> list[str]:
    """
    The layout as lines of box characters, at most ``columns`` wide, with a line of words under it.

    Pieces too small for the scale run into each other; the words give the count.
    """
    columns = max(columns, 20)
    sheet = layout.sheet
    rows = max(4, int((columns - 1) * sheet.height_mm / sheet.width_mm / _HIGH_PER_WIDE))
    page = _Page(columns, rows + 1)
    page.box(0, 0, columns - 1, rows)
    across, down = (columns - 1) / sheet.width_mm, rows / sheet.height_mm
    lefts, heads = sorted({one.x_mm for one in layout.places}), sorted({one.y_mm for one in layout.places})
    for place in layout.places:
        right = _next_edge(place.x_mm + place.width_mm, lefts, across)
        tail = _next_edge(place.y_mm + place.height_mm, heads, down)
        page.box(int(place.x_mm * across), int(place.y_mm * down), int(right * across), int(tail * down))
    return [*page.lines(), *_words(layout, unit)]


def _next_edge(edge_mm: Decimal, begin_mm: list[Decimal], per_mm: Decimal) -> Decimal:
    """Where a piece ends, or where the next begins if what is between them is under a character."""
    at = bisect_left(begin_mm, edge_mm)
    is_near = at < len(begin_mm) and (begin_mm[at] - edge_mm) * per_mm < 1
    return begin_mm[at] if is_near else edge_mm


def _words(layout: Layout, unit: Unit) -> list[str]:
    arrow = {"across": "grain ↔", "down": "grain ↕", "none": ""}[layout.grain]
    facts = [
        f"{layout.count} out of {_size(layout.sheet.width_mm, layout.sheet.height_mm, unit)}",
        f"piece {_size(layout.piece.width_mm, layout.piece.height_mm, unit)}",
        f"{len(layout.cuts)} cuts, {layout.settings} settings",
        arrow,
    ]
    return [" · ".join(fact for fact in facts if fact), *layout.cautions]


def _size(width_mm: Decimal, height_mm: Decimal, unit: Unit) -> str:
    return f"{_length(width_mm, unit)} × {_length(height_mm, unit)} {unit}"


def _length(length_mm: Decimal, unit: Unit) -> str:
    return plain(length_mm if unit == "mm" else length_mm / MM_PER_INCH)


class DrawnWords(Struct, frozen=True, kw_only=True):
    """
    Words of a drawing in another language, its face, and its type as a share of the longer side.

    ``title`` stands for the whole drawing to who does not see it.
    """

    title: str
    grain: str
    decimal_mark: str
    font: str
    type_share: int = 40


@in_engine_context
def drawn_in_svg(layout: Layout, *, unit: Unit = "mm", words: DrawnWords | None = None) -> str:
    """
    The layout as an SVG document: one colour, waste hatched, every word as text.

    A unit of the drawing is a millimetre; ``unit`` is what its words tell lengths in. Cuts are
    numbered in their order, up to the 99th. Rectangles are of class ``sheet``, ``piece`` or ``number``.
    """
    said = words or DrawnWords(
        title=_words(layout, unit)[0], grain="grain", decimal_mark=".", font="serif", type_share=40
    )
    sheet = layout.sheet
    size = max(sheet.width_mm, sheet.height_mm)
    type_size = size / said.type_share
    edge = type_size * 3
    box = " ".join(plain(side) for side in (-edge, -edge, sheet.width_mm + 2 * edge, sheet.height_mm + 2 * edge))
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{box}" role="img" aria-labelledby="t d"'
            f' font-family="{said.font}" font-size="{plain(type_size)}" fill="none" stroke="black"'
            f' stroke-width="{plain(size / 1000)}">',
            f'<title id="t">{escape(said.title)}</title>',
            f'<desc id="d">{escape(said.title if words else _description(layout, unit))}</desc>',
            *_hatching(type_size),
            _rect(Decimal(0), Decimal(0), sheet.width_mm, sheet.height_mm, 'class="sheet" fill="url(#waste)"'),
            *_pieces(layout.places),
            *_cut_numbers(layout.cuts, type_size),
            *_dimensions(layout, type_size, unit, said),
            "</svg>",
            "",
        ]
    )


def _description(layout: Layout, unit: Unit) -> str:
    turned = sum(place.turned for place in layout.places)
    facts = [
        f"{layout.count - turned} pieces as given, {turned} turned.",
        f"No layout holds more than {layout.bound}; {layout.proof}.",
        f"Slack {_length(layout.slack_across_mm, unit)} {unit} across,"
        f" {_length(layout.slack_down_mm, unit)} {unit} down.",
        *(f"Caution: {caution}." for caution in layout.cautions),
    ]
    return " ".join(facts)


def _hatching(type_size: Decimal) -> Iterator[str]:
    step = plain(type_size / 2)
    yield f'<pattern id="waste" width="{step}" height="{step}" patternUnits="userSpaceOnUse">'
    yield f'<path d="M0 {step}L{step} 0" stroke-width="{plain(type_size / 40)}"/>'
    yield "</pattern>"


def _rect(x: Decimal, y: Decimal, width: Decimal, height: Decimal, more: str) -> str:
    sides = f'x="{plain(x)}" y="{plain(y)}" width="{plain(width)}" height="{plain(height)}"'
    return f"<rect {sides} {more}/>"


def _pieces(places: Iterable[Place]) -> Iterator[str]:
    for place in places:
        yield _rect(place.x_mm, place.y_mm, place.width_mm, place.height_mm, 'class="piece" fill="white"')


def _cut_numbers(cuts: tuple[Cut, ...], type_size: Decimal) -> Iterator[str]:
    """
    A number near where each cut begins: at the head of an upright one, at the left of a level one.

    One that would lie on another stands further along its cut.
    """
    half = type_size / 4
    taken: list[tuple[Decimal, Decimal, Decimal]] = []
    for number, cut in enumerate(cuts[:_MOST_NUMBERED_CUTS], start=1):
        wide = half * len(str(number))
        x, y = next(
            (at for at in _along(cut, type_size) if not _lies_on(taken, *at, wide, half)),
            next(_along(cut, type_size)),
        )
        taken.append((x, y, wide))
        yield _rect(x - wide, y - half, wide * 2, half * 2, 'class="number" fill="white" stroke="none"')
        yield _text(x, y, str(number), 'text-anchor="middle" dominant-baseline="middle"', type_size / 2)


def _along(cut: Cut, type_size: Decimal) -> Iterator[tuple[Decimal, Decimal]]:
    """Places along a cut for its number, from where it begins, half a line of type apart."""
    upright = cut.direction == "upright"
    room = cut.height_mm if upright else cut.width_mm
    beyond = type_size
    while beyond == type_size or beyond < room - type_size / 2:
        yield (cut.at_mm, cut.y_mm + beyond) if upright else (cut.x_mm + beyond, cut.at_mm)
        beyond += type_size / 2


def _lies_on(
    taken: list[tuple[Decimal, Decimal, Decimal]], x: Decimal, y: Decimal, wide: Decimal, half: Decimal
) -> bool:
    return any(
        abs(x - other_x) < wide + other_wide and abs(y - other_y) < 2 * half for other_x, other_y, other_wide in taken
    )


def _text(x: Decimal, y: Decimal, words: str, more: str, type_size: Decimal) -> str:
    place = f'x="{plain(x)}" y="{plain(y)}" font-size="{plain(type_size)}"'
    return f'<text {place} fill="black" stroke="none" {more}>{escape(words)}</text>'


def _dimensions(layout: Layout, type_size: Decimal, unit: Unit, said: DrawnWords) -> Iterator[str]:
    def told(length_mm: Decimal) -> str:
        return _length(length_mm, unit).replace(".", said.decimal_mark)

    width, height = layout.sheet.width_mm, layout.sheet.height_mm
    middle = 'text-anchor="middle"'
    yield _text(width / 2, -type_size, f"{told(width)} {unit}", middle, type_size)
    turn = f'{middle} transform="rotate(-90 {plain(-type_size)} {plain(height / 2)})"'
    yield _text(-type_size, height / 2, f"{told(height)} {unit}", turn, type_size)
    yield from _grain_arrow(layout, type_size, said.grain)
    for place in layout.places[:1]:
        x, y = place.x_mm + place.width_mm / 2, place.y_mm + place.height_mm / 2
        words = f"{told(place.width_mm)} × {told(place.height_mm)}"
        yield _text(x, y, words, middle, min(type_size, place.width_mm / len(words) * 2))


def _grain_arrow(layout: Layout, type_size: Decimal, word: str) -> Iterator[str]:
    if layout.grain == "none":
        return
    long, head = type_size * 6, type_size / 2
    x, y = (layout.sheet.width_mm - long) / 2, layout.sheet.height_mm + type_size * 2
    if layout.grain == "down":
        x, y = layout.sheet.width_mm + type_size * 3 / 2, (layout.sheet.height_mm - long) / 2
        start, points = (
            f"M{plain(x)} {plain(y)}v{plain(long)}",
            f"l{plain(-head)} {plain(-head)}m{plain(head)} {plain(head)}l{plain(head)} {plain(-head)}",
        )
    else:
        start, points = (
            f"M{plain(x)} {plain(y)}h{plain(long)}",
            f"l{plain(-head)} {plain(-head)}m{plain(head)} {plain(head)}l{plain(-head)} {plain(head)}",
        )
    yield f'<path d="{start}{points}"/>'
    y -= head
    turn = f'transform="rotate(-90 {plain(x)} {plain(y)})"' if layout.grain == "down" else ""
    yield _text(x, y, word, turn, type_size)
