"""The owner's view: costs, plans and reasons. The whole flow on one screen."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from decimal import Decimal
from pathlib import Path
from typing import Any

from msgspec import Struct
from msgspec.structs import replace

from quoting import calendar, reader
from quoting.checking import check_job
from quoting.errors import Fault, InputError, JobError
from quoting.formulas import Do, Plainly, Recording
from quoting.job import Item, Job
from quoting.job_artwork import artwork_warnings, with_artwork
from quoting.line_items import LineItem, line_items
from quoting.money import round_amount
from quoting.numbers import in_engine_context
from quoting.planning.jobwork import PressSitting
from quoting.planning.orders import case_settings
from quoting.planning.part_plan import PartPlan
from quoting.planning.pins import Pin
from quoting.planning.prepared import PreparedJob
from quoting.planning.quantities import PartWorkload
from quoting.planning.search import JobPlan, RunnerUp, plan_job, way, worked_out
from quoting.presswork import PartCount
from quoting.pricing import Price, price_option, with_deposit
from quoting.rate_card import RateCard, tag_of
from quoting.rules import RULES

RUN_ON = 100
MOST_WORKING_DAYS = 10_000


class PartEstimate(Struct, frozen=True, kw_only=True):
    """One part: the plan that was chosen, its counts, and the sheets taken from stock."""

    plan: PartPlan
    count: PartCount
    sheets_from_stock: int


class Hours(Struct, frozen=True, kw_only=True):
    """Hours of an option, and what each earns: contribution by press hour and by all labour."""

    labour: Decimal
    press: Decimal
    running: Decimal
    contribution: Decimal
    earned_a_press_hour: Decimal | None
    earned_a_labour_hour: Decimal | None


class Late(Struct, frozen=True, kw_only=True):
    """
    The day that a job is needed and cannot be ready.

    Of a job that is no rush, the day it would be ready as one, and what that adds to the printed
    price, the plan the same; of a rush neither.
    """

    needed_by: datetime.date
    ready_on: datetime.date
    rush_ready_on: datetime.date | None = None
    rush_costs: Decimal | None = None

    @property
    def rush_is_in_time(self) -> bool:
        """Whether it could be ready by that day if it were a rush."""
        return self.rush_ready_on is not None and self.rush_ready_on <= self.needed_by


class Option(Struct, frozen=True, kw_only=True):
    """
    One quantity: its plan, lines, price, hours and days.

    ``run_on`` is what a hundred more would add to the printed price, ordered together;
    ``over_best`` what the owner's pins cost over the cheapest plan, unrounded. ``late`` is there
    only where the day it is needed cannot be met.
    """

    quantity: int
    ways: tuple[str, ...]
    parts: tuple[PartEstimate, ...]
    lines: tuple[LineItem, ...]
    price: Price
    hours: Hours
    sittings: tuple[PressSitting, ...]
    grams: Decimal
    parcels: int
    working_days: int
    ready_on: datetime.date
    run_on: Decimal
    over_best: Decimal
    runners_up: tuple[RunnerUp, ...]
    refusals: dict[str, dict[str, str]]
    warnings: tuple[str, ...]
    plans_costed: int
    plans_possible: int
    late: Late | None = None


class Estimate(Struct, frozen=True, kw_only=True):
    """Everything the owner may know of a job: never shown to a client."""

    rules: int
    card_name: str
    card_version: str
    card_hash: str
    on: datetime.date
    currency: str
    job: Job
    options: tuple[Option, ...]


@in_engine_context
def read_job(data: Any) -> Job:
    """
    A job from plain data, as TOML or JSON gives it.

    Raises:
        JobError: with every fault of it.
    """
    try:
        return reader.convert(data, Job)
    except InputError as error:
        raise JobError(error.faults) from error


@in_engine_context
def load_job(path: Path | str) -> Job:
    """
    Read a job from a TOML or a JSON file, and measure the artwork that it names beside it.

    Raises:
        JobError: with every fault of it, or why the file cannot be read.
        ArtworkError: artwork, and nothing that can measure it now.
    """
    name = Path(path)
    try:
        text = name.read_text(encoding="utf-8")
        data = reader.json_data(text) if name.suffix == ".json" else reader.toml_data(text)
        return read_job(with_artwork(data, name.parent))
    except (OSError, UnicodeDecodeError) as error:
        raise JobError([Fault("$", "a readable job file", str(error), name.name)]) from error
    except InputError as error:
        raise JobError(
            Fault(fault.where, fault.expected, fault.found, name.name) for fault in error.faults
        ) from error


@in_engine_context
def estimate_job(job: Job, rate_card: RateCard, *, on: datetime.date, pins: Sequence[Pin] = ()) -> Estimate:
    """
    Price a job: for each quantity the cheapest plan, its line items, the price.

    Args:
        on: The day the estimate is made; working days are counted from it.
        pins: What the owner chooses instead of the search: a press, a number up, an imposition.

    Raises:
        NotOfferedError: the job asks for what the card does not hold.
        NoPlanError: a part that no press can make, with each press's reason.
        JobError: parcels that the chosen carrier does not take.
    """
    check_job(job, rate_card)
    prepared = PreparedJob(job, rate_card, pins)
    free = PreparedJob(job, rate_card) if pins else prepared
    options = tuple(_option(prepared, free, quantity, on) for quantity in job.quantities)
    return Estimate(
        rules=RULES,
        card_name=rate_card.card.name,
        card_version=rate_card.card.version,
        card_hash=rate_card.content_hash,
        on=on,
        currency=rate_card.region.currency,
        job=job,
        options=options,
    )


def _option(prepared: PreparedJob, free: PreparedJob, quantity: int, on: datetime.date) -> Option:
    card, job = prepared.card, prepared.job
    plan = plan_job(prepared, quantity)
    best = plan if free is prepared else plan_job(free, quantity, recording=False)
    lines = line_items(Recording(), plan.requirements, card, len(job.items), prepared.rates)
    price = _price(lines, prepared.job, prepared, quantity, on)
    days = _working_days(plan, lines, prepared, rush=job.rush)
    ready_on = _day_after(on, days, card)
    late = _late(plan, lines, price, prepared, quantity, on, ready_on)
    return Option(
        quantity=quantity,
        ways=tuple(way(load.plan, card) for load in plan.loads),
        parts=tuple(
            PartEstimate(plan=load.plan, count=load.count, sheets_from_stock=load.sheets_from_stock)
            for load in plan.loads
        ),
        lines=lines,
        price=price,
        hours=_hours(lines, price, card),
        sittings=plan.work.sittings,
        grams=plan.work.grams,
        parcels=plan.work.parcels,
        working_days=days,
        ready_on=ready_on,
        run_on=printed(figures_of(prepared, quantity + RUN_ON, on).price) - printed(price),
        over_best=plan.exact_cost - best.exact_cost,
        runners_up=plan.runners_up,
        refusals=plan.refusals,
        warnings=_warnings(plan, job, card, late),
        plans_costed=plan.plans_costed,
        plans_possible=plan.plans_possible,
        late=late,
    )


def _price(
    lines: tuple[LineItem, ...],
    job: Job,
    prepared: PreparedJob,
    quantity: int,
    on: datetime.date,
    do: Do | None = None,
) -> Price:
    """What the lines come to as ``job`` has it: the prepared one, or the same as a rush."""
    card = prepared.card
    pieces = tuple(client_pieces(item, quantity) for item in job.items)
    left = calendar.working_days_until(job.needed_by, on, card) if job.rush and job.needed_by else None
    price = price_option(lines, job, card, pieces, days_left=left, do=do)
    before = sum((line.cost for line in lines if line.before_printing), Decimal(0))
    return with_deposit(price, before)


class Figures(Struct, frozen=True, kw_only=True):
    """What one quantity comes to, without the sentences: for asking after many quantities."""

    quantity: int
    loads: tuple[PartWorkload, ...]
    lines: tuple[LineItem, ...]
    price: Price
    hours: Hours

    @property
    def plans(self) -> tuple[PartPlan, ...]:
        """The plan of each part, its passes as they are printed."""
        return tuple(load.plan for load in self.loads)


def figures_of(prepared: PreparedJob, quantity: int, on: datetime.date, *, plans: Sequence[PartPlan] = ()) -> Figures:
    """
    The figures of one quantity, the same as in its estimate.

    Args:
        plans: A plan of each part to hold to, at whatever it costs now; the cheapest where none are given.
    """
    if plans:
        loads, _, requirements = worked_out(Plainly(), prepared, quantity, plans)
    else:
        found = plan_job(prepared, quantity, recording=False)
        loads, requirements = found.loads, found.requirements
    lines = line_items(Plainly(), requirements, prepared.card, len(prepared.job.items), prepared.rates)
    price = _price(lines, prepared.job, prepared, quantity, on, Plainly())
    return Figures(
        quantity=quantity, loads=loads, lines=lines, price=price, hours=_hours(lines, price, prepared.card)
    )


class Answer(Struct, frozen=True, kw_only=True):
    """What a client is told of one quantity, without the sentences: for asking often."""

    quantity: int
    price: Price
    run_on: Decimal
    ready_on: datetime.date
    late: Late | None


def answer_of(prepared: PreparedJob, quantity: int, on: datetime.date) -> Answer:
    """
    The price and the day of one quantity, the same as in its estimate.

    Raises:
        JobError: parcels that the chosen carrier does not take, or work of more days than anybody waits for.
    """
    plan = plan_job(prepared, quantity, recording=False)
    lines = line_items(Plainly(), plan.requirements, prepared.card, len(prepared.job.items), prepared.rates)
    price = _price(lines, prepared.job, prepared, quantity, on)
    days = _working_days(plan, lines, prepared, rush=prepared.job.rush)
    ready_on = _day_after(on, days, prepared.card)
    return Answer(
        quantity=quantity,
        price=price,
        run_on=printed(figures_of(prepared, quantity + RUN_ON, on).price) - printed(price),
        ready_on=ready_on,
        late=_late(plan, lines, price, prepared, quantity, on, ready_on),
    )


def printed(price: Price) -> Decimal:
    """What a client reads as the price: with the tax where the card's prices have it in them."""
    return price.total if price.tax_included else price.net


def client_pieces(item: Item, quantity: int) -> int:
    """What the client gets of an item: every version, the extra ones, none that the shop keeps."""
    return (quantity * item.per_set + item.extra) * item.versions


def _hours(lines: tuple[LineItem, ...], price: Price, card: RateCard) -> Hours:
    labour = sum((line.minutes for line in lines), Decimal(0)) / 60
    press = sum((line.minutes for line in lines if line.machine in card.presses), Decimal(0)) / 60
    running = sum((line.minutes for line in lines if line.operation == "Running"), Decimal(0)) / 60
    paid = sum((line.cost for line in lines if line.cost_class != "labour"), Decimal(0))
    contribution = price.net - paid - price.payment_fee - price.commission
    currency = card.region.currency
    return Hours(
        labour=labour,
        press=press,
        running=running,
        contribution=contribution,
        earned_a_press_hour=round_amount(contribution / press, currency) if press else None,
        earned_a_labour_hour=round_amount(contribution / labour, currency) if labour else None,
    )


def _late(
    plan: JobPlan,
    lines: tuple[LineItem, ...],
    price: Price,
    prepared: PreparedJob,
    quantity: int,
    on: datetime.date,
    ready_on: datetime.date,
) -> Late | None:
    """The day that cannot be met, and what a rush would do about it; None where it is met or none is told."""
    job, card = prepared.job, prepared.card
    if job.needed_by is None or ready_on <= job.needed_by:
        return None
    if job.rush:
        return Late(needed_by=job.needed_by, ready_on=ready_on)
    rushed = _price(lines, replace(job, rush=True), prepared, quantity, on)
    days = _working_days(plan, lines, prepared, rush=True)
    return Late(
        needed_by=job.needed_by,
        ready_on=ready_on,
        rush_ready_on=_day_after(on, days, card),
        rush_costs=printed(rushed) - printed(price),
    )


def _working_days(plan: JobPlan, lines: tuple[LineItem, ...], prepared: PreparedJob, *, rush: bool) -> int:
    job, card = prepared.job, prepared.card
    asked = [one for item in job.items for one in item.joining]
    asked += [one for item in job.items for part in item.all_parts() for one in part.finishing]
    rates = [card.rates_of(tag_of(one)) for one in asked]
    waiting = sum(each.drying_days + getattr(each, "working_days", 0) for each in rates if each)
    suppliers = {form.supplier for load in plan.loads for form in load.plan.forms if form.supplier}
    return calendar.working_days_needed(
        card,
        labour_minutes=sum((line.minutes for line in lines), Decimal(0)),
        sittings=sum(1 + sitting.further_days for sitting in plan.work.sittings),
        waiting_days=waiting,
        supplier_days=max((card.plate_suppliers[name].working_days for name in suppliers), default=0),
        rush=rush,
    )


def _warnings(plan: JobPlan, job: Job, card: RateCard, late: Late | None) -> tuple[str, ...]:
    warnings = [warning for load in plan.loads for warning in load.plan.warnings]
    settings = case_settings([load.plan for load in plan.loads], card)
    if len(settings) > 1:
        told = "; then ".join(", ".join(f"[{work.label}]" for work in group) for group in settings)
        warnings.append(f"the cases cannot hold every form at once; what stands is distributed first: {told}")
    warnings.extend(artwork_warnings(job))
    if late is not None:
        warnings.append(_late_words(late, card))
    return tuple(warnings)


def _late_words(late: Late, card: RateCard) -> str:
    told = f"needed by {late.needed_by}, ready on {late.ready_on}: agree the day"
    if late.rush_ready_on is None:
        return told
    in_time = "in time" if late.rush_is_in_time else "late too"
    costs = f"{late.rush_costs} {card.region.currency} more"
    return f"{told}, or make it a rush: {costs}, ready on {late.rush_ready_on}, {in_time}"


def _day_after(on: datetime.date, days: int, card: RateCard) -> datetime.date:
    """
    The day on which so many working days are over.

    Raises:
        JobError: more days than anybody waits for.
    """
    if days > MOST_WORKING_DAYS:
        raise JobError([Fault("quantities", f"work of at most {MOST_WORKING_DAYS} working days", f"{days} of them")])
    return calendar.after_working_days(on, days, card)
