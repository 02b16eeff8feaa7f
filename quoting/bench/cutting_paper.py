"""Cutting paper: sheets to size before the press and pieces after it, lift by lift."""

from __future__ import annotations

from decimal import Decimal

from msgspec import Struct

from quoting.formulas import Do, formula
from quoting.numbers import number, whole_up
from quoting.requirements import Labour
from quoting.shop import Name
from quoting.units import Duration, Length, Share


class CuttingRates(Struct, frozen=True, forbid_unknown_fields=True):
    """Minutes to set the cutter up, a back-gauge setting, a cut; what it spoils and what it can take."""

    cutter: Name
    set_up: Duration
    setting: Duration
    cut: Duration
    spoilage: Share
    blade: Length
    least_strip: Length


@formula(unit="lifts", sentence="{sheets} sheets × {caliper_mm} mm / {lift_mm} mm rounded up")
def lifts_to_cut(*, sheets: int, caliper_mm: Decimal, lift_mm: Decimal) -> int:
    """Lifts that a pile of sheets makes under the knife."""
    return whole_up(sheets * caliper_mm / lift_mm)


@formula(
    unit="min",
    sentence="{set_up} min + ({settings} settings × {setting} min + {cuts} cuts × {cut} min) × {lifts} lifts",
)
def cutting_minutes(
    *, set_up: Decimal, settings: int, setting: Decimal, cuts: int, cut: Decimal, lifts: int
) -> Decimal:
    """Minutes to cut every lift. [min]"""
    return set_up + (settings * setting + cuts * cut) * lifts


def cutting_labour(
    do: Do,
    rates: CuttingRates,
    *,
    item: int,
    label: str,
    sheets: int,
    caliper_mm: Decimal,
    lift_mm: Decimal,
    settings: int,
    cuts: int,
    person: str,
) -> tuple[Labour, ...]:
    """Cutting of one pile; nothing where there is nothing to cut."""
    if not cuts:
        return ()
    lifts = do(lifts_to_cut, sheets=sheets, caliper_mm=caliper_mm, lift_mm=lift_mm)
    minutes = do(
        cutting_minutes,
        set_up=rates.set_up.in_base_unit,
        settings=settings,
        setting=rates.setting.in_base_unit,
        cuts=cuts,
        cut=rates.cut.in_base_unit,
        lifts=lifts,
    )
    return (
        Labour(
            operation="Cutting",
            what=label,
            item=item,
            driver=number(cuts * lifts),
            driver_unit="cuts",
            person=person,
            machine=rates.cutter,
            minutes=minutes,
            steps=do.taken(),
        ),
    )
