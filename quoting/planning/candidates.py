"""Every way to make one part that its press, stock and forms allow, and why the others do not."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from msgspec import Struct

from quoting.job import HandSet, Item, Part
from quoting.numbers import plain
from quoting.planning.forms import FormPlan
from quoting.planning.impositions import MOST_UP, Imposed, impose
from quoting.planning.parents import press_sheets_out
from quoting.planning.part_plan import PartPlan
from quoting.planning.refusals import is_die_cut, part_refusal, press_refusal, sheet_refusal
from quoting.planning.settings import SetPart, case_refusal, ways_to_set
from quoting.rate_card import RateCard
from quoting.shop import ParentSheets, Press, ReadyCut


class Candidates(Struct, frozen=True, kw_only=True):
    """The plans that can be made, in their written order, and each refusal by the way it refuses."""

    plans: tuple[PartPlan, ...]
    refusals: dict[str, str]


class PartForms(Struct, frozen=True, kw_only=True):
    """A part with the forms of its two sides worked out."""

    front: tuple[FormPlan, ...]
    back: tuple[FormPlan, ...]

    @property
    def all(self) -> tuple[FormPlan, ...]:
        return self.front + self.back

    @property
    def widest_mm(self) -> Decimal:
        return max((form.width_mm for form in self.all), default=Decimal(0))

    @property
    def deepest_mm(self) -> Decimal:
        return max((form.height_mm for form in self.all), default=Decimal(0))

    @property
    def number_up(self) -> int:
        """Over 1 where a client's plate fixes it."""
        return max((form.number_up for form in self.all), default=1)


def part_candidates(item: Item, part: Part, card: RateCard, *, places: tuple[int, int]) -> Candidates:
    """
    All plans of one part.

    Args:
        places: Index of the item in the job, and of the part in the item.
    """
    ways = ways_to_set(item, part, card, most_up=MOST_UP)
    forms = PartForms(front=ways[0].front, back=ways[0].back)
    stock = card.stocks[part.stock]
    refused = part_refusal(part, forms.all, stock, card)
    if refused:
        return Candidates(plans=(), refusals={"every press": refused})
    plans: list[PartPlan] = []
    refusals: dict[str, str] = {}
    for name, press in card.presses.items():
        refused = press_refusal(part, forms.all, stock, press, card)
        if refused:
            refusals[press.name] = refused
            continue
        for as_set in ways:
            _plans_at(item, as_set, card, plans, refusals, press=press, press_name=name, places=places)
    return Candidates(plans=tuple(sorted(plans, key=lambda plan: plan.order)), refusals=refusals)


def _plans_at(
    item: Item,
    as_set: SetPart,
    card: RateCard,
    plans: list[PartPlan],
    refusals: dict[str, str],
    *,
    press: Press,
    press_name: str,
    places: tuple[int, int],
) -> None:
    """Every plan of a part, set in one way, that one press can print; else why it cannot."""
    part = as_set.part
    forms = PartForms(front=as_set.front, back=as_set.back)
    for imposed in impose(item, part, forms.front, forms.back, card, press_name=press_name, places=places):
        if not as_set.serves(imposed.imposition, imposed.copies):
            continue
        way = f"{press.name}, {imposed.imposition}, {imposed.across * imposed.down} up"
        found = _plan(item, part, forms, card, press=press, press_name=press_name, imposed=imposed, places=places)
        if isinstance(found, str):
            refusals[way] = found
        else:
            plans.append(found)


def _plan(
    item: Item,
    part: Part,
    forms: PartForms,
    card: RateCard,
    *,
    press: Press,
    press_name: str,
    imposed: Imposed,
    places: tuple[int, int],
) -> PartPlan | str:
    """The plan, or why it cannot be."""
    stock = card.stocks[part.stock]
    width, height = _press_sheet(part, forms, stock, card, press, imposed)
    refused = sheet_refusal(part, forms.all, press, card, imposed=imposed, width_mm=width, height_mm=height)
    refused = refused or case_refusal(imposed.passes, card, copies=imposed.copies)
    if refused:
        return refused
    cut = _cut_to_size(part, stock, card, width, height)
    if isinstance(cut, str):
        return cut
    sheets, cuts, settings = cut
    down_cuts, down_settings = _cut_to_pieces(part, forms, card, stock, imposed, width, height)
    return PartPlan(
        item=places[0],
        part=places[1],
        label=part.name,
        stock=part.stock,
        press=press_name,
        imposition=imposed.imposition,
        across=imposed.across,
        down=imposed.down,
        sheet_width_mm=width,
        sheet_height_mm=height,
        sheets_a_parent=sheets,
        cuts_to_size=cuts,
        settings_to_size=settings,
        cuts_to_pieces=down_cuts,
        settings_to_pieces=down_settings,
        copies=imposed.copies,
        versions_together=imposed.versions_together,
        passes=imposed.passes,
        forms=imposed.forms,
        warnings=(
            *_warnings(part, card, stock),
            *_case_warnings(part, forms),
            *_press_warnings(imposed, press, card),
        ),
    )


def bleed_of(forms: PartForms, card: RateCard) -> Decimal:
    """What the press sheet carries beyond the trimmed piece, on each side. [mm]"""
    return card.limits.bleed.in_base_unit if any(form.bleeds for form in forms.all) else Decimal(0)


def _press_sheet(
    part: Part,
    forms: PartForms,
    stock: ParentSheets | ReadyCut,
    card: RateCard,
    press: Press,
    imposed: Imposed,
) -> tuple[Decimal, Decimal]:
    """Width and height of the press sheet: the pieces, bleed, gaps, a border to grip, the press's least. [mm]"""
    if isinstance(stock, ReadyCut):
        return part.size.width_mm, part.size.height_mm
    bleed = bleed_of(forms, card)
    border = _border_mm(part, forms, imposed)
    grip = Decimal(0) if border >= press.gripper else press.gripper.in_base_unit
    grips = 2 if imposed.imposition == "work-and-tumble" else 1
    web = card.limits.die_web.in_base_unit if is_die_cut(part, stock) else Decimal(0)
    between = max(Decimal(0), web - 2 * bleed)
    width = imposed.across * (part.size.width_mm + 2 * bleed + between) - between
    height = imposed.down * (part.size.height_mm + 2 * bleed + between) - between + grip * grips
    least = sorted((press.least_sheet.width_mm, press.least_sheet.height_mm))
    if width <= height:
        return max(width, least[0]), max(height, least[1])
    return max(width, least[1]), max(height, least[0])


def _border_mm(part: Part, forms: PartForms, imposed: Imposed) -> Decimal:
    """The wider of the unprinted borders round the form, pieces one way or the other. [mm]"""
    across, down = (imposed.across, imposed.down) if forms.number_up > 1 else (1, 1)
    return max(across * part.size.width_mm - forms.widest_mm, down * part.size.height_mm - forms.deepest_mm) / 2


def _cut_to_size(
    part: Part, stock: ParentSheets | ReadyCut, card: RateCard, width: Decimal, height: Decimal
) -> tuple[int, int, int] | str:
    """Press sheets a parent, cuts and back-gauge settings; ready-cut blanks are fed as they come."""
    if isinstance(stock, ReadyCut):
        return 1, 0, 0
    cut = press_sheets_out(part, stock, card, width_mm=width, height_mm=height)
    if not cut.count:
        return (
            f"a press sheet of {plain(width)} x {plain(height)} mm does not come out of {stock.name}"
            f" ({stock.size.written}) with its grain as wanted: choose a larger sheet, or let the grain go"
        )
    return cut.count, cut.cuts, cut.settings


def _cut_to_pieces(
    part: Part,
    forms: PartForms,
    card: RateCard,
    stock: ParentSheets | ReadyCut,
    imposed: Imposed,
    width: Decimal,
    height: Decimal,
) -> tuple[int, int]:
    """Cuts and settings from a printed press sheet to trimmed pieces."""
    if isinstance(stock, ReadyCut) or is_die_cut(part, stock):
        return 0, 0
    bleed = bleed_of(forms, card)
    edge_width = width - imposed.across * part.size.width_mm
    edge_height = height - imposed.down * part.size.height_mm
    if bleed:
        return 2 * imposed.across + 2 * imposed.across * imposed.down, 2 * imposed.across + 2 * imposed.down
    trims = (1 if edge_width else 0) + (1 if edge_height else 0)
    inner = imposed.across - 1 + imposed.across * (imposed.down - 1)
    return inner + trims, imposed.across - 1 + imposed.down - 1 + trims


def _press_warnings(imposed: Imposed, press: Press, card: RateCard) -> Iterator[str]:
    for work in imposed.passes:
        if work.large_form:
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


def _founts_of_text(part: Part) -> set[str]:
    """Founts that running text of a part is set in."""
    forms = [colour.form for side in (part.front, part.back) if side for colour in side.colours]
    return {form.text.fount for form in forms if isinstance(form, HandSet) and form.text is not None}
