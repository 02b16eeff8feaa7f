"""What the plan of one part asks for: labour at every bench, draws on stock, ink and plates."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from msgspec import Struct

from quoting.bench.composing import composing_labour
from quoting.bench.cutting_paper import cutting_labour
from quoting.bench.inking import film_of, ink_grams
from quoting.bench.make_ready import make_ready_labour, make_ready_of
from quoting.bench.packing import pile_labour, sheets_between, weight_grams
from quoting.bench.prepress import prepress_labour
from quoting.bench.running import running_labour
from quoting.bench.stone import lock_up_of, stone_labour
from quoting.bench.washing_up import CLEAN, wash_table
from quoting.formulas import Do, Step, formula
from quoting.job import Item, Job, Part
from quoting.numbers import number, whole_up
from quoting.operations.finishing import FinishingBase, FinishingWork
from quoting.planning.part_plan import FormWork, PartPlan
from quoting.presswork import PartCount, Pass, PassCount, StepCount
from quoting.rate_card import RateCard, tag_of
from quoting.requirements import Charge, Draw, Labour, Requirement
from quoting.shop import ParentSheets


class PartWorkload(Struct, frozen=True, kw_only=True):
    """
    A part's plan with its counts and everything it asks for.

    ``grams`` is what leaves in the parcel; ``pass_minutes`` what each pass keeps its press busy.
    """

    plan: PartPlan
    count: PartCount
    requirements: tuple[Requirement, ...]
    grams: Decimal
    sheets_from_stock: int
    pass_minutes: tuple[Decimal, ...]
    weighing: tuple[Step, ...] = ()


@formula(
    unit="sheets",
    sentence="{sheets} press sheets / {sheets_a_parent} out of a sheet / (1 − {rate}) rounded up",
)
def parents_to_cut(*, sheets: int, sheets_a_parent: int, rate: Decimal) -> int:
    """Sheets taken from stock, cut to press sheets."""
    return whole_up(number(sheets) / sheets_a_parent / (1 - rate))


@formula(unit="mm2", sentence="{plates} plates × {width_mm} mm × {height_mm} mm", source="Plates are sold by area.")
def plate_area_mm2(*, plates: int, width_mm: Decimal, height_mm: Decimal) -> Decimal:
    """Area of the plates of one form, their margins with it. [mm2]"""
    return plates * width_mm * height_mm


@formula(
    unit="min",
    sentence="{lock_up} min lock-up + {make_ready} min make-ready + {wash} min wash-up + {beside} min beside them",
)
def press_proof_minutes(*, lock_up: Decimal, make_ready: Decimal, wash: Decimal, beside: Decimal) -> Decimal:
    """Minutes of a press proof: every form locked up, made ready and washed once more. [min]"""
    return lock_up + make_ready + wash + beside


def part_workload(
    do: Do, plan: PartPlan, item: Item, part: Part, job: Job, card: RateCard, quantity: int, count: PartCount
) -> PartWorkload:
    """Everything one part asks for under one plan, for one quantity of sets. ``count``: see ``count_part``."""
    counting = do.taken()
    from_stock = _sheets_from_stock(do, plan, count, card)
    stock_steps = (*counting, *do.taken())
    requirements: list[Requirement] = []
    if part.stock_from == "shop":
        requirements.append(
            Draw(
                pot="stock",
                key=plan.stock,
                what=plan.label,
                item=plan.item,
                amount=number(from_stock),
                unit="sheets",
                steps=stock_steps,
            )
        )
    requirements.extend(_prepress(do, plan, card))
    for form in plan.forms:
        requirements.extend(_form(do, form, plan, card))
    requirements.extend(_cutting(do, plan, count, from_stock, card))
    pass_minutes = []
    for work, counts in zip(plan.passes, count.passes, strict=True):
        asked = tuple(_pass(do, work, counts, plan, card))
        pass_minutes.append(_minutes_at(work.press, asked))
        requirements.extend(asked)
    if job.proofs.press_proof:
        requirements.append(_press_proof(do, plan, card))
    requirements.extend(_finishing(do, part.finishing, plan, count.steps, part, card))
    grams = do(
        weight_grams,
        pieces=count.pieces,
        area_mm2=part.size.area_mm2,
        grammage=card.stocks[plan.stock].grammage.in_base_unit,
    )
    weighing = do.taken()
    return PartWorkload(
        plan=plan,
        count=count,
        requirements=tuple(requirements),
        grams=grams,
        sheets_from_stock=from_stock,
        pass_minutes=tuple(pass_minutes),
        weighing=weighing,
    )


def _minutes_at(press: str, requirements: tuple[Requirement, ...]) -> Decimal:
    labour = (asked for asked in requirements if isinstance(asked, Labour) and asked.machine == press)
    return sum((asked.minutes for asked in labour), Decimal(0))


def _sheets_from_stock(do: Do, plan: PartPlan, count: PartCount, card: RateCard) -> int:
    if not isinstance(card.stocks[plan.stock], ParentSheets):
        return count.sheets
    rate = card.cutting.spoilage.in_base_unit
    sheets: int = do(parents_to_cut, sheets=count.sheets, sheets_a_parent=plan.sheets_a_parent, rate=rate)
    return sheets


def _prepress(do: Do, plan: PartPlan, card: RateCard) -> Iterator[Requirement]:
    artwork = sum(form.needs_artwork for form in plan.forms)
    designs = sum(form.needs_design for form in plan.forms)
    if artwork or designs:
        yield prepress_labour(
            do,
            card.prepress,
            item=plan.item,
            label=plan.label,
            forms=artwork,
            designs=designs,
            person=card.worked_by.prepress,
        )


def _form(do: Do, form: FormWork, plan: PartPlan, card: RateCard) -> Iterator[Requirement]:
    if form.setting is not None:
        yield composing_labour(
            do,
            card.composing,
            form.setting,
            item=plan.item,
            label=form.label,
            copies=form.copies,
            changes=form.changes,
            changed_lines=form.changed_lines,
            person=card.worked_by.composing,
        )
    if form.stands and card.composing.standing_storage:
        yield Charge(
            operation="Standing type",
            what=form.label,
            item=plan.item,
            driver=Decimal(1),
            driver_unit="forms",
            cost=card.composing.standing_storage.in_base_unit,
            cost_class="materials",
        )
    if form.supplier is not None:
        area = do(plate_area_mm2, plates=form.plates, width_mm=form.plate_width_mm, height_mm=form.plate_height_mm)
        yield Draw(
            pot="plates",
            key=form.supplier,
            what=form.label,
            item=plan.item,
            amount=area,
            unit="mm2",
            steps=do.taken(),
        )


def _cutting(do: Do, plan: PartPlan, count: PartCount, from_stock: int, card: RateCard) -> Iterator[Requirement]:
    stock = card.stocks[plan.stock]
    lift = card.stock_classes[stock.stock_class].lift.in_base_unit
    for label, sheets, settings, cuts in (
        (f"{plan.label}: to press sheets", from_stock, plan.settings_to_size, plan.cuts_to_size),
        (
            f"{plan.label}: to pieces",
            count.passes[-1].sheets_out if count.passes else count.sheets,
            plan.settings_to_pieces,
            plan.cuts_to_pieces,
        ),
    ):
        yield from cutting_labour(
            do,
            card.cutting,
            item=plan.item,
            label=label,
            sheets=sheets,
            caliper_mm=stock.caliper.in_base_unit,
            lift_mm=lift,
            settings=settings,
            cuts=cuts,
            person=card.worked_by.cutting,
        )


def _pass(do: Do, work: Pass, counts: PassCount, plan: PartPlan, card: RateCard) -> Iterator[Requirement]:
    stock_class = card.stock_classes[work.stock_class]
    person = card.worked_by.presswork
    film = film_of(do, card.inking, stock_class, card.inks[work.ink]) if work.ink else Decimal(0)
    film_steps = do.taken()
    yield from stone_labour(do, card.stone, work, copies=plan.copies, person=card.worked_by.stone)
    yield from make_ready_labour(do, card.make_ready, work, deep_class=stock_class.deep_make_ready, person=person)
    yield from running_labour(do, card.running, card.presses[work.press], work, counts, film=film, person=person)
    if work.ink is None:
        return
    if work.share_inked > card.packing.interleave_over:
        yield pile_labour(
            do,
            operation="Interleaving",
            item=work.item,
            label=work.label,
            pieces=counts.sheets_out,
            minutes_100=card.packing.interleave_100.in_base_unit,
            person=person,
        )
        if card.packing.interleave_materials_100:
            cost = do(
                sheets_between, pieces=counts.sheets_out, price_100=card.packing.interleave_materials_100.in_base_unit
            )
            yield Charge(
                operation="Interleaving",
                what=f"{work.label}: sheets between",
                item=work.item,
                driver=number(counts.sheets_out),
                driver_unit="sheets",
                cost=cost,
                cost_class="materials",
                steps=do.taken(),
            )
    grams = do(ink_grams, pulls=counts.pulls, area_mm2=work.form_area_mm2, share_inked=work.share_inked, film=film)
    yield Draw(
        pot="ink",
        key=work.ink,
        what=work.label,
        item=work.item,
        amount=grams,
        unit="g",
        steps=(*film_steps, *do.taken()),
    )


def _press_proof(do: Do, plan: PartPlan, card: RateCard) -> Labour:
    """One press proof of a part: its forms once more through stone, make-ready and wash-up."""
    washes = wash_table(card.washing_up, card.inks)
    quiet = type(do)()
    lock_up = sum((lock_up_of(card.stone, work, copies=plan.copies) for work in plan.passes), Decimal(0))
    ready = sum(
        (
            make_ready_of(
                quiet,
                card.make_ready,
                work,
                deep_class=card.stock_classes[work.stock_class].deep_make_ready,
            )
            for work in plan.passes
        ),
        Decimal(0),
    )
    wash = sum((washes[work.ink, CLEAN] for work in plan.passes if work.ink), Decimal(0))
    minutes = do(
        press_proof_minutes,
        lock_up=lock_up,
        make_ready=ready,
        wash=wash,
        beside=card.prepress.press_proof.in_base_unit,
    )
    return Labour(
        operation="Press proof",
        what=plan.label,
        item=plan.item,
        driver=Decimal(len(plan.passes)),
        driver_unit="passes",
        person=card.worked_by.presswork,
        machine=plan.press,
        minutes=minutes,
        steps=do.taken(),
    )


def _finishing(
    do: Do,
    operations: tuple[Any, ...],
    plan: PartPlan,
    steps: tuple[StepCount, ...],
    part: Part,
    card: RateCard,
) -> Iterator[Requirement]:
    stock = card.stocks[plan.stock]
    for asked, counts in zip(operations, steps, strict=False):
        kind: FinishingBase = asked
        yield from kind.requirements(
            do,
            card.rates_of(tag_of(asked)),
            FinishingWork(
                label=plan.label,
                item=plan.item,
                count=counts,
                width_mm=part.size.width_mm,
                height_mm=part.size.height_mm,
                caliper_mm=stock.caliper.in_base_unit,
                person=card.worked_by.finishing,
                currency=card.region.currency,
            ),
        )


def joining_requirements(
    do: Do, item: Item, workloads: tuple[PartWorkload, ...], card: RateCard
) -> tuple[Requirement, ...]:
    """What is done to an item's parts together: worked once a piece, on the thickness of them all."""
    found: list[Requirement] = []
    if not item.joining:
        return ()
    first = workloads[0]
    part = item.all_parts()[0]
    caliper = sum((card.stocks[load.plan.stock].caliper.in_base_unit for load in workloads), Decimal(0))
    steps = first.count.steps[-len(item.joining) :]
    for asked, counts in zip(item.joining, steps, strict=True):
        kind: FinishingBase = asked
        found.extend(
            kind.requirements(
                do,
                card.rates_of(tag_of(asked)),
                FinishingWork(
                    label=item.name,
                    item=first.plan.item,
                    count=counts,
                    width_mm=part.size.width_mm,
                    height_mm=part.size.height_mm,
                    caliper_mm=caliper,
                    person=card.worked_by.finishing,
                    currency=card.region.currency,
                ),
            )
        )
    return tuple(found)
