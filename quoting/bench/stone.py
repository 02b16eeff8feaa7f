"""The imposing stone: locking forms up, locking them up again, washing type."""

from __future__ import annotations

from decimal import Decimal

from msgspec import Struct

from quoting.formulas import Do, formula
from quoting.presswork import Pass
from quoting.requirements import Labour
from quoting.shop import CountOrNone
from quoting.units import Duration


class StoneRates(Struct, frozen=True, forbid_unknown_fields=True):
    """Minutes a lock-up by kind of form, a relock, the washing of a form of type."""

    plate: Duration
    hand_set: Duration
    wood_or_several: Duration
    relock: Duration
    relocks_a_hand_set_form: CountOrNone
    form_washing: Duration


@formula(unit="min", sentence="{lock_up} min + {relocks} relocks × {relock} min")
def lock_up_minutes(*, lock_up: Decimal, relocks: int, relock: Decimal) -> Decimal:
    """Minutes to lock a form up, and again after each correction or change of version. [min]"""
    return lock_up + relocks * relock


@formula(unit="min", sentence="{forms} forms × {form_washing} min")
def form_washing_minutes(*, forms: int, form_washing: Decimal) -> Decimal:
    """Minutes to wash type before it goes back to the case. [min]"""
    return forms * form_washing


def lock_up_of(rates: StoneRates, work: Pass, *, copies: int) -> Decimal:
    """Minutes for the first lock-up of a pass's form. [min]"""
    if work.form_kind == "plate":
        return rates.plate.in_base_unit
    if work.form_kind == "wood type" or copies > 1:
        return rates.wood_or_several.in_base_unit
    return rates.hand_set.in_base_unit


def stone_labour(do: Do, rates: StoneRates, work: Pass, *, copies: int, person: str) -> tuple[Labour, ...]:
    """What one pass's form asks at the stone."""
    is_type = work.form_kind != "plate"
    relocks = work.versions - 1 + (rates.relocks_a_hand_set_form if is_type else 0)
    minutes = do(
        lock_up_minutes,
        lock_up=lock_up_of(rates, work, copies=copies),
        relocks=relocks,
        relock=rates.relock.in_base_unit,
    )
    locking = Labour(
        operation="Lock-up",
        what=work.label,
        item=work.item,
        driver=Decimal(1 + relocks),
        driver_unit="lock-ups",
        person=person,
        minutes=minutes,
        steps=do.taken(),
    )
    if not is_type:
        return (locking,)
    washing = do(form_washing_minutes, forms=1, form_washing=rates.form_washing.in_base_unit)
    return locking, Labour(
        operation="Form washing",
        what=work.label,
        item=work.item,
        driver=Decimal(1),
        driver_unit="forms",
        person=person,
        minutes=washing,
        steps=do.taken(),
    )
