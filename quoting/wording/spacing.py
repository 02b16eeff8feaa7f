"""Spacing a line to its measure in the body's own spaces, exact to the half point."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import Literal

from msgspec import Struct

from quoting.errors import Fault, MeasureError
from quoting.numbers import plain
from quoting.shop import Fount
from quoting.wording.widths import HALF_POINT, THICK, FountWidths, hairs_in

Arranged = Literal["justified", "centred", "left", "right"]


class Filled(Struct, frozen=True, kw_only=True):
    """Where in a line a space stands, how many half points it fills, and with which pieces."""

    place: str
    half_points: int
    pieces: tuple[str, ...]


class SpacedLine(Struct, frozen=True, kw_only=True):
    """
    One line as it stands in the stick.

    ``over_units`` is what is left over under half a point, in ten-thousandths: card or paper takes it.
    """

    text: str
    arranged: Arranged
    filled: tuple[Filled, ...]
    over_units: int = 0

    @property
    def pieces(self) -> Counter[str]:
        """How many of each space the line takes."""
        return Counter(piece for one in self.filled for piece in one.pieces)

    def sorts(self, widths: FountWidths, *, letterspaced: bool = False) -> Counter[str]:
        """Every sort of the line: its letters, ligatures as one, and its spaces."""
        letters = widths.sorts(self.text, letterspaced=letterspaced)
        return Counter(sort for sort in letters if not sort.isspace()) + self.pieces


def spaces_of(fount: Fount) -> dict[str, int]:
    """Spaces of a body and what each fills, widest first; the card's own figures rule. [half points]"""
    return FountWidths(fount).spaces


def covered(half_points: int, spaces: Mapping[str, int]) -> tuple[str, ...]:
    """
    The fewest spaces that fill a width exactly, widest first.

    Raises:
        MeasureError: nothing that the body has fills it exactly.
    """
    found = _covers(_room_for(half_points), tuple(spaces.items()))[half_points]
    if found is None:
        raise MeasureError(
            [Fault("spacing", "a width that the body's spaces fill", f"{plain_points(half_points)} pt")]
        )
    return found


def plain_points(half_points: int) -> str:
    """Half points as a person writes points."""
    whole, odd = divmod(half_points, 2)
    return " ".join([str(whole)] * (whole > 0 or not odd) + ["1/2"] * odd)


def _room_for(half_points: int) -> int:
    """A round figure over a width, so that one table serves many widths."""
    return 1 << max(8, half_points.bit_length())


@lru_cache(maxsize=64)
def _covers(most: int, spaces: tuple[tuple[str, int], ...]) -> tuple[tuple[str, ...] | None, ...]:
    """For every width up to ``most``: the fewest spaces, ties to the widest."""
    best: list[tuple[str, ...] | None] = [()]
    for wide in range(1, most + 1):
        found: tuple[str, ...] | None = None
        for name, width in spaces:
            rest = best[wide - width] if width <= wide else None
            if rest is not None and (found is None or len(rest) + 1 < len(found)):
                found = (name, *rest)
        best.append(found)
    return tuple(best)


def spaced_line(
    text: str,
    fount: Fount,
    *,
    measure_half_points: int,
    arranged: Arranged = "justified",
    where: str = "line",
    letterspaced: bool = False,
    widths: FountWidths | None = None,
) -> SpacedLine:
    """
    A line spaced to its measure.

    Justified, the room between words is shared alike, the first gaps taking the odd half points; a line
    of one word is set to the left. Else words stand a thick space apart, and quads fill the rest. A
    letterspaced line has a hair space between the letters of each word.

    Raises:
        MeasureError: the words are wider than the measure; it names the line.
    """
    widths = widths or FountWidths(fount)
    words = [word for word in text.split(" ") if word]
    spaces = widths.spaces
    gaps = max(0, len(words) - 1)
    thick = min(spaces[THICK], widths.thick // HALF_POINT)
    set_words = sum(widths.width(word, letterspaced=letterspaced) for word in words)
    least = min(spaces["5-em space"], thick) if arranged == "justified" else thick
    room, over = divmod(measure_half_points * HALF_POINT - set_words, HALF_POINT)
    if room < gaps * least:
        raise _overfull(where, text, widths, measure_half_points, set_words + gaps * least * HALF_POINT)
    if arranged == "justified" and gaps:
        between = shared(room, gaps)
        ends: tuple[tuple[str, int], ...] = ()
    else:
        between = [thick] * gaps
        ends = _ends("left" if arranged == "justified" else arranged, room - gaps * thick)
    filled = [("before" if name == "before" else "after", wide) for name, wide in ends]
    placed = [(f"after {word}", wide) for word, wide in zip(words, between, strict=False)]
    order = [one for one in filled if one[0] == "before"] + placed + [one for one in filled if one[0] == "after"]
    return SpacedLine(
        text=text,
        arranged=arranged,
        filled=(
            *(_hairs(word, spaces["hair space"]) for word in words if letterspaced and hairs_in(word)),
            *(Filled(place=place, half_points=wide, pieces=covered(wide, spaces)) for place, wide in order if wide),
        ),
        over_units=over,
    )


def _hairs(word: str, hair: int) -> Filled:
    """What stands between the letters of a letterspaced word."""
    count = hairs_in(word)
    return Filled(place=f"in {word}", half_points=count * hair, pieces=("hair space",) * count)


def shared(whole: int, among: int) -> list[int]:
    """A width shared alike; the first take the odd half points. [half points]"""
    each, odd = divmod(whole, among)
    return [each + (place < odd) for place in range(among)]


def _ends(arranged: Arranged, rest: int) -> tuple[tuple[str, int], ...]:
    if arranged == "centred":
        return ("before", rest // 2), ("after", rest - rest // 2)
    return (("before", rest),) if arranged == "right" else (("after", rest),)


def _overfull(where: str, text: str, widths: FountWidths, measure: int, wanted: int) -> MeasureError:
    shown = text if len(text) <= 40 else f"{text[:37]}..."
    return MeasureError(
        [
            Fault(
                where,
                f"at most {plain_points(measure)} pt of {widths.fount.name}",
                f"{plain(widths.points(wanted))} pt: {shown!r}",
            )
        ]
    )


def pieces_in(lines: Sequence[SpacedLine]) -> Counter[str]:
    """Every space of some lines."""
    found: Counter[str] = Counter()
    for line in lines:
        found.update(line.pieces)
    return found
