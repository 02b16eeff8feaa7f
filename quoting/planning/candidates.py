"""Every way to make one part that its press, stock and forms allow, and why the others do not."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from msgspec import Struct
from msgspec.structs import replace

from quoting.job import HandSet, Item, Part
from quoting.numbers import plain
from quoting.planning.forms import FormPlan
from quoting.planning.impositions import MOST_UP, Imposed, Imposing, grids_up_to
from quoting.planning.parents import press_sheets_out
from quoting.planning.part_plan import PartPlan
from quoting.planning.refusals import (
    bare_refusal,
    fits,
    is_die_cut,
    part_refusal,
    press_refusal,
    sheet_refusal,
)
from quoting.planning.refused import EVERY_PRESS, PARENT, Refusal, Refused, told_by_way
from quoting.planning.settings import SetPart, ways_to_set
from quoting.planning.turning import TURNED, Grid, reason_not_to_turn, rule_against
from quoting.rate_card import RateCard
from quoting.shop import ParentSheets, Press, ReadyCut


class Candidates(Struct, frozen=True, kw_only=True):
    """The plans that can be made, in their written order, and what is refused."""

    plans: tuple[PartPlan, ...]
    refused: tuple[Refused, ...]

    @property
    def refusals(self) -> dict[str, str]:
        """Each refusal by the way it refuses."""
        return told_by_way(self.refused, self.plans)


class PartForms(Struct, frozen=True, kw_only=True):
    """
    The forms of a part's two sides, with what is asked of them for every grid.

    ``number_up`` is over 1 where a client's plate fixes it.
    """

    all: tuple[FormPlan, ...]
    widest_mm: Decimal
    deepest_mm: Decimal
    number_up: int
    bleeds: bool


def forms_of(as_set: SetPart) -> PartForms:
    """The forms of a part as it is set."""
    forms = as_set.front + as_set.back
    return PartForms(
        all=forms,
        widest_mm=max((form.width_mm for form in forms), default=Decimal(0)),
        deepest_mm=max((form.height_mm for form in forms), default=Decimal(0)),
        number_up=max((form.number_up for form in forms), default=1),
        bleeds=any(form.bleeds for form in forms),
    )


def part_candidates(item: Item, part: Part, card: RateCard, *, places: tuple[int, int]) -> Candidates:
    """
    All plans of one part.

    Args:
        places: Index of the item in the job, and of the part in the item.
    """
    ways = ways_to_set(item, part, card, most_up=_most_up(part, card))
    forms = forms_of(ways[0])
    stock = card.stocks[part.stock]
    told = part_refusal(part, forms.all, stock, card)
    if told:
        return Candidates(plans=(), refused=(_by(None, told),))
    plans: list[PartPlan] = []
    refused = [
        Refused(press=None, press_name=EVERY_PRESS, imposition=turned, why=reason)
        for reason in [reason_not_to_turn(item, part, ways[0].front, ways[0].back, card)]
        if reason
        for turned in TURNED
    ]
    for name, press in card.presses.items():
        told = press_refusal(part, forms.all, stock, press, card)
        if told:
            refused.append(_by(name, told, card))
            continue
        for as_set in ways:
            for found in _plans_at(item, as_set, card, press_name=name, places=places):
                if isinstance(found, Refused):
                    refused.append(found)
                else:
                    plans.append(found)
    return Candidates(plans=tuple(sorted(plans, key=lambda plan: plan.order)), refused=tuple(refused))


def _most_up(part: Part, card: RateCard) -> int:
    """The most pieces that any press could feed on one sheet; 1 where none could."""
    width, height = part.size.width_mm, part.size.height_mm
    sheets = [press.greatest_sheet for press in card.presses.values()]
    return max(
        (
            across * down
            for across, down in grids_up_to(MOST_UP)
            if any(fits(across * width, down * height, sheet) for sheet in sheets)
        ),
        default=1,
    )


def _by(press: str | None, told: str, card: RateCard | None = None) -> Refused:
    """A refusal by a press whatever the grid, or by all of them."""
    name = card.presses[press].name if card and press else EVERY_PRESS
    return Refused(press=press, press_name=name, why=Refusal("{}", (told,)))


def _plans_at(
    item: Item, as_set: SetPart, card: RateCard, *, press_name: str, places: tuple[int, int]
) -> Iterator[PartPlan | Refused]:
    """Every grid of a part, set in one way, at one press: its plan, or why there is none."""
    part, press, forms = as_set.part, card.presses[press_name], forms_of(as_set)
    imposing = Imposing(item, part, as_set.front, as_set.back, card, press_name=press_name, places=places)
    for grid in imposing.grids():
        if not as_set.serves(grid.imposition, grid.copies):
            continue
        found = _plan(item, part, forms, card, imposing, grid)
        if isinstance(found, Refusal):
            yield Refused(
                press=press_name,
                press_name=press.name,
                why=found,
                imposition=grid.imposition,
                across=grid.across,
                down=grid.down,
            )
        else:
            yield found


def _plan(
    item: Item, part: Part, forms: PartForms, card: RateCard, imposing: Imposing, grid: Grid
) -> PartPlan | Refusal:
    """The plan of a grid, or why it cannot be."""
    stock, press = card.stocks[part.stock], card.presses[imposing.press_name]
    refused = rule_against(grid, item) or bare_refusal(part, press, grid)
    if refused:
        return refused
    width, height = _press_sheet(part, forms, stock, card, press, grid)
    refused = sheet_refusal(part, forms.all, press, grid=grid, width_mm=width, height_mm=height)
    if refused:
        return refused
    imposed = imposing.imposed(grid)
    if imposed.refused:
        return imposed.refused
    cut = _cut_to_size(part, stock, card, width, height)
    if isinstance(cut, Refusal):
        return cut
    sheets, cuts, settings = cut
    down_cuts, down_settings = _cut_to_pieces(part, forms, card, stock, grid, width, height)
    item_place, part_place = imposing.places
    return PartPlan(
        item=item_place,
        part=part_place,
        label=part.name,
        stock=part.stock,
        press=imposing.press_name,
        imposition=grid.imposition,
        across=grid.across,
        down=grid.down,
        sheet_width_mm=width,
        sheet_height_mm=height,
        sheets_a_parent=sheets,
        cuts_to_size=cuts,
        settings_to_size=settings,
        cuts_to_pieces=down_cuts,
        settings_to_pieces=down_settings,
        copies=grid.copies,
        versions_together=imposed.versions_together,
        passes=imposed.passes,
        forms=imposed.forms,
        warnings=(
            *_warnings(part, card, stock),
            *_blank_warnings(part, forms, stock),
            *_case_warnings(part, forms),
            *_press_warnings(imposed, press, card),
        ),
    )


def bleed_of(forms: PartForms, card: RateCard) -> Decimal:
    """What the press sheet carries beyond the trimmed piece, on each side. [mm]"""
    return card.limits.bleed.in_base_unit if forms.bleeds else Decimal(0)


def _press_sheet(
    part: Part,
    forms: PartForms,
    stock: ParentSheets | ReadyCut,
    card: RateCard,
    press: Press,
    grid: Grid,
) -> tuple[Decimal, Decimal]:
    """Width and height of the press sheet: the pieces, bleed, gaps, a border to grip, the press's least. [mm]"""
    if isinstance(stock, ReadyCut):
        return part.size.width_mm, part.size.height_mm
    bleed = bleed_of(forms, card)
    border = _border_mm(part, forms, grid)
    held = max(press.gripper.in_base_unit, press.pin_clearance.in_base_unit)
    grip = Decimal(0) if border >= held else held
    grips = 2 if grid.imposition == "work-and-tumble" else 1
    between = max(Decimal(0), _least_between(part, stock, card, bleed) - 2 * bleed)
    width = grid.across * (part.size.width_mm + 2 * bleed + between) - between
    height = grid.down * (part.size.height_mm + 2 * bleed + between) - between + grip * grips
    least = sorted((press.least_sheet.width_mm, press.least_sheet.height_mm))
    if width <= height:
        return max(width, least[0]), max(height, least[1])
    return max(width, least[1]), max(height, least[0])


def _least_between(part: Part, stock: ParentSheets, card: RateCard, bleed: Decimal) -> Decimal:
    """Between two pieces at the least: the web of a die, or the strip that two cuts leave. [mm]"""
    if is_die_cut(part, stock):
        return card.limits.die_web.in_base_unit
    return card.cutting.least_strip.in_base_unit if bleed else Decimal(0)


def _border_mm(part: Part, forms: PartForms, grid: Grid) -> Decimal:
    """The wider of the unprinted borders round the form, pieces one way or the other. [mm]"""
    across, down = (grid.across, grid.down) if forms.number_up > 1 else (1, 1)
    return max(across * part.size.width_mm - forms.widest_mm, down * part.size.height_mm - forms.deepest_mm) / 2


def _cut_to_size(
    part: Part, stock: ParentSheets | ReadyCut, card: RateCard, width: Decimal, height: Decimal
) -> tuple[int, int, int] | Refusal:
    """Press sheets a parent, cuts and back-gauge settings; ready-cut blanks are fed as they come."""
    if isinstance(stock, ReadyCut):
        return 1, 0, 0
    cut = press_sheets_out(part, stock, card, width_mm=width, height_mm=height)
    if not cut.count:
        return _not_out_of(part, stock, card, width, height)
    return cut.count, cut.cuts, cut.settings


def _not_out_of(part: Part, stock: ParentSheets, card: RateCard, width: Decimal, height: Decimal) -> Refusal:
    """Why no press sheet comes out of a parent."""
    found = (width, height, stock.name, stock.size.written)
    against = replace(part, fold=None)
    if part.fold and press_sheets_out(against, stock, card, width_mm=width, height_mm=height).count:
        told = (
            "grain against the fold: a press sheet of {} x {} mm comes out of {} ({}) only the other way round:"
            " a larger sheet, fewer up, the other grain, or score it and let the grain go"
        )
        return Refusal(told, found, PARENT)
    told = "a press sheet of {} x {} mm does not come out of {} ({}): choose a larger sheet, or fewer up"
    return Refusal(told, found, PARENT)


def _cut_to_pieces(
    part: Part,
    forms: PartForms,
    card: RateCard,
    stock: ParentSheets | ReadyCut,
    grid: Grid,
    width: Decimal,
    height: Decimal,
) -> tuple[int, int]:
    """Cuts and settings from a printed press sheet to trimmed pieces."""
    if isinstance(stock, ReadyCut) or is_die_cut(part, stock):
        return 0, 0
    bleed = bleed_of(forms, card)
    edge_width = width - grid.across * part.size.width_mm
    edge_height = height - grid.down * part.size.height_mm
    if bleed:
        return 2 * grid.across + 2 * grid.across * grid.down, 2 * grid.across + 2 * grid.down
    trims = (1 if edge_width else 0) + (1 if edge_height else 0)
    inner = grid.across - 1 + grid.across * (grid.down - 1)
    return inner + trims, grid.across - 1 + grid.down - 1 + trims


def _press_warnings(imposed: Imposed, press: Press, card: RateCard) -> Iterator[str]:
    for work in imposed.passes:
        if work.form_area_mm2 > card.limits.large_form_warning * press.chase.area_mm2:
            yield f"{work.label}: a large form for {press.name}; build the impression with care"
        if work.force_n > press.greatest_force * card.limits.force_warning:
            share = plain(work.force_n / press.greatest_force * 100, places=0)
            yield f"{work.label}: asks {share} % of the impression that {press.name} can give"


def _case_warnings(part: Part, forms: PartForms) -> Iterator[str]:
    if any(form.told for form in forms.all):
        yield f"{part.name}: the case is short, so it is set in several settings: print, distribute, set again"


def _warnings(part: Part, card: RateCard, stock: ParentSheets | ReadyCut) -> Iterator[str]:
    both_deep = all(side is not None and side.impression == "deep" for side in (part.front, part.back))
    if both_deep and stock.caliper < card.limits.thin_stock:
        yield f"{part.name}: deep impression on both sides of {stock.name}, thin enough to show it"
    for name in _founts_of_text(part):
        speed, wonderful = card.founts[name].ems_an_hour, card.composing.wonderful_ems_an_hour
        if speed > wonderful:
            told = f"{part.name}: {plain(speed)} ems an hour in {card.founts[name].name}"
            yield f"{told}, over the {plain(wonderful)} that the card calls wonderful"
    if isinstance(stock, ReadyCut) and stock.damped:
        yield f"{part.name}: {stock.name} is printed damped: dry it before it is packed"
    if isinstance(stock, ParentSheets) and stock.deckle and not stock.mill_edge_trim:
        yield f"{part.name}: {stock.name} keeps its deckle: lay it to an edge that is straight"
    if isinstance(stock, ParentSheets) and stock.torn_by_hand:
        yield f"{part.name}: {stock.name} is torn to size by hand: its pieces are not all of one size"


def _blank_warnings(part: Part, forms: PartForms, stock: ParentSheets | ReadyCut) -> Iterator[str]:
    if not isinstance(stock, ReadyCut) or not forms.all:
        return
    border = min(part.size.width_mm - forms.widest_mm, part.size.height_mm - forms.deepest_mm) / 2
    if border < stock.variance:
        told = f"{part.name}: blanks of {stock.name} vary by {plain(stock.variance)} mm"
        yield f"{told}, more than the {plain(border)} mm round the form: its border will be seen to"


def _founts_of_text(part: Part) -> set[str]:
    """Founts that running text of a part is set in."""
    forms = [colour.form for side in (part.front, part.back) if side for colour in side.colours]
    return {form.text.fount for form in forms if isinstance(form, HandSet) and form.text is not None}
