"""Line items: every cost with what drives it, its rate, and the sentence of arithmetic behind it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from decimal import Decimal
from typing import TypeVar

from msgspec import Struct
from msgspec.structs import replace

from quoting.buying import BUYERS, Purchase, after_tax
from quoting.costing import RateMemory, labour_cost
from quoting.formulas import Do, Step, formula
from quoting.money import round_amount, spread
from quoting.numbers import plain
from quoting.rate_card import RateCard
from quoting.requirements import Charge, CostClass, Draw, Labour, PotKind, Requirement


class Working(Struct, frozen=True, kw_only=True):
    """One share of a line: what it is for, its steps, how much of the line's driver it is."""

    what: str
    amount: Decimal
    unit: str
    steps: tuple[Step, ...] = ()


class LineItem(Struct, frozen=True, kw_only=True):
    """
    One cost of the job.

    ``item`` is the item it belongs to; None where the job does it once, and then the two
    ``…_shares`` say what each item bears of it. ``exact_cost`` is unrounded; ``cost`` and
    ``price`` are rounded each from it, and only they are summed.
    """

    operation: str
    what: str
    item: int | None
    cost_class: CostClass
    driver: Decimal
    driver_unit: str
    rate: Decimal
    rate_unit: str
    exact_cost: Decimal
    cost: Decimal
    price: Decimal
    sentence: str
    price_sentence: str
    workings: tuple[Working, ...]
    person: str | None = None
    machine: str | None = None
    minutes: Decimal
    cost_shares: tuple[Decimal, ...] = ()
    price_shares: tuple[Decimal, ...] = ()
    before_printing: bool
    is_delivery: bool = False


@formula(unit="money", sentence="{cost} × (1 + {rise} put on)")
def marked_up(*, cost: Decimal, rise: Decimal) -> Decimal:
    """A cost with its mark-up on it. [money]"""
    return cost * (1 + rise)


def rise_on(card: RateCard, cost_class: CostClass) -> Decimal:
    """
    What is put on a class of cost.

    A target margin m asks for price = cost / (1 − m), which is m / (1 − m) put on. Where an
    hour is to be earned nothing is put on line by line: the price has a rule of its own for it.
    """
    marks = card.pricing.mark_ups
    if card.pricing.hour_target is not None:
        return Decimal(0)
    if marks is None:
        margin = card.pricing.target_margin or Decimal(0)
        return margin / (1 - margin)
    if cost_class == "labour":
        return marks.labour.in_base_unit
    return (marks.materials if cost_class == "materials" else marks.bought_in).in_base_unit


def line_items(
    do: Do, requirements: Sequence[Requirement], card: RateCard, items: int, rates: RateMemory | None = None
) -> tuple[LineItem, ...]:
    """
    Lines of all requirements, in the order of work; without sentences where ``do`` writes none.

    One line for each operation, item, person and machine; one for each pot.
    """
    lines: list[LineItem] = []
    labour: dict[tuple[str, int | None, str, str | None], list[Labour]] = {}
    draws: dict[tuple[PotKind, str], list[Draw]] = {}
    charges: list[Charge] = []
    for asked in requirements:
        if isinstance(asked, Labour):
            labour.setdefault((asked.operation, asked.item, asked.person, asked.machine), []).append(asked)
        elif isinstance(asked, Draw):
            draws.setdefault((asked.pot, asked.key), []).append(asked)
        else:
            charges.append(asked)
    remembered = rates or RateMemory(card)
    for group in labour.values():
        lines.extend(_once(do, remembered, group, lambda group: [_labour_line(do, group, card, remembered)]))
    for drawn in draws.values():
        lines.extend(_once(do, remembered, drawn, lambda drawn: _purchase_lines(do, drawn, card, items)))
    lines.extend(_charge_line(do, charge, card) for charge in charges)
    lines.sort(key=_place_in_the_work)
    weights = _weights(requirements) if items > 1 else {}  # one item bears all of it
    return _shared_out([line for line in lines if line.exact_cost], card, items, weights)


_BEFORE_FINISHING = (
    "Handling",
    "Prepress",
    "Screen proofs",
    "Press proof",
    "Stock",
    "Plates",
    "Carriage in",
    "Composing",
    "Lock-up",
    "Form washing",
    "Mixing",
    "Ink",
    "Cutting",
    "Ink-up",
    "Pins and packing",
    "Make-ready",
    "Running",
    "Re-inking",
    "Interleaving",
    "Wash-up",
)
_AFTER_FINISHING = ("Counting and banding", "Collating", "Packing", "Delivery")


_FINISHING = len(_BEFORE_FINISHING)
_PLACES = {name: place for place, name in enumerate((*_BEFORE_FINISHING, "", *_AFTER_FINISHING))}


def _place_in_the_work(line: LineItem) -> int:
    """Where a line stands in the order of work; finishing between press and packing."""
    return _PLACES.get(line.operation, _FINISHING)


_Asked = TypeVar("_Asked", Labour, Draw)


def _once(
    do: Do, rates: RateMemory, group: list[_Asked], work: Callable[[list[_Asked]], list[LineItem]]
) -> list[LineItem]:
    """The lines of a group; where nothing is written down, what was worked out before is taken again."""
    if do.writes:
        return work(group)
    key = tuple(group)
    if key not in rates.lines:
        rates.lines[key] = work(group)
    found: list[LineItem] = rates.lines[key]
    return found


def _labour_line(do: Do, group: Sequence[Labour], card: RateCard, rates: RateMemory) -> LineItem:
    first = group[0]
    minutes = sum((asked.minutes for asked in group), Decimal(0))
    rate = rates.an_hour(first)
    cost = do(labour_cost, minutes=minutes, rate=rate)
    sentence = _sentence([_working_words(asked) for asked in group], do.taken()) if do.writes else ""
    return _line(
        do,
        card,
        operation=first.operation,
        what=_joined([asked.what for asked in group]),
        item=first.item,
        cost_class="labour",
        driver=sum((asked.driver for asked in group), Decimal(0)),
        driver_unit=first.driver_unit,
        rate=rate,
        rate_unit="an hour",
        exact=cost,
        sentence=sentence,
        workings=tuple(
            Working(what=asked.what, amount=asked.minutes, unit="min", steps=asked.steps) for asked in group
        ),
        person=first.person,
        machine=first.machine,
        minutes=minutes,
    )


def _working_words(asked: Labour) -> str:
    """One share of a labour line: the sentences behind its minutes."""
    worked = "; ".join(f"{step.sentence} = {plain(step.result)}" for step in asked.steps)
    return f"{asked.what}: {worked or f'{plain(asked.minutes)} min'}"


def _purchase_lines(do: Do, group: Sequence[Draw], card: RateCard, items: int) -> list[LineItem]:
    """What one pot comes to, its carriage a line of its own."""
    amount = sum((draw.amount for draw in group), Decimal(0))
    bought = BUYERS[group[0].pot](do, card, group[0].key, amount)
    return [_purchase_line(do, one, group, card, items) for one in bought]


def _purchase_line(do: Do, bought: Purchase, group: Sequence[Draw], card: RateCard, items: int) -> LineItem:
    weights = tuple(sum((draw.amount for draw in group if draw.item == place), Decimal(0)) for place in range(items))
    line = _line(
        do,
        card,
        operation=bought.operation,
        what=bought.what,
        item=None,
        cost_class=bought.cost_class,
        driver=bought.quantity,
        driver_unit=bought.unit,
        rate=bought.cost / bought.quantity if bought.quantity else Decimal(0),
        rate_unit=f"for one of {bought.unit}",
        exact=bought.cost,
        sentence=_sentence([f"{plain(bought.drawn)} {bought.unit} drawn"], bought.steps) if do.writes else "",
        workings=tuple(
            Working(what=draw.what, amount=draw.amount, unit=draw.unit, steps=draw.steps) for draw in group
        ),
        before_printing=bought.before_printing,
    )
    return _with_shares(line, weights, card)


def _charge_line(do: Do, charge: Charge, card: RateCard) -> LineItem:
    cost = after_tax(do, card, charge.cost)
    return _line(
        do,
        card,
        operation=charge.operation,
        what=charge.what,
        item=charge.item,
        cost_class=charge.cost_class,
        driver=charge.driver,
        driver_unit=charge.driver_unit,
        rate=cost / charge.driver if charge.driver else Decimal(0),
        rate_unit=f"for one of {charge.driver_unit}",
        exact=cost,
        sentence=(_sentence([], (*charge.steps, *do.taken())) or f"a charge of {plain(cost)}") if do.writes else "",
        workings=(Working(what=charge.what, amount=charge.driver, unit=charge.driver_unit, steps=charge.steps),),
        before_printing=charge.before_printing,
        is_delivery=charge.is_delivery,
    )


def _line(
    do: Do,
    card: RateCard,
    *,
    operation: str,
    what: str,
    item: int | None,
    cost_class: CostClass,
    driver: Decimal,
    driver_unit: str,
    rate: Decimal,
    rate_unit: str,
    exact: Decimal,
    sentence: str,
    workings: tuple[Working, ...],
    person: str | None = None,
    machine: str | None = None,
    minutes: Decimal = Decimal(0),
    before_printing: bool = False,
    is_delivery: bool = False,
) -> LineItem:
    price = do(marked_up, cost=exact, rise=rise_on(card, cost_class))
    price_sentence = _sentence([], do.taken())
    currency = card.region.currency
    return LineItem(
        operation=operation,
        what=what,
        item=item,
        cost_class=cost_class,
        driver=driver,
        driver_unit=driver_unit,
        rate=rate,
        rate_unit=rate_unit,
        exact_cost=exact,
        cost=round_amount(exact, currency),
        price=round_amount(price, currency),
        sentence=sentence,
        price_sentence=price_sentence,
        workings=workings,
        person=person,
        machine=machine,
        minutes=minutes,
        before_printing=before_printing,
        is_delivery=is_delivery,
    )


def _sentence(heads: Sequence[str], steps: Sequence[Step]) -> str:
    worked = [f"{step.sentence} = {plain(step.result)}" for step in steps]
    return "; ".join([*heads, *worked])


def _joined(names: Sequence[str]) -> str:
    return "; ".join(dict.fromkeys(names))


def _weights(requirements: Sequence[Requirement]) -> dict[tuple[str, str | None], tuple[Decimal, ...]]:
    """How each line that the job does once is shared, by operation and machine."""
    weights: dict[tuple[str, str | None], tuple[Decimal, ...]] = {}
    for asked in requirements:
        if isinstance(asked, Draw) or asked.item is not None or not asked.weights:
            continue
        key = (asked.operation, asked.machine if isinstance(asked, Labour) else None)
        amount = asked.minutes if isinstance(asked, Labour) else asked.cost
        whole = sum(asked.weights, Decimal(0)) or Decimal(1)
        mine = tuple(weight / whole * amount for weight in asked.weights)
        weights[key] = tuple(a + b for a, b in zip(weights.get(key, (Decimal(0),) * len(mine)), mine, strict=True))
    return weights


def _shared_out(
    lines: Sequence[LineItem],
    card: RateCard,
    items: int,
    weights: dict[tuple[str, str | None], tuple[Decimal, ...]],
) -> tuple[LineItem, ...]:
    """Lines of the job with their shares; where nothing else says how, by what each item costs itself."""
    own = tuple(sum((line.exact_cost for line in lines if line.item == place), Decimal(0)) for place in range(items))
    return tuple(
        line
        if line.item is not None or line.cost_shares
        else _with_shares(line, weights.get((line.operation, line.machine), own), card)
        for line in lines
    )


def _with_shares(line: LineItem, weights: tuple[Decimal, ...], card: RateCard) -> LineItem:
    if len(weights) == 1:
        return replace(line, cost_shares=(line.cost,), price_shares=(line.price,))
    currency = card.region.currency
    return replace(
        line,
        cost_shares=spread(line.cost, weights, currency),
        price_shares=spread(line.price, weights, currency),
    )
