"""Several versions on one sheet: how many times each stands on it."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from msgspec import Struct

from quoting.cutting.shapes import Sides
from quoting.errors import Fault, MeasureError
from quoting.numbers import in_engine_context

MOST_VERSIONS = 64
MOST_PLACES_UP = 1_000
MOST_NEEDED = 100_000_000


class Version(Struct, frozen=True):
    """One of the things printed together: its good count after its own spoilage, and its size."""

    name: str
    needed: int
    size: Sides


class Gang(Struct, frozen=True):
    """
    Numbers up for each version, in the order given, and what they come to.

    No gang on as many places runs fewer sheets than ``bound``. ``apart`` says what printing every
    version alone on all places would take.
    """

    ups: tuple[int, ...]
    empty: int
    sheets: int
    overs: tuple[int, ...]
    cost: Decimal
    bound: int
    apart_sheets: tuple[int, ...]
    apart_cost: Decimal
    looked_at: int


@in_engine_context
def gang(
    versions: Sequence[Version],
    places: int,
    *,
    sheet_cost: Decimal = Decimal(1),
    over_cost: Decimal = Decimal(0),
    form_cost: Decimal = Decimal(0),
) -> Gang:
    """
    The numbers up that cost least: sheets run, then overs wasted, then the fewest places.

    Exact: for a given run no version gains by more places than bring it to its count, and a cheapest
    run just brings some version to its count; so no more runs than versions times places need be
    tried. Places left over stay empty.

    Args:
        versions: What is printed together, all of one size.
        places: Pieces that the sheet holds.
        sheet_cost: What one more sheet costs.
        over_cost: What one piece over the count costs.
        form_cost: What one more form costs; it only counts in the comparison with printing apart.

    Raises:
        MeasureError: unequal sizes, by name; more versions than places; counts or costs that cannot be.
    """
    _check(versions, places, (sheet_cost, over_cost, form_cost))
    needs = [version.needed for version in versions]
    runs = {_whole_up(need, up) for need in needs for up in range(1, places + 1)}
    possible = [(run, ups) for run in runs if sum(ups := [_whole_up(need, run) for need in needs]) <= places]
    cost, sheets, _, ups = min(
        (sheet_cost * run + over_cost * sum(_overs(needs, ups, run)), run, sum(ups), ups) for run, ups in possible
    )
    apart = [_whole_up(need, places) for need in needs]
    apart_overs = sum(_overs([need], [places], run)[0] for need, run in zip(needs, apart, strict=True))
    return Gang(
        ups=tuple(ups),
        empty=places - sum(ups),
        sheets=sheets,
        overs=tuple(_overs(needs, ups, sheets)),
        cost=cost + form_cost,
        bound=_whole_up(sum(needs), places),
        apart_sheets=tuple(apart),
        apart_cost=sheet_cost * sum(apart) + over_cost * apart_overs + form_cost * len(needs),
        looked_at=len(runs),
    )


def _whole_up(count: int, parts: int) -> int:
    return -(-count // parts)


def _overs(needs: Sequence[int], ups: Sequence[int], run: int) -> list[int]:
    return [up * run - need for need, up in zip(needs, ups, strict=True)]


def _check(versions: Sequence[Version], places: int, costs: tuple[Decimal, ...]) -> None:
    faults = []
    if not 1 <= len(versions) <= MOST_VERSIONS:
        faults.append(Fault("versions", f"1 to {MOST_VERSIONS}", str(len(versions))))
    if not 1 <= places <= MOST_PLACES_UP:
        faults.append(Fault("places", f"1 to {MOST_PLACES_UP}", str(places)))
    elif len(versions) > places:
        faults.append(Fault("places", "one for each version at least", f"{places} for {len(versions)}"))
    faults += [
        Fault(f"needed of {version.name}", f"a whole number from 1 to {MOST_NEEDED}", str(version.needed))
        for version in versions
        if not 1 <= version.needed <= MOST_NEEDED
    ]
    faults += [Fault("cost", "0 or more", str(cost)) for cost in costs if not cost.is_finite() or cost < 0]
    faults += _unequal(versions)
    if faults:
        raise MeasureError(faults)


def _unequal(versions: Sequence[Version]) -> list[Fault]:
    faults = []
    for version in versions[1:]:
        first, size = versions[0].size, version.size
        if (first.width_mm, first.height_mm) != (size.width_mm, size.height_mm):
            expected = f"the size of {versions[0].name}, {first.width_mm} x {first.height_mm} mm"
            faults.append(Fault(f"size of {version.name}", expected, f"{size.width_mm} x {size.height_mm} mm"))
    return faults
