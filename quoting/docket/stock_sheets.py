"""A part's sheets on the docket: what to take from stock, how to cut it, how the forms lie on it."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from itertools import groupby

from msgspec import Struct

from quoting.cutting import DrawnWords, Layout, drawn_in_svg
from quoting.docket.imposing import Side, drawn_form, spots
from quoting.docket.sheets import parent_layout, piece_layout, press_sheet_grain
from quoting.estimate import PartEstimate
from quoting.job import Item, Part
from quoting.languages import Language, message
from quoting.rate_card import RateCard
from quoting.shop import ParentSheets

FONT = "Quotation Serif, Quotation Japanese"


class CutTold(Struct, frozen=True):
    """Cuts that follow each other at one setting of the back gauge, one way: their numbers and places."""

    numbers: str
    way: str
    at: str
    gauge: str


class Drawn(Struct, frozen=True, kw_only=True):
    """A drawing with its title, and the cuts it numbers."""

    title: str
    svg: str
    cuts: tuple[CutTold, ...] = ()


class DocketSheets(Struct, frozen=True, kw_only=True):
    """Stock, cutting and imposition of one part."""

    facts: tuple[tuple[str, str], ...]
    drawings: tuple[Drawn, ...]
    forms: tuple[Drawn, ...]
    lay: tuple[str, ...]


_IMPOSITIONS = {
    "one side": message("one side"),
    "sheetwise": message("sheetwise: a form for each side"),
    "work-and-turn": message("work-and-turn: both sides in one form"),
    "work-and-tumble": message("work-and-tumble: both sides in one form"),
    "fed as it comes": message("fed as it comes, one at a time"),
    "ganged": message("ganged: every design in one form"),
}
_TURNS = {
    "one side": message("The sheet is not turned."),
    "ganged": message("The sheet is not turned."),
    "fed as it comes": message("Lay every blank to the same edges; for a back, turn it left to right."),
    "sheetwise": message(
        "For the back turn the sheet left to right: gripper edge as before, side gauge at the right."
    ),
    "work-and-turn": message(
        "For the second side turn the sheet left to right: gripper edge as before, side gauge at the right."
    ),
    "work-and-tumble": message(
        "For the second side turn the sheet head to tail: the other long edge to the gripper, side gauge as before."
    ),
}
_GRAINS = {
    "across": message("across the press sheet, along its width"),
    "down": message("up the press sheet, along its height"),
    "either": message("either way: it does not matter here"),
    "none": message("does not matter"),
}
_STOCK_GRAINS = {
    "long": message("along the long side"),
    "short": message("along the short side"),
    "none": message("does not matter"),
}
_WAYS = {"upright": message("upright"), "level": message("level")}


def docket_sheets(item: Item, part: Part, planned: PartEstimate, card: RateCard, language: Language) -> DocketSheets:
    """Everything that is told of a part's sheets."""
    parents = parent_layout(part, planned.plan, card)
    bleeds = any(
        getattr(colour.form, "bleed", False) for side in (part.front, part.back) if side for colour in side.colours
    )
    pieces = piece_layout(part, planned.plan, card, bleeds=bleeds)
    return DocketSheets(
        facts=tuple(_facts(part, planned, card, parents, language)),
        drawings=tuple(_drawings(part, planned, parents, pieces, language)),
        forms=tuple(_forms(part, planned, card, pieces, language)),
        lay=(language.say(_TURNS[planned.plan.imposition]),),
    )


def _facts(
    part: Part, planned: PartEstimate, card: RateCard, parents: Layout | None, language: Language
) -> Iterator[tuple[str, str]]:
    say, plan, stock = language.say, planned.plan, card.stocks[planned.plan.stock]
    name = say("{stock}, the client's own", stock=stock.name) if part.stock_from == "client" else stock.name
    yield say("Stock"), name
    yield say("Take from stock"), language.say_many("{count} sheet", "{count} sheets", planned.sheets_from_stock)
    yield say("Sheet"), language.size(stock.size)
    yield say("Thickness"), language.length(stock.caliper.in_base_unit)
    if isinstance(stock, ParentSheets):
        yield say("Grain of the sheet"), say(_STOCK_GRAINS[stock.grain])
        yield say("Press sheet"), language.sides(plan.sheet_width_mm, plan.sheet_height_mm)
        yield say("Press sheets out of one"), language.number(plan.sheets_a_parent)
        yield say("Press sheets to cut"), language.number(planned.count.sheets)
        yield say("Grain on the press"), say(_GRAINS[press_sheet_grain(parents)])
    yield say("Press"), card.presses[plan.press].name
    yield say("Imposition"), say(_IMPOSITIONS[plan.imposition])
    yield (
        say("On the press sheet"),
        say(
            "{number} up: {across} across, {down} down",
            number=str(plan.number_up),
            across=str(plan.across),
            down=str(plan.down),
        ),
    )
    yield say("Gripper"), language.length(card.presses[plan.press].gripper.in_base_unit)


def _drawings(
    part: Part, planned: PartEstimate, parents: Layout | None, pieces: Layout | None, language: Language
) -> Iterator[Drawn]:
    plan = planned.plan
    if parents is not None:
        title = language.say_many(
            "{part}: cut {count} sheet from stock to press sheets",
            "{part}: cut {count} sheets from stock to press sheets",
            planned.sheets_from_stock,
            part=plan.label,
        )
        yield _drawn(parents, title, language)
    if pieces is not None and pieces.cuts:
        title = language.say("{part}: after printing, cut to pieces", part=plan.label)
        yield _drawn(pieces, title, language)


def _drawn(layout: Layout, title: str, language: Language) -> Drawn:
    words = DrawnWords(
        title=title,
        grain=language.say("grain"),
        decimal_mark=language.number(Decimal("0.1"))[1],
        font=FONT,
        type_share=26,
    )
    return Drawn(
        title=title,
        svg=drawn_in_svg(layout, unit=language.lengths, words=words),
        cuts=tuple(_cuts(layout, language)),
    )


def _cuts(layout: Layout, language: Language) -> Iterator[CutTold]:
    numbered = enumerate(layout.cuts, start=1)
    for _, together in groupby(numbered, key=lambda one: (one[1].setting, one[1].direction)):
        cuts = list(together)
        (first, cut), (last, _last) = cuts[0], cuts[-1]
        places = dict.fromkeys(language.length(one.at_mm) for _, one in cuts)
        yield CutTold(
            numbers=str(first) if first == last else f"{first}–{last}",
            way=language.say(_WAYS[cut.direction]),
            at=", ".join(places),
            gauge=language.length(cut.gauge_mm),
        )


def _forms(
    part: Part, planned: PartEstimate, card: RateCard, pieces: Layout | None, language: Language
) -> Iterator[Drawn]:
    plan = planned.plan
    places = tuple((place.x_mm, place.y_mm) for place in pieces.places) if pieces else ((Decimal(0), Decimal(0)),)
    places = tuple(sorted(places, key=lambda place: (place[1], place[0])))
    size = (part.size.width_mm, part.size.height_mm)
    shown: list[tuple[Side, str]] = [("front", language.say("{part}: the form of the front", part=plan.label))]
    if plan.imposition in {"work-and-turn", "work-and-tumble"}:
        shown = [("front", language.say("{part}: the form of both sides", part=plan.label))]
    elif part.back and not part.front:
        shown = [("back", language.say("{part}: the form of the back", part=plan.label))]
    elif part.back:
        shown.append(("back", language.say("{part}: the form of the back", part=plan.label)))
    for side, title in shown:
        svg = drawn_form(
            plan,
            spots(plan, places, size, side),
            gripper_mm=card.presses[plan.press].gripper.in_base_unit,
            gauge="right" if side == "back" and part.front else "left",
            is_round=part.shape == "round",
            language=language,
            title=title,
            font=FONT,
        )
        yield Drawn(title=title, svg=svg)
