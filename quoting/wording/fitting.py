"""All that a wording, a fount and a measure come to: lines, depth, spacing, sorts, time, what would fit."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Annotated

from msgspec import Meta, Struct

from quoting.bench.composing import Copy, all_in_minutes, text_minutes
from quoting.errors import Fault, MeasureError, NotOfferedError
from quoting.formulas import formula
from quoting.numbers import in_engine_context
from quoting.rate_card import MINUTES_AN_HOUR, RateCard
from quoting.shop import Count, Fount, Name
from quoting.units import MM_PER_INCH, Length, Size
from quoting.wording.copyfitting import Fitted, ems_a_pound, fit, spaced, words_held
from quoting.wording.hand_set import inked_mm2
from quoting.wording.sorts import (
    Short,
    Sorts,
    added,
    as_sorts,
    counted_in,
    counts_sorts,
    greatest_number_up,
    settings_of,
    shortages,
)
from quoting.wording.spacing import Arranged, SpacedLine
from quoting.wording.standing import characters_of
from quoting.wording.widths import FountWidths

NOTHING = Length("0 mm")


class Wording(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """
    Words to be fitted: in which fount and measure, onto which piece, how many at once.

    ``versions`` are further wordings that stand together with the first, each ``number_up`` times.
    """

    text: Annotated[str, Meta(min_length=1, max_length=200_000)]
    fount: Name
    measure: Length
    leading: Length = NOTHING
    piece: Size | None = None
    margins: Length = NOTHING
    arranged: Arranged = "justified"
    number_up: Count = 1
    versions: Annotated[tuple[str, ...], Meta(max_length=50)] = ()
    copy: Copy = "plain"


class OtherSize(Struct, frozen=True, kw_only=True):
    """A size of the same face, and a lead that the shop has, in which the wording fits its piece."""

    fount: str
    leading_points: Decimal
    lines: int
    depth_mm: Decimal


class CaseReport(Struct, frozen=True, kw_only=True):
    """
    The wording against the case: what it is short of, the greatest number up, how many settings it takes.

    ``is_counted`` is false where the card counts no sorts of the fount; ``settings`` is None where a
    line alone is more than the case holds.
    """

    is_counted: bool
    short: tuple[Short, ...]
    greatest_number_up: int | None
    settings: int | None
    further_settings_minutes: Decimal
    further_settings_cost: Decimal
    wanted: dict[str, int]


class SettingTime(Struct, frozen=True, kw_only=True):
    """Minutes to set, and with correcting and distributing; a warning where nobody would believe them."""

    ems_an_hour: Decimal
    setting_minutes: Decimal
    all_in_minutes: Decimal
    warning: str = ""


class FitReport(Struct, frozen=True, kw_only=True):
    """Everything about a wording that is to be set by hand."""

    fitted: Fitted
    lines: tuple[SpacedLine, ...]
    fits: bool | None
    room_mm: tuple[Decimal, Decimal] | None
    would_fit: tuple[OtherSize, ...]
    words_by_table: Decimal | None
    case: CaseReport
    time: SettingTime
    area_mm2: Decimal
    share_inked: Decimal
    pounds_of_type: Decimal


@formula(
    unit="min", sentence="{settings} further settings × ({form} min form + {lock_up} min lock-up + {wash} min wash)"
)
def further_settings_minutes(*, settings: int, form: Decimal, lock_up: Decimal, wash: Decimal) -> Decimal:
    """Minutes that further settings add away from the press: form, lock-up and washing anew for each. [min]"""
    return settings * (form + lock_up + wash)


@formula(unit="lb", sentence="{ems} ems / {ems_a_pound} a pound", source="A. A. Stewart, Type, UTA series I/1, 1918.")
def pounds_of_type(*, ems: Decimal, ems_a_pound: Decimal) -> Decimal:
    """Type that stands in a form, whites with it. [lb]"""
    return ems / ems_a_pound


@in_engine_context
def fit_report(asked: Wording, card: RateCard) -> FitReport:
    """
    Fit a wording with a fount of the card.

    Raises:
        NotOfferedError: a fount, or a kind of copy, that the card does not hold.
        MeasureError: a measure of nothing, no words, or a word wider than the measure, named by its line.
    """
    _check(asked, card)
    fount = card.founts[asked.fount]
    fitted = _fit(asked, fount, asked.leading.in_base_unit)
    lines = spaced(fitted, fount, arranged=asked.arranged)
    room = _room(asked)
    fits = None if room is None else _goes_in(fitted, room)
    area = fitted.width_mm * fitted.depth_mm
    return FitReport(
        fitted=fitted,
        lines=lines,
        fits=fits,
        room_mm=room,
        would_fit=tuple(_would_fit(asked, card, room)) if room and not fits else (),
        words_by_table=_words_by_table(fount, room, leaded=bool(asked.leading)),
        case=_case(asked, fitted, lines, card),
        time=_time(asked, fitted, card),
        area_mm2=area,
        share_inked=inked_mm2(fitted, fount) / area,
        pounds_of_type=pounds_of_type(ems=fitted.ems, ems_a_pound=ems_a_pound(body=fitted.body_points)),
    )


def _check(asked: Wording, card: RateCard) -> None:
    faults = []
    if asked.fount not in card.founts:
        faults.append(Fault("fount", f"one of {', '.join(card.founts)}", repr(asked.fount)))
    if asked.copy != "plain" and asked.copy not in card.composing.copy_factors:
        faults.append(Fault("copy", "a kind that composing.copy_factors holds", repr(asked.copy)))
    if faults:
        raise NotOfferedError(faults)


def _fit(asked: Wording, fount: Fount, leading_mm: Decimal) -> Fitted:
    return fit(asked.text, fount, measure_mm=asked.measure.in_base_unit, leading_mm=leading_mm)


def _room(asked: Wording) -> tuple[Decimal, Decimal] | None:
    """What the piece leaves inside its margins. [mm]"""
    if asked.piece is None:
        return None
    room = asked.piece.width_mm - 2 * asked.margins, asked.piece.height_mm - 2 * asked.margins
    if min(room) <= 0:
        raise MeasureError([Fault("margins", f"less than half of {asked.piece}", asked.margins.written)])
    return room


def _goes_in(fitted: Fitted, room: tuple[Decimal, Decimal]) -> bool:
    return fitted.width_mm <= room[0] and fitted.depth_mm <= room[1]


def _would_fit(asked: Wording, card: RateCard, room: tuple[Decimal, Decimal]) -> Iterator[OtherSize]:
    """Sizes of the same face with the leads of the rack, the largest and the most open first."""
    face = card.founts[asked.fount].face
    sizes = [fount for name, fount in card.founts.items() if name == asked.fount or (face and fount.face == face)]
    leads = sorted({Decimal(0), *(lead.in_base_unit for lead in card.composing.leads)}, reverse=True)
    for fount in sorted(sizes, key=lambda one: -one.body.in_base_unit):
        for lead in leads:
            fitted = _fitted_or_not(asked, fount, lead)
            if fitted is not None and _goes_in(fitted, room):
                yield OtherSize(
                    fount=fount.name,
                    leading_points=fitted.leading_points,
                    lines=len(fitted.lines),
                    depth_mm=fitted.depth_mm,
                )


def _fitted_or_not(asked: Wording, fount: Fount, leading_mm: Decimal) -> Fitted | None:
    try:
        return _fit(asked, fount, leading_mm)
    except MeasureError:
        return None


def _words_by_table(fount: Fount, room: tuple[Decimal, Decimal] | None, *, leaded: bool) -> Decimal | None:
    table = fount.words_a_square_inch
    if room is None or table is None:
        return None
    rate = (table.leaded if leaded else table.solid).in_base_unit
    held: Decimal = words_held(area=room[0] * room[1] / MM_PER_INCH**2, words_a_square_inch=rate)
    return held


def line_sorts(fitted: Fitted, lines: Sequence[SpacedLine], fount: Fount) -> list[Counter[str]]:
    """Sorts of each line, its spaces and quads with them."""
    widths = FountWidths(fount)
    return [
        characters_of(line.text, fount, widths=widths) + spacing.pieces
        for line, spacing in zip(fitted.lines, lines, strict=True)
    ]


def _case(asked: Wording, fitted: Fitted, lines: Sequence[SpacedLine], card: RateCard) -> CaseReport:
    fount = card.founts[asked.fount]
    by_line = line_sorts(fitted, lines, fount)
    for text in asked.versions:
        further = fit(text, fount, measure_mm=asked.measure.in_base_unit, leading_mm=asked.leading.in_base_unit)
        by_line.extend(line_sorts(further, spaced(further, fount, arranged=asked.arranged), fount))
    wanted = sum(by_line, Counter[str]())
    copies = {sort: count * asked.number_up for sort, count in wanted.items()}
    settings = _settings(by_line, asked, fount)
    minutes, cost = _further(max(0, (settings or 1) - 1), card)
    return CaseReport(
        is_counted=counts_sorts(fount),
        short=shortages(copies, fount.name, fount),
        greatest_number_up=greatest_number_up(wanted, fount),
        settings=settings,
        further_settings_minutes=minutes,
        further_settings_cost=cost,
        wanted=dict(sorted(copies.items())),
    )


def _settings(by_line: Sequence[Mapping[str, int]], asked: Wording, fount: Fount) -> int | None:
    if not counts_sorts(fount):
        return 1
    kept: list[Sorts] = [
        added([as_sorts({asked.fount: counted_in(line, fount)})], times=asked.number_up) for line in by_line
    ]
    found = settings_of(kept, {asked.fount: fount})
    return None if found is None else len(found)


def _further(settings: int, card: RateCard) -> tuple[Decimal, Decimal]:
    """Minutes and cost that further settings add at the case and the stone; the press comes on top."""
    form = card.composing.form.in_base_unit
    lock_up, wash = card.stone.hand_set.in_base_unit, card.stone.form_washing.in_base_unit
    minutes: Decimal = further_settings_minutes(settings=settings, form=form, lock_up=lock_up, wash=wash)
    at_case, at_stone = card.person_rate(card.worked_by.composing), card.person_rate(card.worked_by.stone)
    return minutes, settings * (form * at_case + (lock_up + wash) * at_stone) / MINUTES_AN_HOUR


def _time(asked: Wording, fitted: Fitted, card: RateCard) -> SettingTime:
    rates = card.composing
    speed = card.founts[asked.fount].ems_an_hour.in_base_unit
    if asked.copy in rates.copy_factors:
        speed *= rates.copy_factors[asked.copy]
    setting: Decimal = text_minutes(ems=fitted.ems, ems_an_hour=speed)
    minutes: Decimal = all_in_minutes(
        display=Decimal(0),
        wood=Decimal(0),
        text=setting,
        copies=asked.number_up,
        correcting=rates.correcting.in_base_unit,
        distributing=rates.distributing.in_base_unit,
    )
    wonderful = rates.wonderful_ems_an_hour
    warning = f"over the {wonderful} that the handbooks call wonderful" if speed > wonderful else ""
    return SettingTime(
        ems_an_hour=speed, setting_minutes=setting * asked.number_up, all_in_minutes=minutes, warning=warning
    )
