"""Measures at the door: read with their unit, kept exact in one base unit, written back as they came."""

from __future__ import annotations

import re
from decimal import ROUND_HALF_EVEN, Context, Decimal, localcontext
from typing import Any, ClassVar, Self

from quoting.errors import Fault, MeasureError, shown

_WIDE = Context(prec=50, rounding=ROUND_HALF_EVEN)

# Exact by definition: international yard and pound agreement, 1959.
MM_PER_INCH = Decimal("25.4")
GRAMS_PER_POUND = Decimal("453.59237")
# Standard acceleration of gravity, 3rd CGPM 1901: a pound-force in newtons.
NEWTONS_PER_POUND_FORCE = Decimal("4.4482216152605")
# American point: A. A. Stewart, Typesetting, UTA series II/16, 1919.
INCHES_PER_POINT = Decimal("0.013837")
# Didot point: 1 m = 2660 points, the German founders' rule of 1879 (from memory).
MM_PER_DIDOT_POINT = _WIDE.divide(Decimal(1000), Decimal(2660))
# Metric point: the Didot point rounded to .375 mm, as European founders took it in 1978 (from memory).
MM_PER_METRIC_POINT = Decimal("0.375")
# Height to paper: A. A. Stewart, Type, UTA series I/1, 1918.
TYPE_HEIGHT_MM = _WIDE.multiply(Decimal("0.918"), MM_PER_INCH)

# Basic sizes in inches (a ream is 500 sheets of it): the paper trade's, see tests for sources.
BASIC_SIZES_IN = {
    "bond": (Decimal(17), Decimal(22)),
    "writing": (Decimal(17), Decimal(22)),
    "book": (Decimal(25), Decimal(38)),
    "text": (Decimal(25), Decimal(38)),
    "cover": (Decimal(20), Decimal(26)),
    "index": (Decimal("25.5"), Decimal("30.5")),
    "bristol": (Decimal("22.5"), Decimal("28.5")),
    "tag": (Decimal(24), Decimal(36)),
}

with localcontext(_WIDE):
    _POINT_MM = MM_PER_INCH * INCHES_PER_POINT
    _LENGTHS_IN_MM = {
        "mm": Decimal(1),
        "cm": Decimal(10),
        "in": MM_PER_INCH,
        '"': MM_PER_INCH,
        "micron": Decimal("0.001"),
        "microns": Decimal("0.001"),
        "um": Decimal("0.001"),
        "mil": MM_PER_INCH / 1000,
        "pt": _POINT_MM,
        "pica": _POINT_MM * 12,
        "picas": _POINT_MM * 12,
        "didot": MM_PER_DIDOT_POINT,
        "cicero": MM_PER_DIDOT_POINT * 12,
        "ciceros": MM_PER_DIDOT_POINT * 12,
        "metric pt": MM_PER_METRIC_POINT,
    }
    # A measure of type is counted in the points of its founder's system, told by the unit of the body.
    _POINT_SYSTEMS = {
        "didot": ("Didot", MM_PER_DIDOT_POINT),
        "cicero": ("Didot", MM_PER_DIDOT_POINT),
        "ciceros": ("Didot", MM_PER_DIDOT_POINT),
        "metric pt": ("metric", MM_PER_METRIC_POINT),
        "mm": ("metric", MM_PER_METRIC_POINT),
        "cm": ("metric", MM_PER_METRIC_POINT),
    }
    _GRAMMAGES_IN_GSM = {"gsm": Decimal(1), "g/m2": Decimal(1)} | {
        f"lb {name}": GRAMS_PER_POUND / (500 * wide * high * MM_PER_INCH**2 / 1_000_000)
        for name, (wide, high) in BASIC_SIZES_IN.items()
    }
    _MASSES_IN_GRAMS = {
        "g": Decimal(1),
        "kg": Decimal(1000),
        "t": Decimal(1_000_000),
        "lb": GRAMS_PER_POUND,
        "oz": GRAMS_PER_POUND / 16,
    }
    _PRESSURES_IN_N_MM2 = {
        "psi": NEWTONS_PER_POUND_FORCE / MM_PER_INCH**2,
        "MPa": Decimal(1),
        "N/mm2": Decimal(1),
    }
    _AREAS_IN_MM2 = {
        "mm2": Decimal(1),
        "cm2": Decimal(100),
        "m2": Decimal(1_000_000),
        "sq in": MM_PER_INCH**2,
    }
    _MINUTES = {"min": Decimal(1), "h": Decimal(60), "s": Decimal(1) / 60}

_DIGITS = r"[0-9]{1,9}(?:\.[0-9]{1,9})?"
_NUMBER = rf"(?:(?P<whole>[0-9]{{1,6}}) )?(?P<top>[0-9]{{1,6}})/(?P<bottom>[0-9]{{1,6}})|(?P<decimal>{_DIGITS})"
_AMOUNT = re.compile(
    rf"(?:{_NUMBER})(?: ?\((?P<low>{_DIGITS}) ?(?:-|–|to) ?(?P<high>{_DIGITS})\))?"
    r"(?: ?(?P<unit>[^\s0-9().](?:.*\S)?))?"
)


class Measure(Decimal):
    """
    A quantity read from text with its unit, held in the base unit of its kind.

    ``"15 (8-25) min"`` is a usual value with the low and high that the shop has seen;
    the measure itself is the usual one. Arithmetic gives plain Decimals.
    """

    kind: ClassVar[str]
    base_unit: ClassVar[str]
    example: ClassVar[str]
    units: ClassVar[dict[str, Decimal]]
    least: ClassVar[Decimal] = Decimal(0)
    greatest: ClassVar[Decimal]
    places: ClassVar[int] = 9
    written: str
    low: Decimal
    high: Decimal

    def __new__(cls, written: str) -> Self:
        """
        Read ``written``.

        Raises:
            MeasureError: no number, a unit of another kind, or a size out of bounds.
        """
        usual, low, high = cls._read(written)
        measure = super().__new__(cls, usual)
        measure.written, measure.low, measure.high = written, low, high
        return measure

    def __reduce__(self) -> tuple[Any, ...]:
        return (type(self), (self.written,))

    def __deepcopy__(self, memo: object) -> Self:
        return self

    def __copy__(self) -> Self:
        return self

    def __repr__(self) -> str:
        return f"{type(self).__name__}({self.written!r})"

    def __str__(self) -> str:
        return self.written

    @property
    def in_base_unit(self) -> Decimal:
        """The plain number, in the base unit."""
        return Decimal(self)

    @property
    def unit(self) -> str:
        """The unit that it was written in."""
        found = _AMOUNT.fullmatch(self.written)
        return found["unit"] or "" if found else ""

    @classmethod
    def _read(cls, written: object) -> tuple[Decimal, Decimal, Decimal]:
        if not isinstance(written, str):
            raise cls._error(written, f"it in quotes, such as {cls.example!r}")
        found = _AMOUNT.fullmatch(written) if len(written) <= 60 else None
        if found is None:
            raise cls._error(written)
        scale = cls._scale(found["unit"] or "", written)
        usual = cls._convert(_number(found, written, cls), scale, written)
        if found["low"] is None:
            return usual, usual, usual
        low = cls._convert(Decimal(found["low"]), scale, written)
        high = cls._convert(Decimal(found["high"]), scale, written)
        if not low <= usual <= high:
            raise cls._error(written, "low, usual and high in rising order: usual (low-high)")
        return usual, low, high

    @classmethod
    def _scale(cls, unit: str, written: str) -> Decimal:
        scale = cls.units.get(unit)
        if scale is None:
            names = ", ".join(name or "no unit" for name in cls.units)
            raise cls._error(written, f"a {cls.kind} such as {cls.example!r}, in one of: {names}")
        return scale

    @classmethod
    def _convert(cls, number: Decimal, scale: Decimal, written: str) -> Decimal:
        exact = _WIDE.multiply(number, scale)
        rounded = exact.quantize(Decimal(1).scaleb(-cls.places), context=_WIDE)
        value = exact if exact == rounded else rounded
        if not cls.least <= value <= cls.greatest:
            raise cls._error(written, f"a {cls.kind} from {cls.least:f} to {cls.greatest:f} {cls.base_unit}".rstrip())
        return value

    @classmethod
    def _error(cls, written: object, expected: str = "") -> MeasureError:
        return MeasureError([Fault(cls.kind, expected or f"a {cls.kind} such as {cls.example!r}", shown(written))])


def _number(found: re.Match[str], written: str, measure: type[Measure]) -> Decimal:
    if found["decimal"] is not None:
        return Decimal(found["decimal"])
    bottom = Decimal(found["bottom"])
    if not bottom:
        raise measure._error(written, "a fraction with something under its line")
    return _WIDE.divide(_WIDE.fma(Decimal(found["whole"] or 0), bottom, Decimal(found["top"])), bottom)


class Length(Measure):
    """A length, in millimetres to 1e-7 mm: inches by 64ths and points fit."""

    kind, base_unit, example, places = "length", "mm", "3 1/2 in", 7
    greatest = Decimal(5000)
    units: ClassVar = _LENGTHS_IN_MM


def point_system(body: Length) -> tuple[str, Decimal]:
    """The founder's system that a body is cast in, by its unit: its name and its point. [mm]"""
    return _POINT_SYSTEMS.get(body.unit, ("American", _POINT_MM))


def in_points(length_mm: Decimal, point_mm: Decimal) -> Decimal:
    """A length in points, to a ten-thousandth: finer than any caster, and free of the millimetres' noise. [pt]"""
    return _WIDE.divide(length_mm, point_mm).quantize(Decimal("0.0001"), context=_WIDE)


class Grammage(Measure):
    """Mass of an area of paper or of an ink film, in grams a square metre."""

    kind, base_unit, example, greatest = "grammage", "g/m2", "600 gsm", Decimal(3000)
    units: ClassVar = _GRAMMAGES_IN_GSM


class Mass(Measure):
    """A mass, in grams."""

    kind, base_unit, example, greatest = "mass", "g", "500 g", Decimal(10_000_000)
    units: ClassVar = _MASSES_IN_GRAMS


class Duration(Measure):
    """A time at the bench, in minutes: a quarter of an hour is then a whole number."""

    kind, base_unit, example, greatest = "time", "min", "15 (8-25) min", Decimal(600_000)
    units: ClassVar = _MINUTES


class Hours(Measure):
    """Hours of a year or a day."""

    kind, base_unit, example, greatest = "number of hours", "h", "1800 h", Decimal(9000)
    units: ClassVar = {"h": Decimal(1)}


class Speed(Measure):
    """Pieces, sheets, letters or ems an hour."""

    kind, base_unit, example = "speed", "an hour", "700 (450-1000) an hour"
    least, greatest = Decimal(1), Decimal(100_000)
    units: ClassVar = {"an hour": Decimal(1), "/h": Decimal(1)}


class Share(Measure):
    """A share of something, from nothing to all of it."""

    kind, base_unit, example, greatest = "share", "", "2.5 (1.5-5) %", Decimal(1)
    units: ClassVar = {"%": Decimal("0.01")}


class Rise(Measure):
    """What is put on top, as a share that may exceed the whole: a mark-up of 150 %."""

    kind, base_unit, example, greatest = "mark-up", "", "35 %", Decimal(20)
    units: ClassVar = {"%": Decimal("0.01")}


class Factor(Measure):
    """A plain multiplier."""

    kind, base_unit, example, greatest = "factor", "", "0.7 (0.5-0.9)", Decimal(1000)
    units: ClassVar = {"": Decimal(1)}


class Pressure(Measure):
    """Pressure on the inked area, in newtons a square millimetre."""

    kind, base_unit, example, greatest = "pressure", "N/mm2", "300 psi", Decimal(100)
    units: ClassVar = _PRESSURES_IN_N_MM2


class Force(Measure):
    """What a press can give, in newtons."""

    kind, base_unit, example, greatest = "force", "N", "30 kN", Decimal(5_000_000)
    units: ClassVar = {"N": Decimal(1), "kN": Decimal(1000), "lbf": NEWTONS_PER_POUND_FORCE}


class Area(Measure):
    """An area, in square millimetres."""

    kind, base_unit, example, greatest = "area", "mm2", "1 sq in", Decimal(25_000_000)
    units: ClassVar = _AREAS_IN_MM2


class Amount(Measure):
    """An amount of the card's money, written as text: ``"12.50"``."""

    kind, base_unit, example, greatest = "sum of money", "", "12.50", Decimal(100_000_000)
    units: ClassVar = {"": Decimal(1)}


_SIDES = re.compile(r"(?P<first>.+?) ?[x×] ?(?P<second>.+)")
_HAS_UNIT = re.compile(r".*[a-z\"]$")


class Size:
    """
    Width by height, as ``"26 x 40 in"``, ``"88 mm x 3 1/2 in"`` or ``"95 mm"`` for a square.

    Grain is stated apart, never read from the order of the numbers.
    """

    __slots__ = ("height_mm", "width_mm", "written")
    example = "26 x 40 in"
    width_mm: Decimal
    height_mm: Decimal
    written: str

    def __init__(self, written: str) -> None:
        """
        Read ``written``.

        Raises:
            MeasureError: a side that is no length, or is nothing.
        """
        if not isinstance(written, str) or len(written) > 120:
            raise _size_error(written)
        sides = _SIDES.fullmatch(written)
        second = sides["second"] if sides else written
        first = sides["first"] if sides else written
        if not _HAS_UNIT.match(first):
            unit = re.sub(r"^[0-9 ./]+", "", second)
            first = f"{first} {unit}"
        try:
            width, height = Length(first).in_base_unit, Length(second).in_base_unit
        except MeasureError as error:
            raise _size_error(written) from error
        if not width or not height:
            raise _size_error(written)
        for name, value in (("width_mm", width), ("height_mm", height), ("written", written)):
            object.__setattr__(self, name, value)

    def __setattr__(self, name: str, value: object) -> None:
        raise AttributeError(f"a Size does not change: {name}")

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Size) and self.written == other.written

    def __hash__(self) -> int:
        return hash(self.written)

    def __repr__(self) -> str:
        return f"Size({self.written!r})"

    def __str__(self) -> str:
        return self.written

    def __reduce__(self) -> tuple[Any, ...]:
        return (Size, (self.written,))

    @property
    def area_mm2(self) -> Decimal:
        """Width times height. [mm2]"""
        return self.width_mm * self.height_mm

    @property
    def is_in_inches(self) -> bool:
        """Whether it was written in inches, and should be shown so."""
        return self.written.rstrip().endswith(("in", '"'))


def _size_error(written: object) -> MeasureError:
    return MeasureError([Fault("size", f"width and height such as {Size.example!r}", shown(written))])


def read_door_type(kind: type, value: Any) -> Any:
    """Read a measure or a size from its text; for msgspec's ``dec_hook``."""
    if isinstance(kind, type) and (issubclass(kind, (Measure, Size))):
        return value if isinstance(value, kind) else kind(value)
    raise NotImplementedError(kind)


def in_millimetres(length_mm: Decimal) -> Decimal:
    """A length as a page tells it in millimetres, to a tenth. [mm]"""
    return as_told(length_mm, places=1)


def in_inches(length_mm: Decimal) -> Decimal:
    """A length as a page tells it in inches, to a thousandth. [in]"""
    return as_told(_WIDE.divide(length_mm, MM_PER_INCH), places=3)


def as_told(number: Decimal, *, places: int) -> Decimal:
    """A measure as a page tells it, to so many places, no needless zeros."""
    return Decimal(f"{number.quantize(Decimal(1).scaleb(-places), context=_WIDE).normalize(_WIDE):f}")


def at_value(measure: Measure, value: Decimal) -> Any:
    """
    A measure of the same kind at another value in its base unit, without a spread.

    Raises:
        MeasureError: a value out of its bounds.
    """
    kind = type(measure)
    number = _WIDE.divide(value, kind.units[measure.unit]).quantize(_NINE_PLACES, context=_WIDE).normalize(_WIDE)
    return kind(f"{number:f} {measure.unit}".strip())


_NINE_PLACES = Decimal("1e-9")
