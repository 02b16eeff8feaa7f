"""Lengths in millimetres turned into whole numbers of one common unit, and back."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from math import lcm

from quoting.errors import Fault, MeasureError

# A length is held to 1e-7 mm: quoting.units.
_FINEST_PER_MM = 10**7
_GREATEST_MM = 100_000


class WholeUnits:
    """Whole numbers of a unit that every length given goes into, and the way back to millimetres."""

    def __init__(self, per_mm: int) -> None:
        self.per_mm = per_mm
        self._lengths: dict[int, Decimal] = {}

    def mm(self, units: int) -> Decimal:
        """A length, exact whatever the caller's Decimal context. [mm]"""
        length = self._lengths.get(units)
        if length is None:
            length = _decimal(units * (_FINEST_PER_MM // self.per_mm), places=7)
            self._lengths[units] = length
        return length

    def mm2(self, square_units: int) -> Decimal:
        """An area. [mm2]"""
        return _decimal(square_units * (_FINEST_PER_MM // self.per_mm) ** 2, places=14)


def _decimal(whole: int, *, places: int) -> Decimal:
    sign = "-" if whole < 0 else ""
    digits = str(abs(whole)).rjust(places + 1, "0")
    text = f"{digits[:-places]}.{digits[-places:]}".rstrip("0").rstrip(".")
    return Decimal(sign + text)


def in_whole_units(
    sides_mm: Mapping[str, Decimal], allowances_mm: Mapping[str, Decimal]
) -> tuple[WholeUnits, dict[str, int]]:
    """
    Every length as a whole number of the greatest unit of the form 1/n mm that fits them all.

    Args:
        sides_mm: Lengths that must be over nothing, by name. [mm]
        allowances_mm: Lengths that may be nothing. [mm]

    Returns:
        The unit and the whole numbers by name.

    Raises:
        MeasureError: a length that is not a number, not over nothing, or finer than 1e-7 mm.
    """
    lengths = {**sides_mm, **allowances_mm}
    faults = [_fault(name, length, name in sides_mm) for name, length in lengths.items()]
    found = [fault for fault in faults if fault is not None]
    if found:
        raise MeasureError(found)
    ratios = {name: length.as_integer_ratio() for name, length in lengths.items()}
    per_mm = lcm(*(bottom for _, bottom in ratios.values()))
    return WholeUnits(per_mm), {name: top * (per_mm // bottom) for name, (top, bottom) in ratios.items()}


def _fault(name: str, length: object, must_be_something: bool) -> Fault | None:
    least = "over 0" if must_be_something else "from 0"
    expected = f"a Decimal {least} to {_GREATEST_MM} mm, no finer than 0.0000001 mm"
    if not isinstance(length, Decimal) or not length.is_finite():
        return Fault(name, expected, repr(length)[:60])
    too_small = length <= 0 if must_be_something else length < 0
    if too_small or length > _GREATEST_MM or _FINEST_PER_MM % length.as_integer_ratio()[1]:
        return Fault(name, expected, f"{length} mm"[:60])
    return None
