"""Copyfitting: how wording breaks into lines of a measure, how deep it runs, how many ems it is."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from msgspec import Struct

from quoting.errors import Fault, MeasureError
from quoting.formulas import formula
from quoting.numbers import plain
from quoting.shop import Fount
from quoting.wording.spacing import Arranged, SpacedLine, plain_points, spaced_line
from quoting.wording.widths import (
    HALF_POINT,
    SOFT_HYPHEN,
    Basis,
    FountWidths,
    control_in,
    letters_in,
    letters_width,
)

_HYPHENS = ("-", "\u2010", "\u2013", "\u2014")


class FittedLine(Struct, frozen=True):
    """A line of wording, its natural width with thick spaces, and whether its paragraph ends here."""

    text: str
    units: int
    ends: bool


class Fitted(Struct, frozen=True, kw_only=True):
    """
    Wording broken into lines of a measure.

    ``basis`` says what its widths rest on; ``unlisted`` are characters that the fount's table leaves
    out, taken at its mean width.
    """

    fount: str
    system: str
    basis: Basis
    unlisted: tuple[str, ...]
    body_points: Decimal
    leading_points: Decimal
    measure_half_points: int
    lines: tuple[FittedLine, ...]
    width_mm: Decimal
    depth_points: Decimal
    depth_mm: Decimal
    ems: Decimal
    letters: int
    words: int
    set_points: Decimal

    @property
    def measure_points(self) -> Decimal:
        """The measure in the fount's own points. [pt]"""
        return Decimal(self.measure_half_points) / 2


@formula(unit="pt", sentence="{lines} lines × {body} pt + ({lines} − 1) × {leading} pt")
def depth_points(*, lines: int, body: Decimal, leading: Decimal) -> Decimal:
    """Depth of lines with leads between them. [pt]"""
    return lines * body + (lines - 1) * leading


@formula(
    unit="ems",
    sentence="{measure} pt / {body} pt × {lines} lines",
    source="B. Drew, Pens and Types, 1889, p. 21: 20 ems x 50 lines, 1,000 ems.",
)
def ems_set(*, measure: Decimal, body: Decimal, lines: int) -> Decimal:
    """Ems of a body that lines of a measure take, white at their ends counted. [ems]"""
    return measure / body * lines


@formula(
    unit="words",
    sentence="{area} sq in × {words_a_square_inch}",
    source="E. G. Gress, The Art & Practice of Typography, 1917.",
)
def words_held(*, area: Decimal, words_a_square_inch: Decimal) -> Decimal:
    """Words that an area holds by a handbook's table, before there is wording to measure. [words]"""
    return area * words_a_square_inch


@formula(
    unit="ems",
    sentence="4 × (72 / {body}) × (72 / {body})",
    source="A. A. Stewart, Type, UTA series I/1, 1918: four square inches composed solid, about one pound.",
)
def ems_a_pound(*, body: Decimal) -> Decimal:
    """Ems of a body in a pound of type composed solid, 72 points taken as an inch. [ems]"""
    return 4 * (72 / body) ** 2


def broken(text: str, widths: FountWidths, measure_half_points: int) -> tuple[FittedLine, ...]:
    """
    Wording broken at its spaces: each line takes every word that goes in with thick spaces.

    A word is divided only where the text has a soft hyphen, and then as late as goes in.

    Raises:
        MeasureError: with every word that is wider than the measure, each by its line.
    """
    room = measure_half_points * HALF_POINT
    known: dict[str, int] = {}
    lines: list[FittedLine] = []
    faults: list[Fault] = []
    for paragraph in text.splitlines():
        words = [word for word in paragraph.replace("\t", " ").split(" ") if word.isascii() or letters_in(word)]
        words = [word for word in words if word]
        if not words:
            continue
        _break_paragraph(words, widths, room, known, lines)
    for place, line in enumerate(lines):
        if line.units > room:
            faults.append(_too_wide(place, line, widths, measure_half_points, "a word"))
    if faults:
        raise MeasureError(faults)
    return tuple(lines)


def _break_paragraph(
    words: Sequence[str], widths: FountWidths, room: int, known: dict[str, int], lines: list[FittedLine]
) -> None:
    thick = widths.thick
    held: list[str] = []
    wide = 0
    left = list(reversed(words))
    while left:
        word = left.pop()
        width = known.get(word)
        if width is None:
            width = known[word] = widths.width(word)
        longer = wide + thick + width if held else width
        if longer > room and SOFT_HYPHEN in word:
            divided = _divided(word, widths, room - (wide + thick if held else 0))
            if divided is not None:
                held.append(divided[0])
                lines.append(FittedLine(" ".join(held), widths.width(" ".join(held)), False))
                held, wide = [], 0
                left.append(divided[1])
                continue
        if held and longer > room:
            lines.append(FittedLine(" ".join(held), wide, False))
            held, wide = [], 0
            left.append(word)
            continue
        held.append(word.replace(SOFT_HYPHEN, ""))
        wide = longer
    lines.append(FittedLine(" ".join(held), wide, True))


def _divided(word: str, widths: FountWidths, room: int) -> tuple[str, str] | None:
    """A word parted at the last of its soft hyphens where its head, with a hyphen, goes in; None where none does."""
    place = len(word)
    while (place := word.rfind(SOFT_HYPHEN, 0, place)) > 0:
        head = word[:place].replace(SOFT_HYPHEN, "")
        head += "" if head.endswith(_HYPHENS) else "-"
        if widths.width(head) <= room:
            return head, word[place + 1 :]
    return None


def _too_wide(place: int, line: FittedLine, widths: FountWidths, measure: int, what: str) -> Fault:
    return Fault(
        f"line {place + 1}",
        f"{what} of at most {plain_points(measure)} pt in {widths.fount.name}",
        f"{plain(widths.points(line.units))} pt: {line.text!r}",
    )


def as_told(
    text: str, widths: FountWidths, measure_half_points: int, *, letterspaced: bool
) -> tuple[FittedLine, ...]:
    """
    Display work: each line of the wording is a line of type.

    Raises:
        MeasureError: with every line that is wider than the measure.
    """
    texts = [" ".join(line.replace(SOFT_HYPHEN, "").split()) for line in text.splitlines() if letters_in(line)]
    lines = tuple(FittedLine(one, widths.width(one, letterspaced=letterspaced), True) for one in texts)
    room = measure_half_points * HALF_POINT
    faults = [
        _too_wide(place, line, widths, measure_half_points, "a line")
        for place, line in enumerate(lines)
        if line.units > room
    ]
    if faults:
        raise MeasureError(faults)
    return lines


def fit(
    text: str,
    fount: Fount,
    *,
    measure_mm: Decimal,
    leading_mm: Decimal = Decimal(0),
    display: bool = False,
    letterspaced: bool = False,
) -> Fitted:
    """
    Wording fitted to a measure; its lines, its depth, its ems.

    Args:
        display: Whether its lines stand as they are; else it is broken to the measure.
        letterspaced: Whether hair spaces stand between the letters of display lines.
        measure_mm: Length of the lines; taken to the half point of the fount's own system. [mm]
        leading_mm: What stands between lines. [mm]

    Raises:
        MeasureError: no wording, a control character in it, a measure of nothing, or a word wider than it,
            named by its line.
    """
    widths = FountWidths(fount)
    measure = widths.half_points(measure_mm)
    if measure < 1:
        raise MeasureError([Fault("measure", "a measure of half a point or more", f"{plain(measure_mm)} mm")])
    control = control_in(text)
    if control:
        raise MeasureError([Fault("wording", "characters that type can set", control)])
    lines = as_told(text, widths, measure, letterspaced=letterspaced) if display else broken(text, widths, measure)
    if not lines:
        raise MeasureError([Fault("wording", "words to set", "nothing")])
    leading = widths.points(widths.units(leading_mm))
    depth = depth_points(lines=len(lines), body=widths.body_points, leading=leading)
    words = [word for line in lines for word in line.text.split(" ")]
    return Fitted(
        fount=fount.name,
        system=widths.system,
        basis=widths.basis,
        unlisted=tuple(sorted(widths.unlisted)),
        body_points=widths.body_points,
        leading_points=leading,
        measure_half_points=measure,
        lines=lines,
        width_mm=widths.mm(measure * HALF_POINT),
        depth_points=depth,
        depth_mm=depth * widths.point_mm,
        ems=ems_set(measure=Decimal(measure) / 2, body=widths.body_points, lines=len(lines)),
        letters=sum(map(letters_in, words)),
        words=len(words),
        set_points=widths.points(sum(_letters_width(line, widths, letterspaced=letterspaced) for line in lines)),
    )


def _letters_width(line: FittedLine, widths: FountWidths, *, letterspaced: bool) -> int:
    if letterspaced or not line.text.isascii():
        return letters_width(line.text, widths, letterspaced=letterspaced)
    return line.units - widths.thick * line.text.count(" ")


def spaced(
    fitted: Fitted, fount: Fount, *, arranged: Arranged = "justified", letterspaced: bool = False
) -> tuple[SpacedLine, ...]:
    """Every line spaced to its measure; the last of a paragraph is not justified but filled with quads."""
    widths = FountWidths(fount)
    return tuple(
        spaced_line(
            line.text,
            fount,
            measure_half_points=fitted.measure_half_points,
            arranged="left" if arranged == "justified" and line.ends else arranged,
            where=f"line {place + 1}",
            letterspaced=letterspaced,
            widths=widths,
        )
        for place, line in enumerate(fitted.lines)
    )
