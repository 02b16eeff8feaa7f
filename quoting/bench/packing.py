"""Interleaving, assembling sets, counting, packing, weighing and sending."""

from __future__ import annotations

from decimal import Decimal
from typing import Annotated

from msgspec import Meta, Struct, field

from quoting.formulas import Do, Step, formula
from quoting.numbers import number, whole_up
from quoting.requirements import Charge, Labour
from quoting.shop import Name
from quoting.units import Amount, Duration, Mass, Share


class PackingRates(Struct, frozen=True, forbid_unknown_fields=True):
    """Minutes for 100 pieces or a parcel, what a parcel holds and costs, and when sheets need a rack."""

    interleave_100: Duration
    interleave_over: Share
    collate_piece: Duration
    count_100: Duration
    parcel: Duration
    parcel_mass: Mass
    parcel_materials: Amount
    interleave_materials_100: Amount = field(default_factory=lambda: Amount("0.00"))

    def __post_init__(self) -> None:
        if not self.parcel_mass:
            raise ValueError("expected parcel_mass over 0; found 0")


class DeliveryBand(Struct, frozen=True, forbid_unknown_fields=True):
    """The price of a parcel up to a mass."""

    up_to: Mass
    price: Amount


class DeliveryMethod(Struct, frozen=True, forbid_unknown_fields=True):
    """A way of sending parcels; ``days`` on the road."""

    name: Name
    bands: Annotated[tuple[DeliveryBand, ...], Meta(min_length=1)]
    days: Annotated[int, Meta(ge=0, le=60)] = 1

    def __post_init__(self) -> None:
        marks = [band.up_to for band in self.bands]
        if sorted(set(marks)) != marks:
            raise ValueError("expected delivery bands of rising mass; found them out of order")


@formula(unit="min", sentence="{pieces} pieces / 100 × {minutes_100} min")
def minutes_by_the_hundred(*, pieces: int, minutes_100: Decimal) -> Decimal:
    """Minutes for a pile, by the hundred. [min]"""
    return number(pieces) / 100 * minutes_100  # type: ignore[no-any-return]  # a number, or many


@formula(unit="min", sentence="{pieces} pieces × {each} min")
def minutes_each(*, pieces: int, each: Decimal) -> Decimal:
    """Minutes for a pile, piece by piece. [min]"""
    return pieces * each


@formula(unit="money", sentence="{pieces} sheets / 100 × {price_100}")
def sheets_between(*, pieces: int, price_100: Decimal) -> Decimal:
    """What is laid between wet sheets. [money]"""
    return number(pieces) / 100 * price_100  # type: ignore[no-any-return]  # a number, or many


@formula(unit="g", sentence="{pieces} pieces × {area_mm2} mm2 / 1000000 × {grammage} g/m2")
def weight_grams(*, pieces: int, area_mm2: Decimal, grammage: Decimal) -> Decimal:
    """Weight of a pile of pieces. [g]"""
    return pieces * area_mm2 / 1_000_000 * grammage


@formula(unit="parcels", sentence="{grams} g / {parcel_mass} g rounded up")
def parcels_to_pack(*, grams: Decimal, parcel_mass: Decimal) -> int:
    """Parcels that a weight fills."""
    return whole_up(grams / parcel_mass)


@formula(unit="money", sentence="{parcels} parcels × {price}")
def delivery_charge(*, parcels: int, price: Decimal) -> Decimal:
    """What the carrier asks. [money]"""
    return parcels * price


def pile_labour(
    do: Do, *, operation: str, item: int, label: str, pieces: int, minutes_100: Decimal, person: str
) -> Labour:
    """Work on a pile by the hundred: counting and banding, interleaving."""
    minutes = do(minutes_by_the_hundred, pieces=pieces, minutes_100=minutes_100)
    return Labour(
        operation=operation,
        what=label,
        item=item,
        driver=number(pieces),
        driver_unit="pieces",
        person=person,
        minutes=minutes,
        steps=do.taken(),
    )


def collating_labour(do: Do, rates: PackingRates, *, pieces: int, person: str) -> Labour:
    """Assembling the items into sets, once for the job."""
    minutes = do(minutes_each, pieces=pieces, each=rates.collate_piece.in_base_unit)
    return Labour(
        operation="Collating",
        what="Assembling the sets",
        item=None,
        driver=Decimal(pieces),
        driver_unit="pieces",
        person=person,
        minutes=minutes,
        steps=do.taken(),
    )


def parcel_requirements(
    do: Do,
    rates: PackingRates,
    *,
    parcels: int,
    weights: tuple[Decimal, ...],
    weighing: tuple[Step, ...],
    person: str,
) -> tuple[Labour | Charge, ...]:
    """Packing the parcels, and what they are made of; ``weighing`` is how the weights were worked out."""
    minutes = do(minutes_each, pieces=parcels, each=rates.parcel.in_base_unit)
    labour = Labour(
        operation="Packing",
        what="Parcels",
        item=None,
        driver=Decimal(parcels),
        driver_unit="parcels",
        person=person,
        minutes=minutes,
        steps=(*weighing, *do.taken()),
        weights=weights,
    )
    cost = do(delivery_charge, parcels=parcels, price=rates.parcel_materials.in_base_unit)
    return labour, Charge(
        operation="Packing",
        what="Cartons and wrapping",
        item=None,
        driver=Decimal(parcels),
        driver_unit="parcels",
        cost=cost,
        cost_class="materials",
        steps=do.taken(),
        weights=weights,
    )


def delivery_price(method: DeliveryMethod, grams_a_parcel: Decimal) -> Decimal | None:
    """The price of a parcel of this mass, or None where no band takes it."""
    fitting = [band.price.in_base_unit for band in method.bands if grams_a_parcel <= band.up_to]
    return fitting[0] if fitting else None
