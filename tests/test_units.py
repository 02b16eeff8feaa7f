"""Measures at the door: read with their unit, exact, written back as they came, refused in plain words."""

from __future__ import annotations

import copy
import pickle
import time
from decimal import Context, Decimal, Inexact, localcontext
from fractions import Fraction
from typing import TypeVar

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec import Struct

from quoting.errors import Fault, MeasureError
from quoting.reader import convert, from_json, to_json
from quoting.units import (
    BASIC_SIZES_IN,
    Amount,
    Area,
    Duration,
    Factor,
    Force,
    Grammage,
    Hours,
    Length,
    Mass,
    Measure,
    Pressure,
    Rise,
    Share,
    Size,
    Speed,
    at_value,
    read_door_type,
)

_T = TypeVar("_T")

DOOR_TYPES = (
    Length,
    Grammage,
    Mass,
    Duration,
    Hours,
    Speed,
    Share,
    Rise,
    Factor,
    Pressure,
    Force,
    Area,
    Amount,
)

READ = [
    (Length("88 mm"), "88"),
    (Length("8.8 cm"), "88"),
    (Length("3 1/2 in"), "88.9"),
    (Length('3.5"'), "88.9"),
    (Length("350 microns"), "0.35"),
    (Length("350 um"), "0.35"),
    (Length("12 mil"), "0.3048"),
    (Length("1 pt"), "0.3514598"),
    (Length("1 pica"), "4.2175176"),
    (Grammage("600 gsm"), "600"),
    (Grammage("3.4 g/m2"), "3.4"),
    (Mass("1 lb"), "453.59237"),
    (Mass("4 oz"), "113.3980925"),
    (Mass("1.5 kg"), "1500"),
    (Mass("1 t"), "1000000"),
    (Duration("1 1/2 h"), "90"),
    (Duration("30 s"), "0.5"),
    (Hours("1800 h"), "1800"),
    (Speed("700 an hour"), "700"),
    (Speed("700 /h"), "700"),
    (Share("2.5 %"), "0.025"),
    (Share("33 1/3 %"), "0.333333333"),
    (Rise("150 %"), "1.5"),
    (Factor("0.7"), "0.7"),
    (Pressure("2 MPa"), "2"),
    (Force("30 kN"), "30000"),
    (Force("1 lbf"), "4.448221615"),
    (Area("1 sq in"), "645.16"),
    (Area("2 cm2"), "200"),
    (Amount("12.50"), "12.50"),
]

NO_MEASURE = [
    "",
    " ",
    "mm",
    "NaN mm",
    "sNaN mm",
    "Infinity mm",
    "-0 mm",
    "-1 mm",
    "+1 mm",
    "1e3 mm",
    "1E+999999999999999999 mm",
    "1_000 mm",
    "1,5 mm",
    " 1 mm",
    "1 mm ",
    "1 mm\n",
    "1\nmm",
    "1\tmm",
    "١٢ mm",
    "１２ mm",
    "½ in",
    "0x10 mm",
    ".5 mm",
    "5. mm",
    "1 / 2 in",
    "1/0 in",
    "1/2/3 in",
    "3 1/2",
    "3 lb",
    "15 (8) mm",
    "15 (8-25 mm",
    "1" * 4000 + " mm",
    "5001 mm",
]

NO_TEXT = [None, True, 1, 1.5, Decimal("1.5"), b"1 mm", ["1 mm"], {"mm": 1}]

NO_SIZE = [
    "",
    "x",
    "26 x",
    "x 40 in",
    "26 40 in",
    "26 x 40",
    "0 x 40 in",
    "26 x 0 in",
    "26 x 40 x 3 in",
    "26 in x 40",
]


class Kept(Struct, frozen=True):
    length: Length
    grammage: Grammage
    mass: Mass
    time: Duration
    hours: Hours
    speed: Speed
    share: Share
    rise: Rise
    factor: Factor
    pressure: Pressure
    force: Force
    area: Area
    amount: Amount
    size: Size


@pytest.mark.parametrize(("measure", "expected"), READ, ids=lambda value: repr(value) if value else "")
def test_a_measure_is_read_into_its_base_unit(measure: Measure, expected: str) -> None:
    assert Decimal(expected) == measure.in_base_unit


@given(whole=st.integers(0, 190), sixty_fourths=st.integers(1, 63))
def test_inches_by_64ths_are_exact(whole: int, sixty_fourths: int) -> None:
    written = f"{whole} {sixty_fourths}/64 in"

    assert (whole + Fraction(sixty_fourths, 64)) * Fraction("25.4") == Fraction(Length(written).in_base_unit)


@given(points=st.integers(1, 14_000))
def test_points_are_exact(points: int) -> None:
    assert points * Fraction("0.013837") * Fraction("25.4") == Fraction(Length(f"{points} pt").in_base_unit)


@pytest.mark.parametrize("paper", BASIC_SIZES_IN)
@pytest.mark.parametrize("pounds", [1, 20, 38, 80, 150])
def test_a_basis_weight_is_that_of_500_sheets_of_the_basic_size(paper: str, pounds: int) -> None:
    wide, high = BASIC_SIZES_IN[paper]
    square_metres = 500 * Fraction(wide) * Fraction(high) * Fraction("0.0254") ** 2
    exact = pounds * Fraction("453.59237") / square_metres

    assert abs(exact - Fraction(Grammage(f"{pounds} lb {paper}").in_base_unit)) <= Fraction(1, 2 * 10**9)


def test_a_length_that_does_not_end_is_rounded_once_to_a_tenth_of_a_nanometre() -> None:
    assert Decimal("8.4666667") == Length("1/3 in").in_base_unit
    assert Decimal("0.3333333") == Length("1/3 mm").in_base_unit


@pytest.mark.parametrize("written", ["15 (8-25) min", "15 (8–25) min", "15 (8 to 25) min", "15(8-25)min"])
def test_a_spread_is_a_usual_value_with_its_low_and_high(written: str) -> None:
    time_taken = Duration(written)

    assert (Decimal(15), Decimal(8), Decimal(25)) == (time_taken.in_base_unit, time_taken.low, time_taken.high)


def test_the_low_and_high_of_a_spread_are_in_the_base_unit_too() -> None:
    share = Share("2.5 (1.5-5) %")

    assert (Decimal("0.015"), Decimal("0.05")) == (share.low, share.high)


def test_without_a_spread_low_and_high_are_the_usual_value() -> None:
    length = Length("3 1/2 in")

    assert (Decimal("88.9"), Decimal("88.9")) == (length.low, length.high)


@pytest.mark.parametrize("written", ["15 (15-25) min", "15 (8-15) min", "15 (15-15) min"])
def test_a_usual_value_may_be_the_low_the_high_or_both(written: str) -> None:
    assert Duration(written).low <= Duration(written) == Decimal(15) <= Duration(written).high


@pytest.mark.parametrize(("characters", "is_looked_at"), [(59, True), (60, True), (61, False)])
def test_a_unit_is_looked_for_in_sixty_characters_at_most(characters: int, is_looked_at: bool) -> None:
    with pytest.raises(MeasureError) as refused:
        Length("1 " + "x" * (characters - 2))

    assert ("in one of" in refused.value.faults[0].expected) is is_looked_at


@pytest.mark.parametrize("written", ["15 (16-25) min", "15 (8-14) min", "15 (25-8) min"])
def test_a_spread_that_does_not_rise_is_refused(written: str) -> None:
    with pytest.raises(MeasureError, match="expected low, usual and high in rising order"):
        Duration(written)


def test_measures_come_back_from_json_as_they_were_written() -> None:
    examples = [kind.example for kind in (*DOOR_TYPES, Size)]
    kept = convert(dict(zip(Kept.__struct_fields__, examples, strict=True)), Kept)

    back = from_json(to_json(kept), Kept)

    assert kept == back
    assert examples == [str(getattr(back, field)) for field in Kept.__struct_fields__]


@pytest.mark.parametrize("kind", DOOR_TYPES)
def test_a_pickled_or_copied_measure_is_the_same(kind: type[Measure]) -> None:
    measure = kind(kind.example)

    for twin in (pickle.loads(pickle.dumps(measure)), copy.copy(measure), copy.deepcopy(measure)):
        assert type(measure) is type(twin)
        assert measure.in_base_unit == twin.in_base_unit
        assert (measure.written, measure.low, measure.high) == (twin.written, twin.low, twin.high)


@pytest.mark.parametrize("kind", DOOR_TYPES)
def test_a_measure_is_shown_as_it_was_written(kind: type[Measure]) -> None:
    measure = kind(kind.example)

    assert kind.example == str(measure)
    assert f"{kind.__name__}({kind.example!r})" == repr(measure)


def test_arithmetic_with_measures_gives_plain_decimals() -> None:
    length = Length("1 in")

    for result in (length * 2, 2 * length, length + length, length / 2, length.in_base_unit, -length, sum([length])):
        assert Decimal is type(result)


@pytest.mark.parametrize("kind", DOOR_TYPES)
def test_an_error_names_the_kind_and_an_example_of_it(kind: type[Measure]) -> None:
    with pytest.raises(MeasureError) as raised:
        kind("a fathom")

    (fault,) = raised.value.faults
    assert kind.kind == fault.where
    assert f"a {kind.kind} such as {kind.example!r}" == fault.expected
    assert fault.found == "'a fathom'"


def test_an_unknown_unit_is_answered_with_the_known_ones() -> None:
    with pytest.raises(MeasureError, match="in one of: g, kg, t, lb, oz; found '3 stone'"):
        Mass("3 stone")


@pytest.mark.parametrize(
    ("kind", "written", "bounds"),
    [
        (Length, "5001 mm", "a length from 0 to 5000 mm"),
        (Share, "101 %", "a share from 0 to 1"),
        (Speed, "0 an hour", "a speed from 1 to 100000 an hour"),
        (Hours, "9001 h", "a number of hours from 0 to 9000 h"),
        (Amount, "100000001", "a sum of money from 0 to 100000000"),
    ],
)
def test_a_measure_out_of_bounds_is_told_them(kind: type[Measure], written: str, bounds: str) -> None:
    with pytest.raises(MeasureError) as raised:
        kind(written)

    assert [bounds] == [fault.expected for fault in raised.value.faults]


@pytest.mark.parametrize("written", NO_MEASURE, ids=lambda written: repr(written)[:24])
def test_what_is_no_length_is_refused(written: str) -> None:
    with pytest.raises(MeasureError, match="length: expected "):
        Length(written)


@pytest.mark.parametrize("value", NO_TEXT, ids=repr)
@pytest.mark.parametrize("kind", DOOR_TYPES)
def test_a_measure_that_is_not_written_as_text_is_asked_for_in_quotes(kind: type[Measure], value: object) -> None:
    with pytest.raises(MeasureError, match="expected it in quotes, such as"):
        kind(value)  # type: ignore[arg-type]  # the fault


@pytest.mark.parametrize("written", ["9" * 4000 + " mm", "<" * 4000])
def test_an_error_does_not_repeat_thousands_of_characters(written: str) -> None:
    with pytest.raises(MeasureError) as raised:
        Length(written)

    assert len(str(raised.value)) < 400


def read_as(kind: type[_T], written: str) -> tuple[_T | None, tuple[Fault, ...]]:
    """What a text is read as, or the faults that it is refused with."""
    try:
        return kind(written), ()  # type: ignore[call-arg]  # measures and sizes are made of text
    except MeasureError as error:
        return None, error.faults


@given(
    kind=st.sampled_from(DOOR_TYPES),
    written=st.text(max_size=70) | st.text("0123456789./ ()-–eE+_NaIinfty%mhgslbxo\n\t", max_size=20),
)
def test_any_text_is_a_measure_within_its_bounds_or_one_fault(kind: type[Measure], written: str) -> None:
    measure, faults = read_as(kind, written)

    assert (1 if measure is None else 0) == len(faults)
    assert measure is None or kind.least <= measure.low <= measure <= measure.high <= kind.greatest


@pytest.mark.parametrize(
    "context", [Context(prec=3), Context(prec=3, traps=[Inexact]), Context(prec=28, Emax=2, Emin=-2)]
)
@pytest.mark.parametrize(
    ("kind", "written"), [(Length, "123 1/64 in"), (Grammage, "80 lb cover"), (Mass, "1 oz"), (Duration, "1/3 h")]
)
def test_a_measure_is_read_alike_whatever_the_callers_context(
    kind: type[Measure], written: str, context: Context
) -> None:
    expected = kind(written).in_base_unit

    with localcontext(context):
        measure = kind(written)

    assert expected == measure.in_base_unit


@pytest.mark.parametrize(
    ("written", "sides"),
    [
        ("26 x 40 in", ("660.4", "1016")),
        ("26 × 40 in", ("660.4", "1016")),
        ("26x40 in", ("660.4", "1016")),
        ("3 1/2 x 2 in", ("88.9", "50.8")),
        ('3 1/2 x 2"', ("88.9", "50.8")),
        ("88 mm x 3 1/2 in", ("88", "88.9")),
        ("95 mm", ("95", "95")),
        ("8.5 x 11 in", ("215.9", "279.4")),
    ],
)
def test_a_size_is_width_by_height(written: str, sides: tuple[str, str]) -> None:
    size = Size(written)

    assert tuple(Decimal(side) for side in sides) == (size.width_mm, size.height_mm)
    assert written == str(size)


@pytest.mark.parametrize("written", [*NO_SIZE, *NO_MEASURE, *NO_TEXT], ids=lambda value: repr(value)[:24])
def test_what_is_no_size_is_refused(written: object) -> None:
    with pytest.raises(MeasureError, match="size: expected width and height such as '26 x 40 in'"):
        Size(written)  # type: ignore[arg-type]  # the fault


def test_a_size_does_not_change() -> None:
    size = Size("26 x 40 in")

    with pytest.raises(AttributeError, match="a Size does not change: width_mm"):
        size.width_mm = Decimal(1)


def test_a_pickled_or_copied_size_is_the_same() -> None:
    size = Size("3 1/2 x 2 in")

    for twin in (pickle.loads(pickle.dumps(size)), copy.copy(size), copy.deepcopy(size)):
        assert size == twin
        assert (size.width_mm, size.height_mm) == (twin.width_mm, twin.height_mm)
        assert hash(size) == hash(twin)


def test_the_area_of_a_size_is_width_times_height() -> None:
    assert Decimal("10000") == Size("100 x 100 mm").area_mm2


def test_a_size_says_whether_it_was_written_in_inches() -> None:
    assert [Size(one).is_in_inches for one in ("26 x 40 in", '2"', "88 mm")] == [True, True, False]


def test_a_long_text_is_refused_as_a_size_in_no_time() -> None:
    started = time.process_time()
    with pytest.raises(MeasureError):
        Size("x" * 30_000 + "\n")

    assert time.process_time() - started < 0.2


@given(written=st.text(max_size=40) | st.text('0123456789./ x×inmpt"\n', max_size=20))
def test_any_text_is_a_size_with_two_sides_or_one_fault(written: str) -> None:
    size, faults = read_as(Size, written)

    assert (1 if size is None else 0) == len(faults)
    assert size is None or min(size.width_mm, size.height_mm) > 0


@pytest.mark.parametrize(
    ("measure", "value", "written"),
    [
        (Amount("12.50"), "13.75", "13.75"),
        (Amount("0"), "100", "100"),
        (Amount("1250"), "1E+3", "1000"),
        (Share("2.5 (1.5-5) %"), "0.04", "4 %"),
        (Length("3 1/2 in"), "25.4", "1 in"),
        (Duration("15 (8-25) min"), "20", "20 min"),
        (Amount("1"), "0.0000000004", "0"),
        (Amount("1"), "0.0000000006", "0.000000001"),
    ],
)
def test_a_measure_at_another_value_keeps_its_unit_and_loses_its_spread(
    measure: Measure, value: str, written: str
) -> None:
    moved = at_value(measure, Decimal(value))

    assert (type(moved), str(moved)) == (type(measure), written)
    assert moved.low == moved == moved.high


@pytest.mark.parametrize("value", ["-0.01", "100000000.01"])
def test_an_amount_is_not_moved_out_of_its_bounds(value: str) -> None:
    """Nothing is paid to be bought: a sum of money is 0 or more."""
    with pytest.raises(MeasureError) as refused:
        at_value(Amount("12.50"), Decimal(value))

    assert refused.value.faults[0].where == "sum of money"


@pytest.mark.parametrize(
    ("written", "where"),
    [
        ("0", 0),
        ("100000000", 100_000_000),
        ("12.50", Decimal("12.5")),
        ("3/4", Decimal("0.75")),
        ("1 1/4", Decimal("1.25")),
    ],
)
def test_an_amount_is_what_is_written(written: str, where: Decimal) -> None:
    assert Amount(written) == where


@pytest.mark.parametrize(
    "written",
    [
        *(
            "-1",
            "100000000.01",
            "1,50",
            "1.2345678901",
            "1000000000",
            "12.50 EUR",
            "1/0",
            "0/0",
            "NaN",
            "Infinity",
            "1e3",
        ),
        *("1 1/2 3", "", " 1", "1 ", "١", "5 (6-7)", "5 (3-4)", "1." + "0" * 58 + "1"),
    ],
)
def test_what_is_no_amount_of_the_card_is_refused(written: str) -> None:
    with pytest.raises(MeasureError) as refused:
        Amount(written)

    assert [fault.where for fault in refused.value.faults] == ["sum of money"]


def test_a_fraction_over_nothing_is_told_as_that() -> None:
    with pytest.raises(MeasureError, match="something under its line"):
        Amount("1/0")


def test_the_door_takes_what_was_read_already_and_knows_its_own_types_alone() -> None:
    read = Amount("12.50")

    assert read_door_type(Amount, read) is read
    assert read_door_type(Amount, "12.50") == read
    with pytest.raises(NotImplementedError):
        read_door_type(dict, {})
