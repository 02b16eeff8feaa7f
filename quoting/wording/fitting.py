"""All that a wording, a fount and a measure come to: lines, depth, spacing, sorts, time, what would fit."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Annotated, Literal

from msgspec import Meta, Struct

from quoting.bench.composing import Copy, all_in_minutes, minutes_to_set
from quoting.errors import Fault, MeasureError, NotOfferedError
from quoting.formulas import Recording, Step, formula
from quoting.job import HandSet, SetLine, TextBlock
from quoting.numbers import in_engine_context, plain
from quoting.rate_card import MINUTES_AN_HOUR, RateCard
from quoting.shop import Count, CountOrNone, Fount, Name
from quoting.units import MM_PER_INCH, Length, Size, in_points
from quoting.wording.copyfitting import Fitted, ems_a_pound, ems_set, fit, spaced, words_held
from quoting.wording.hand_set import inked_line_mm2, inked_mm2, setting_of
from quoting.wording.sorts import (
    Short,
    Sorts,
    added,
    as_sorts,
    by_fount,
    counted_in,
    counts_sorts,
    fewest_settings,
    greatest_number_up,
    in_order,
    short_of,
    shortages,
)
from quoting.wording.spacing import Arranged, SpacedLine, spaced_line, spaces_of
from quoting.wording.widths import EM_QUAD, FountWidths, letters_in

NOTHING = Length("0 mm")


class Wording(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """
    Words to be fitted: in which fount and measure, onto which piece, how many at once.

    ``work``: running text, broken to the measure, or display, whose lines stand as they are; ``headings`` are
    display lines over it, each in its own fount. ``versions`` are further wordings that stand together with
    the first, under the same headings, each ``number_up`` times. ``broken_out``: it was set with an earlier
    colour's lines and is only lifted out of them.
    """

    text: Annotated[str, Meta(min_length=1, max_length=200_000)]
    fount: Name
    measure: Length
    leading: Length = NOTHING
    piece: Size | None = None
    margins: Length = NOTHING
    work: Literal["text", "display"] = "text"
    arranged: Arranged | None = None
    letterspaced: bool = False
    headings: Annotated[tuple[SetLine, ...], Meta(max_length=200)] = ()
    borders: CountOrNone = 0
    broken_out: bool = False
    stand_ins: bool = False
    number_up: Count = 1
    versions: Annotated[tuple[str, ...], Meta(max_length=50)] = ()
    copy: Copy = "plain"

    def __post_init__(self) -> None:
        if self.letterspaced and self.work == "text":
            raise ValueError("expected letterspacing of display work; found it of running text")
        if self.work == "display" and self.copy != "plain":
            raise ValueError(f"expected plain copy of display work, which goes by the line; found {self.copy!r}")

    @property
    def stands(self) -> Arranged:
        """How its lines stand: as asked, else running text justified and display centred."""
        return self.arranged or ("justified" if self.work == "text" else "centred")


class OtherSize(Struct, frozen=True, kw_only=True):
    """A size of the same face, and a lead that the shop has, in which the wording fits its piece."""

    fount: str
    leading_points: Decimal
    measure_half_points: int
    lines: int
    depth_mm: Decimal


class Heading(Struct, frozen=True, kw_only=True):
    """A display line over the wording, in its own fount, centred."""

    fount: str
    line: SpacedLine


class CaseReport(Struct, frozen=True, kw_only=True):
    """
    The wording against the cases: what they are short of, the greatest number up, how many settings it takes.

    ``is_counted`` is false where the card counts no sorts of its founts; ``settings`` is None where a
    line alone is more than the case holds. ``wanted`` is by fount.
    """

    is_counted: bool
    short: tuple[Short, ...]
    greatest_number_up: int | None
    settings: int | None
    further_settings_minutes: Decimal
    further_settings_cost: Decimal
    wanted: dict[str, dict[str, int]]


class SettingTime(Struct, frozen=True, kw_only=True):
    """
    What composing comes to, of all versions so many up; a warning where nobody would believe its speed.

    ``display_minutes`` have the form in them; ``setting_minutes`` are those of display, wood and text together.
    """

    ems_an_hour: Decimal
    display_minutes: Decimal
    wood_minutes: Decimal
    text_minutes: Decimal
    setting_minutes: Decimal
    correcting_minutes: Decimal
    distributing_minutes: Decimal
    all_in_minutes: Decimal
    cost: Decimal
    steps: tuple[Step, ...]
    warning: str = ""


class FitReport(Struct, frozen=True, kw_only=True):
    """
    Everything about a wording that is to be set by hand.

    ``loose_lines`` are those justified with more than an em between words.
    """

    fitted: Fitted
    headings: tuple[Heading, ...]
    lines: tuple[SpacedLine, ...]
    loose_lines: tuple[int, ...]
    fits: bool | None
    room_mm: tuple[Decimal, Decimal] | None
    would_fit: tuple[OtherSize, ...]
    words_by_table: Decimal | None
    case: CaseReport
    time: SettingTime
    width_mm: Decimal
    depth_mm: Decimal
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
    Fit a wording with founts of the card.

    Raises:
        NotOfferedError: a fount, or a kind of copy, that the card does not hold.
        MeasureError: a measure of nothing, no words, or a word wider than the measure, named by its line.
    """
    _check(asked, card)
    fount = card.founts[asked.fount]
    headings = _headings(asked, card)
    versions = [_version(asked, text, place, fount) for place, text in enumerate((asked.text, *asked.versions))]
    first = versions[0]
    room = _room(asked)
    over = sum((card.founts[line.fount].body.in_base_unit for line in asked.headings), Decimal(0))
    width, depth = first.fitted.width_mm, over + first.fitted.depth_mm
    fits = None if room is None else width <= room[0] and depth <= room[1]
    area = width * depth
    return FitReport(
        fitted=first.fitted,
        headings=headings,
        lines=first.lines,
        loose_lines=tuple(_loose(first.lines, fount)),
        fits=fits,
        room_mm=room,
        would_fit=tuple(_would_fit(asked, card, (room[0], room[1] - over))) if room and not fits else (),
        words_by_table=_words_by_table(fount, room, leaded=bool(asked.leading)),
        case=_case(asked, headings, versions, card),
        time=_time(asked, versions, card),
        width_mm=width,
        depth_mm=depth,
        area_mm2=area,
        share_inked=_inked_mm2(asked, first.fitted, card) / area,
        pounds_of_type=_pounds(asked, first.fitted, card),
    )


class _Version(Struct, frozen=True):
    text: str
    fitted: Fitted
    lines: tuple[SpacedLine, ...]


def _version(asked: Wording, text: str, place: int, fount: Fount) -> _Version:
    try:
        fitted = _fit(asked, text, fount, asked.measure.in_base_unit, asked.leading.in_base_unit)
        lines = spaced(fitted, fount, arranged=asked.stands, letterspaced=asked.letterspaced)
    except MeasureError as error:
        if not place:
            raise
        told = [Fault(f"versions[{place - 1}], {one.where}", one.expected, one.found) for one in error.faults]
        raise MeasureError(told) from None
    return _Version(text, fitted, lines)


def _headings(asked: Wording, card: RateCard) -> tuple[Heading, ...]:
    """Each display line over the wording, centred in the measure in its own fount's points."""
    found = []
    for place, line in enumerate(asked.headings):
        fount = card.founts[line.fount]
        widths = FountWidths(fount)
        found.append(
            Heading(
                fount=fount.name,
                line=spaced_line(
                    line.text,
                    fount,
                    measure_half_points=widths.half_points(asked.measure.in_base_unit),
                    arranged="centred",
                    where=f"heading {place + 1}",
                    letterspaced=line.letterspaced,
                    widths=widths,
                ),
            )
        )
    return tuple(found)


def _loose(lines: Sequence[SpacedLine], fount: Fount) -> Iterator[int]:
    em = spaces_of(fount)[EM_QUAD]
    for number, line in enumerate(lines, start=1):
        if line.arranged == "justified" and any(
            one.half_points > em for one in line.filled if one.place.startswith("after ")
        ):
            yield number


def _inked_mm2(asked: Wording, fitted: Fitted, card: RateCard) -> Decimal:
    over = sum((inked_line_mm2(line, card.founts[line.fount]) for line in asked.headings), Decimal(0))
    return over + inked_mm2(fitted, card.founts[asked.fount])


def _pounds(asked: Wording, fitted: Fitted, card: RateCard) -> Decimal:
    """What the metal type of one form weighs, its whites with it. [lb]"""
    found = Decimal(0)
    for name, lines in ((asked.fount, len(fitted.lines)), *((line.fount, 1) for line in asked.headings)):
        fount = card.founts[name]
        if fount.material != "metal":
            continue
        body = FountWidths(fount).body_points
        measure = Decimal(FountWidths(fount).half_points(asked.measure.in_base_unit)) / 2
        ems = ems_set(measure=measure, body=body, lines=lines)
        found += pounds_of_type(ems=ems, ems_a_pound=ems_a_pound(body=body))
    return found


def _check(asked: Wording, card: RateCard) -> None:
    named = [("fount", asked.fount)]
    named += [(f"headings[{place}].fount", line.fount) for place, line in enumerate(asked.headings)]
    faults = [
        Fault(where, f"one of {', '.join(card.founts)}", repr(name))
        for where, name in named
        if name not in card.founts
    ]
    if asked.copy != "plain" and asked.copy not in card.composing.copy_factors:
        faults.append(Fault("copy", "a kind that composing.copy_factors holds", repr(asked.copy)))
    if faults:
        raise NotOfferedError(faults)


def _fit(asked: Wording, text: str, fount: Fount, measure_mm: Decimal, leading_mm: Decimal) -> Fitted:
    return fit(
        text,
        fount,
        measure_mm=measure_mm,
        leading_mm=leading_mm,
        display=asked.work == "display",
        letterspaced=asked.letterspaced,
    )


def _room(asked: Wording) -> tuple[Decimal, Decimal] | None:
    """What the piece leaves inside its margins. [mm]"""
    if asked.piece is None:
        return None
    room = asked.piece.width_mm - 2 * asked.margins, asked.piece.height_mm - 2 * asked.margins
    if min(room) <= 0:
        raise MeasureError([Fault("margins", f"less than half of {asked.piece}", asked.margins.written)])
    return room


def _would_fit(asked: Wording, card: RateCard, room: tuple[Decimal, Decimal]) -> Iterator[OtherSize]:
    """
    Sizes of the same face with the leads of the rack, the largest and the most open first.

    In the measure asked for, or in the width of the room where that is less.
    """
    face = card.founts[asked.fount].face
    sizes = [fount for name, fount in card.founts.items() if name == asked.fount or (face and fount.face == face)]
    leads = sorted({Decimal(0), *(lead.in_base_unit for lead in card.composing.leads)}, reverse=True)
    measure = min(asked.measure.in_base_unit, room[0])
    for fount in sorted(sizes, key=lambda one: -one.body.in_base_unit):
        solid = _fitted_or_not(asked, fount, measure)
        lines = len(solid.lines) if solid else 0
        for lead in leads if lines > 1 else leads[-1:]:
            if solid and solid.depth_mm + (lines - 1) * lead <= room[1]:
                yield OtherSize(
                    fount=fount.name,
                    leading_points=in_points(lead, FountWidths(fount).point_mm),
                    measure_half_points=solid.measure_half_points,
                    lines=lines,
                    depth_mm=solid.depth_mm + (lines - 1) * lead,
                )


def _fitted_or_not(asked: Wording, fount: Fount, measure_mm: Decimal) -> Fitted | None:
    try:
        return _fit(asked, asked.text, fount, measure_mm, Decimal(0))
    except MeasureError:
        return None


def _words_by_table(fount: Fount, room: tuple[Decimal, Decimal] | None, *, leaded: bool) -> Decimal | None:
    table = fount.words_a_square_inch
    if room is None or table is None:
        return None
    rate = (table.leaded if leaded else table.solid).in_base_unit
    held: Decimal = words_held(area=room[0] * room[1] / MM_PER_INCH**2, words_a_square_inch=rate)
    return held


def _rows(asked: Wording, headings: Sequence[Heading], version: _Version, card: RateCard) -> list[Sorts]:
    """Sorts of each line of a version, its spaces and quads with them; only of founts that the card counts."""
    told = [
        (line.fount, heading.line, line.letterspaced) for line, heading in zip(asked.headings, headings, strict=True)
    ]
    told += [(asked.fount, line, asked.letterspaced) for line in version.lines]
    widths = {name: FountWidths(card.founts[name]) for name in {name for name, _, _ in told}}
    return [
        as_sorts({name: counted_in(line.sorts(widths[name], letterspaced=letterspaced), card.founts[name])})
        for name, line, letterspaced in told
    ]


def _case(asked: Wording, headings: Sequence[Heading], versions: Sequence[_Version], card: RateCard) -> CaseReport:
    used = {asked.fount, *(line.fount for line in asked.headings)}
    counted = {name: card.founts[name] for name in card.founts if name in used and counts_sorts(card.founts[name])}
    rows = [row for version in versions for row in _rows(asked, headings, version, card)]
    one_up = added(rows)
    wanted = by_fount(added([one_up], times=asked.number_up))
    most = [
        greatest_number_up(wanted, counted[name], stand_ins=asked.stand_ins)
        for name, wanted in by_fount(one_up).items()
        if name in counted
    ]
    settings = _settings(asked, rows, counted)
    minutes, cost = _further(max(0, (settings or 1) - 1), card)
    return CaseReport(
        is_counted=bool(counted),
        short=tuple(
            short
            for name, fount in counted.items()
            for short in shortages(wanted.get(name, {}), fount.name, fount, stand_ins=asked.stand_ins)
        ),
        greatest_number_up=min((number for number in most if number is not None), default=None),
        settings=settings,
        further_settings_minutes=minutes,
        further_settings_cost=cost,
        wanted=wanted,
    )


def _settings(asked: Wording, rows: Sequence[Sorts], counted: Mapping[str, Fount]) -> int | None:
    """Settings that its lines take; display in any order, running text in its own."""
    held = [tuple(one for one in row if one[0] in counted) for row in rows]

    def goes_in(places: Sequence[int]) -> bool:
        kept = added((held[place] for place in places), times=asked.number_up)
        return not short_of(kept, counted, stand_ins=asked.stand_ins)

    found = (fewest_settings if asked.work == "display" else in_order)(len(held), goes_in)
    return None if found is None else len(found)


def _further(settings: int, card: RateCard) -> tuple[Decimal, Decimal]:
    """Minutes and cost that further settings add at the case and the stone; the press comes on top."""
    form = card.composing.form.in_base_unit
    lock_up, wash = card.stone.hand_set.in_base_unit, card.stone.form_washing.in_base_unit
    minutes: Decimal = further_settings_minutes(settings=settings, form=form, lock_up=lock_up, wash=wash)
    at_case, at_stone = card.person_rate(card.worked_by.composing), card.person_rate(card.worked_by.stone)
    return minutes, settings * (form * at_case + (lock_up + wash) * at_stone) / MINUTES_AN_HOUR


def form_of(asked: Wording, text: str) -> HandSet:
    """The hand-set form that a job would have for this wording."""
    if asked.work == "display":
        told = tuple(
            SetLine(" ".join(line.split()), asked.fount, asked.letterspaced)
            for line in text.splitlines()
            if letters_in(line)
        )
        return HandSet(lines=(*asked.headings, *told), borders=asked.borders, broken_out=asked.broken_out)
    block = TextBlock(
        fount=asked.fount, wording=text, measure=asked.measure, leading=asked.leading or None, copy=asked.copy
    )
    return HandSet(lines=asked.headings, text=block, borders=asked.borders, broken_out=asked.broken_out)


def _time(asked: Wording, versions: Sequence[_Version], card: RateCard) -> SettingTime:
    rates, do = card.composing, Recording()
    speed = card.founts[asked.fount].ems_an_hour * rates.copy_factors.get(asked.copy, Decimal(1))
    display, wood, text, whole = Decimal(0), Decimal(0), Decimal(0), Decimal(0)
    correcting, distributing = rates.correcting.in_base_unit, rates.distributing.in_base_unit
    for version in versions:
        setting = setting_of(form_of(asked, version.text), card.founts, copy_factors=rates.copy_factors)
        of_display, of_wood, of_text = minutes_to_set(do, rates, setting)
        whole += do(
            all_in_minutes,
            display=of_display,
            wood=of_wood,
            text=of_text,
            copies=asked.number_up,
            correcting=correcting,
            distributing=distributing,
        )
        display, wood, text = display + of_display, wood + of_wood, text + of_text
    times = asked.number_up
    to_set = (display + wood + text) * times
    wonderful = rates.wonderful_ems_an_hour
    believed = asked.work == "display" or speed <= wonderful
    return SettingTime(
        ems_an_hour=speed,
        display_minutes=display * times,
        wood_minutes=wood * times,
        text_minutes=text * times,
        setting_minutes=to_set,
        correcting_minutes=to_set * correcting,
        distributing_minutes=to_set * distributing,
        all_in_minutes=whole,
        cost=whole * card.person_rate(card.worked_by.composing) / MINUTES_AN_HOUR,
        steps=do.taken(),
        warning="" if believed else f"over the {plain(wonderful)} ems an hour that the handbooks call wonderful",
    )
