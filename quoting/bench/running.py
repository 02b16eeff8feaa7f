"""Running: sheets fed after the make-ready, and the stops to ink again."""

from __future__ import annotations

from decimal import Decimal

from msgspec import Struct

from quoting.formulas import Do, formula
from quoting.numbers import at_most, number
from quoting.presswork import Pass, PassCount
from quoting.requirements import Labour
from quoting.shop import Press
from quoting.units import Duration


class RunningRates(Struct, frozen=True, forbid_unknown_fields=True):
    """Minutes a stop to put ink on the press again."""

    reinking_stop: Duration


@formula(
    unit="an hour",
    sentence="{speed} an hour × {treadle} treadle × {register} register × {rolling} rolling × {blank} round blank",
)
def net_speed(*, speed: Decimal, treadle: Decimal, register: Decimal, rolling: Decimal, blank: Decimal) -> Decimal:
    """Sheets an hour that this pass feeds. [an hour]"""
    return speed * treadle * register * rolling * blank


@formula(
    unit="min",
    sentence="({usual} sheets + {long} sheets of a long run / {long_run_factor}) / {speed} an hour × 60 min",
)
def running_minutes(*, usual: int, long: int, long_run_factor: Decimal, speed: Decimal) -> Decimal:
    """Minutes to feed the sheets; those past the mark of a long run go slower. [min]"""
    return (usual + long / long_run_factor) / speed * 60


@formula(
    unit="g",
    sentence="{area_mm2} mm2 / 1000000 × {share_inked} inked × {film} g/m2",
    source="Mass balance; film weights: see the rate card's comments.",
)
def ink_a_pull(*, area_mm2: Decimal, share_inked: Decimal, film: Decimal) -> Decimal:
    """Ink that one pull leaves on the paper. [g]"""
    return area_mm2 / 1_000_000 * share_inked * film


@formula(
    unit="min",
    sentence="{pulls} pulls × {ink_a_pull} g / ({ink_carried} g carried × {usable} usable) × {stop} min a stop",
)
def reinking_minutes(
    *, pulls: int, ink_a_pull: Decimal, ink_carried: Decimal, usable: Decimal, stop: Decimal
) -> Decimal:
    """Minutes of stops to ink again, before the colour drops. [min]"""
    return pulls * ink_a_pull / (ink_carried * usable) * stop


def speed_of(do: Do, press: Press, work: Pass) -> Decimal:
    """The net speed of one pass at its press. [an hour]"""
    one = Decimal(1)
    speed: Decimal = do(
        net_speed,
        speed=press.speeds[work.stock_class].in_base_unit,
        treadle=press.treadle_factor.in_base_unit,
        register=press.close_register_factor.in_base_unit if work.register == "close" else one,
        rolling=press.double_rolled_factor.in_base_unit if work.double_rolled else one,
        blank=press.round_blank_factor.in_base_unit if work.round_later else one,
    )
    return speed


def running_labour(
    do: Do, rates: RunningRates, press: Press, work: Pass, count: PassCount, *, film: Decimal, person: str
) -> tuple[Labour, ...]:
    """Running of one pass, and its re-inking stops (none for a blind pass)."""
    usual = at_most(press.long_run_over, count.sheets_fed)
    minutes = do(
        running_minutes,
        usual=usual,
        long=count.sheets_fed - usual,
        long_run_factor=press.long_run_factor.in_base_unit,
        speed=speed_of(do, press, work),
    )
    running = _labour("Running", work, count.sheets_fed, "sheets", minutes, person, do)
    if work.ink is None:
        return (running,)
    a_pull = do(ink_a_pull, area_mm2=work.form_area_mm2, share_inked=work.share_inked, film=film)
    stops = do(
        reinking_minutes,
        pulls=count.pulls,
        ink_a_pull=a_pull,
        ink_carried=press.ink_carried.in_base_unit,
        usable=press.usable_ink.in_base_unit,
        stop=rates.reinking_stop.in_base_unit,
    )
    return running, _labour("Re-inking", work, count.pulls, "pulls", stops, person, do)


def _labour(operation: str, work: Pass, driver: int, unit: str, minutes: Decimal, person: str, do: Do) -> Labour:
    return Labour(
        operation=operation,
        what=work.label,
        item=work.item,
        driver=number(driver),
        driver_unit=unit,
        person=person,
        machine=work.press,
        minutes=minutes,
        steps=do.taken(),
    )
