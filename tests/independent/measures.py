"""Measures as they are written in cards and jobs, as Fractions; rounding of counts and of money."""

from __future__ import annotations

import math
import re
from fractions import Fraction
from functools import cache

INCH = Fraction("25.4")
POUND = Fraction("453.59237")

_UNITS = {
    "": Fraction(1),
    "%": Fraction(1, 100),
    "an hour": Fraction(1),
    # lengths, in millimetres
    "mm": Fraction(1),
    "cm": Fraction(10),
    "in": INCH,
    "pt": INCH * Fraction("0.013837"),
    "picas": INCH * Fraction("0.013837") * 12,
    # times, in minutes
    "s": Fraction(1, 60),
    "min": Fraction(1),
    "h": Fraction(60),
    # masses, in grams
    "g": Fraction(1),
    "kg": Fraction(1000),
    "lb": POUND,
    "oz": POUND / 16,
    # areas, in square millimetres
    "cm2": Fraction(100),
    "sq in": INCH * INCH,
    # grammages, in grams a square metre: pounds of 500 sheets of the basic size
    "gsm": Fraction(1),
    "g/m2": Fraction(1),
    "lb cover": POUND / (500 * 20 * 26 * INCH * INCH / 1_000_000),
    "lb text": POUND / (500 * 25 * 38 * INCH * INCH / 1_000_000),
    "lb tag": POUND / (500 * 24 * 36 * INCH * INCH / 1_000_000),
}
_WRITTEN = re.compile(r"(?:(?P<whole>\d+) )?(?P<part>\d+/\d+|[\d.]+)(?: ?\([^)]*\))? ?(?P<unit>\D.*)?")


@cache
def measure(written: str | int) -> Fraction:
    """The usual value of ``15 (8-25) min`` in the base unit of its kind."""
    found = _WRITTEN.fullmatch(str(written))
    if found is None:
        raise ValueError(f"no measure: {written!r}")
    number = Fraction(found["part"]) + int(found["whole"] or 0)
    return number * _UNITS[found["unit"] or ""]


def length(written: str) -> Fraction:
    """A length, kept to 1e-7 mm. [mm]"""
    return round(measure(written), 7)


def size(written: str) -> tuple[Fraction, Fraction]:
    """Width and height of ``4 x 2 3/4 in`` or, of a square, ``95 mm``. [mm]"""
    sides = written.split(" x ")
    unit = re.sub(r"^[\d ./]+", "", sides[-1])
    with_unit = [side if side.endswith(unit) else f"{side} {unit}" for side in sides]
    return length(with_unit[0]), length(with_unit[-1])


def up(amount: Fraction | int) -> int:
    """To the next whole number, noise past the ninth decimal left out first."""
    return math.ceil(round(Fraction(amount), 9))


def penny(amount: Fraction) -> Fraction:
    """To hundredths, half away from zero; amounts here are never under nothing."""
    return Fraction(math.floor(amount * 100 + Fraction(1, 2)), 100)


def rate_of(amount: Fraction) -> Fraction:
    """An hour rate, to 0.0001."""
    return Fraction(math.floor(amount * 10_000 + Fraction(1, 2)), 10_000)
