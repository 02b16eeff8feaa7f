"""Every way to print a part, found by plain loops from the written rules: the same that the planner looks at."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from itertools import product

import pytest

from quoting import RateCard
from quoting.job import Colour, Item, MeasuredForm, Part
from quoting.numbers import in_engine_context
from quoting.planning.candidates import part_candidates
from quoting.rate_card import rate_card_from
from quoting.shop import ParentSheets, Press
from quoting.units import Size
from tests.conftest import SHOPS
from tests.planning.jobs import drawn_job
from tests.strategies import card_data_of

Way = tuple[str, str, int, int]
JOBS_A_SHOP = 250


def goes_in(width: Decimal, height: Decimal, within: Size) -> bool:
    """Either way round."""
    ways = ((within.width_mm, within.height_mm), (within.height_mm, within.width_mm))
    return any(width <= wide and height <= high for wide, high in ways)


def forms_of(part: Part) -> list[MeasuredForm]:
    forms = [colour.form for side in (part.front, part.back) if side for colour in side.colours]
    assert all(isinstance(form, MeasuredForm) for form in forms)
    return [form for form in forms if isinstance(form, MeasuredForm)]


def impositions(item: Item, part: Part, card: RateCard) -> Iterator[str]:
    both = part.front is not None and part.back is not None
    yield "sheetwise" if both else "one side"
    if item.versions > 1:
        yield "ganged"
        return
    stock = card.stocks[part.stock]
    assert isinstance(stock, ParentSheets)
    square = stock.mill_edge_trim > 0 or not (stock.deckle or stock.torn_by_hand)
    alike = part.front and part.back and part.front.impression == part.back.impression
    if alike and square and stock.caliper >= card.limits.thinnest_turned:
        yield from ("work-and-turn", "work-and-tumble")


def is_held(imposition: str, across: int, down: int, versions: int) -> bool:
    """Whether a grid may be imposed so."""
    if imposition == "ganged":
        return across * down % versions == 0
    if imposition == "work-and-turn":
        return across % 2 == 0
    return imposition != "work-and-tumble" or down % 2 == 0


def press_sheet(part: Part, press: Press, imposition: str, across: int, down: int) -> tuple[Decimal, Decimal]:
    """The pieces, what the press holds where no border does, and not less than it feeds. [mm]"""
    forms = forms_of(part)
    width, height = across * part.size.width_mm, down * part.size.height_mm
    border = max(
        part.size.width_mm - max(form.size.width_mm for form in forms),
        part.size.height_mm - max(form.size.height_mm for form in forms),
    )
    held = max(press.gripper, press.pin_clearance)
    if border / 2 < held:
        height += held * (2 if imposition == "work-and-tumble" else 1)
    short, long = sorted((press.least_sheet.width_mm, press.least_sheet.height_mm))
    return (max(width, short), max(height, long)) if width <= height else (max(width, long), max(height, short))


def asked_force(part: Part, card: RateCard, imposition: str, copies: int) -> Decimal:
    """The greatest impression that any form asks: what prints, times the pressure of the stock. [N]"""
    stock_class = card.stock_classes[card.stocks[part.stock].stock_class]
    turned = imposition in {"work-and-turn", "work-and-tumble"}
    greatest = Decimal(0)
    for side in (part.front, part.back):
        for colour in side.colours if side else ():
            inked = _inked(colour)
            other = part.back if side is part.front else part.front
            if turned and other:
                inked += sum((_inked(one) for one in other.colours if one.ink == colour.ink), Decimal(0))
            assert side
            greatest = max(
                greatest, inked * (copies // 2 if turned else copies) * stock_class.pressure[side.impression]
            )
    return greatest


def _inked(colour: Colour) -> Decimal:
    form = colour.form
    assert isinstance(form, MeasuredForm)
    return form.size.area_mm2 * form.share_inked


def can_be_printed(part: Part, card: RateCard, press: Press, way: Way) -> bool:
    """Whether sheet, forms and impression are within the press, and the sheet comes out of its parent."""
    _, imposition, across, down = way
    stock = card.stocks[part.stock]
    assert isinstance(stock, ParentSheets)
    width, height = press_sheet(part, press, imposition, across, down)
    if not goes_in(width, height, press.greatest_sheet):
        return False
    for form in forms_of(part):
        wide = form.size.width_mm + (across - 1) * part.size.width_mm
        high = form.size.height_mm + (down - 1) * part.size.height_mm
        if not goes_in(wide, high, press.chase) or not any(goes_in(wide, high, base.size) for base in press.bases):
            return False
    trimmed = (stock.size.width_mm - 2 * stock.mill_edge_trim, stock.size.height_mm - 2 * stock.mill_edge_trim)
    comes_out = any(width <= wide and height <= high for wide, high in (trimmed, trimmed[::-1]))
    return comes_out and asked_force(part, card, imposition, across * down) <= press.greatest_force


def ways_by_plain_loops(item: Item, part: Part, card: RateCard) -> set[Way]:
    """Press x imposition x grid, up to 16 up."""
    stock = card.stocks[part.stock]
    found = set()
    for name, press in card.presses.items():
        if stock.stock_class not in press.speeds or stock.caliper > press.greatest_caliper or not press.bases:
            continue
        for imposition, across, down in product(impositions(item, part, card), range(1, 17), range(1, 17)):
            way = (name, imposition, across, down)
            fits_in = across * down <= 16 and is_held(imposition, across, down, item.versions)
            if fits_in and can_be_printed(part, card, press, way):
                found.add(way)
    return found


def stronger_and_weaker(shop: str) -> list[RateCard]:
    """The shop's card, and one whose presses give so little impression that it decides."""
    data = card_data_of(shop)
    weak = card_data_of(shop)
    for press in weak["presses"].values():
        press["greatest_force"] = "2 kN"
    return [rate_card_from(data), rate_card_from(weak)]


@pytest.mark.parametrize("shop", SHOPS)
def test_the_planner_looks_at_every_way_that_plain_loops_find_and_at_no_other(shop: str) -> None:
    looked_at = 0
    cards = stronger_and_weaker(shop)
    for seed in range(JOBS_A_SHOP):
        card = cards[seed % 2]
        item = drawn_job(seed, card, most_items=1).items[0]
        (part,) = item.all_parts()
        found = in_engine_context(part_candidates)(item, part, card, places=(0, 0)).plans
        ways = {(plan.press, plan.imposition, plan.across, plan.down) for plan in found}

        assert ways == ways_by_plain_loops(item, part, card), seed
        looked_at += len(ways)

    assert looked_at > 5 * JOBS_A_SHOP
