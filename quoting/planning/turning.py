"""Grids of pieces; turned sheets: whether one form may print both sides, which colours lie on each other."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from msgspec import Struct

from quoting.cutting import reason_against
from quoting.job import Colour, Item, Part, Side
from quoting.planning.forms import FormPlan
from quoting.planning.refused import Refusal
from quoting.presswork import Imposition
from quoting.rate_card import RateCard
from quoting.shop import ReadyCut

TURNED: tuple[Imposition, ...] = ("work-and-turn", "work-and-tumble")


class Grid(Struct, frozen=True):
    """Pieces on a press sheet, and how it is turned."""

    imposition: Imposition
    across: int
    down: int

    @property
    def number_up(self) -> int:
        """Pieces on the sheet."""
        return self.across * self.down

    @property
    def is_turned(self) -> bool:
        """Whether one form prints both sides of the sheet."""
        return self.imposition in TURNED

    @property
    def copies(self) -> int:
        """How often each form stands."""
        return self.number_up // 2 if self.is_turned else self.number_up


class Shared(Struct, frozen=True):
    """A colour of the form: its places among those of the front and of the back, and what lies under it."""

    front: int | None
    back: int | None
    over: tuple[int, ...] = ()


def shared_colours(front: Sequence[Colour], back: Sequence[Colour]) -> tuple[Shared, ...] | None:
    """
    Both sides' colours in one row, an ink of both sides once; None where no row has both in their order.

    ``over`` are the places in the row of the colours that lie under one on either side. Colours that
    share no side never lie on each other.
    """
    waiting = _paired(front, back)
    row: list[Shared] = []
    while waiting:
        ready = next((one for one in waiting if not any(_lies_under(other, one) for other in waiting)), None)
        if ready is None:
            return None
        waiting.remove(ready)
        over = tuple(place for place, other in enumerate(row) if _lies_under(other, ready))
        row.append(Shared(ready.front, ready.back, over))
    return tuple(row)


def _paired(front: Sequence[Colour], back: Sequence[Colour]) -> list[Shared]:
    alone = list(range(len(back)))
    pairs = []
    for place, colour in enumerate(front):
        twin = next((other for other in alone if back[other].ink == colour.ink), None)
        if twin is not None:
            alone.remove(twin)
        pairs.append(Shared(place, twin))
    return pairs + [Shared(None, place) for place in alone]


def _lies_under(under: Shared, over: Shared) -> bool:
    """Whether one of two colours comes before the other on a side that they share."""
    sides = ((under.front, over.front), (under.back, over.back))
    return any(first is not None and then is not None and first < then for first, then in sides)


def reason_not_to_turn(
    item: Item, part: Part, front: Sequence[FormPlan], back: Sequence[FormPlan], card: RateCard
) -> Refusal | None:
    """Why no form can print both sides of this part; nothing where one may, or where it has but one side."""
    if not (part.front and part.back):
        return None
    return _stock_not_turned(part, card) or next(_form_not_shared(item, part.front, part.back, (*front, *back)), None)


def _stock_not_turned(part: Part, card: RateCard) -> Refusal | None:
    stock = card.stocks[part.stock]
    if isinstance(stock, ReadyCut):
        return Refusal("{} comes ready cut, a piece a sheet: choose a parent sheet, or a form a side", (stock.name,))
    if (stock.deckle or stock.torn_by_hand) and not stock.mill_edge_trim:
        told = "{} has no square edges to lay a turned sheet to: trim it on all sides, or print sheetwise"
        return Refusal(told, (stock.name,))
    if stock.caliper < card.limits.thinnest_turned:
        told = "stock too thin to turn: {} is {} mm, under the {} mm that lies square again: thicker, or sheetwise"
        return Refusal(told, (stock.name, stock.caliper, card.limits.thinnest_turned))
    return None


def _form_not_shared(item: Item, front: Side, back: Side, forms: Sequence[FormPlan]) -> Iterator[Refusal]:
    if item.versions > 1:
        yield Refusal("a form of both sides would change with each version: gang the versions, or print sheetwise")
    if any(form.number_up > 1 for form in forms):
        yield Refusal("the client's plate holds one side: a plate of both sides, or print sheetwise")
    if len({form.kind for form in forms}) > 1:
        yield Refusal("one form of unlike type and plates is not made ready as one: all plates, or print sheetwise")
    if front.impression != back.impression:
        yield Refusal("one packing gives both sides one impression: the same on both, or print sheetwise")
    if shared_colours(front.colours, back.colours) is None:
        yield Refusal("the sides want their inks in opposite order: one order on both, or print sheetwise")


def rule_against(grid: Grid, item: Item) -> Refusal | None:
    """Why a grid cannot be imposed so."""
    if grid.imposition == "ganged" and grid.number_up % item.versions:
        told = "{} up does not hold {} versions alike: a number that they divide, or one version after the other"
        return Refusal(told, (grid.number_up, item.versions))
    if not grid.is_turned or not reason_against(grid.imposition, grid.across, grid.down):  # type: ignore[arg-type]
        return None
    if grid.number_up % 2:
        told = "odd number up for {}: its form holds both sides of each piece: an even number, or sheetwise"
        return Refusal(told, (grid.imposition,))
    told = "{} across and {} down for {}: the sides lie in halves that change places: the other way, or sheetwise"
    return Refusal(told, (grid.across, grid.down, grid.imposition))
