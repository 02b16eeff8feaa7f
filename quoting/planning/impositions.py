"""Impositions: which pieces stand on a press sheet, and the passes that follow from it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal

from msgspec import Struct
from msgspec.structs import replace

from quoting.job import Colour, Item, Part, Side
from quoting.planning.forms import FormPlan
from quoting.planning.part_plan import FormWork
from quoting.planning.refusals import force_refusal
from quoting.planning.refused import CASE, Refusal
from quoting.planning.settings import case_refusal
from quoting.planning.turning import TURNED, Grid, Shared, reason_not_to_turn, shared_colours
from quoting.presswork import Imposition, Pass, Register
from quoting.rate_card import RateCard
from quoting.shop import ReadyCut
from quoting.units import TYPE_HEIGHT_MM
from quoting.wording import Sorts, added, standing_sorts

MOST_UP = 16
_CLOSENESS: tuple[Register, ...] = ("none", "loose", "close")


class Imposed(Struct, frozen=True, kw_only=True):
    """
    The passes of a grid with their forms: the same for every grid of as many pieces that is turned alike.

    ``refused``: why the press or the cases cannot bring them, if they cannot.
    """

    versions_together: int
    passes: tuple[Pass, ...]
    forms: tuple[FormWork, ...]
    refused: Refusal | None


class _Colour(Struct, frozen=True, kw_only=True):
    """One colour of one side as it will be printed: how many copies of which forms."""

    colour: Colour
    plans: tuple[FormPlan, ...]
    side: str
    impression: str
    place: int
    second_side: bool
    hit: int = 1
    over: tuple[int, ...] | None = None


class Imposing:
    """The impositions of one part at one press; passes are worked out once for each number up."""

    def __init__(
        self,
        item: Item,
        part: Part,
        front: tuple[FormPlan, ...],
        back: tuple[FormPlan, ...],
        card: RateCard,
        *,
        press_name: str,
        places: tuple[int, int],
    ) -> None:
        self.item, self.part, self.front, self.back, self.card = item, part, front, back, card
        self.press_name, self.places = press_name, places
        self.fixed = max((form.number_up for form in front + back), default=1)
        self._imposed: dict[tuple[str, int], Imposed] = {}

    def grids(self) -> Iterator[Grid]:
        """Every grid of up to 16 pieces with every imposition that may hold it; whether it does is asked after."""
        ready_cut = isinstance(self.card.stocks[self.part.stock], ReadyCut)
        kinds = _kinds(self.item, self.part, ready_cut=ready_cut, fixed=self.fixed)
        if reason_not_to_turn(self.item, self.part, self.front, self.back, self.card):
            kinds = tuple(kind for kind in kinds if kind not in TURNED)
        for kind in kinds:
            for across, down in _grids(ready_cut=ready_cut, fixed=self.fixed):
                yield Grid(kind, across, down)

    def imposed(self, grid: Grid) -> Imposed:
        """The passes of a grid."""
        key = ("turned" if grid.is_turned else grid.imposition, grid.number_up)
        if key not in self._imposed:
            self._imposed[key] = self._work_out(grid)
        return self._imposed[key]

    def _work_out(self, grid: Grid) -> Imposed:
        item, part, card = self.item, self.part, self.card
        together = item.versions if grid.imposition == "ganged" else 1
        listed = (_union if grid.is_turned else _by_side)(part, self.front, self.back)
        passes = []
        forms: list[FormWork] = []
        for one in _hit_by_hit(listed, card):
            again = one.plans[0].told + (f", hit {one.hit}" if one.hit > 1 else "")
            label = f"{part.name}, {one.side}, {_ink_name(one.colour, card)}{again}"
            apart = item.versions // together if one.colour.version_lines else 1
            passes.append(
                _pass(
                    part,
                    one,
                    card,
                    self.press_name,
                    self.places,
                    label,
                    grid.copies,
                    trips=2 if grid.is_turned else 1,
                    versions=apart,
                    sorts=_sorts_standing(one, grid.copies, together=grid.imposition == "ganged"),
                )
            )
            if one.hit == 1:
                forms.extend(_forms(item, one, card, label, grid.copies, together))
        return Imposed(
            versions_together=together,
            passes=tuple(passes),
            forms=tuple(forms),
            refused=force_refusal(card.presses[self.press_name], passes) or _case_refusal(passes, card, grid),
        )


def _case_refusal(passes: Sequence[Pass], card: RateCard, grid: Grid) -> Refusal | None:
    told = case_refusal(passes, card, copies=grid.copies)
    return Refusal("{}", (told,), CASE) if told else None


def _kinds(item: Item, part: Part, *, ready_cut: bool, fixed: int) -> tuple[Imposition, ...]:
    if ready_cut:
        return ("fed as it comes",)
    together: tuple[Imposition, ...] = ("ganged",) if item.versions > 1 and fixed == 1 else ()
    if not (part.front and part.back):
        return ("one side", *together)
    return ("sheetwise", *together, *TURNED)


def _grids(*, ready_cut: bool, fixed: int) -> Iterator[tuple[int, int]]:
    if ready_cut:
        return iter([(1, 1)])
    return ((across, down) for across, down in grids_up_to(MOST_UP) if fixed in {1, across * down})


def grids_up_to(most_up: int) -> Iterator[tuple[int, int]]:
    """Pieces across and down of every grid, fewest up first."""
    for number in range(1, most_up + 1):
        for across in range(1, number + 1):
            if number % across == 0:
                yield across, number // across


def _hit_by_hit(colours: Sequence[_Colour], card: RateCard) -> list[_Colour]:
    """Each colour as often as its ink takes to cover, from the one form; places counted anew on each side."""
    passes: list[_Colour] = []
    hits_of: list[list[int]] = []
    for one in colours:
        hits_of.append([])
        hits = card.inks[one.colour.ink].hits if one.colour.ink else 1
        for hit in range(1, hits + 1):
            place = sum(other.side == one.side for other in passes)
            over = None if one.over is None else _places_under(one.over, hits_of, place)
            hits_of[-1].append(place)
            passes.append(replace(one, place=place, hit=hit, over=over))
    return passes


def _places_under(over: Sequence[int], hits_of: Sequence[Sequence[int]], place: int) -> tuple[int, ...] | None:
    """The passes that must come before one of a turned form; None where all before it must."""
    under = (*(hit for colour in over for hit in hits_of[colour]), *hits_of[-1])
    return None if len(under) == place else under


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
    fronts, backs = _colours(part.front), _colours(part.back)
    colours = []
    for place, shared in enumerate(shared_colours(fronts, backs) or ()):
        pairs = [(side[at], plans[at]) for side, plans, at in _sides_of(shared, fronts, front, backs, back)]
        first, last = pairs[0][0], pairs[-1][0]
        colours.append(
            _Colour(
                colour=_closer(first, last),
                plans=tuple(plan for _, plan in pairs),
                side="both",
                impression=part.front.impression if part.front else "visible",
                place=place,
                second_side=False,
                over=shared.over,
            )
        )
    return colours


def _sides_of(
    shared: Shared,
    fronts: Sequence[Colour],
    front: Sequence[FormPlan],
    backs: Sequence[Colour],
    back: Sequence[FormPlan],
) -> Iterator[tuple[Sequence[Colour], Sequence[FormPlan], int]]:
    """The sides that a colour of a turned form prints, with its place on each."""
    if shared.front is not None:
        yield fronts, front, shared.front
    if shared.back is not None:
        yield backs, back, shared.back


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
        large_form=area > card.make_ready.large_form_over * chase,
        thick_board=stock.caliper > card.make_ready.thick_board_over,
        is_low=any(_is_low(plan, press_name, card) for plan in one.plans),
        stock_class=stock.stock_class,
        over=one.over,
        round_later=part.shape == "round" and isinstance(stock, ReadyCut) and (one.place > 0 or one.second_side),
        force_n=inked * stock_class.pressure[impression].in_base_unit,  # type: ignore[index]  # a side's own
        sorts=sorts,
        set_with_last=bool(sorts) and all(plan.set_with_last for plan in one.plans),
        stand_ins=bool(sorts) and all(plan.stand_ins for plan in one.plans),
        solid=next((plan.solid for plan in one.plans if plan.solid), ""),
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
