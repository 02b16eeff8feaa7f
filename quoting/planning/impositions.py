"""Impositions: which pieces stand on a press sheet, and the passes that follow from it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal

from msgspec import Struct
from msgspec.structs import replace

from quoting.cutting import reason_against
from quoting.job import Colour, Item, Part, Side
from quoting.planning.forms import FormPlan
from quoting.planning.part_plan import FormWork
from quoting.planning.refusals import fits
from quoting.presswork import Imposition, Pass, Register
from quoting.rate_card import RateCard
from quoting.shop import ReadyCut
from quoting.units import TYPE_HEIGHT_MM
from quoting.wording import Sorts, added, standing_sorts

MOST_UP = 16
_CLOSENESS: tuple[Register, ...] = ("none", "loose", "close")


class Imposed(Struct, frozen=True, kw_only=True):
    """A grid of pieces, how it is turned, and its passes with their forms."""

    imposition: Imposition
    across: int
    down: int
    copies: int
    versions_together: int
    passes: tuple[Pass, ...]
    forms: tuple[FormWork, ...]


class _Colour(Struct, frozen=True, kw_only=True):
    """One colour of one side as it will be printed: how many copies of which forms."""

    colour: Colour
    plans: tuple[FormPlan, ...]
    side: str
    impression: str
    place: int
    second_side: bool
    hit: int = 1


def impose(
    item: Item,
    part: Part,
    front: tuple[FormPlan, ...],
    back: tuple[FormPlan, ...],
    card: RateCard,
    *,
    press_name: str,
    places: tuple[int, int],
) -> Iterator[Imposed]:
    """Every grid up to 16 up that the press could feed, with every imposition that can hold it."""
    ready_cut = isinstance(card.stocks[part.stock], ReadyCut)
    greatest = card.presses[press_name].greatest_sheet
    fixed = max((form.number_up for form in front + back), default=1)
    kinds = _kinds(item, part, front, back, ready_cut=ready_cut, fixed=fixed)
    for across, down in _grids(ready_cut=ready_cut, fixed=fixed):
        width, height = across * part.size.width_mm, down * part.size.height_mm
        if across * down > max(1, fixed) and not fits(width, height, greatest):
            continue
        for kind in kinds:
            if kind == "ganged":
                if across * down % item.versions:
                    continue
            elif kind != "fed as it comes" and reason_against(kind, across, down):
                continue
            yield _imposed(item, part, front, back, card, press_name, places, kind, across, down)


def _grids(*, ready_cut: bool, fixed: int) -> Iterator[tuple[int, int]]:
    if ready_cut:
        yield 1, 1
        return
    for number in range(1, MOST_UP + 1):
        if fixed > 1 and number != fixed:
            continue
        for across in range(1, number + 1):
            if number % across == 0:
                yield across, number // across


def _kinds(
    item: Item,
    part: Part,
    front: Sequence[FormPlan],
    back: Sequence[FormPlan],
    *,
    ready_cut: bool,
    fixed: int,
) -> tuple[Imposition, ...]:
    if ready_cut:
        return ("fed as it comes",)
    together: tuple[Imposition, ...] = ("ganged",) if item.versions > 1 and fixed == 1 else ()
    if not (part.front and part.back):
        return ("one side", *together)
    one_form = len({form.kind for form in (*front, *back)}) == 1
    one_impression = part.front.impression == part.back.impression
    if item.versions > 1 or fixed > 1 or not one_form or not one_impression:
        return ("sheetwise", *together)
    return ("sheetwise", "work-and-turn", "work-and-tumble")


def _imposed(
    item: Item,
    part: Part,
    front: tuple[FormPlan, ...],
    back: tuple[FormPlan, ...],
    card: RateCard,
    press_name: str,
    places: tuple[int, int],
    kind: Imposition,
    across: int,
    down: int,
) -> Imposed:
    turned = kind in {"work-and-turn", "work-and-tumble"}
    together = item.versions if kind == "ganged" else 1
    copies = across * down // 2 if turned else across * down
    listed = _union(part, front, back) if turned else _by_side(part, front, back)
    colours = _hit_by_hit(listed, card)
    passes = []
    forms: list[FormWork] = []
    for one in colours:
        again = one.plans[0].told + (f", hit {one.hit}" if one.hit > 1 else "")
        label = f"{part.name}, {one.side}, {_ink_name(one.colour, card)}{again}"
        apart = item.versions // together if one.colour.version_lines else 1
        passes.append(
            _pass(
                part,
                one,
                card,
                press_name,
                places,
                label,
                copies,
                trips=2 if turned else 1,
                versions=apart,
                sorts=_sorts_standing(one, copies, together=kind == "ganged"),
            )
        )
        if one.hit == 1:
            forms.extend(_forms(item, one, card, label, copies, together))
    return Imposed(
        imposition=kind,
        across=across,
        down=down,
        copies=copies,
        versions_together=together,
        passes=tuple(passes),
        forms=tuple(forms),
    )


def _hit_by_hit(colours: Sequence[_Colour], card: RateCard) -> list[_Colour]:
    """Each colour as often as its ink takes to cover, from the one form; places counted anew on each side."""
    passes: list[_Colour] = []
    for one in colours:
        hits = card.inks[one.colour.ink].hits if one.colour.ink else 1
        for hit in range(1, hits + 1):
            place = sum(other.side == one.side for other in passes)
            passes.append(replace(one, place=place, hit=hit))
    return passes


def _ink_name(colour: Colour, card: RateCard) -> str:
    return card.inks[colour.ink].name if colour.ink else "blind"


def _by_side(part: Part, front: Sequence[FormPlan], back: Sequence[FormPlan]) -> list[_Colour]:
    colours = []
    for name, side, plans in (("front", part.front, front), ("back", part.back, back)):
        if side is None:
            continue
        for place, (colour, plan) in enumerate(zip(side.colours, plans, strict=True)):
            colours.append(
                _Colour(
                    colour=colour,
                    plans=(plan,),
                    side=name,
                    impression=side.impression,
                    place=place,
                    second_side=name == "back" and part.front is not None,
                )
            )
    return colours


def _union(part: Part, front: Sequence[FormPlan], back: Sequence[FormPlan]) -> list[_Colour]:
    """Both sides' colours in one row: the same ink on both sides shares a form."""
    waiting = list(zip(_colours(part.back), back, strict=True))
    colours = []
    for colour, plan in zip(_colours(part.front), front, strict=True):
        twin = next((pair for pair in waiting if pair[0].ink == colour.ink), None)
        if twin:
            waiting.remove(twin)
        colours.append((_closer(colour, twin[0] if twin else colour), (plan, twin[1]) if twin else (plan,)))
    colours += [(colour, (plan,)) for colour, plan in waiting]
    return [
        _Colour(
            colour=colour,
            plans=plans,
            side="both",
            impression=part.front.impression if part.front else "visible",
            place=place,
            second_side=False,
        )
        for place, (colour, plans) in enumerate(colours)
    ]


def _colours(side: Side | None) -> tuple[Colour, ...]:
    return side.colours if side else ()


def _closer(one: Colour, other: Colour) -> Colour:
    """The one of two colours of the same ink that asks for the closer register; rolled twice if either is."""
    closer = max((one, other), key=lambda colour: _CLOSENESS.index(colour.register))
    return replace(closer, double_rolled=one.double_rolled or other.double_rolled)


def _sorts_standing(one: _Colour, copies: int, *, together: bool) -> Sorts:
    """What a pass's form keeps out of the cases; a further hit is printed from the form that stands."""
    if one.hit > 1:
        return ()
    return added(standing_sorts(plan.sorts, copies=copies, together=together) for plan in one.plans)


def _pass(
    part: Part,
    one: _Colour,
    card: RateCard,
    press_name: str,
    places: tuple[int, int],
    label: str,
    copies: int,
    *,
    trips: int,
    versions: int,
    sorts: Sorts,
) -> Pass:
    press = card.presses[press_name]
    stock = card.stocks[part.stock]
    stock_class = card.stock_classes[stock.stock_class]
    areas = [plan.area_mm2 * (copies if plan.number_up == 1 else 1) for plan in one.plans]
    area = sum(areas, Decimal(0))
    inked = sum((size * plan.share_inked for size, plan in zip(areas, one.plans, strict=True)), Decimal(0))
    kind = one.plans[0].kind
    impression = one.impression
    chase = press.chase.area_mm2
    register = one.colour.register
    return Pass(
        label=label,
        item=places[0],
        part=places[1],
        side=one.side,  # type: ignore[arg-type]  # one of the three by construction
        press=press_name,
        ink=one.colour.ink,
        form_kind=kind,
        scarce=any(plan.scarce for plan in one.plans),
        form_area_mm2=area,
        share_inked=inked / area,
        register=register,
        impression=impression,  # type: ignore[arg-type]  # a side's own
        second_side=one.second_side,
        double_rolled=one.colour.double_rolled,
        trips=trips,
        versions=versions,
        set_up_sheets=_set_up_sheets(card, kind, register),
        colours_before=one.place,
        large_form=area > card.limits.large_form_warning * chase,
        thick_board=stock.caliper > card.make_ready.thick_board_over,
        is_low=any(_is_low(plan, press_name, card) for plan in one.plans),
        stock_class=stock.stock_class,
        round_later=part.shape == "round" and isinstance(stock, ReadyCut) and (one.place > 0 or one.second_side),
        force_n=inked * stock_class.pressure[impression].in_base_unit,  # type: ignore[index]  # a side's own
        sorts=sorts,
        set_with_last=bool(sorts) and all(plan.set_with_last for plan in one.plans),
        stand_ins=bool(sorts) and all(plan.stand_ins for plan in one.plans),
    )


def _set_up_sheets(card: RateCard, kind: str, register: Register) -> int:
    if register != "none":
        return card.spoilage.set_up_register
    return {"plate": card.spoilage.set_up_plate, "metal type": card.spoilage.set_up_metal}.get(
        kind, card.spoilage.set_up_wood
    )


def heights_on_bases(plan: FormPlan, press_name: str, card: RateCard) -> tuple[Decimal, ...]:
    """Heights that a client's plate has on each base of a press. [mm]"""
    if plan.thickness_mm is None:
        return ()
    return tuple(base.height + plan.thickness_mm for base in card.presses[press_name].bases)


def _is_low(plan: FormPlan, press_name: str, card: RateCard) -> bool:
    """Whether a plate stands under type height on every base, so that it wants underlay."""
    heights = heights_on_bases(plan, press_name, card)
    tolerance = card.limits.type_height_tolerance
    return bool(heights) and not any(abs(height - TYPE_HEIGHT_MM) <= tolerance for height in heights)


def _forms(item: Item, one: _Colour, card: RateCard, label: str, copies: int, together: int) -> Iterator[FormWork]:
    """
    What to set or to have made. Ganged, every place has its own form from the start and none changes;
    artwork is made ready once for each version all the same.
    """
    versions = item.versions if one.colour.version_lines else 1
    changes = 0 if together > 1 else versions - 1
    for plan in one.plans:
        supplier = card.plate_suppliers[plan.supplier] if plan.supplier else None
        margin = supplier.margin.in_base_unit * 2 if supplier else Decimal(0)
        yield FormWork(
            label=label,
            copies=copies,
            setting=plan.setting,
            supplier=plan.supplier,
            plate_width_mm=plan.width_mm + margin,
            plate_height_mm=plan.height_mm + margin,
            plates=copies * (1 + changes) if supplier else 0,
            needs_artwork=versions if plan.artwork == "to be made ready" else 0,
            needs_design=versions if plan.artwork == "to be designed" else 0,
            stands=plan.stands,
            changes=changes,
            changed_lines=one.colour.version_lines,
        )
