"""What the whole job does once: handling, inking and washing up by sittings, sets, parcels, delivery."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal

from msgspec import Struct

from quoting.bench.handling import handling_labour
from quoting.bench.inking import dressing_grams
from quoting.bench.packing import (
    collating_labour,
    delivery_charge,
    delivery_price,
    parcel_requirements,
    parcels_to_pack,
    pile_labour,
)
from quoting.bench.prepress import proof_labour
from quoting.bench.washing_up import CLEAN
from quoting.errors import Fault, JobError
from quoting.formulas import Do, formula
from quoting.job import Job
from quoting.numbers import at_least, is_some, number, whole_up
from quoting.planning.orders import SittingOrder, WashMemory, dries_between_trips
from quoting.planning.quantities import PartWorkload
from quoting.presswork import Pass
from quoting.rate_card import MINUTES_AN_HOUR, RateCard
from quoting.requirements import Charge, Draw, Labour, Requirement

COLLECT = "collect"


class PressSitting(Struct, frozen=True, kw_only=True):
    """One sitting at one press: the passes in their order, and further days that it runs into."""

    press: str
    passes: tuple[str, ...]
    further_days: int


class JobWork(Struct, frozen=True, kw_only=True):
    """What the job does once, in the order of work, and the sittings it is printed in."""

    requirements: tuple[Requirement, ...]
    sittings: tuple[PressSitting, ...]
    parcels: int
    grams: Decimal


@formula(unit="min", sentence="{inkings} inkings × {ink_up} min")
def ink_up_minutes(*, inkings: int, ink_up: Decimal) -> Decimal:
    """Minutes to put an ink on a clean press, so many times. [min]"""
    return inkings * ink_up


@formula(unit="min", sentence="{washes} wash-ups × {minutes} min")
def wash_minutes(*, washes: int, minutes: Decimal) -> Decimal:
    """Minutes to wash a press from one ink for the next, or clean, so many times. [min]"""
    return washes * minutes


def job_work(
    do: Do,
    loads: Sequence[PartWorkload],
    orders: Sequence[SittingOrder],
    job: Job,
    card: RateCard,
    quantity: int,
    memory: WashMemory,
) -> JobWork:
    """Everything the job does once, for plans of its parts that are printed in these orders."""
    minutes = {work: some for load in loads for work, some in zip(load.plan.passes, load.pass_minutes, strict=True)}
    sittings, at_press = press_work(do, orders, minutes, job, card, memory)
    parcels, grams, sent = packing_and_delivery(do, loads, job, card, quantity)
    before = before_printing(do, loads, job, card)
    return JobWork(requirements=(*before, *at_press, *sent), sittings=sittings, parcels=parcels, grams=grams)


def before_printing(do: Do, loads: Sequence[PartWorkload], job: Job, card: RateCard) -> tuple[Requirement, ...]:
    """Handling, proofs on screen, mixing: the same whatever the plan."""
    return (
        *handling_labour(card.handling, order=job.order, person=card.worked_by.handling),
        *proof_labour(do, card.prepress, rounds=job.proofs.screen_rounds, person=card.worked_by.prepress),
        *_mixing(do, loads, job, card),
    )


def press_work(
    do: Do,
    orders: Sequence[SittingOrder],
    minutes: Mapping[Pass, Decimal],
    job: Job,
    card: RateCard,
    memory: WashMemory,
) -> tuple[tuple[PressSitting, ...], tuple[Requirement, ...]]:
    """The sittings and what inking and washing they ask; ``minutes`` a pass, where nights may fall into it."""
    sittings: list[PressSitting] = []
    requirements: list[Requirement] = []
    for order in orders:
        sitting, asked = _at_press(do, order, minutes, job, card, memory)
        sittings.append(sitting)
        requirements.extend(asked)
    return tuple(sittings), tuple(requirements)


def packing_and_delivery(
    do: Do, loads: Sequence[PartWorkload], job: Job, card: RateCard, quantity: int
) -> tuple[int, Decimal, tuple[Requirement, ...]]:
    """Parcels, their weight, and what counting, sets, parcels and delivery ask: the same whatever the plan."""
    requirements: list[Requirement] = list(_counting(do, loads, job, card))
    pieces = sum(item.per_set for item in job.items) * quantity
    if len(job.items) > 1:
        requirements.append(collating_labour(do, card.packing, pieces=pieces, person=card.worked_by.packing))
    weights = tuple(
        sum((load.grams for load in loads if load.plan.item == place), Decimal(0)) for place in range(len(job.items))
    )
    grams = sum(weights, Decimal(0))
    parcels = do(parcels_to_pack, grams=grams, parcel_mass=_parcel_mass(job, card, grams))
    requirements.extend(
        parcel_requirements(
            do,
            card.packing,
            parcels=parcels,
            weights=weights,
            weighing=tuple(step for load in loads for step in load.weighing),
            person=card.worked_by.packing,
        )
    )
    requirements.extend(_delivery(do, job, card, parcels, grams))
    return parcels, grams, tuple(requirements)


def _mixing(do: Do, loads: Sequence[PartWorkload], job: Job, card: RateCard) -> Iterator[Labour]:
    """Each ink mixed once for the job."""
    passes = [work for load in loads for work in load.plan.passes]
    for name in dict.fromkeys(work.ink for work in passes if work.ink):
        yield Labour(
            operation="Mixing",
            what=card.inks[name].name,
            item=None,
            driver=Decimal(1),
            driver_unit="inks",
            person=card.worked_by.presswork,
            minutes=card.inking.mixing[card.inks[name].mixing].in_base_unit,
            weights=_weights([work for work in passes if work.ink == name], job),
        )


def _weights(passes: Sequence[Pass], job: Job) -> tuple[Decimal, ...]:
    """How many of the passes are each item's."""
    return tuple(Decimal(sum(work.item == place for work in passes)) for place in range(len(job.items)))


def _at_press(
    do: Do,
    order: SittingOrder,
    minutes: Mapping[Pass, Decimal],
    job: Job,
    card: RateCard,
    memory: WashMemory,
) -> tuple[PressSitting, list[Requirement]]:
    """One sitting, and what inking and washing it asks."""
    asked: list[Requirement] = []
    runs = _runs(order.passes)
    for place, (ink, passes) in enumerate(runs):
        after = runs[place + 1][0] if place + 1 < len(runs) else CLEAN
        if ink != CLEAN:
            asked.extend(_ink_and_wash(do, ink, after, 1, passes, order.press, job, card, memory))
    a_day = card.working_days.press_hours * MINUTES_AN_HOUR
    nights = _nights(sum((minutes[work] for work in order.passes), Decimal(0)), a_day)
    inked = {ink: passes for ink, passes in runs if ink != CLEAN}
    if is_some(nights) and inked:  # washed off at night, inked up in the morning
        ink = memory.longest_to_wash(inked)
        asked.extend(_ink_and_wash(do, ink, CLEAN, nights, inked[ink], order.press, job, card, memory))
    dried = [work for work in order.passes if dries_between_trips(work, card)]
    for work in dried:
        if work.ink is not None:
            asked.extend(_ink_and_wash(do, work.ink, CLEAN, 1, [work], order.press, job, card, memory))
    labels = tuple(work.label for work in order.passes)
    return PressSitting(press=order.press, passes=labels, further_days=nights + len(dried)), asked


def _runs(passes: Sequence[Pass]) -> list[tuple[str, list[Pass]]]:
    """Passes that follow each other with one ink on the press; ``clean`` for blind ones."""
    runs: list[tuple[str, list[Pass]]] = []
    for work in passes:
        ink = work.ink or CLEAN
        if not runs or runs[-1][0] != ink:
            runs.append((ink, []))
        runs[-1][1].append(work)
    return runs


def _ink_and_wash(
    do: Do,
    ink: str,
    after: str,
    times: int,
    passes: Sequence[Pass],
    press_name: str,
    job: Job,
    card: RateCard,
    memory: WashMemory,
) -> Iterator[Requirement]:
    press = card.presses[press_name]
    weights = _weights(passes, job)
    name = card.inks[ink].name
    next_name = "a clean press" if after == CLEAN else card.inks[after].name
    minutes = do(ink_up_minutes, inkings=times, ink_up=press.ink_up.in_base_unit)
    yield _labour("Ink-up", name, times, "inkings", minutes, press_name, card, weights, do)
    minutes = do(wash_minutes, washes=times, minutes=memory.minutes[ink, after])
    yield _labour("Wash-up", f"{name} to {next_name}", times, "wash-ups", minutes, press_name, card, weights, do)
    grams = do(dressing_grams, inkings=times, dressing=press.dressing_ink.in_base_unit)
    steps = do.taken()
    for work in passes:
        yield Draw(
            pot="ink",
            key=ink,
            what=f"{name}, dressing {press.name}",
            item=work.item,
            amount=grams / len(passes),
            unit="g",
            steps=steps,
        )
        steps = ()


def _labour(
    operation: str,
    what: str,
    times: int,
    unit: str,
    minutes: Decimal,
    press_name: str,
    card: RateCard,
    weights: tuple[Decimal, ...],
    do: Do,
) -> Labour:
    return Labour(
        operation=operation,
        what=what,
        item=None,
        driver=number(times),
        driver_unit=unit,
        person=card.worked_by.presswork,
        machine=press_name,
        minutes=minutes,
        steps=do.taken(),
        weights=weights,
    )


def _nights(minutes: Decimal, a_day: Decimal) -> int:
    """Nights that fall into so many minutes at a press."""
    return at_least(0, whole_up(minutes / a_day) - 1)


def _counting(do: Do, loads: Sequence[PartWorkload], job: Job, card: RateCard) -> Iterator[Labour]:
    for load in loads:
        if load.plan.part == 0:
            yield pile_labour(
                do,
                operation="Counting and banding",
                item=load.plan.item,
                label=job.items[load.plan.item].name,
                pieces=load.count.pieces,
                minutes_100=card.packing.count_100.in_base_unit,
                person=card.worked_by.packing,
            )


def _parcel_mass(job: Job, card: RateCard, grams: Decimal) -> Decimal:
    """What a parcel is filled to: what it holds, or a lighter band where more parcels then cost less. [g]"""
    heaviest = card.packing.parcel_mass.in_base_unit
    if job.delivery.method == COLLECT or not isinstance(grams, Decimal):
        return heaviest
    method, packing = card.delivery[job.delivery.method], card.packing
    a_minute = card.person_rate(card.worked_by.packing) / MINUTES_AN_HOUR
    packed = packing.parcel * a_minute + card.tax.cost_of(packing.parcel_materials.in_base_unit)
    tried = []
    for mass in (heaviest, *(band.up_to.in_base_unit for band in method.bands if 0 < band.up_to < heaviest)):
        parcels = whole_up(grams / mass)
        price = delivery_price(method, grams / parcels)
        if price is not None:
            tried.append((parcels * (packed + card.tax.cost_of(price)), parcels, -mass))
    return -min(tried)[2] if tried else heaviest


def _delivery(do: Do, job: Job, card: RateCard, parcels: int, grams: Decimal) -> Iterator[Charge]:
    if job.delivery.method == COLLECT:
        return
    method = card.delivery[job.delivery.method]
    price = delivery_price(method, grams / parcels)
    if price is None:
        greatest = method.bands[-1].up_to.written
        raise JobError([Fault("delivery.method", f"parcels up to {greatest}", f"{grams / parcels:.0f} g a parcel")])
    cost = do(delivery_charge, parcels=parcels, price=price)
    yield Charge(
        operation="Delivery",
        what=method.name,
        item=None,
        driver=number(parcels),
        driver_unit="parcels",
        cost=cost,
        cost_class="bought-in",
        steps=do.taken(),
        is_delivery=True,
    )
