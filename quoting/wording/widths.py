"""What characters measure: in ten-thousandths of a point, so that every sum is a whole number."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from decimal import Decimal
from functools import cached_property
from typing import Literal

from quoting.numbers import whole_down, whole_nearest
from quoting.shop import Fount
from quoting.units import in_points, point_system

A_POINT = 10_000
HALF_POINT = A_POINT // 2
POINTS_A_PICA = 12

EM_QUAD, THICK = "em quad", "3-em space"
# How many of each go to the em; a hair is taken as 8 to the em (from memory: 7 to 10, by founder).
_TO_THE_EM = {EM_QUAD: 1, "en quad": 2, THICK: 3, "4-em space": 4, "5-em space": 5, "hair space": 8}
_THIN_HALF_POINTS = {"one-point space": 2, "half-point space": 1}
SPACES = (*_TO_THE_EM, *_THIN_HALF_POINTS)
# Spaces that the client's text fixes (Unicode 15, chapter 6.2), by the nearest that a body has.
_FIXED_SPACES = {
    "\u00a0": THICK,
    "\u2000": "en quad",
    "\u2001": EM_QUAD,
    "\u2002": "en quad",
    "\u2003": EM_QUAD,
    "\u2004": THICK,
    "\u2005": "4-em space",
    "\u2006": "5-em space",
    "\u2007": "en quad",
    "\u2009": "5-em space",
    "\u200a": "hair space",
    "\u202f": "5-em space",
    "\u3000": EM_QUAD,
}
SOFT_HYPHEN = "\u00ad"

Basis = Literal["set widths", "characters a pica", "average set"]


class _Known(dict[str, int]):
    """Widths by sort, each worked out when it is first asked for."""

    def __init__(self, width_of: Callable[[str], int]) -> None:
        super().__init__()
        self._width_of = width_of

    def __missing__(self, sort: str) -> int:
        width = self[sort] = self._width_of(sort)
        return width


class FountWidths:
    """
    A fount's widths as whole numbers: ten-thousandths of its own founder's point.

    ``basis`` says what they rest on: the card's set widths, or a mean of all characters where it has
    none. A character that a table of set widths leaves out takes the mean too, and is told.
    """

    def __init__(self, fount: Fount) -> None:
        self.fount = fount
        self.system, self.point_mm = point_system(fount.body)
        self.body_points = in_points(fount.body.in_base_unit, self.point_mm)
        self.body = self.whole(self.body_points)
        self.basis: Basis = _basis(fount)
        self.mean = self._mean()
        self.unlisted: set[str] = set()
        self._known = _Known(self.sort_width)

    @staticmethod
    def whole(points: Decimal) -> int:
        """Points as ten-thousandths of one."""
        return int(points * A_POINT)

    def units(self, length_mm: Decimal) -> int:
        """A length as ten-thousandths of the fount's point."""
        return self.whole(in_points(length_mm, self.point_mm))

    def half_points(self, length_mm: Decimal) -> int:
        """A measure in half points, what is over left out."""
        return whole_down(in_points(length_mm, self.point_mm) * 2)

    def points(self, units: int) -> Decimal:
        """Ten-thousandths of a point as points. [pt]"""
        return Decimal(units) / A_POINT

    def mm(self, units: int) -> Decimal:
        """Ten-thousandths of a point as millimetres. [mm]"""
        return Decimal(units) / A_POINT * self.point_mm

    def _mean(self) -> int:
        if self.fount.characters_a_pica is not None:
            return whole_nearest(POINTS_A_PICA * A_POINT / self.fount.characters_a_pica)
        return whole_nearest(self.body * self.fount.average_set)

    @cached_property
    def spaces(self) -> dict[str, int]:
        """Spaces of the body, cast to the nearest half point or as the card says, widest first. [half points]"""
        cast = {name: nearest_half_point(self.body, many) // HALF_POINT for name, many in _TO_THE_EM.items()}
        cast |= _THIN_HALF_POINTS
        cast |= {name: self.half_points(length.in_base_unit) for name, length in self.fount.spaces.items()}
        return dict(sorted(((name, wide) for name, wide in cast.items() if wide), key=lambda one: -one[1]))

    @cached_property
    def thick(self) -> int:
        """The space between words: 3 to the em; the mean character where widths are means."""
        return self.spaces[THICK] * HALF_POINT if self.basis == "set widths" else self.mean

    def sorts(self, text: str, *, letterspaced: bool = False) -> list[str]:
        """
        The sorts that set ``text``, in order: ligatures where the fount has them, accents as one.

        A space that the text fixes is told by its name; what only steers (a soft hyphen, a joiner) is none.
        """
        if not text.isascii():
            text = unicodedata.normalize("NFC", text).replace(SOFT_HYPHEN, "")
        pieces = list(text) if letterspaced else self._pieces.findall(text)
        if text.isascii():
            return pieces
        found: list[str] = []
        for sort in pieces:
            if found and unicodedata.combining(sort[0]):
                found[-1] += sort
            elif not _only_steers(sort):
                found.append(_FIXED_SPACES.get(sort, sort))
        return found

    @cached_property
    def _pieces(self) -> re.Pattern[str]:
        """Ligatures, the longest first, else single characters."""
        longest_first = sorted(self.fount.ligatures, key=len, reverse=True)
        return re.compile("|".join((*map(re.escape, longest_first), ".")), re.DOTALL)

    @cached_property
    def _cast(self) -> dict[str, int]:
        rows = self.fount.set_widths
        return {sort: width for row in rows for width in [self.units(row.width.in_base_unit)] for sort in row.sorts}

    def sort_width(self, sort: str) -> int:
        """Width of one sort; a space between words is a thick one."""
        if sort.isspace():
            return self.thick
        width = self._cast.get(sort)
        if width is not None:
            return width
        if sort in self.spaces:
            return self.thick if sort == THICK else self.spaces[sort] * HALF_POINT
        if self.basis == "set widths":
            self.unlisted.add(sort)
            return self.mean
        return self.mean * characters_in(sort)

    def width(self, text: str, *, letterspaced: bool = False) -> int:
        """Width of a word or a line, its spaces thick; letterspaced, with hair spaces between its letters."""
        width = sum(map(self._known.__getitem__, self.sorts(text, letterspaced=letterspaced)))
        return width + self.hair * hairs_in(text) if letterspaced else width

    @property
    def hair(self) -> int:
        """A hair space. [ten-thousandths of a point]"""
        return self.spaces["hair space"] * HALF_POINT


def letters_width(text: str, widths: FountWidths, *, letterspaced: bool = False) -> int:
    """Width of the letters of a line, without the white between them. [ten-thousandths of a point]"""
    sorts = widths.sorts(text, letterspaced=letterspaced)
    return sum(widths.sort_width(sort) for sort in sorts if not sort.isspace() and sort not in widths.spaces)


def hairs_in(text: str) -> int:
    """Hair spaces of a letterspaced line: one between two letters of a word."""
    return sum(max(0, letters_in(word) - 1) for word in text.split())


def nearest_half_point(body: int, to_the_em: int) -> int:
    """A space of so many to the em, cast to the nearest half point."""
    return whole_nearest(Decimal(body) / to_the_em / HALF_POINT) * HALF_POINT


def _basis(fount: Fount) -> Basis:
    if fount.set_widths:
        return "set widths"
    return "average set" if fount.characters_a_pica is None else "characters a pica"


def letters_in(text: str) -> int:
    """Characters that are set as type: spaces are not counted, an accent is its letter's."""
    return characters_in(text) - sum(map(str.isspace, text))


def control_in(text: str) -> str:
    """The first control character of a text, by its code point, tabs and ends of lines aside; empty where none is."""
    found = (one for line in text.splitlines() for one in line if one < " " and one != "\t")
    return next((f"U+{ord(one):04X}" for one in found), "")


def characters_in(text: str) -> int:
    """Characters of a text, spaces with them, however its accents are encoded."""
    if text.isascii():
        return len(text)
    set_text = unicodedata.normalize("NFC", text)
    return sum(not unicodedata.combining(one) and not _only_steers(one) for one in set_text)


def _only_steers(character: str) -> bool:
    """Whether it is no type at all, such as a soft hyphen or a joiner."""
    return unicodedata.category(character[0]) == "Cf"
