"""The plain limits: each refusal says what is wrong, and the way round it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from decimal import Decimal

from msgspec.structs import replace

from quoting.job import HandSet, Part, Side
from quoting.numbers import plain
from quoting.planning.forms import FormPlan
from quoting.planning.refused import FORCE, FORM, LAID, SHEET, Refusal
from quoting.planning.settings import WAYS_ROUND, told_short
from quoting.planning.turning import Grid
from quoting.presswork import Pass
from quoting.rate_card import RateCard, tag_of
from quoting.shop import ParentSheets, Press, ReadyCut
from quoting.units import TYPE_HEIGHT_MM, Size
from quoting.wording import in_settings, short_of, sorts_kept


def part_refusal(part: Part, forms: Sequence[FormPlan], stock: ParentSheets | ReadyCut, card: RateCard) -> str:
    """Why no press can make this part as it is asked for; empty where one may."""
    checks = (
        _bleed_refusal(forms, stock),
        _form_size_refusal(part, forms),
        _register_refusal(part, stock),
        _seam_refusal(part, stock),
        _pale_refusal(part, stock, card),
        _deep_type_refusal(part, forms),
        _fount_refusal(part, card),
        _ready_cut_refusal(part, stock),
        _shape_refusal(part, stock),
    )
    return next((refusal for refusal in checks if refusal), "")


def press_refusal(
    part: Part, forms: Sequence[FormPlan], stock: ParentSheets | ReadyCut, press: Press, card: RateCard
) -> str:
    """Why this press cannot make it, whatever the imposition; empty where it may."""
    if stock.stock_class not in press.speeds:
        name = card.stock_classes[stock.stock_class].name
        return f"it is not fed with {name}: choose another stock, or give the press a speed for it"
    if stock.caliper > press.greatest_caliper:
        return (
            f"{stock.name} is {plain(stock.caliper)} mm thick, over the {plain(press.greatest_caliper)} mm it takes:"
            " choose a thinner stock, or duplex after printing"
        )
    return _pins_refusal(part, forms, stock, press) or _height_refusal(forms, press, card)


def bare_refusal(part: Part, press: Press, grid: Grid) -> Refusal | None:
    """Why the pieces alone are too large a sheet, before anything is put round them; None where they are not."""
    width, height = grid.across * part.size.width_mm, grid.down * part.size.height_mm
    return None if fits(width, height, press.greatest_sheet) else _over_greatest(width, height, press)


def _over_greatest(width_mm: Decimal, height_mm: Decimal, press: Press) -> Refusal:
    told = "a sheet of {} x {} mm is over the greatest it feeds, {}: fewer up, or a smaller piece"
    return Refusal(told, (width_mm, height_mm, press.greatest_sheet), SHEET)


def sheet_refusal(
    part: Part,
    forms: Sequence[FormPlan],
    press: Press,
    *,
    grid: Grid,
    width_mm: Decimal,
    height_mm: Decimal,
) -> Refusal | None:
    """Why this press cannot feed this sheet, or hold the forms of its pieces; None where it can."""
    if not fits(width_mm, height_mm, press.greatest_sheet):
        return _over_greatest(width_mm, height_mm, press)
    if not _reaches(width_mm, height_mm, press.least_sheet):
        told = "a sheet of {} x {} mm is under the least it feeds, {}: print several up and cut after"
        return Refusal(told, (width_mm, height_mm, press.least_sheet), SHEET)
    for form in forms:
        if form.number_up > 1 and not (form.width_mm <= width_mm and form.height_mm <= height_mm):
            told = (
                "the client's plate of {} x {} mm does not lie on a sheet of {} x {} mm, {} x {} pieces:"
                " the way its pieces stand decides"
            )
            found = (form.width_mm, form.height_mm, width_mm, height_mm, grid.across, grid.down)
            return Refusal(told, found, LAID)
    return _form_refusal(part, forms, press, grid)


def fits(width: Decimal, height: Decimal, within: Size) -> bool:
    """Whether a rectangle goes into another, either way round. [mm]"""
    long, short = max(width, height), min(width, height)
    return long <= max(within.width_mm, within.height_mm) and short <= min(within.width_mm, within.height_mm)


def _reaches(width: Decimal, height: Decimal, least: Size) -> bool:
    long, short = max(width, height), min(width, height)
    return long >= max(least.width_mm, least.height_mm) and short >= min(least.width_mm, least.height_mm)


def _bleed_refusal(forms: Sequence[FormPlan], stock: ParentSheets | ReadyCut) -> str:
    if isinstance(stock, ReadyCut) and any(form.bleeds for form in forms):
        return (
            f"a form bleeds off {stock.name}, which is cut already: print an oversize sheet, then cut or die-cut it"
        )
    return ""


def _form_size_refusal(part: Part, forms: Sequence[FormPlan]) -> str:
    for form in forms:
        if form.number_up == 1 and not form.bleeds and not _within(form, part.size):
            return (
                f"a form of {plain(form.width_mm)} x {plain(form.height_mm)} mm is larger than the piece,"
                f" {part.size}: a smaller fount or plate, a larger piece, or a form that bleeds"
            )
    return ""


def _within(form: FormPlan, size: Size) -> bool:
    return form.width_mm <= size.width_mm and form.height_mm <= size.height_mm


def _register_refusal(part: Part, stock: ParentSheets | ReadyCut) -> str:
    close = any(colour.register == "close" for side in _sides(part) for colour in side.colours)
    if close and part.shape == "round" and isinstance(stock, ReadyCut):
        return (
            "close register on a round blank: pins hold its centre, not its angle;"
            " choose loose register, or print square and die-cut"
        )
    return ""


def _seam_refusal(part: Part, stock: ParentSheets | ReadyCut) -> str:
    bites = any(side.impression != "kiss" for side in _sides(part))
    if isinstance(stock, ReadyCut) and stock.envelope_seam and bites:
        return (
            f"a form across the seam of {stock.name} at more than a kiss:"
            " choose a kiss impression, or print flat and have it made up"
        )
    return ""


def _pale_refusal(part: Part, stock: ParentSheets | ReadyCut, card: RateCard) -> str:
    if not stock.dark:
        return ""
    for side in _sides(part):
        hits = Counter(colour.ink for colour in side.colours)
        for name, times in hits.items():
            if name and card.inks[name].pale and not card.inks[name].opaque and times * card.inks[name].hits < 2:
                return (
                    f"{card.inks[name].name} on {stock.name}, which is dark, in one hit:"
                    " print it twice, choose an opaque ink, or have it foil stamped"
                )
    return ""


def _deep_type_refusal(part: Part, forms: Sequence[FormPlan]) -> str:
    deep = any(side.impression == "deep" for side in _sides(part))
    if deep and any(form.kind != "plate" for form in forms):
        return "deep impression from type would ruin it: choose a visible impression, or a plate"
    return ""


def _fount_refusal(part: Part, card: RateCard) -> str:
    """Short of letters, or two heights in one form."""
    for side in _sides(part):
        for colour in side.colours:
            if isinstance(colour.form, HandSet):
                refusal = _short_of_letters(colour.form, card) or _two_heights(colour.form, card)
                if refusal:
                    return refusal
    return ""


def _short_of_letters(form: HandSet, card: RateCard) -> str:
    """A single line that the case cannot set; what a whole form lacks is a matter of settings."""
    if in_settings(form, card.founts, copies=1) is not None:
        return ""
    for line in form.lines:
        alone = sorts_kept(replace(form, lines=(line,), text=None), card.founts)
        short = short_of(alone, card.founts, stand_ins=form.stand_ins)
        if short:
            return f"{told_short(short)}: {WAYS_ROUND}"
    short = short_of(sorts_kept(form, card.founts), card.founts, stand_ins=form.stand_ins)
    return f"{told_short(short)}: {WAYS_ROUND}"


def _two_heights(form: HandSet, card: RateCard) -> str:
    heights = {card.founts[line.fount].height_mm for line in form.lines}
    if len(heights) > 1:
        return "two type heights in one form: set them as two forms, or underlay all of the lower one"
    return ""


def _ready_cut_refusal(part: Part, stock: ParentSheets | ReadyCut) -> str:
    if not isinstance(stock, ReadyCut):
        return ""
    same_size = (part.size.width_mm, part.size.height_mm) == (stock.size.width_mm, stock.size.height_mm)
    if not same_size or part.shape != stock.shape:
        return (
            f"{stock.name} comes ready cut as {stock.shape}, {stock.size}, and never meets the knife;"
            f" {part.size}, {part.shape} was asked for: choose that size, or a parent sheet"
        )
    return ""


def is_die_cut(part: Part, stock: ParentSheets | ReadyCut) -> bool:
    """Whether a die cuts the piece out of a printed sheet."""
    return part.shape != "rectangular" and isinstance(stock, ParentSheets)


def _shape_refusal(part: Part, stock: ParentSheets | ReadyCut) -> str:
    has_die = any(tag_of(asked) == "die-cutting" for asked in part.finishing)
    if is_die_cut(part, stock) and not has_die:
        return (
            f"no guillotine cuts a {part.shape} piece out of {stock.name}:"
            " add die-cutting to its finishing, or choose a ready-cut blank of that shape"
        )
    return ""


def _pins_refusal(part: Part, forms: Sequence[FormPlan], stock: ParentSheets | ReadyCut, press: Press) -> str:
    """A blank is laid to pins at its own edges; a larger sheet is cut with a border for them."""
    if not isinstance(stock, ReadyCut) or not forms:
        return ""
    borders = (
        part.size.width_mm - max(form.width_mm for form in forms),
        part.size.height_mm - max(form.height_mm for form in forms),
    )
    border = max(borders) / 2
    if border < press.pin_clearance:
        return (
            f"its pins want {plain(press.pin_clearance)} mm clear of the form at an edge of {stock.name}, which has"
            f" {plain(border)} mm: a smaller form, or an oversize sheet cut after printing"
        )
    return ""


def _height_refusal(forms: Sequence[FormPlan], press: Press, card: RateCard) -> str:
    plates = [form for form in forms if form.kind == "plate"]
    if plates and not press.bases:
        return "it has no base for plates: choose another press, or set type"
    for form in plates:
        heights = [base.height + form.thickness_mm for base in press.bases if form.thickness_mm is not None]
        too_high = TYPE_HEIGHT_MM + card.limits.type_height_tolerance
        if heights and min(heights) > too_high:
            return (
                f"the client's plate stands {plain(min(heights))} mm high on its lowest base, over type height,"
                f" {plain(TYPE_HEIGHT_MM)} mm: a thinner plate, or a lower base"
            )
    return ""


def _form_refusal(part: Part, forms: Sequence[FormPlan], press: Press, grid: Grid) -> Refusal | None:
    for form in forms:
        width, height = form.width_mm, form.height_mm
        if form.number_up == 1:
            width += (grid.across - 1) * part.size.width_mm
            height += (grid.down - 1) * part.size.height_mm
        if not fits(width, height, press.chase):
            told = "a form of {} x {} mm is over its chase, {}: fewer up, or a smaller form"
            return Refusal(told, (width, height, press.chase), FORM)
        if form.kind == "plate" and not any(fits(width, height, base.size) for base in press.bases):
            told = "a form of {} x {} mm is over its largest base: fewer up, or a smaller plate"
            return Refusal(told, (width, height), FORM)
    return None


def force_refusal(press: Press, passes: Sequence[Pass]) -> Refusal | None:
    """Why a press cannot impress a form; None where it can."""
    for work in passes:
        if work.force_n > press.greatest_force:
            told = (
                "{} asks {} kN of impression, over the {} kN it can give: fewer up, a lighter impression,"
                " or a smaller solid{}"
            )
            asked, given = (plain(force / 1000, places=1) for force in (work.force_n, press.greatest_force))
            solid = f"; its largest solid is {work.solid}" if work.solid else ""
            return Refusal(told, (work.label, asked, given, solid), FORCE)
    return None


def _sides(part: Part) -> list[Side]:
    return [side for side in (part.front, part.back) if side is not None]
