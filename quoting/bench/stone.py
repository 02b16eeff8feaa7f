"""The imposing stone: locking forms up, locking them up again, washing type."""

from __future__ import annotations

from decimal import Decimal

from msgspec import Struct, field

from quoting.formulas import Do, formula
from quoting.presswork import Pass
from quoting.requirements import Labour
from quoting.shop import CountOrNone
from quoting.units import Duration


class StoneRates(Struct, frozen=True, forbid_unknown_fields=True):
    """Minutes a lock-up by kind of form, a relock, the washing of a form of type, a plate put on its base."""

    plate: Duration
    hand_set: Duration
    wood_or_several: Duration
    relock: Duration
    relocks_a_hand_set_form: CountOrNone
    form_washing: Duration
    mounting: Duration = field(default_factory=lambda: Duration("0 min"))


@formula(unit="min", sentence="{lock_up} min + {relocks} relocks × {relock} min")
def lock_up_minutes(*, lock_up: Decimal, relocks: int, relock: Decimal) -> Decimal:
    """Minutes to lock a form up, and again after each correction or change of version. [min]"""
    return lock_up + relocks * relock


@formula(unit="min", sentence="{forms} forms × {form_washing} min")
def form_washing_minutes(*, forms: int, form_washing: Decimal) -> Decimal:
    """Minutes to wash type before it goes back to the case. [min]"""
    return forms * form_washing


@formula(unit="min", sentence="{plates} plates × {mounting} min")
def mounting_minutes(*, plates: int, mounting: Decimal) -> Decimal:
    """Minutes to put plates on their base. [min]"""
    return plates * mounting


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
        return (locking, *_mounting(do, rates, work, copies=copies, person=person))
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


def _mounting(do: Do, rates: StoneRates, work: Pass, *, copies: int, person: str) -> tuple[Labour, ...]:
    """Putting plates on their base; nothing where the lock-up holds it already."""
    if not rates.mounting:
        return ()
    plates = copies * work.versions
    minutes = do(mounting_minutes, plates=plates, mounting=rates.mounting.in_base_unit)
    return (
        Labour(
            operation="Mounting",
            what=work.label,
            item=work.item,
            driver=Decimal(plates),
            driver_unit="plates",
            person=person,
            minutes=minutes,
            steps=do.taken(),
        ),
    )
