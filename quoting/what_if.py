"""
What if: a rate or a time of the card changed, and what that does to cost, price and margin.

A change names a key of the card and what becomes of it: ``"make_ready.plate +10 %"``,
``"people.owner.wage +2000.00"``, ``"presses.*.speeds.card = 600 an hour"``. ``*`` stands for any one key.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator, Sequence
from copy import copy
from decimal import Decimal
from fnmatch import fnmatchcase
from typing import Any

from msgspec import Struct
from msgspec.structs import force_setattr, replace

from quoting.checking import check_job
from quoting.compare import left_at
from quoting.errors import Fault, InputError, JobError, MeasureError, RateCardError
from quoting.estimate import Figures, figures_of
from quoting.formulas import formula
from quoting.job import Job
from quoting.numbers import in_engine_context
from quoting.planning.part_plan import PartPlan
from quoting.planning.prepared import PreparedJob
from quoting.planning.search import way
from quoting.rate_card import RateCard, card_faults
from quoting.shop import PriceBand
from quoting.units import Measure, Rise, Share, at_value

STOCK_PRICES = "risk_stock_prices"
WIDEST = 10


class Change(Struct, frozen=True, kw_only=True):
    """A key of the card (``*`` for any one key) and what becomes of it: set, or moved by an amount or a share."""

    key: str
    way: str
    amount: str


class Outcome(Struct, frozen=True, kw_only=True):
    """What one quantity comes to."""

    ways: tuple[str, ...]
    cost: Decimal
    net: Decimal
    margin: Decimal


class Effect(Struct, frozen=True, kw_only=True):
    """
    One quantity before and after the change.

    ``after`` is planned and priced anew; ``held`` keeps the plan, at whatever it costs now;
    ``margin_at_old_price`` is what is left where the plan is new and the client's price stays.
    """

    quantity: int
    before: Outcome
    after: Outcome
    held: Outcome
    margin_at_old_price: Decimal


class WhatIf(Struct, frozen=True, kw_only=True):
    """What changed, key by key, and what it does to each quantity. For the owner."""

    title: str
    currency: str
    changed: tuple[tuple[str, str, str], ...]
    effects: tuple[Effect, ...]


class Swing(Struct, frozen=True, kw_only=True):
    """One input moved over its own spread, the plan and the price held: what is left of the price at each end."""

    key: str
    low: str
    usual: str
    high: str
    cost_at_low: Decimal
    cost_at_high: Decimal
    margin_at_low: Decimal
    margin_at_usual: Decimal
    margin_at_high: Decimal

    @property
    def width(self) -> Decimal:
        """How far the margin moves."""
        return abs(self.margin_at_high - self.margin_at_low)


_CHANGE = re.compile(r"(?P<key>[^\s=]+(?: [^\s=+\-−]+)*?) ?(?P<way>=|[+\-−]) ?(?P<amount>[0-9].*)")


def change_from(written: str) -> Change:
    """
    A change as somebody writes it.

    Raises:
        JobError: no key, sign and amount.
    """
    found = _CHANGE.fullmatch(written.strip())
    if found is None:
        expected = (
            "a key and what becomes of it, such as 'make_ready.plate +10 %' or 'finishing.*.speed = 400 an hour'"
        )
        raise JobError([Fault("change", expected, repr(written)[:60])])
    return Change(key=found["key"], way=found["way"].replace("−", "-"), amount=found["amount"].strip())


def measures_of(card: RateCard) -> dict[str, Measure]:
    """Every measure of the card by its key: ``presses.platen.speeds.card``, ``finishing.2.speed``."""
    return dict(_measures("", card))


def _measures(key: str, value: Any) -> Iterator[tuple[str, Measure]]:
    if isinstance(value, Measure):
        yield key, value
        return
    for name, inner in _inside(value):
        yield from _measures(f"{key}.{name}" if key else name, inner)


def _inside(value: Any) -> Iterator[tuple[str, Any]]:
    if hasattr(value, "__struct_fields__"):
        for name in value.__struct_fields__:
            yield name, getattr(value, name)
    elif isinstance(value, dict):
        yield from value.items()
    elif isinstance(value, tuple):
        for place, inner in enumerate(value):
            yield str(place), inner


def with_measures(card: RateCard, measures: dict[str, Any]) -> RateCard:
    """
    The card with other measures at some of its keys.

    What the stock prices of a risk may turn out at acts on every price of a stock.
    """
    factor = measures.get(STOCK_PRICES)
    changed = _changed("", card, measures)
    if factor is None:
        return changed  # type: ignore[no-any-return]
    return replace(changed, stocks={name: _priced(stock, factor) for name, stock in changed.stocks.items()})  # type: ignore[no-any-return]


def _priced(stock: Any, factor: Any) -> Any:
    """A stock at so many times its prices."""
    plain = getattr(factor, "in_base_unit", factor)
    return replace(stock, prices=tuple(PriceBand(band.at_least, band.price * plain) for band in stock.prices))


def _changed(key: str, value: Any, measures: dict[str, Any]) -> Any:
    """A value with what is changed inside it; itself where nothing is."""
    if key in measures:
        return measures[key]
    if isinstance(value, Measure) or not any(other.startswith(f"{key}.") or not key for other in measures):
        return value
    inner = {name: _changed(f"{key}.{name}" if key else name, one, measures) for name, one in _inside(value)}
    if hasattr(value, "__struct_fields__"):
        other = copy(value)
        for name, one in inner.items():
            force_setattr(other, name, one)  # many numbers at once do not pass a struct's own checks
        return other
    return inner if isinstance(value, dict) else tuple(inner.values()) if isinstance(value, tuple) else value


@formula(unit="as it is measured", sentence="{usual} × (1 + {share})")
def moved_by_share(*, usual: Decimal, share: Decimal) -> Decimal:
    """A measure moved by a share of itself, which may be under nothing."""
    return usual * (1 + share)


def changed_measures(card: RateCard, changes: Sequence[Change]) -> dict[str, Measure]:
    """
    What becomes of the card's measures, by key.

    A per cent moves a measure by a share of itself; a measure that is a share moves by ``points`` too.

    Raises:
        RateCardError: a key that the card does not hold, or an amount that it does not take.
    """
    known = measures_of(card)
    faults: list[Fault] = []
    found: dict[str, Measure] = {}
    for change in changes:
        keys = [key for key in known if _fits(key, change.key)]
        if not keys:
            faults.append(Fault(change.key, "the key of a measure of the card (see: quoting keys card)", "none"))
        for key in keys:
            try:
                found[key] = _moved(found.get(key, known[key]), change)
            except MeasureError as error:
                faults.append(Fault(key, error.faults[0].expected, error.faults[0].found))
    if faults:
        raise RateCardError(faults)
    return found


def _fits(key: str, pattern: str) -> bool:
    parts, wanted = key.split("."), pattern.split(".")
    return len(parts) == len(wanted) and all(map(fnmatchcase, parts, wanted))


def _moved(measure: Measure, change: Change) -> Measure:
    kind = type(measure)
    if change.way == "=":
        return kind(change.amount)
    if change.amount.endswith("%"):
        share = (
            Share(change.amount).in_base_unit if Decimal(change.amount.rstrip("% ")) <= 100 else Rise(change.amount)
        )
        moved = moved_by_share(usual=measure.in_base_unit, share=share if change.way == "+" else -share)
        return at_value(measure, moved)  # type: ignore[no-any-return]  # a Measure of the kind
    by = kind(change.amount.replace("points", "%")).in_base_unit
    return at_value(measure, measure + by if change.way == "+" else measure - by)  # type: ignore[no-any-return]


@in_engine_context
def what_if(job: Job, card: RateCard, changes: Sequence[Change], *, on: datetime.date) -> WhatIf:
    """
    A job at a changed card.

    Raises:
        RateCardError: a change that the card does not take.
        NoPlanError: after the change no press can make it.
    """
    check_job(job, card)
    measures = changed_measures(card, changes)
    after_card = _checked(with_measures(card, measures))
    prepared, after = PreparedJob(job, card), PreparedJob(job, after_card)
    known = measures_of(card)
    return WhatIf(
        title=job.title,
        currency=card.region.currency,
        changed=tuple((key, known[key].written, measure.written) for key, measure in measures.items()),
        effects=tuple(_effect(prepared, after, quantity, on) for quantity in job.quantities),
    )


def _checked(card: RateCard) -> RateCard:
    """The changed card held to the rules of any other."""
    from quoting.reader import from_json, to_json

    try:
        read = from_json(to_json(card), RateCard)
    except InputError as error:
        raise RateCardError(error.faults) from error
    faults = tuple(card_faults(read))
    if faults:
        raise RateCardError(faults)
    return read


def _effect(prepared: PreparedJob, after: PreparedJob, quantity: int, on: datetime.date) -> Effect:
    was = figures_of(prepared, quantity, on)
    now = figures_of(after, quantity, on)
    held = figures_of(prepared.at(after.card), quantity, on, plans=was.plans)
    return Effect(
        quantity=quantity,
        before=_outcome(was, prepared.card),
        after=_outcome(now, after.card),
        held=_outcome(held, after.card),
        margin_at_old_price=_margin(was.price.net, now, after),
    )


def _outcome(one: Figures, card: RateCard) -> Outcome:
    return Outcome(
        ways=tuple(way(plan, card) for plan in one.plans),
        cost=one.price.cost,
        net=one.price.net,
        margin=one.price.margin,
    )


def _margin(net: Decimal, one: Figures, prepared: PreparedJob) -> Decimal:
    """Share of a net price that is left when one quantity's cost, commission and fee are paid."""
    return left_at(net, one, prepared) / net if net else Decimal(0)


@in_engine_context
def swings(
    job: Job, card: RateCard, quantity: int, *, on: datetime.date, widest: int | None = WIDEST
) -> tuple[Swing, ...]:
    """
    The inputs whose own spread moves the margin most, the plan and the price held; widest first.

    Args:
        widest: How many; all that move it where None.
    """
    check_job(job, card)
    prepared = PreparedJob(job, card)
    was = figures_of(prepared, quantity, on)
    found = []
    for key, measure in measures_of(card).items():
        if measure.low == measure.high:
            continue
        low, high = (_held_at(prepared, key, at_value(measure, end), was, on) for end in (measure.low, measure.high))
        if low.price.cost != high.price.cost or key.startswith("pricing."):
            found.append(_swing(key, measure, was, low, high, prepared))
    found = [swing for swing in found if swing.width]
    found.sort(key=lambda swing: (-swing.width, swing.key))
    return tuple(found[:widest])


def _held_at(prepared: PreparedJob, key: str, measure: Measure, was: Figures, on: datetime.date) -> Figures:
    """The held plan with one measure changed; what a fount's speed is at is looked up in the plan anew."""
    card = with_measures(prepared.card, {key: measure})
    at = prepared.at(card)
    held: Sequence[PartPlan] = was.plans
    if key.startswith("founts."):
        held = _replanned(PreparedJob(prepared.job, card), was)
    return figures_of(at, was.quantity, on, plans=held)


def _replanned(prepared: PreparedJob, was: Figures) -> list[PartPlan]:
    """The same ways to make each part, with what the card says of them now."""
    found = []
    for held, candidates in zip(was.plans, prepared.candidates, strict=True):
        plan = next((one for one in candidates.plans if one.order == held.order), held)
        places = {work.label: place for place, work in enumerate(held.passes)}
        passes = tuple(sorted(plan.passes, key=lambda work: places.get(work.label, 0)))
        found.append(replace(plan, passes=passes))
    return found


def _swing(key: str, measure: Measure, was: Figures, low: Figures, high: Figures, prepared: PreparedJob) -> Swing:
    cards = [with_measures(prepared.card, {key: at_value(measure, end)}) for end in (measure.low, measure.high)]
    margins = [_margin(was.price.net, one, prepared.at(card)) for one, card in zip((low, high), cards, strict=True)]
    return Swing(
        key=key,
        low=at_value(measure, measure.low).written,
        usual=at_value(measure, measure.in_base_unit).written,
        high=at_value(measure, measure.high).written,
        cost_at_low=low.price.cost,
        cost_at_high=high.price.cost,
        margin_at_low=margins[0],
        margin_at_usual=_margin(was.price.net, was, prepared),
        margin_at_high=margins[1],
    )
