"""Counts, backwards: from what the client gets to the sheets that are taken from stock."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from quoting.formulas import Do, formula
from quoting.job import Item, Part
from quoting.numbers import at_least, in_band, number, whole_up
from quoting.operations.finishing import FinishingBase
from quoting.planning.part_plan import PartPlan
from quoting.presswork import PartCount, Pass, PassCount, StepCount
from quoting.rate_card import RateCard, tag_of
from quoting.shop import SpoilageBand

_NO_END = Decimal(10**9)


@formula(
    unit="pieces",
    sentence="{quantity} sets × {per_set} × {versions} versions + {extra} extra + {kept} kept",
)
def pieces_wanted(*, quantity: int, per_set: int, versions: int, extra: int, kept: int) -> int:
    """Good pieces that must leave the bench, those the shop keeps among them."""
    return quantity * per_set * versions + extra + kept


@formula(
    unit="pieces",
    sentence="{out} out × {pieces_per_out} / (1 − {rate}) rounded up + {set_up} to set up",
)
def step_in(*, out: int, pieces_per_out: int, rate: Decimal, set_up: int) -> int:
    """Pieces into a finishing step, so that enough come out good."""
    return whole_up(out * pieces_per_out / (1 - rate)) + set_up


@formula(
    unit="pieces or sheets",
    sentence="{out} out + {wanted} wanted × {share} rounded up",
    source="A share of the number wanted, a step each: printers' forum, from a college class (D).",
)
def in_with_its_share(*, out: int, wanted: int, share: Decimal) -> int:
    """What goes into a step by the additive rule."""
    return whole_up(out + wanted * share)


@formula(unit="sheets", sentence="{pieces} pieces / {number_up} up rounded up")
def sheets_of(*, pieces: int, number_up: int) -> int:
    """Press sheets that hold so many pieces."""
    return whole_up(number(pieces) / number_up)


@formula(unit="sheets", sentence="{out} / (1 − {rate}) rounded up")
def sheets_into_cutter(*, out: int, rate: Decimal) -> int:
    """Sheets into the cutter, so that enough come out good."""
    return whole_up(out / (1 - rate))


@formula(unit="pieces or sheets", sentence="{total} / {versions} versions rounded up")
def each_version(*, total: int, versions: int) -> int:
    """What one version takes of a total."""
    return whole_up(number(total) / versions)


@formula(unit="sheets", sentence="{first} / (1 − {first_rate}) + {second} / (1 − {second_rate}) rounded up")
def trip_in(*, first: Decimal, first_rate: Decimal, second: Decimal, second_rate: Decimal) -> int:
    """Sheets fed on one trip through the press: the running spoilage in two marginal bands."""
    return whole_up(first / (1 - first_rate) + second / (1 - second_rate))


@formula(
    unit="sheets",
    sentence="({pieces} + the greater of {least_pieces} and {least_share} × {pieces}) / {number_up} up rounded up",
)
def least_sheets(*, pieces: int, least_pieces: int, least_share: Decimal, number_up: int) -> int:
    """The fewest sheets that the card's least spoilage allows."""
    return whole_up((pieces + at_least(number(least_pieces), least_share * pieces)) / number_up)


@formula(unit="sheets", sentence="{run} run + {set_up} to set up + {least_extra} for the least spoilage")
def sheets_taken(*, run: int, set_up: int, least_extra: int) -> int:
    """Press sheets taken from stock."""
    return run + set_up + least_extra


def trip_sheets(do: Do, out: int, bands: Sequence[SpoilageBand], extra_rate: Decimal) -> int:
    """
    Sheets fed on one trip for ``out`` good ones, by marginal bands.

    Bands past the second are worked two at a time; each part is rounded up only once it is whole.
    """
    slices = []
    for place, band in enumerate(bands):
        up_to = Decimal(bands[place + 1].above) if place + 1 < len(bands) else _NO_END
        part = in_band(number(out), above=Decimal(band.above), up_to=up_to)
        slices.append((part, band.rate + extra_rate))
    if len(slices) > 2:
        exact = sum((part / (1 - rate) for part, rate in slices), Decimal(0))
        return whole_up(exact)
    (first, first_rate), (second, second_rate) = (*slices, (Decimal(0), Decimal(0)))[:2]
    fed: int = do(trip_in, first=first, first_rate=first_rate, second=second, second_rate=second_rate)
    return fed


def finishing_steps(
    do: Do, operations: Sequence[Any], card: RateCard, pieces_out: int
) -> tuple[int, tuple[StepCount, ...]]:
    """Pieces into the first of ``operations`` for ``pieces_out`` of the last, and each step's counts."""
    steps = []
    for asked in reversed(operations):
        kind: FinishingBase = asked
        rates: Any = card.rates_of(tag_of(asked))
        pieces_in = do(
            step_in,
            out=pieces_out,
            pieces_per_out=kind.pieces_per_out,
            rate=rates.spoilage.in_base_unit,
            set_up=rates.set_up_pieces,
        )
        steps.append(
            StepCount(
                operation=kind.operation,
                pieces_in=pieces_in,
                pieces_out=pieces_out,
                set_up_pieces=rates.set_up_pieces,
            )
        )
        pieces_out = pieces_in
    return pieces_out, tuple(reversed(steps))


def count_part(do: Do, plan: PartPlan, item: Item, part: Part, card: RateCard, quantity: int) -> PartCount:
    """Everything that is counted of one part for one quantity of sets."""
    pieces = do(
        pieces_wanted,
        quantity=quantity,
        per_set=item.per_set,
        versions=item.versions,
        extra=item.extra * item.versions,
        kept=item.kept * item.versions,
    )
    if card.spoilage.rule == "additive":
        return _counted_additively(do, plan, item, part, card, pieces)
    joined, joining_steps = finishing_steps(do, item.joining, card, pieces)
    needed, steps = finishing_steps(do, part.finishing, card, joined)
    sheets_good = _good_sheets(do, plan, item, card, needed)
    bands = card.stock_classes[card.stocks[plan.stock].stock_class].running_spoilage
    counts, run = _passes_backwards(do, plan.passes, bands, card, sheets_good)
    fresh = _fresh_set_up(plan.passes, card)
    least = do(
        least_sheets,
        pieces=pieces,
        least_pieces=card.spoilage.least_pieces,
        least_share=card.spoilage.least_share.in_base_unit,
        number_up=plan.number_up,
    )
    extra = at_least(0, least - run - fresh)
    sheets = do(sheets_taken, run=run, set_up=fresh, least_extra=extra)
    return PartCount(
        pieces=pieces,
        pieces_from_press=needed,
        sheets_good=sheets_good,
        least_extra=extra,
        fresh_set_up=fresh,
        sheets=sheets,
        passes=tuple(
            _with_extra(count, extra, trips=work.trips) for count, work in zip(counts, plan.passes, strict=True)
        ),
        steps=(*steps, *joining_steps),
    )


def _counted_additively(do: Do, plan: PartPlan, item: Item, part: Part, card: RateCard, pieces: int) -> PartCount:
    """
    The handbooks' rule: each step spoils its share of the number wanted, not of what it is fed.

    Set-up pieces and sheets come on top. One rate rules a run of any length: the class's first band.
    """
    needed, wanted_pieces, steps = _steps_additively(do, (*part.finishing, *item.joining), card, pieces)
    good, wanted = (_sheets_of_versions(do, plan, item, count) for count in (needed, wanted_pieces))
    if plan.cuts_to_pieces:
        good = do(in_with_its_share, out=good, wanted=wanted, share=card.cutting.spoilage.in_base_unit)
    passes, run = _passes_additively(do, plan, card, good=good, wanted=wanted)
    fresh = _fresh_set_up(plan.passes, card)
    sheets = do(sheets_taken, run=run, set_up=fresh, least_extra=0)
    return PartCount(
        pieces=pieces,
        pieces_from_press=needed,
        sheets_good=good,
        least_extra=0,
        fresh_set_up=fresh,
        sheets=sheets,
        passes=passes,
        steps=steps,
    )


def _steps_additively(
    do: Do, operations: Sequence[Any], card: RateCard, pieces: int
) -> tuple[int, int, tuple[StepCount, ...]]:
    """Pieces into the first step, pieces wanted of it, and each step's counts."""
    steps = []
    out = wanted = pieces
    for asked in reversed(operations):
        kind: FinishingBase = asked
        rates: Any = card.rates_of(tag_of(asked))
        wanted *= kind.pieces_per_out
        worked = do(
            in_with_its_share,
            out=out * kind.pieces_per_out,
            wanted=wanted,
            share=rates.spoilage.in_base_unit,
        )
        steps.append(
            StepCount(
                operation=kind.operation,
                pieces_in=worked + rates.set_up_pieces,
                pieces_out=out,
                set_up_pieces=rates.set_up_pieces,
            )
        )
        out = worked + rates.set_up_pieces
    return out, wanted, tuple(reversed(steps))


def _sheets_of_versions(do: Do, plan: PartPlan, item: Item, pieces: int) -> int:
    """Sheets that hold so many pieces, each version's by itself unless they are ganged."""
    of_each = do(each_version, total=pieces, versions=item.versions) if item.versions > 1 else pieces
    sheets: int = do(sheets_of, pieces=of_each, number_up=plan.number_up // plan.versions_together)
    return sheets * (item.versions // plan.versions_together)


def _passes_additively(
    do: Do, plan: PartPlan, card: RateCard, *, good: int, wanted: int
) -> tuple[tuple[PassCount, ...], int]:
    """Each pass's counts, and the sheets that the first is fed; a register pass takes printed sheets to set up."""
    rate = card.stock_classes[card.stocks[plan.stock].stock_class].running_spoilage[0].rate.in_base_unit
    counts: list[PassCount] = []
    out = good
    for work in reversed(plan.passes):
        registered = work.register != "none"
        share = rate + (card.spoilage.register_colour.in_base_unit if registered else Decimal(0))
        trips = [out]
        for _ in range(work.trips):
            trips.append(do(in_with_its_share, out=trips[-1], wanted=wanted, share=share))
        set_up = work.set_up_sheets * work.versions
        counts.append(PassCount(sheets_out=out, sheets_in=trips[-1], sheets_fed=sum(trips[1:]), set_up_pulls=set_up))
        out = trips[-1] + (set_up if registered else 0)
    return tuple(counts[::-1]), out


def _with_extra(count: PassCount, extra: int, *, trips: int) -> PassCount:
    return PassCount(
        sheets_out=count.sheets_out,
        sheets_in=count.sheets_in + extra,
        sheets_fed=count.sheets_fed + extra * trips,
        set_up_pulls=count.set_up_pulls,
    )


def _good_sheets(do: Do, plan: PartPlan, item: Item, card: RateCard, pieces: int) -> int:
    """Good printed sheets: each version's pieces, before the last cut if there is one."""
    of_each = do(each_version, total=pieces, versions=item.versions) if item.versions > 1 else pieces
    sheets: int = do(sheets_of, pieces=of_each, number_up=plan.number_up // plan.versions_together)
    if plan.cuts_to_pieces:
        sheets = do(sheets_into_cutter, out=sheets, rate=card.cutting.spoilage.in_base_unit)
    return sheets * (item.versions // plan.versions_together)


def _passes_backwards(
    do: Do, passes: Sequence[Pass], bands: Sequence[SpoilageBand], card: RateCard, out: int
) -> tuple[list[PassCount], int]:
    """Each pass's counts, last pass first worked; and the sheets that the first is fed."""
    counts: list[PassCount] = []
    for work in reversed(passes):
        extra_rate = card.spoilage.register_colour.in_base_unit if work.register != "none" else Decimal(0)
        of_each = do(each_version, total=out, versions=work.versions) if work.versions > 1 else out
        trips = [of_each]
        for _ in range(work.trips):
            trips.append(trip_sheets(do, trips[-1], bands, extra_rate))
        sheets_in = trips[-1] * work.versions
        set_up = work.set_up_sheets * work.versions
        counts.append(
            PassCount(
                sheets_out=out,
                sheets_in=sheets_in,
                sheets_fed=sum(trips[1:]) * work.versions,
                set_up_pulls=set_up,
            )
        )
        out = sheets_in + (set_up if work.register != "none" else 0)
    return counts[::-1], out


def _fresh_set_up(passes: Sequence[Pass], card: RateCard) -> int:
    """
    Fresh sheets that set the passes up.

    A register pass is set up with printed sheets, counted before it. Where spoiled sheets serve
    again, the greatest need of the others is enough; else it is their sum.
    """
    needs = [(work.set_up_sheets, work.versions) for work in passes if work.register == "none"]
    if card.spoilage.set_up_again == "spoiled sheets used again":
        return max((sheets for sheets, _ in needs), default=0)
    return sum(sheets * versions for sheets, versions in needs)
